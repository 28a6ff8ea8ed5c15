package speech

import (
	"math"
	"strings"
	"unicode"

	"bedsaid/internal/transcript"
)

// An engine's word times drift by more than a second around pauses. So words are
// laid out over the voice: the cheapest layout in which each word takes about the
// time its letters need, pauses fall on silence and rather after punctuation,
// voice is covered, and words stay near where the engine had them. A passage that
// the engine dropped stays uncovered: stretching words over it costs more. The
// prices were tried on four synthetic recordings (docs/speech.md). Where the words
// are too few for the voice, the engine's times stand, so that the gap shows.
const (
	priceSilence = 6.0 // a second of silence within a word
	priceVoice   = 2.0 // a second of voice between words
	pricePause   = 2.0 // a second of silence between words without punctuation
	priceMoved   = 0.1 // a second away from the engine's time, up to movedMost
	movedMost    = 2.5
	stiffness    = 6.0 // of a word against being stretched or pressed
	longestWord  = 1.6 // seconds
)

// align gives words times that fit the voice between from and to.
func (v voice) align(words []transcript.Word, from, to float64) []transcript.Word {
	if len(words) == 0 {
		return words
	}
	first := max(int(from/hopSeconds), v.first)
	frames := min(int(math.Ceil(to/hopSeconds)), v.first+len(v.score)) - first
	if frames < 2*len(words) {
		return words
	}
	// voiced[t] is the voice, in seconds, in the first t frames.
	voiced := make([]float64, frames+1)
	for t := range frames {
		x := min(max((float64(v.score[first+t-v.first])-1)/(scoreStart-1), 0), 1)
		voiced[t+1] = voiced[t] + x*hopSeconds
	}
	silent := func(t int) float64 { return float64(t)*hopSeconds - voiced[t] }

	const none = math.MaxFloat64 / 4
	type back struct{ length, gapFrom int16 }
	cost := make([]float64, frames+1) // of the words so far, the last ending at t
	for t := range cost {
		cost[t] = priceVoice * voiced[t]
	}
	backs := make([][]back, len(words))
	starts := make([]float64, frames+1)
	origin := make([]int16, frames+1)
	next := make([]float64, frames+1)
	for i, w := range words {
		// The cheapest way to be silent until t and begin word i there.
		pause := pricePause
		if i == 0 || strings.ContainsAny(words[i-1].Text[len(words[i-1].Text)-1:], ".,;:?!") {
			pause = 0
		}
		best, at := math.Inf(1), 0
		for t := 0; t <= frames; t++ {
			base := priceVoice*voiced[t] + pause*silent(t)
			if c := cost[t] - base; i > 0 && c < best {
				best, at = c, t
			}
			if i == 0 {
				starts[t], origin[t] = cost[t], int16(t)
			} else {
				starts[t], origin[t] = best+base, int16(at)
			}
			moved := math.Abs(float64(first+t)*hopSeconds - w.Start)
			starts[t] += priceMoved * min(moved, movedMost)
		}
		want := spokenSeconds(w.Text)
		shortestLen, longestLen := max(2, int(0.4*want/hopSeconds)), int(min(max(2.5*want, 0.4), longestWord)/hopSeconds)
		backs[i] = make([]back, frames+1)
		for t := range next {
			next[t] = none
			for l := shortestLen; l <= min(longestLen, t); l++ {
				d := float64(l)*hopSeconds - want
				c := starts[t-l] + stiffness*d*d/want + priceSilence*(silent(t)-silent(t-l))
				if c < next[t] {
					next[t], backs[i][t] = c, back{int16(l), origin[t-l]}
				}
			}
		}
		cost, next = next, cost
	}
	end, best := 0, math.Inf(1)
	for t, c := range cost {
		if c += priceVoice * (voiced[frames] - voiced[t]); c < best {
			end, best = t, c
		}
	}
	if best >= none {
		return words
	}
	out := append([]transcript.Word(nil), words...)
	for i := len(out) - 1; i >= 0; i-- {
		b := backs[i][end]
		out[i].Start = max(from, float64(first+end-int(b.length))*hopSeconds)
		out[i].End = min(to, float64(first+end)*hopSeconds)
		end = int(b.gapFrom)
	}
	return out
}

// enough is the share of the voice that the words must fill by their own length.
const enough = 0.7

// pace is how a speaker's words compare with spokenSeconds, from what has been
// heard of her so far; 20 seconds of an average speaker to begin with.
type pace struct{ words, voice float64 }

func (p pace) fills(words []transcript.Word, voiced []transcript.Interval) bool {
	usual := min(max((p.words+20)/(p.voice+20), 0.6), 1.5)
	return spokenAll(words) >= enough*usual*lengthOf(voiced)
}

func spokenAll(words []transcript.Word) float64 {
	var sum float64
	for _, w := range words {
		sum += spokenSeconds(w.Text)
	}
	return sum
}

// spokenSeconds is about how long a word takes to say: its letters, a digit
// counted as a word. (Common practice, no source; the layout only needs ratios.)
func spokenSeconds(text string) float64 {
	seconds := 0.08
	for _, r := range text {
		switch {
		case unicode.IsDigit(r), strings.ContainsRune("+%°&", r):
			seconds += 0.26
		case unicode.IsLetter(r):
			seconds += 0.055
		}
	}
	return seconds
}
