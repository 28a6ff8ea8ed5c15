package course

import (
	"slices"
	"strings"

	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// heard is what was said, word by word in its normal form, for wordings to be
// looked for.
type heard struct {
	text []string
	word []int // of the transcript
	ends []int // how much of an end follows
	t    transcript.Transcript
}

const (
	noEnd = iota
	pause
	sentence
)

// pauseAfter is the silence, in seconds, that counts as a pause of speech.
const pauseAfter = 0.6

func hear(t transcript.Transcript) heard {
	h := heard{t: t}
	for i, w := range t.Words {
		for _, f := range lexicon.Normalize(w.Text) {
			h.text, h.word, h.ends = append(h.text, f.Text), append(h.word, i), append(h.ends, noEnd)
		}
		if k := len(h.ends) - 1; k >= 0 {
			h.ends[k] = max(h.ends[k], endOf(t, i))
		}
	}
	return h
}

func endOf(t transcript.Transcript, i int) int {
	said := t.Words[i].Text
	last := said[max(len(said)-1, 0):]
	switch {
	case strings.ContainsAny(last, ".?!"):
		return sentence
	case strings.ContainsAny(last, ",;:"),
		t.Timed && i+1 < len(t.Words) && t.Words[i+1].Start-t.Words[i].End > pauseAfter:
		return pause
	}
	return noEnd
}

func (h heard) Len() int          { return len(h.text) }
func (h heard) Word(i int) string { return h.text[i] }
func (h heard) Ends(i int) bool   { return h.ends[i] == sentence }
func (h heard) Pauses(i int) bool { return h.ends[i] != noEnd }

// find gives the sentences in which one of the wordings stands, each once.
func (h heard) find(all []lexicon.Phrase) []transcript.Span {
	var out []transcript.Span
	for i := 0; i < len(h.text); i++ {
		for k := range all {
			if !slices.Contains(all[k].First(), h.text[i]) {
				continue
			}
			end, _, ok := all[k].At(h, i)
			if !ok {
				continue
			}
			s := h.around(i, end)
			if n := len(out); n == 0 || s.Start >= out[n-1].End {
				out = append(out, s)
			} else {
				out[n-1].End = max(out[n-1].End, s.End)
			}
		}
	}
	return out
}

// farthest bounds what is quoted of speech without full stops, in words to
// either side.
const farthest = 12

func (h heard) around(from, to int) transcript.Span {
	a, b := from, to
	for a > 0 && h.ends[a-1] != sentence && from-a < farthest {
		a--
	}
	for b < len(h.text) && h.ends[b-1] != sentence && b-to < farthest {
		b++
	}
	return transcript.Span{Start: h.word[a], End: h.word[b-1] + 1}
}
