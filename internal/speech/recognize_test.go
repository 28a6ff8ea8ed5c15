package speech

import (
	"context"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"bedsaid/internal/audio"
	"bedsaid/internal/audio/audiotest"
	"bedsaid/internal/transcript"
)

// world is a recording whose words are known: each is a stretch of something
// like a voice, so that a scripted decoder can tell what lies in a piece.
type world struct {
	samples []float32
	words   []transcript.Word
	heard   []float32 // samples as the clip gives them back
}

// newWorld makes sentences of words of 0.35 s, with pauses between them as given
// in turn (0: the talk goes on), until it is seconds long.
func newWorld(seconds float64, sentence int, pauses ...float64) *world {
	w := &world{samples: audiotest.White(99, int(seconds*audio.Rate), 1e-4)}
	t, n := 0.5, 0
	for k := 0; ; k++ {
		length := 0.4 * float64(sentence)
		if t+length > seconds-0.5 {
			break
		}
		from := int(t * audio.Rate)
		for i, s := range audiotest.Babbled(uint64(k), int(length*audio.Rate), 0.05) {
			w.samples[from+i] += s
		}
		for range sentence {
			text := invented(n)
			w.words = append(w.words, transcript.Word{Text: text, Start: t, End: t + 0.35, P: 0.9})
			t, n = t+0.4, n+1
		}
		t += pauses[k%len(pauses)]
	}
	return w
}

func (w *world) clip() *audio.Clip {
	clip := audio.FromSamples(w.samples)
	w.heard = clip.Samples(0, clip.Len())
	return clip
}

// find tells where a stretch of the clip begins, or -1. There is faint noise
// everywhere, so no two places are the same.
func (w *world) find(samples []float32) int {
	n := min(64, len(samples))
	for i := range w.heard {
		if w.heard[i] == samples[0] && i+n <= len(w.heard) && slices.Equal(w.heard[i:i+n], samples[:n]) {
			return i
		}
	}
	return -1
}

// invented makes a word of three syllables for a number; no two are the same.
func invented(n int) string {
	const consonants, vowels = "bdfgklmnprstvz", "aeiou"
	var b strings.Builder
	for n = n*7919 + 100003; b.Len() < 6; n /= 5 {
		b.WriteByte(consonants[n%len(consonants)])
		n /= len(consonants)
		b.WriteByte(vowels[n%len(vowels)])
	}
	return b.String()
}

// fake decodes a world rightly, then lets fault spoil it.
type fake struct {
	t      *testing.T
	w      *world
	fault  func(p transcript.Interval, req Request, d *Decoded) (bool, error)
	calls  []transcript.Interval
	spoilt int
	reqs   []Request
}

func (f *fake) Decode(ctx context.Context, samples []float32, req Request) (Decoded, error) {
	if err := ctx.Err(); err != nil {
		return Decoded{}, err
	}
	if len(samples) > 29*audio.Rate || len(samples) < 8 {
		f.t.Errorf("asked to decode %d samples", len(samples))
	}
	i := f.w.find(samples)
	if i < 0 {
		f.t.Fatal("asked to decode sound that is not in the recording")
	}
	p := transcript.Interval{Start: float64(i) / audio.Rate, End: float64(i+len(samples)) / audio.Rate}
	f.calls, f.reqs = append(f.calls, p), append(f.reqs, req)
	d := Decoded{AvgLogProb: -0.2, NoSpeech: 0.01}
	for _, w := range f.w.words {
		if mid := (w.Start + w.End) / 2; mid > p.Start && mid < p.End {
			half := len(w.Text) / 2
			d.Tokens = append(d.Tokens,
				Token{" " + w.Text[:half], w.Start - p.Start, w.Start - p.Start + 0.2, 0.95},
				Token{w.Text[half:], w.Start - p.Start + 0.2, w.End - p.Start, 0.9})
		}
	}
	if f.fault != nil {
		spoilt, err := f.fault(p, req, &d)
		if spoilt {
			f.spoilt++
		}
		if err != nil {
			return Decoded{}, err
		}
	}
	return d, nil
}

// dropTokens takes out the words that begin in [from, to) of the recording; each
// is two tokens.
func dropTokens(d *Decoded, p transcript.Interval, from, to float64) bool {
	var kept []Token
	for i := 0; i+1 < len(d.Tokens); i += 2 {
		if at := p.Start + d.Tokens[i].Start; at < from || at >= to {
			kept = append(kept, d.Tokens[i:i+2]...)
		}
	}
	spoilt := len(kept) < len(d.Tokens)
	d.Tokens = kept
	return spoilt
}

func loopTokens(d *Decoded) {
	d.Tokens = nil
	for i := range 70 {
		d.Tokens = append(d.Tokens, Token{" no clavicle,"[:3+(i%2)*10], float64(i) * 0.1, float64(i)*0.1 + 0.1, 0.9})
	}
	d.HitLimit = true
}

