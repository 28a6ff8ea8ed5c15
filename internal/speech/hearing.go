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

// guess hears a piece that may still grow as settle would, and gives all words so
// far with its own at the end. Nothing that settle does depends on it, but what the
// decoder answered is kept: a piece that did not grow is not decoded twice.
func (h *hearing) guess(ctx context.Context, t task) ([]transcript.Word, error) {
	g := h.aside(ctx, t)
	got, err := g.hear(t.piece, 0)
	if err != nil {
		return nil, fmt.Errorf("decode speech at %.0f s: %w", t.Start, err)
	}
	return g.join(got), nil
}

// glance hears no more of a piece that may still grow than the end of it, and that
// briefly. so is what was known before, up to upTo seconds; it gives the same with
// what was said since.
func (h *hearing) glance(ctx context.Context, t task, so []transcript.Word, upTo float64) ([]transcript.Word, error) {
	g := h.aside(ctx, t)
	p := t.since(upTo)
	if lengthOf(g.voice.within(p.Start, p.End)) < leastGap {
		return so, nil
	}
	d, err := g.decode(p, Request{Prompt: promptText(g.terms), Brief: true})
	if err != nil {
		return nil, fmt.Errorf("decode speech at %.0f s: %w", p.Start, err)
	}
	words := g.voice.align(g.withoutTail(toWords(d.Tokens, p)), p.Start, p.End)
	if v := judge(d, words, g.voice.within(p.Start, p.End), g.terms); v.loop || v.noise || v.phrase || v.echo {
		words = nil
	}
	if p.Start == t.Start {
		return g.join(words), nil
	}
	return slices.Concat(before(so, p.Start), words), nil
}

// since is the end of a piece: what was said after upTo seconds, and whole
// stretches of voice before it so far as glanceSeconds reach.
func (t task) since(upTo float64) piece {
	p := t.piece
	for i, iv := range t.voice.intervals {
		if i > 0 && t.End-iv.Start <= glanceSeconds || iv.Start >= upTo {
			if i > 0 {
				p.Start, p.cutStart = iv.Start-min(piecePad, (iv.Start-t.voice.intervals[i-1].End)/2), math.NaN()
			}
			break
		}
	}
	return p
}

// glanceSeconds is how much is heard again when a little was added.
const glanceSeconds = 8.0

// before gives the words whose middle lies before a time.
func before(words []transcript.Word, seconds float64) []transcript.Word {
	n := len(words)
	for n > 0 && middle(words[n-1]) >= seconds {
		n--
	}
	return words[:n]
}

// aside is a hearing of a task that leaves no trace but what the decoder answered.
func (h *hearing) aside(ctx context.Context, t task) *hearing {
	g := *h
	g.Recognizer = &Recognizer{h.dec, h.opts}
	g.opts.Observe = func(Event) {}
	g.ctx = ctx
	g.begin(t)
	return &g
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
