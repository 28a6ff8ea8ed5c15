package speech

import (
	"context"
	"fmt"
	"math"
	"slices"

	"bedsaid/internal/transcript"
)

// hearing is the work on one recording, piece after piece.
type hearing struct {
	*Recognizer
	ctx   context.Context
	vocab Vocabulary
	words []transcript.Word // of the pieces so far
	heard int               // how many pieces
	pace  pace
	asked map[asked]Decoded // of the piece that is being heard

	task  // the piece that is being heard
	terms []string
}

// asked is one question to the decoder: a part of the recording, in samples, and
// how it is to be decoded.
type asked struct {
	from, to int
	Request
}

func newHearing(ctx context.Context, r *Recognizer, vocab Vocabulary) *hearing {
	if vocab == nil {
		vocab = func([]transcript.Word) []string { return nil }
	}
	return &hearing{Recognizer: r, ctx: ctx, vocab: vocab, asked: map[asked]Decoded{}}
}

// settle hears the next piece for good.
func (h *hearing) settle(t task) error {
	h.begin(t)
	got, err := h.hear(t.piece, 0)
	if err != nil {
		return fmt.Errorf("decode speech at %.0f s: %w", t.Start, err)
	}
	h.words = h.join(got)
	h.heard++
	clear(h.asked)
	return nil
}

// guess hears a piece that may still grow, and gives all words so far with its
// own at the end. Nothing that settle does depends on it; but what the decoder
// answered is kept, so that a piece that did not grow is not decoded twice.
// thorough asks again where the first answer is doubtful, as settle does; without
// it, a doubtful answer is given as it is, unless it is no speech at all, and sure
// says whether a thorough one would be the same.
func (h *hearing) guess(ctx context.Context, t task, thorough bool) (words []transcript.Word, sure bool, err error) {
	g := *h // what a guess makes of the speaker's pace is forgotten
	g.Recognizer = &Recognizer{h.dec, h.opts}
	g.opts.Observe = func(Event) {}
	g.ctx = ctx
	g.begin(t)
	var got []transcript.Word
	switch {
	case thorough || lengthOf(g.voice.within(t.Start, t.End)) < leastGap:
		got, err = g.hear(t.piece, 0)
		sure = true
	default:
		var a attempt
		a, err = g.try(t.piece, g.terms, g.opts.Beam)
		sure = a.fine() && a.uncovered == 0
		if !a.loop && !a.noise && !a.phrase {
			got = a.words
		}
	}
	if err != nil {
		return nil, false, fmt.Errorf("decode speech at %.0f s: %w", t.Start, err)
	}
	return g.join(got), sure, nil
}

func (h *hearing) begin(t task) {
	h.task = t
	h.terms = bareTerms(h.vocab(h.words))
}

// join gives the words so far with those of the piece after them; it changes
// neither.
func (h *hearing) join(got []transcript.Word) []transcript.Word {
	cut := math.NaN()
	if h.heard > 0 {
		cut = h.cutStart
	}
	return joinSeam(slices.Clip(h.words), got, cut)
}

// decode asks the decoder, unless it has answered the very same before.
func (h *hearing) decode(p piece, req Request) (Decoded, error) {
	if err := h.ctx.Err(); err != nil {
		return Decoded{}, err
	}
	from, to := span(p.Interval)
	q := asked{from, to, req}
	if d, ok := h.asked[q]; ok {
		return d, nil
	}
	d, err := h.dec.Decode(h.ctx, h.sound(p), req)
	if err != nil {
		return Decoded{}, err
	}
	h.asked[q] = d
	return d, nil
}
