//go:build engine

// A narrow way into whisper.cpp: one piece of sound in, its tokens out. All
// callbacks stay on this side, since the library makes them from threads of
// its own.
#include "shim.h"

#ifdef __GLIBC__
#include <malloc.h>
#endif
#include <math.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "ggml.h"
#include "whisper.h"

struct bs_engine {
    struct whisper_context * context;
    struct whisper_state   * state; // for greedy decoding, kept between calls; NULL until needed
    bool                     beamed; // the last piece was decoded with beams
    int                      places; // of the encoder that it used; 0: all
    int                      threads;
    atomic_bool              abort;

    // What the decoder holds from the last bs_weigh.
    whisper_token memory[448];
    int           held;

    // Of the piece last heard.
    bs_token * tokens;
    int        count, capacity;
    atomic_int longest;   // tokens of the longest sequence that was begun
};

static void quiet(enum ggml_log_level level, const char * text, void * data) {
    (void) level;
    (void) text;
    (void) data;
}

static bool aborted(void * data) {
    return atomic_load(&((bs_engine *) data)->abort);
}

// renew puts a fresh state in the place of the one there was, which is freed
// first: a state takes more memory than the weights, so there is never a
// second one.
static bool renew(bs_engine * e) {
    if (e->state != NULL) {
        whisper_free_state(e->state);
#ifdef __GLIBC__
        malloc_trim(0); // else the C library keeps most of it
#endif
    }
    e->state = whisper_init_state(e->context);
    return e->state != NULL;
}

bs_engine * bs_open(const char * path, int threads) {
    // The library's messages name files and may echo text: nothing of it is
    // for the terminal.
    ggml_log_set(quiet, NULL);
    whisper_log_set(quiet, NULL);

    bs_engine * e = calloc(1, sizeof *e);
    if (e == NULL) {
        return NULL;
    }
    struct whisper_context_params params = whisper_context_default_params();
    params.use_gpu    = false;
    params.flash_attn = true;
    e->threads = threads;
    e->context = whisper_init_from_file_with_params_no_state(path, params);
    if (e->context == NULL || !renew(e)) {
        bs_close(e);
        return NULL;
    }
    return e;
}

void bs_close(bs_engine * e) {
    if (e == NULL) {
        return;
    }
    if (e->state != NULL) {
        whisper_free_state(e->state);
    }
    if (e->context != NULL) {
        whisper_free(e->context);
    }
    free(e->tokens);
    free(e);
}

void bs_abort(bs_engine * e) {
    atomic_store(&e->abort, true);
}

// watch is called for every token that is about to be chosen, and changes
// nothing: it notes how long sequences grow.
static void watch(struct whisper_context * context, struct whisper_state * state,
                  const whisper_token_data * tokens, int count, float * logits, void * data) {
    (void) context;
    (void) state;
    (void) tokens;
    (void) logits;
    bs_engine * e = data;
    int seen = atomic_load(&e->longest);
    while (count > seen && !atomic_compare_exchange_weak(&e->longest, &seen, count)) {
    }
}

// log_probability is that of a token to come next, after `decoded` tokens were
// given at once: the library computes the last row of logits only, and leaves it
// in its place behind the others.
static double log_probability(bs_engine * e, whisper_token token, int decoded) {
    const int     vocab = whisper_n_vocab(e->context);
    const float * row   = whisper_get_logits_from_state(e->state) + (size_t) (decoded - 1) * (size_t) vocab;
    float peak = row[0];
    for (int i = 1; i < vocab; i++) {
        peak = row[i] > peak ? row[i] : peak;
    }
    double sum = 0;
    for (int i = 0; i < vocab; i++) {
        sum += exp((double) (row[i] - peak));
    }
    return (double) (row[token] - peak) - log(sum);
}

