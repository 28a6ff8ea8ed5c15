//go:build cgo && engine

package whisper

// #cgo LDFLAGS: -lwhisper -lggml -lggml-cpu -lggml-base -lm
// #cgo linux LDFLAGS: -lstdc++ -lpthread
// #cgo darwin LDFLAGS: -lc++
// #include <stdlib.h>
// #include "shim.h"
import "C"

import (
	"context"
	"fmt"
	"math"
	"os"
	"runtime"
	"strings"
	"sync"
	"unsafe"

	"bedsaid/internal/speech"
)

// Built is true in a program that has the engine in it.
const Built = true

// defaultThreads is the most that are used unless the caller asks for more:
// beyond it the decoder, which waits for memory, gains little.
const defaultThreads = 4

// maxBeam is the most beams the engine has decoders for.
const maxBeam = 8

// shortest is the least number of samples handed to the engine, which skips
// anything under a tenth of a second; shorter pieces are padded with silence.
const shortest = SampleRate / 5

var _ speech.Decoder = (*Engine)(nil)

// Engine is a recognizer with its weights in memory. It may be shared between
// goroutines; they take turns.
type Engine struct {
	mu      sync.Mutex // guards engine and what the C side keeps of a piece
	engine  *C.bs_engine
	threads int
	info    Info
}

// Open loads the ggml Whisper file at path. With threads 0 it uses as many as
// the machine has processors, at most four. The file must be whole
// (models.Inspect): the engine trusts it. Close the Engine when done.
func Open(path string, threads int) (*Engine, error) {
	file, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open speech engine: %w", err)
	}
	if threads <= 0 {
		threads = min(defaultThreads, runtime.NumCPU())
	}
	name := C.CString(path)
	defer C.free(unsafe.Pointer(name))
	engine := C.bs_open(name, C.int(threads))
	// The library takes a file that ends after its header for a test and would
	// crash on the first piece. Weights have two bits at the very least.
	if engine != nil {
		if least := int64(C.bs_embedding(engine)) / 4; least == 0 || file.Size() < least {
			C.bs_close(engine)
			engine = nil
		}
	}
	if engine == nil {
		return nil, fmt.Errorf("open speech engine: cannot load the weights in %s; check them with: bedsaid model verify", path)
	}
	return &Engine{
		engine:  engine,
		threads: threads,
		info: Info{
			Engine:       "whisper.cpp " + C.GoString(C.bs_version()),
			Model:        C.GoString(C.bs_model(engine)),
			Multilingual: C.bs_multilingual(engine) != 0,
			Threads:      threads,
			System:       strings.TrimSpace(C.GoString(C.bs_system())),
		},
	}, nil
}

// Close frees the weights. It waits for a decoding that is under way; a second
// Close does nothing.
func (e *Engine) Close() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.engine != nil {
		C.bs_close(e.engine)
		e.engine = nil
	}
	return nil
}

// Info says what the engine is.
func (e *Engine) Info() Info { return e.info }

// Decode hears one piece of at most MaxSeconds and returns its tokens. Times
// lie within the piece and never go back. Control tokens are left out; tokens
// that share a character are joined. Where ctx ends the decoding stops within
// a fraction of a second with ctx's error. No samples give no tokens. Beams
// beyond eight are cut to eight.
func (e *Engine) Decode(ctx context.Context, samples []float32, req speech.Request) (speech.Decoded, error) {
	if err := ctx.Err(); err != nil {
		return speech.Decoded{}, err
	}
	if len(samples) > MaxSeconds*SampleRate {
		return speech.Decoded{}, fmt.Errorf("decode: %w: %.1f s, at most %d", ErrTooLong, float64(len(samples))/SampleRate, MaxSeconds)
	}
	for _, s := range samples {
		if math.IsNaN(float64(s)) || math.IsInf(float64(s), 0) {
			return speech.Decoded{}, fmt.Errorf("decode: %w", ErrBadSamples)
		}
	}
	if len(samples) == 0 {
		return speech.Decoded{NoSpeech: 1}, nil
	}
	seconds := float64(len(samples)) / SampleRate
	if len(samples) < shortest {
		padded := make([]float32, shortest)
		copy(padded, samples)
		samples = padded
	}

	e.mu.Lock()
	defer e.mu.Unlock()
	if e.engine == nil {
		return speech.Decoded{}, fmt.Errorf("decode: %w", ErrClosed)
	}
	outcome := e.run(ctx, samples, req)
	if err := ctx.Err(); err != nil {
		return speech.Decoded{}, err
	}
	if outcome.status != 0 {
		return speech.Decoded{}, fmt.Errorf("decode: the speech engine failed (code %d)", int(outcome.status))
	}
	heard := make([]token, 0, int(outcome.tokens))
	for i := range int(outcome.tokens) {
		t := C.bs_get_token(e.engine, C.int(i))
		if t.id >= t.end_of_text {
			continue
		}
		heard = append(heard, token{
			text:  C.GoString(C.bs_token_text(e.engine, t.id)),
			p:     float64(t.p),
			logp:  float64(t.logp),
			start: float64(t.t0) / 100,
			end:   float64(t.t1) / 100,
		})
	}
	return speech.Decoded{
		Tokens:     settle(heard, seconds),
		AvgLogProb: meanLogProb(heard),
		NoSpeech:   max(0, float64(outcome.no_speech)),
		HitLimit:   outcome.hit_limit != 0,
	}, nil
}

// run makes the one long call. It returns only when no abort can come any
// more, so that a late one cannot stop the next piece.
func (e *Engine) run(ctx context.Context, samples []float32, req speech.Request) C.bs_outcome {
	request := C.bs_request{beam: C.int(min(max(1, req.Beam), maxBeam))}
	if req.Brief {
		request.places = C.int(briefPlaces(len(samples)))
	}
	if req.Prompt != "" {
		request.prompt = C.CString(req.Prompt)
		defer C.free(unsafe.Pointer(request.prompt))
	}
	finished := make(chan struct{})
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		for {
			select {
			case <-finished:
				return
			case <-ctx.Done():
				C.bs_abort(e.engine)
				<-finished
				return
			}
		}
	}()
	outcome := C.bs_decode(e.engine, (*C.float)(unsafe.Pointer(&samples[0])), C.int(len(samples)), request)
	close(finished)
	<-gone
	return outcome
}

// briefPlaces is how many of the encoder's 1,500 places, 20 ms each, so many
// samples need: a second more than they fill, and no fewer than ten seconds' worth,
// below which the words get poor (common practice, no source). Each length asks for
// a state of its own, so there are few.
func briefPlaces(samples int) int {
	const least, step = 512, 256
	places := (samples/(SampleRate/50) + 50 + step - 1) / step * step
	return min(max(places, least), 1500)
}
