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

// Stage says what the recognizer is at.
type Stage int

// The stages of recognition.
const (
	StageUnknown Stage = iota
	StageVoice         // looking for the voice
	StageDecode        // decoding
)

// Progress says how far recognition has come.
type Progress struct {
	Stage Stage
	// Done and Total are seconds of the recording.
	Done, Total float64
}

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
	progress(Progress{StageVoice, 0, total})
	voice, err := FindVoice(ctx, clip)
	if err != nil {
		return transcript.Transcript{}, fmt.Errorf("find voice: %w", err)
	}
	h := hearing{Recognizer: r, ctx: ctx, clip: clip, voice: voice}
	pieces := planPieces(voice, total, r.opts.PieceSeconds)
	var words []transcript.Word
	for i, p := range pieces {
		progress(Progress{StageDecode, p.Start, total})
		h.terms = nil
		if vocab != nil {
			h.terms = bareTerms(vocab(words))
		}
		got, err := h.hear(p, 0)
		if err != nil {
			return transcript.Transcript{}, fmt.Errorf("decode speech at %.0f s: %w", p.Start, err)
		}
		cut := math.NaN()
		if i > 0 {
			cut = p.cutStart
		}
		words = joinSeam(words, got, cut)
	}
	progress(Progress{StageDecode, total, total})
	words = saneTimes(words, 0, total)
	return transcript.Transcript{Words: words, Timed: true, Recording: &transcript.Recording{
		Seconds:       total,
		VoicedSeconds: voice.Seconds(),
		Untranscribed: joinNear(widen(uncovered(words, voice.Intervals), words, voice)),
	}}, nil
}

// hearing is the work on one clip.
type hearing struct {
	*Recognizer
	ctx   context.Context
	clip  *audio.Clip
	voice Voice
	terms []string
	pace  pace
}

// attempt is one decoding with what speaks against it.
type attempt struct {
	Decoded
	words []transcript.Word
	verdict
}

func (h *hearing) try(p piece, terms []string, beam int) (attempt, error) {
	if err := h.ctx.Err(); err != nil {
		return attempt{}, err
	}
	d, err := h.dec.Decode(h.ctx, p.samples(h.clip), Request{Prompt: promptText(terms), Beam: beam})
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
		// With the whole of the word on either side, so that no word is cut.
		sub := piece{gap, math.NaN(), math.NaN()}
		before, after := words[:k], words[k:]
		if sub.Start -= 0.2; k > 0 && words[k-1].End > gap.Start-2*reach {
			sub.Start = min(sub.Start, words[k-1].Start-0.05)
		} else {
			before = nil
		}
		if sub.End += 0.2; k < len(words) && words[k].Start < gap.End+2*reach {
			sub.End = max(sub.End, words[k].End+0.05)
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
// heard with it: the same word, or what was made of the neighbour's sound.
func withoutDoubles(before, got, after []transcript.Word) []transcript.Word {
	middle := func(w transcript.Word) float64 { return (w.Start + w.End) / 2 }
	if len(before) > 0 && len(got) > 0 {
		last := before[len(before)-1]
		if normal(got[0].Text) == normal(last.Text) || middle(got[0]) < min(last.End, last.Start+spokenSeconds(last.Text)) {
			got = got[1:]
		}
	}
	if len(after) > 0 && len(got) > 0 {
		first, end := after[0], got[len(got)-1]
		if normal(end.Text) == normal(first.Text) || middle(end) > max(first.Start, first.End-spokenSeconds(first.Text)) {
			got = got[:len(got)-1]
		}
	}
	return got
}
