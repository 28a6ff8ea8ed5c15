// The few calls that the Go side makes; see shim.c.
#ifndef BEDSAID_SHIM_H
#define BEDSAID_SHIM_H

#include <stdint.h>

typedef struct bs_engine bs_engine;

typedef struct {
    int32_t id;
    int32_t end_of_text; // ids from here on are control tokens and times
    float   p;           // probability, 0 to 1
    float   logp;        // its natural logarithm
    int64_t t0, t1;      // hundredths of a second from the start of the piece
} bs_token;

typedef struct {
    int    beam;      // 1 is greedy
    const char * prompt; // bare vocabulary, or NULL
    int    places;    // places of the encoder to use; 0 is all
} bs_request;

typedef struct {
    int   status;     // 0, or what whisper_full returned
    int   tokens;     // how many there are, control tokens too
    int   hit_limit;  // decoding ended at the token limit
    float no_speech;  // probability that nobody spoke; -1 where not known
} bs_outcome;

// bs_open loads weights; NULL where they cannot be loaded.
bs_engine * bs_open(const char * path, int threads);
void        bs_close(bs_engine * e);

// bs_abort asks a running bs_decode to stop; any thread may call it.
void bs_abort(bs_engine * e);

// bs_decode hears one piece of 16 kHz samples. What it finds stays in e until
// the next call.
bs_outcome bs_decode(bs_engine * e, const float * samples, int count, bs_request request);
bs_token     bs_get_token(const bs_engine * e, int i);
const char * bs_token_text(bs_engine * e, int32_t id);

// bs_listen prepares one piece for bs_weigh, which can then be asked many times;
// 0, or what failed. A bs_decode undoes it.
int bs_listen(bs_engine * e, const float * samples, int count);

// bs_weigh gives the log-probability, under the piece last listened to, of
// `reading` and then `after`, where `prompt` primed the decoder and `before` was
// said; NaN where it cannot say.
double bs_weigh(bs_engine * e, const char * prompt, const char * before, const char * reading, const char * after);

// bs_embedding is the number of weights in the token embedding, the largest
// table; 0 where the sizes are not those of a Whisper network.
int64_t bs_embedding(bs_engine * e);

const char * bs_version(void);
const char * bs_model(bs_engine * e);
int          bs_multilingual(bs_engine * e);
const char * bs_system(void);

#endif