func vocabulary([]transcript.Word) []string {
	return []string{"sclera", "tympanic membrane", "trachea", "bruit", "nystagmus", "left ear", "normal", "two plus", "occiput", "no masses"}
}

type outcome struct {
	transcript.Transcript
	*fake
	events []Event
}

func (o outcome) count(kind EventKind) int {
	n := 0
	for _, e := range o.events {
		if e.Kind == kind {
			n++
		}
	}
	return n
}

func run(t *testing.T, w *world, fault func(transcript.Interval, Request, *Decoded) (bool, error)) outcome {
	t.Helper()
	f := &fake{t: t, w: w, fault: fault}
	var events []Event
	r := New(f, Options{Observe: func(e Event) { events = append(events, e) }})
	got, err := r.Recognize(t.Context(), w.clip(), vocabulary, nil)
	if err != nil {
		t.Fatal(err)
	}
	if fault != nil && f.spoilt == 0 {
		t.Fatal("no fault was injected")
	}
	last := 0.0
	for i, word := range got.Words {
		if word.Start < last || word.End < word.Start || word.End > got.Recording.Seconds || word.P < 0 || word.P > 1 || word.Text == "" {
			t.Fatalf("word %d from %v to %v after %v, probability %v", i, word.Start, word.End, last, word.P)
		}
		last = word.Start
	}
	if !got.Timed || got.Recording == nil || got.Recording.VoicedSeconds <= 0 {
		t.Fatalf("recording %+v", got.Recording)
	}
	return outcome{got, f, events}
}

// wantWords checks that the text is the world's words but for those between
// lostFrom and lostTo, in which case that stretch must be reported.
func (o outcome) wantWords(t *testing.T, lostFrom, lostTo float64) {
	t.Helper()
	var want []string
	lost := 0.0
	for _, w := range o.w.words {
		if w.Start < lostFrom || w.Start >= lostTo {
			want = append(want, w.Text)
		} else {
			lost += 0.4
		}
	}
	var got []string
	for _, w := range o.Words {
		got = append(got, w.Text)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("heard %d words, want %d\ngot  %v\nwant %v", len(got), len(want), got, want)
	}
	if lostTo <= lostFrom {
		if len(o.Recording.Untranscribed) > 0 {
			t.Errorf("reported as not transcribed: %v", o.Recording.Untranscribed)
		}
		return
	}
	var reported, beyond float64
	for _, iv := range o.Recording.Untranscribed {
		in := overlap(iv, transcript.Interval{Start: lostFrom, End: lostTo})
		reported += in
		beyond += iv.End - iv.Start - in
	}
	if reported < 0.6*lost || beyond > 1.5 {
		t.Errorf("lost %.1f to %.1f, reported %v", lostFrom, lostTo, o.Recording.Untranscribed)
	}
}

func TestHearsAllWords(t *testing.T) {
	w := newWorld(150, 8, 0.5, 0.5, 0.9, 0.4, 12)
	o := run(t, w, nil)
	o.wantWords(t, 0, 0)
	for i, got := range o.Words {
		if math.Abs(got.Start-w.words[i].Start) > 0.25 || math.Abs(got.End-w.words[i].End) > 0.25 {
			t.Errorf("%s at %.2f-%.2f, is at %.2f-%.2f", got.Text, got.Start, got.End, w.words[i].Start, w.words[i].End)
		}
		if got.P != 0.9 {
			t.Errorf("%s has probability %v, want that of its worst token", got.Text, got.P)
		}
	}
	if len(o.events) != 0 {
		t.Errorf("events %v", o.events)
	}
	var heard float64
	for _, c := range o.calls {
		heard += c.End - c.Start
	}
	if len(o.calls) < 5 || heard > 1.35*o.Recording.VoicedSeconds {
		t.Errorf("%d pieces, %.1f s, for %.1f s of voice: silence was decoded", len(o.calls), heard, o.Recording.VoicedSeconds)
	}
	for _, req := range o.reqs {
		if req.Prompt != "occiput, nystagmus, bruit, trachea, tympanic membrane, sclera." || req.Beam > 1 {
			t.Errorf("request %+v", req)
		}
	}
	again := run(t, w, nil)
	if !reflect.DeepEqual(again.Transcript, o.Transcript) {
		t.Error("the same recording gave another transcript")
	}
}

// TestTalkWithoutPause cuts within speech: no word lost, none doubled.
func TestTalkWithoutPause(t *testing.T) {
	for _, seconds := range []float64{35, 90} {
		o := run(t, newWorld(seconds, 1, 0), nil)
		if len(o.calls) < 2 {
			t.Errorf("%d pieces", len(o.calls))
		}
		o.wantWords(t, 0, 0)
	}
}
