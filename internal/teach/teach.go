// Package teach reads what reviewers' corrections teach: words that they keep
// mending, as proposals for a site's own pack. It proposes and checks; it changes
// nothing by itself, and nothing that it writes holds a sentence of a patient.
package teach

import (
	"cmp"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"unicode"

	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Proposal is a word that the packs do not know, or read as another, and that
// reviewers mend.
type Proposal struct {
	// Word is as it was heard, in its normal form.
	Word string
	// Mended counts findings that were typed or changed where it stood, Said how
	// often it was said at all, Encounters in how many examinations it was mended.
	Mended, Said, Encounters int
	// Instead are the ids of the findings that people charted, the most frequent
	// first.
	Instead []Count
}

// Count is how often a finding was charted in a word's place.
type Count struct {
	ID string
	N  int
}

// Least says how often a word must have been mended, and in how many
// examinations, to be proposed: one slip teaches nothing, and a word of one
// patient may be a name. A word that mostly stands unmended is no word of the
// trade.
const (
	leastMended     = 2
	leastEncounters = 2
	leastShare      = 1.0 / 3
)

// Survey gathers what notes teach. The zero Survey is not usable; New makes one.
type Survey struct {
	lex   *lexicon.Lexicon
	words map[string]*tally
	notes int
}

type tally struct {
	mended, said int
	encounters   map[string]bool
	instead      map[string]int
}

// New begins a survey with what the packs know.
func New(lex *lexicon.Lexicon) *Survey { return &Survey{lex: lex, words: map[string]*tally{}} }

// Notes is how many notes were read.
func (s *Survey) Notes() int { return s.notes }

// Add reads one note of an encounter.
func (s *Survey) Add(encounter string, n review.Note) {
	s.notes++
	t := n.Draft().Transcript
	for i := range t.Words {
		for _, w := range s.unknown(t, transcript.Span{Start: i, End: i + 1}) {
			s.tally(w).said++
		}
	}
	for _, m := range mended(n) {
		seen := map[string]bool{}
		for _, span := range m.words {
			for _, w := range s.unknown(t, span) {
				if seen[w] {
					continue
				}
				seen[w] = true
				v := s.tally(w)
				v.mended++
				v.encounters[encounter] = true
				v.instead[m.id]++
			}
		}
	}
}

func (s *Survey) tally(w string) *tally {
	if s.words[w] == nil {
		s.words[w] = &tally{encounters: map[string]bool{}, instead: map[string]int{}}
	}
	return s.words[w]
}

// unknown gives the words of a stretch that no pack knows, and those that were
// repaired, as they were first heard.
func (s *Survey) unknown(t transcript.Transcript, span transcript.Span) []string {
	var out []string
	for i := span.Start; i < span.End; i++ {
		said := t.Words[i].Text
		if t.Words[i].Heard != "" {
			said = t.Words[i].Heard
		}
		for _, f := range lexicon.Normalize(said) {
			if len(f.Text) > 2 && !strings.ContainsFunc(f.Text, func(r rune) bool { return !unicode.IsLetter(r) && r != '-' }) && !s.lex.Knows(f.Text) {
				out = append(out, f.Text)
			}
		}
	}
	return out
}

// mend is a finding that somebody charted in the place of what was drafted, or of
// talk that was not understood.
type mend struct {
	id    string
	words []transcript.Span
}

// mended follows the decisions that still count: a line that was changed to
// another finding, side or value, and a sentence that was typed right before a
// stretch of talk was closed as read.
func mended(n review.Note) []mend {
	var out []mend
	for _, l := range n.Lines() {
		if l.State == review.Changed && len(l.Drafted.Evidence) > 0 {
			out = append(out, mend{l.Finding.ID, l.Drafted.Evidence})
		}
	}
	talk := n.Talk()
	var typed []string // findings that were typed since the last other decision
	for i, d := range n.Decisions() {
		switch {
		case !n.Counts(i + 1):
		case d.Kind == review.Add && d.Text != "":
			typed = append(typed, d.Finding.ID)
		case d.Kind == review.Read && d.Index < len(talk):
			for _, id := range typed {
				out = append(out, mend{id, []transcript.Span{talk[d.Index].Span}})
			}
			typed = nil
		default:
			typed = nil
		}
	}
	return out
}

// Proposals gives what the notes teach, the most frequent first.
func (s *Survey) Proposals() []Proposal {
	var out []Proposal
	for _, w := range slices.Sorted(maps.Keys(s.words)) {
		v := s.words[w]
		if v.mended < leastMended || len(v.encounters) < leastEncounters || float64(v.mended) < leastShare*float64(v.said) {
			continue
		}
		p := Proposal{Word: w, Mended: v.mended, Said: v.said, Encounters: len(v.encounters)}
		for _, id := range slices.Sorted(maps.Keys(v.instead)) {
			p.Instead = append(p.Instead, Count{id, v.instead[id]})
		}
		slices.SortStableFunc(p.Instead, func(a, b Count) int { return b.N - a.N })
		out = append(out, p)
	}
	slices.SortStableFunc(out, func(a, b Proposal) int { return cmp.Or(b.Encounters-a.Encounters, b.Mended-a.Mended) })
	return out
}

// Quoted says whether a sentence stands in what was said, word for word. One of
// fewer than three words is nobody's.
func Quoted(t transcript.Transcript, sentence string) bool {
	want := normal(sentence)
	if len(want) < 3 {
		return false
	}
	var said []string
	for _, w := range t.Words {
		said = append(said, normal(w.Text)...)
	}
	return contains(said, want)
}

func normal(text string) []string {
	var out []string
	for _, w := range strings.Fields(text) {
		for _, f := range lexicon.Normalize(w) {
			out = append(out, f.Text)
		}
	}
	return out
}

// String keeps what was said out of logs and errors.
func (p Proposal) String() string { return fmt.Sprintf("proposal of a word mended %d times", p.Mended) }

// GoString does the same for %#v.
func (p Proposal) GoString() string { return p.String() }

// LogValue does the same for structured logs.
func (p Proposal) LogValue() slog.Value { return slog.StringValue(p.String()) }
