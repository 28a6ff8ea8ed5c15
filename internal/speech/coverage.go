package speech

import (
	"unicode/utf8"

	"bedsaid/internal/transcript"
)

const (
	// leastGap is the shortest voiced stretch that must have a word of its own.
	leastGap = 0.3
	// openGap is the longest stretch between words, or at the edge of one, that
	// needs none: breath, hesitation, times that are not exact.
	openGap = 1.0
	// reach is how far a word's time may be off.
	reach = 0.35
)

// believed is the part of a word's interval that it can fill: an engine that has
// dropped a passage stretches the word beside it, and that covers nothing.
func believed(w transcript.Word) transcript.Interval {
	longest := max(1.2, 0.3+0.12*float64(utf8.RuneCountInString(w.Text)))
	return transcript.Interval{Start: w.Start - reach, End: min(w.End, w.Start+longest) + reach}
}

// uncovered gives the voiced stretches without words: whole intervals that no
// word touches, and longer stretches within or at the edge of others.
func uncovered(words []transcript.Word, voiced []transcript.Interval) []transcript.Interval {
	var out []transcript.Interval
	k := 0
	for _, iv := range voiced {
		for k > 0 && believed(words[k-1]).End > iv.Start {
			k--
		}
		for k < len(words) && believed(words[k]).End <= iv.Start {
			k++
		}
		at, touched := iv.Start, false
		var gaps []transcript.Interval
		for ; k < len(words); k++ {
			b := believed(words[k])
			if b.Start >= iv.End {
				break
			}
			touched = true
			if b.Start > at {
				gaps = append(gaps, transcript.Interval{Start: at, End: b.Start})
			}
			at = max(at, b.End)
		}
		if at < iv.End {
			gaps = append(gaps, transcript.Interval{Start: at, End: iv.End})
		}
		least := openGap
		if !touched {
			least = leastGap
		}
		for _, g := range gaps {
			if g.End-g.Start >= least {
				out = append(out, g)
			}
		}
	}
	return out
}

// joinNear joins stretches that are less than a second apart.
func joinNear(ivs []transcript.Interval) []transcript.Interval {
	var out []transcript.Interval
	for _, iv := range ivs {
		if n := len(out); n > 0 && iv.Start-out[n-1].End < 1 {
			out[n-1].End = max(out[n-1].End, iv.End)
			continue
		}
		out = append(out, iv)
	}
	return out
}

// widen lets a reported stretch reach from the likely end of the word before it
// to the start of the word after it: next to dropped speech an engine's times are
// stretched, and whoever listens must not begin too late.
func widen(gaps []transcript.Interval, words []transcript.Word, v voice) []transcript.Interval {
	var out []transcript.Interval
	for _, g := range gaps {
		from, to := 0.0, g.End+longestBreath
		for _, w := range words {
			likely := min(w.End, w.Start+0.3+0.05*float64(utf8.RuneCountInString(w.Text)))
			switch mid := (g.Start + g.End) / 2; {
			case w.Start < mid:
				from = max(from, likely)
			default:
				to = min(to, w.Start)
			}
		}
		wide := transcript.Interval{Start: min(g.Start, max(from, g.Start-longestBreath)), End: max(g.End, to)}
		for _, iv := range v.within(wide.Start, wide.End) {
			if iv.End > g.Start-longestBreath && iv.Start < g.End+longestBreath {
				out = append(out, iv)
			}
		}
	}
	return out
}

// longestBreath bounds how far a reported stretch is widened, in seconds.
const longestBreath = 1.2
