package speech

import (
	"math"
	"strings"
	"unicode"

	"bedsaid/internal/transcript"
)

// toWords joins tokens to words with times in the recording. Punctuation goes
// with the word before it; marks of sounds that are no speech, such as
// "[BLANK_AUDIO]" or "(coughs)", are left out.
func toWords(tokens []Token, p piece) []transcript.Word {
	var words []transcript.Word
	var inMark rune
	for _, tok := range tokens {
		text := strings.ToValidUTF8(tok.Text, "")
		text, inMark = withoutMarks(text, inMark)
		trimmed := strings.TrimSpace(text)
		if trimmed == "" {
			continue
		}
		w := transcript.Word{Text: trimmed, Start: p.Start + tok.Start, End: p.Start + tok.End, P: tok.P}
		if !(w.P >= 0) { // NaN too
			w.P = 0
		}
		w.P = min(w.P, 1)
		bare := !speaks(trimmed)
		begins := len(words) == 0 || unicode.IsSpace(firstRune(text))
		if len(words) > 0 && (!begins || bare) {
			last := &words[len(words)-1]
			// A lone mark has a probability of its own, which says nothing of the word.
			if speaks(last.Text) && !bare {
				last.P = min(last.P, w.P)
			} else if !bare {
				last.P = w.P
			}
			if !bare || !speaks(last.Text) {
				last.End = w.End
			}
			last.Text += trimmed
			continue
		}
		words = append(words, w)
	}
	// A piece may begin with a mark ("- Mobile", "...and"); alone it is no word.
	kept := words[:0]
	for _, w := range words {
		if speaks(w.Text) {
			kept = append(kept, w)
		}
	}
	return saneTimes(kept, p.Start, p.End)
}

// speaks says whether text holds anything that can be spoken.
func speaks(text string) bool {
	return strings.IndexFunc(text, func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("+%°&$=½¼¾", r)
	}) >= 0
}

func firstRune(s string) rune {
	for _, r := range s {
		return r
	}
	return 0
}

// withoutMarks drops what stands in brackets or between notes of music and the
// decoder's own marks; in is the closing sign that is still awaited, or 0.
func withoutMarks(text string, in rune) (string, rune) {
	var b strings.Builder
	for _, r := range text {
		switch {
		case in != 0:
			if r == in {
				in = 0
			}
		case r == '[':
			in = ']'
		case r == '(':
			in = ')'
		case r == '<':
			in = '>'
		case r == '*', r == '♪', r == '♫':
		default:
			b.WriteRune(r)
		}
	}
	return b.String(), in
}

// saneTimes makes times finite, inside [from, to], and never going back; words
// that would have no length share the time up to the next word.
func saneTimes(words []transcript.Word, from, to float64) []transcript.Word {
	at := from
	for i := range words {
		w := &words[i]
		if math.IsNaN(w.Start) {
			w.Start = at
		}
		if math.IsNaN(w.End) {
			w.End = w.Start
		}
		w.Start = min(max(w.Start, at), to)
		w.End = min(max(w.End, w.Start), to)
		at = w.Start
	}
	const least = 0.05
	for i := 0; i < len(words); {
		// A run of words that begin (almost) together ends where the next begins.
		j := i + 1
		for j < len(words) && words[j].Start-words[i].Start < least*float64(j-i) {
			j++
		}
		end := to
		if j < len(words) {
			end = words[j].Start
		}
		if j == i+1 {
			words[i].End = min(max(words[i].End, words[i].Start+least), end)
			i = j
			continue
		}
		start := words[i].Start
		stop := min(end, max(words[j-1].End, start+0.2*float64(j-i)))
		if room := least * float64(j-i); stop-start < room {
			// At the very end of a piece: take the time back from before.
			start = max(from, stop-room)
			if i > 0 {
				start = max(start, words[i-1].Start)
				words[i-1].End = min(words[i-1].End, start)
			}
		}
		step := (stop - start) / float64(j-i)
		for k := i; k < j; k++ {
			words[k].Start = start + step*float64(k-i)
			words[k].End = start + step*float64(k-i+1)
		}
		i = j
	}
	return words
}

// normal is a word for comparison: letters and digits alone, lower case.
func normal(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '+' {
			return unicode.ToLower(r)
		}
		return -1
	}, text)
}

func normals(words []transcript.Word) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = normal(w.Text)
	}
	return out
}

// joinSeam joins the words of two pieces that overlap around a cut, so that what
// both heard stands once and what either heard is not lost.
func joinSeam(a, b []transcript.Word, cut float64) []transcript.Word {
	if math.IsNaN(cut) {
		return append(a, b...)
	}
	i := len(a)
	for i > 0 && a[i-1].End > cut-seamOverlap-0.3 {
		i--
	}
	j := 0
	for j < len(b) && b[j].Start < cut+seamOverlap+0.3 {
		j++
	}
	tail, head := normals(a[i:]), normals(b[:j])
	// The longest run that both heard, nearest to the cut.
	bestLen, bestA, bestB := 0, 0, 0
	for x := range tail {
		for y := range head {
			k := 0
			for x+k < len(tail) && y+k < len(head) && tail[x+k] == head[y+k] {
				k++
			}
			if k > bestLen && math.Abs(a[i+x].Start-b[y].Start) < 2*seamOverlap {
				bestLen, bestA, bestB = k, x, y
			}
		}
	}
	if bestLen > 0 {
		return append(a[:i+bestA:i+bestA], b[bestB:]...)
	}
	// Nothing in common: each keeps its own side of the cut.
	k := len(a)
	for k > i && (a[k-1].Start+a[k-1].End)/2 > cut {
		k--
	}
	m := 0
	for m < j && (b[m].Start+b[m].End)/2 <= cut {
		m++
	}
	return append(a[:k:k], b[m:]...)
}
