package pipeline

import (
	"context"
	"errors"
	"sync"

	"bedsaid/internal/note"
	"bedsaid/internal/speech"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Update is what is known while somebody still speaks.
type Update struct {
	// Draft is of settled and provisional words together. Words of the last
	// half minute may still change, and findings with them.
	Draft note.Draft
	// Received is how many seconds of sound were taken in.
	Received float64
	// Settled is the time, in seconds, up to which words will not change any more.
	Settled float64
	// Waiting is the number of pieces that are cut and not yet decoded: where it
	// grows, the machine hears more slowly than somebody speaks. Nothing is lost.
	Waiting int
}

// ErrClosed is what Finish and Write say after Close.
var ErrClosed = errors.New("hear live: it was given up")

// Live drafts from sound while it is being made. Write, Finish and Close may be
// called from several goroutines.
type Live struct {
	d      *Drafter
	lex    *lexicon.Lexicon
	stream *speech.Stream
	stop   context.CancelCauseFunc
	told   func(Update)

	done  chan struct{} // closed when the three below stand
	heard transcript.Transcript
	ears  Hearing
	err   error

	mu     sync.Mutex
	closed bool
}

// Live begins to draft from sound as it comes. told, which may be nil, is called
// from one goroutine at a time whenever words have come or changed, last before
// Finish returns; it must not block for long. The model is loaded in the
// background: sound is taken from the first sample. ctx ends all of it, as Close
// does; one of Finish and Close must be called.
//
// Where hearing fails midway, sound is still taken (and let go), and Finish gives
// the error: draft then from the sound that was kept.
func (d *Drafter) Live(ctx context.Context, told func(Update)) (*Live, error) {
	lex, err := d.words()
	if err != nil {
		return nil, err
	}
	ctx, stop := context.WithCancelCause(ctx)
	l := &Live{d: d, lex: lex, stream: speech.NewStream(d.Speech), stop: stop, told: told, done: make(chan struct{})}
	go l.hear(ctx)
	return l, nil
}

func (l *Live) hear(ctx context.Context) {
	defer close(l.done)
	defer l.stop(nil)
	if l.ears, l.err = l.d.ears(ctx); l.err != nil {
		l.stream.Deafen()
		return
	}
	l.heard, l.err = l.stream.Hear(ctx, l.ears.Decoder, l.d.vocabulary(l.lex), func(h speech.Heard) { l.tell(ctx, h) })
	if l.err != nil && context.Cause(ctx) == ErrClosed {
		l.err = ErrClosed
	}
}

func (l *Live) tell(ctx context.Context, h speech.Heard) {
	if l.told == nil {
		return
	}
	draft, err := l.d.compose(ctx, l.lex, heard(l.ears, h.Transcript))
	if err != nil {
		return // the context has ended, and Hear says so
	}
	l.told(Update{Draft: draft, Received: h.Transcript.Recording.Seconds, Settled: h.Settled, Waiting: h.Waiting})
}

// Write takes mono samples at 16 kHz, copies them, and does not wait for the
// hearing; none is ever dropped while hearing goes on. The only error is
// ErrClosed.
func (l *Live) Write(samples []int16) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return ErrClosed
	}
	l.stream.Write(samples)
	return nil
}

// Finish ends the sound and gives the draft of all of it: the same that drafting
// the sound at once gives. It may be called again and gives the same. Where ctx ends
// first, hearing is given up.
func (l *Live) Finish(ctx context.Context) (note.Draft, error) {
	l.stream.End()
	select {
	case <-l.done:
	case <-ctx.Done():
		l.Close()
		return note.Draft{}, ctx.Err()
	}
	if l.err != nil {
		return note.Draft{}, l.err
	}
	return l.d.compose(ctx, l.lex, heard(l.ears, l.heard))
}

// Close gives up; there is no draft. It waits for a decoding that is under way to
// stop. After Finish it does nothing.
func (l *Live) Close() {
	l.mu.Lock()
	l.closed = true
	l.mu.Unlock()
	l.stream.End()
	l.stop(ErrClosed)
	<-l.done
}