// no_speech asks the decoder, which still holds the piece, how likely it would
// open with the mark for "nobody spoke"; -1 where it cannot say. The library's
// own figure is of no use: it looks after the task tokens, where that mark
// never comes, and in a row of logits that was not computed.
static float no_speech(bs_engine * e) {
    struct whisper_state * state = e->state;
    const whisper_token start = whisper_token_sot(e->context);
    if (whisper_decode_with_state(e->context, state, &start, 1, 0, e->threads) != 0) {
        return -1;
    }
    return (float) exp(log_probability(e, whisper_token_nosp(e->context), 1));
}

static bool keep(bs_engine * e) {
    struct whisper_state * state = e->state;
    const int32_t end = whisper_token_eot(e->context);
    const int segments = whisper_full_n_segments_from_state(state);
    for (int s = 0; s < segments; s++) {
        const int count = whisper_full_n_tokens_from_state(state, s);
        for (int i = 0; i < count; i++) {
            if (e->count == e->capacity) {
                const int wider = e->capacity == 0 ? 256 : 2 * e->capacity;
                bs_token * grown = realloc(e->tokens, (size_t) wider * sizeof *grown);
                if (grown == NULL) {
                    return false;
                }
                e->tokens   = grown;
                e->capacity = wider;
            }
            const whisper_token_data token = whisper_full_get_token_data_from_state(state, s, i);
            e->tokens[e->count++] = (bs_token) {
                .id = token.id, .end_of_text = end,
                .p = token.p, .logp = token.plog,
                .t0 = token.t0, .t1 = token.t1,
            };
        }
    }
    return true;
}

bs_outcome bs_decode(bs_engine * e, const float * samples, int count, bs_request request) {
    bs_outcome outcome = { 0, 0, 0, -1 };
    e->count = 0;
    e->held  = 0;
    atomic_store(&e->longest, 0);
    atomic_store(&e->abort, false);

    const bool beam = request.beam > 1;
    struct whisper_full_params params =
        whisper_full_default_params(beam ? WHISPER_SAMPLING_BEAM_SEARCH : WHISPER_SAMPLING_GREEDY);
    params.n_threads             = e->threads;
    params.greedy.best_of        = 1;
    params.beam_search.beam_size = request.beam;
    params.language              = "en";
    params.no_context            = true;  // a piece stands alone: loops cannot carry over
    params.single_segment        = true;  // one pass over the piece, however early the text ends
    params.audio_ctx             = request.places; // 0: the whole window
    params.token_timestamps      = true;
    params.suppress_blank        = true;
    params.suppress_nst          = true;
    params.temperature           = 0;
    params.temperature_inc       = 0;     // no second guesses here: the caller sees how it went
    params.no_speech_thold       = 2;     // never drop text in silence; the caller weighs no_speech
    params.print_progress        = false;
    params.print_realtime        = false;
    params.print_timestamps      = false;
    params.print_special         = false;
    params.initial_prompt        = request.prompt;
    params.carry_initial_prompt  = true;
    params.abort_callback                   = aborted;
    params.abort_callback_user_data         = e;
    params.logits_filter_callback           = watch;
    params.logits_filter_callback_user_data = e;

    // Beam search draws its candidates at random, and the generator of the
    // first beam is seeded once in the life of a state: only a fresh state
    // gives the same text for the same sound. It also leaves the state larger,
    // so the next piece gets a fresh one too.
    //
    // A state that has used another length of window keeps a rest of it in memory
    // that this one reads.
    if ((beam || e->beamed || e->places != request.places || e->state == NULL) && !renew(e)) {
        outcome.status = -100;
        return outcome;
    }
    e->beamed = beam;
    e->places = request.places;
    outcome.status = whisper_full_with_state(e->context, e->state, params, samples, count);
    if (outcome.status == 0 && atomic_load(&e->abort)) {
        outcome.status = -101;
    }
    if (outcome.status == 0 && !keep(e)) {
        outcome.status = -100;
    }
    if (outcome.status == 0) {
        outcome.no_speech = no_speech(e);
    }
    if (outcome.status != 0) {
        return outcome;
    }
    outcome.tokens = e->count;
    // The library gives up after half the text context less four. A beam that
    // lost may have run so far while the one that won did not.
    const int limit = whisper_n_text_ctx(e->context) / 2 - 4;
    const bool ended = e->count > 0 && e->count < limit &&
                       e->tokens[e->count - 1].id >= whisper_token_eot(e->context);
    outcome.hit_limit = atomic_load(&e->longest) >= limit - 1 && !(beam && ended);
    return outcome;
}

