package speech

import (
	"context"
	"fmt"
	"math"
	"slices"

	"bedsaid/internal/audio"
	"bedsaid/internal/transcript"
)

// Vocabulary gives the trade's terms that may come next, the most important
// first, after the words heard so far. Terms that name a side, a number, a
// negation or a normal state are not used. It must be a pure function.
type Vocabulary func(heard []transcript.Word) []string

// Progress says how far recognition has come, in seconds of the recording.
type Progress struct{ Done, Total float64 }

// EventKind says what happened to a piece.
type EventKind int

// The kinds of events.
const (
	EventUnknown  EventKind = iota
	EventAgain              // decoded again
	EventSplit              // cut in two and decoded again
	EventRefill             // a gap in it decoded by itself
	EventDropped            // a phrase that silence brings forth was dropped
	EventRejected           // given up: nothing of it is in the text
)

// Event tells an observer what the recognizer did about a doubtful piece. It
// holds no words.
type Event struct {
	Kind EventKind
	// Start and End are seconds of the recording.
	Start, End float64
	Why        string
}

// Options are the recognizer's settings; the zero value is what ships.
type Options struct {
	// PieceSeconds is the wished length of a piece, 5 to 26; 0 is the default.
	PieceSeconds float64
	// Beam is the beam width of the first decoding; 0 or 1 is greedy.
	Beam int
	// Observe, where not nil, is told of every doubtful piece.
	Observe func(Event)
}

// Recognizer turns a recording into a transcript. It is used by one goroutine at
// a time, as its Decoder is. The same clip gives the same transcript.
type Recognizer struct {
	dec  Decoder
	opts Options
}

// New makes a Recognizer.
func New(dec Decoder, opts Options) *Recognizer {
	if opts.PieceSeconds == 0 {
		opts.PieceSeconds = aimPiece
	}
	opts.PieceSeconds = min(max(opts.PieceSeconds, 5), longestPiece-2)
	if opts.Observe == nil {
		opts.Observe = func(Event) {}
	}
	return &Recognizer{dec: dec, opts: opts}
}

const (
	// beamAgain is the beam width of second decodings.
	beamAgain = 5
	// deepest is how often a piece may be cut again.
	deepest = 2
	// shortestHalf is the length, in seconds, below which a piece is not cut.
	shortestHalf = 4.0
)

// Recognize hears a clip. vocab and progress may be nil. Voiced stretches for
// which no trustworthy words were found are in Recording.Untranscribed; an error
// is the decoder's or the context's, and then there is no transcript.
func (r *Recognizer) Recognize(ctx context.Context, clip *audio.Clip, vocab Vocabulary, progress func(Progress)) (transcript.Transcript, error) {
	if progress == nil {
		progress = func(Progress) {}
	}
	total := clip.Seconds()
	e := newEar(r.opts.PieceSeconds)
	h := newHearing(ctx, r, vocab)
	for at := 0; ; at += audio.Rate {
		if err := ctx.Err(); err != nil {
			return transcript.Transcript{}, fmt.Errorf("find voice: %w", err)
		}
		if at >= clip.Len() {
			e.end()
		} else {
			e.add(clip.Samples(at, at+audio.Rate))
		}
		for _, t := range e.take() {
			progress(Progress{t.Start, total})
			if err := h.settle(t); err != nil {
				return transcript.Transcript{}, err
			}
		}
		if at >= clip.Len() {
			break
		}
	}
	progress(Progress{total, total})
	return account(h.words, e.finder.voice, total), nil
}

// account makes the transcript of what was heard of a recording and reports the
// voice in it that gave no words.
func account(words []transcript.Word, v voice, total float64) transcript.Transcript {
	words = saneTimes(words, 0, total)
	return transcript.Transcript{Words: words, Timed: true, Recording: &transcript.Recording{
		Seconds:       total,
		VoicedSeconds: lengthOf(v.intervals),
		Untranscribed: joinNear(widen(uncovered(words, v.intervals), words, v)),
	}}
}

// attempt is one decoding with what speaks against it.
type attempt struct {
	Decoded
	words []transcript.Word
	verdict
}

func (h *hearing) try(p piece, terms []string, beam int) (attempt, error) {
	d, err := h.decode(p, Request{Prompt: promptText(terms), Beam: beam})
	if err != nil {
		return attempt{}, err
	}
	a := attempt{Decoded: d, words: toWords(d.Tokens, p)}
	a.words = h.timed(h.withoutTail(a.words), p)
	voiced := h.voice.within(p.Start, p.End)
	a.verdict = judge(d, a.words, voiced, terms)
	a.sparse = a.sparse || lengthOf(voiced) > 3 && !h.pace.fills(a.words, voiced)
	return a, nil
}

// timed lays words out over the voice where they are enough to fill it.
func (h *hearing) timed(words []transcript.Word, p piece) []transcript.Word {
	if !h.pace.fills(words, h.voice.within(p.Start, p.End)) {
		return words
	}
	return h.voice.align(words, p.Start, p.End)
}

// withoutTail drops a stock phrase at the end whose words lie where there is no
// voice at all.
func (h *hearing) withoutTail(words []transcript.Word) []transcript.Word {
	for k := max(0, len(words)-8); k < len(words); k++ {
		if stockPhrase(normals(words[k:])) && len(h.voice.within(words[k].Start-0.2, words[len(words)-1].End+0.2)) == 0 {
			return words[:k]
		}
	}
	return words
}

func (h *hearing) tell(kind EventKind, p piece, why string) {
	h.opts.Observe(Event{kind, p.Start, p.End, why})
}

// hear gives the words of a piece that can be trusted, which may be none.
func (h *hearing) hear(p piece, depth int) ([]transcript.Word, error) {
	voiced := h.voice.within(p.Start, p.End)
	if lengthOf(voiced) < leastGap {
		return nil, nil // nothing is decoded where nobody speaks
	}
	a, err := h.try(p, h.terms, h.opts.Beam)
	if err != nil {
		return nil, err
	}
	if a.fine() {
		h.pace.words += spokenAll(a.words)
		h.pace.voice += lengthOf(voiced)
		return h.refill(p, a, depth) // what would be reported is asked once more
	}
	if a.noise {
		h.tell(EventRejected, p, "the engine hears no speech and makes it up")
		return nil, nil
	}
	if a.loop || a.hasty || a.echo {
		if a, err = h.unprompted(p, a); err != nil {
			return nil, err
		}
	}
	if a.loop {
		return h.split(p, depth)
	}
	if a.sparse || a.guess {
		h.tell(EventAgain, p, "voice without words, or words the engine doubts")
		b, err := h.try(p, nil, beamAgain)
		if err != nil {
			return nil, err
		}
		if better(b, a) {
			b.words = withFirst(b.words, a.words)
			a = b
		}
	}
	if a.noise || len(a.words) > 0 && a.AvgLogProb < hopeless {
		h.tell(EventRejected, p, "the engine makes it up")
		return nil, nil
	}
	if a.phrase {
		h.tell(EventDropped, p, "a phrase that silence brings forth")
		return nil, nil
	}
	return h.refill(p, a, depth)
}

// unprompted decodes a piece again without the prompt, and gives the attempt to
// believe; its verdict is a loop where neither can be believed.
func (h *hearing) unprompted(p piece, a attempt) (attempt, error) {
	why := "more words than the time holds"
	switch {
	case a.loop:
		why = "it repeats itself"
	case a.echo:
		why = "it may be the prompt's words"
	}
	h.tell(EventAgain, p, why)
	b, err := h.try(p, nil, 0)
	if err != nil {
		return attempt{}, err
	}
	switch {
	case a.loop:
	case b.loop:
		// The first one stands only if it was doubted for its haste or echo alone,
		// and nothing vouches for it now.
		return b, nil
	case a.echo:
		// The prompt's words count where they are heard without it too.
		if agree(a.words, b.words) {
			a.echo = false
			return a, nil
		}
	case a.hasty && agree(a.words, b.words):
		a.hasty = false // a fast speaker
		return a, nil
	case b.hasty:
		b.loop = true // two different texts, both too long
	}
	if !a.loop { // what goes round in circles is no wording
		b.words = withFirst(b.words, a.words)
	}
	return b, nil
}

// better says whether b is to be preferred to a: no loop, then more of the voice
// covered, then the likelier.
func better(b, a attempt) bool {
	if b.loop || b.hasty || b.phrase != a.phrase {
		return !b.loop && !b.hasty && !b.phrase
	}
	if d := a.uncovered - b.uncovered; math.Abs(d) > 0.5 {
		return d > 0
	}
	return b.AvgLogProb > a.AvgLogProb
}

// split decodes a piece in halves, or gives it up.
func (h *hearing) split(p piece, depth int) ([]transcript.Word, error) {
	if depth >= deepest || p.End-p.Start < shortestHalf {
		h.tell(EventRejected, p, "it repeats itself")
		return nil, nil
	}
	h.tell(EventSplit, p, "it repeats itself")
	x, y := p.halves(h.voice)
	a, err := h.hear(x, depth+1)
	if err != nil {
		return nil, err
	}
	b, err := h.hear(y, depth+1)
	if err != nil {
		return nil, err
	}
	return joinSeam(a, b, y.cutStart), nil
}