int bs_listen(bs_engine * e, const float * samples, int count) {
    e->held = 0;
    if ((e->beamed || e->places != 0 || e->state == NULL) && !renew(e)) {
        return -100;
    }
    e->beamed = false;
    e->places = 0;
    const int status = whisper_pcm_to_mel_with_state(e->context, e->state, samples, count, e->threads);
    return status != 0 ? status : whisper_encode_with_state(e->context, e->state, 0, e->threads);
}

double bs_weigh(bs_engine * e, const char * prompt, const char * before, const char * reading, const char * after) {
    whisper_token tokens[448];
    int n = 0;
    if (prompt != NULL && prompt[0] != 0) {
        tokens[n++] = whisper_token_prev(e->context);
        const int made = whisper_tokenize(e->context, prompt, tokens + n, 200);
        if (made < 0) {
            return NAN;
        }
        n += made;
    }
    tokens[n++] = whisper_token_sot(e->context);
    if (whisper_is_multilingual(e->context)) {
        tokens[n++] = whisper_token_lang(e->context, whisper_lang_id("en"));
        tokens[n++] = whisper_token_transcribe(e->context);
    }
    tokens[n++] = whisper_token_beg(e->context);
    int made = whisper_tokenize(e->context, before, tokens + n, 150);
    if (made < 0) {
        return NAN;
    }
    n += made;
    const int given = n;
    made = whisper_tokenize(e->context, reading, tokens + n, 40);
    if (made <= 0) {
        return NAN;
    }
    n += made;
    made = whisper_tokenize(e->context, after, tokens + n, 20);
    if (made < 0) {
        return NAN;
    }
    n += made;
    // What stands in the decoder's memory from the last question need not be
    // computed again; the last given token must, for its row of logits.
    int same = 0;
    while (same < e->held && same < given - 1 && e->memory[same] == tokens[same]) {
        same++;
    }
    double sum = 0;
    for (int at = same; at < n;) {
        const int step = at < given ? given - at : 1;
        if (whisper_decode_with_state(e->context, e->state, tokens + at, step, at, e->threads) != 0) {
            e->held = 0;
            return NAN;
        }
        at += step;
        if (at < n) {
            sum += log_probability(e, tokens[at], step);
        }
        if (at == n - 1) {
            break; // nobody asks what comes after the last
        }
    }
    memcpy(e->memory, tokens, (size_t) given * sizeof tokens[0]);
    e->held = given;
    return sum;
}

bs_token bs_get_token(const bs_engine * e, int i) {
    return e->tokens[i];
}

const char * bs_token_text(bs_engine * e, int32_t id) {
    return whisper_token_to_str(e->context, id);
}

int64_t bs_embedding(bs_engine * e) {
    if (whisper_model_n_audio_ctx(e->context) != 1500 || whisper_model_n_text_ctx(e->context) != 448 ||
        whisper_model_n_vocab(e->context) < 50000) {
        return 0;
    }
    return (int64_t) whisper_model_n_vocab(e->context) * whisper_model_n_text_state(e->context);
}

const char * bs_version(void) {
    return whisper_version();
}

const char * bs_model(bs_engine * e) {
    return whisper_model_type_readable(e->context);
}

int bs_multilingual(bs_engine * e) {
    return whisper_is_multilingual(e->context);
}

const char * bs_system(void) {
    return whisper_print_system_info();
}