// refill decodes each long stretch of voice without words by itself.
func (h *hearing) refill(p piece, a attempt, depth int) ([]transcript.Word, error) {
	words := a.words
	if depth >= deepest || a.uncovered == 0 {
		return words, nil
	}
	for _, gap := range joinNear(uncovered(words, h.voice.within(p.Start, p.End))) {
		if gap.End-gap.Start < openGap || gap.End-gap.Start > 0.8*(p.End-p.Start) {
			continue
		}
		k := 0
		for k < len(words) && words[k].Start < gap.Start {
			k++
		}
		// With the two words on either side, so that no word is cut and the place in
		// the text is known though times stray.
		sub := piece{gap, math.NaN(), math.NaN()}
		before, after := words[max(0, k-2):k], words[k:min(k+2, len(words))]
		if sub.Start -= 0.2; k > 0 && words[k-1].End > gap.Start-2*reach {
			sub.Start = min(sub.Start, max(before[0].Start, words[k-1].Start-openGap)-0.05)
		} else {
			before = nil
		}
		if sub.End += 0.2; k < len(words) && words[k].Start < gap.End+2*reach {
			sub.End = max(sub.End, min(after[len(after)-1].End, words[k].End+openGap)+0.05)
		} else {
			after = nil
		}
		sub.Start, sub.End = max(p.Start, sub.Start), min(p.End, sub.End)
		h.tell(EventRefill, sub, "voice without words")
		got, err := h.hear(sub, depth+1)
		if err != nil {
			return nil, err
		}
		got = withoutDoubles(before, got, after)
		if len(got) == 0 {
			continue
		}
		if at := saidBeside(words, k, got); at >= 0 {
			// The words that were thought missing stand beside the gap: they were
			// laid out over the wrong sound. Heard by themselves they have the time.
			for i, w := range got {
				words[at+i].Start, words[at+i].End = w.Start, w.End
			}
			words = saneTimes(words, p.Start, p.End)
			continue
		}
		// A stretched neighbour gives back the time that was not its own.
		if k > 0 {
			words[k-1].End = min(words[k-1].End, max(words[k-1].Start, got[0].Start))
		}
		words = saneTimes(slices.Concat(words[:k], got, words[k:]), p.Start, p.End)
	}
	return h.timed(words, p), nil
}

// saidBeside finds a run of words, next to the gap before word k, that says what
// was heard in the gap; -1 where there is none. One or two words may well have
// been said twice.
func saidBeside(words []transcript.Word, k int, got []transcript.Word) int {
	if len(got) < 3 {
		return -1
	}
	all, said := normals(words), normals(got)
	for at := max(0, k-len(got)-2); at <= k+2 && at+len(got) <= len(words); at++ {
		if slices.Equal(all[at:at+len(got)], said) {
			return at
		}
	}
	return -1
}

// withoutDoubles leaves out of got what it says of its neighbours, which were
// heard with it: the same words, or what was made of the neighbours' sound.
func withoutDoubles(before, got, after []transcript.Word) []transcript.Word {
	got = got[doubled(before, got, func(w, beside transcript.Word) bool {
		return middle(w) < min(beside.End, beside.Start+spokenSeconds(beside.Text))
	}):]
	// The same from the other end.
	got, after = backwards(got), backwards(after)
	got = got[doubled(after, got, func(w, beside transcript.Word) bool {
		return middle(w) > max(beside.Start, beside.End-spokenSeconds(beside.Text))
	}):]
	return backwards(got)
}

// doubled says how many words at the start of got are those at the end of beside.
// Words decide; where got says none of them, times do: said tells whether a word
// was made of the sound of another.
func doubled(beside, got []transcript.Word, said func(w, beside transcript.Word) bool) int {
	if len(beside) == 0 {
		return 0
	}
	last := beside[len(beside)-1]
	for i := range beside {
		for n := range min(len(got), len(beside)+1) {
			if w := beside[len(beside)-1-i]; normal(got[n].Text) != normal(w.Text) {
				continue
			}
			// What follows it stands for the words after it.
			n++
			for ; i > 0 && n < len(got) && said(got[n], last); i-- {
				n++
			}
			return n
		}
	}
	if len(got) > 0 && said(got[0], last) {
		return 1
	}
	return 0
}

func middle(w transcript.Word) float64 { return (w.Start + w.End) / 2 }

func backwards(words []transcript.Word) []transcript.Word {
	words = slices.Clone(words)
	slices.Reverse(words)
	return words
}
