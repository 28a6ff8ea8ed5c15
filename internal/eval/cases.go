package eval

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/corpus"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Result is what one case came to.
type Result struct {
	Case   corpus.Case
	Counts Counts
	// Notes say what is wrong, one line a mistake, without words of the case.
	Notes []string
}

// Judged gives the findings that count in a case: those that a case of the set
// speaks of. Findings that no whole examination ("narration") expects are judged
// among the cases of those phenomena alone that do: whoever wrote the others
// charted by the contract's table.
func Judged(lex *lexicon.Lexicon, cases []corpus.Case) func(c corpus.Case, id string) (*lexicon.Finding, bool) {
	spoken := map[string]map[string]bool{}
	add := func(c corpus.Case, id string) {
		if spoken[id] == nil {
			spoken[id] = map[string]bool{}
		}
		spoken[id][c.Phenomenon] = true
	}
	whole := false
	for _, c := range cases {
		whole = whole || c.Phenomenon == narration
		for _, f := range c.Findings {
			add(c, f.ID)
		}
		for _, n := range c.Never {
			id, _, _ := strings.Cut(n, "@")
			add(c, id)
		}
	}
	return func(c corpus.Case, id string) (*lexicon.Finding, bool) {
		judged := len(spoken[id]) > 0 && (!whole || spoken[id][narration] || spoken[id][c.Phenomenon])
		if f, ok := lex.Finding(id); ok {
			return f, judged
		}
		return &lexicon.Finding{ID: id}, judged // a finding for a pack to come is missed
	}
}

// narration is the phenomenon of whole examinations.
const narration = "narration"

// Cases drafts each case from its text, through the whole program but its
// printing, and compares.
func Cases(ctx context.Context, lex *lexicon.Lexicon, cases []corpus.Case, judged func(c corpus.Case, id string) (*lexicon.Finding, bool)) ([]Result, error) {
	d := pipeline.Drafter{Program: "bedsaid-eval", Now: func() time.Time { return time.Time{} }, Lexicon: func() (*lexicon.Lexicon, error) { return lex, nil }}
	out := make([]Result, 0, len(cases))
	for _, c := range cases {
		draft, err := d.Draft(ctx, pipeline.Input{Path: c.ID + ".txt", Text: strings.NewReader(c.Text)})
		if err != nil {
			return nil, fmt.Errorf("draft %s: %w", c, err)
		}
		out = append(out, Draft(c, draft, judged))
	}
	return out, nil
}

// Draft compares one draft, of whatever input, with its case.
func Draft(c corpus.Case, draft note.Draft, judged func(c corpus.Case, id string) (*lexicon.Finding, bool)) Result {
	r := Result{Case: c}
	j := judge{judged: func(id string) (*lexicon.Finding, bool) { return judged(c, id) }, never: c.Never, note: func(s string) { r.Notes = append(r.Notes, s) }}
	j.compare(j.expected(c), j.charted(draft.Findings()))
	j.marks(c, draft.Findings())
	j.attention(c, draft)
	j.counts.Misplaced = misplaced(draft)
	r.Counts = j.counts
	return r
}

// marks counts the doubts that a case names.
func (j *judge) marks(c corpus.Case, findings []finding.Finding) {
	for _, m := range c.Marks {
		for _, side := range sidesOf(m.Side) {
			j.counts.MarksExpected++
			if slices.ContainsFunc(findings, func(f finding.Finding) bool {
				return f.ID == m.ID && slices.Contains(sidesOf(f.Side.String()), side) &&
					slices.ContainsFunc(f.Marks, func(k finding.Mark) bool { return string(k.Kind) == m.Kind })
			}) {
				j.counts.Marks++
			} else {
				j.say("no mark "+m.Kind+" on", place{m.ID, side, ""}, fact{}, "")
			}
		}
	}
}

// attention counts what a case wants listed for action.
func (j *judge) attention(c corpus.Case, d note.Draft) {
	for _, want := range c.Attention {
		if want.ID != "" {
			continue
		}
		// A finding that the contract's table lacks may have an id in a pack: what
		// counts is that the words are shown.
		j.counts.QuotesExpected++
		if slices.ContainsFunc(d.Attention, func(a finding.Attention) bool { return shows(d, a, want.Words) }) {
			j.counts.Quotes++
		} else {
			j.note("what wants action is not shown")
		}
	}
	for _, q := range c.Quotes {
		j.counts.QuotesExpected++
		if slices.ContainsFunc(d.Attention, func(a finding.Attention) bool {
			return a.ID == "" && shows(d, a, q)
		}) {
			j.counts.Quotes++
		} else {
			j.note("a statement of danger is not quoted")
		}
	}
	if c.Quotes != nil && len(c.Quotes) == 0 {
		for _, a := range d.Attention {
			if a.ID == "" {
				j.counts.QuotesMore++
				j.note("quoted, and no danger")
			}
		}
	}
	for _, a := range d.Attention {
		if c.AttentionNone && a.ID != "" {
			j.counts.AttentionMore++
			j.say("listed for action without cause:", place{a.ID, a.Side.String(), ""}, fact{}, "")
		}
	}
	for _, want := range c.Attention {
		if want.ID == "" {
			continue
		}
		j.counts.AttentionExpected++
		if slices.ContainsFunc(d.Attention, func(a finding.Attention) bool {
			return a.ID == want.ID && (want.Side == "" || a.Side == finding.Both || a.Side.String() == want.Side)
		}) {
			j.counts.Attention++
		} else {
			j.say("not listed for action:", place{want.ID, want.Side, ""}, fact{}, "")
		}
	}
}

// shows reports that a line rests on the words.
func shows(d note.Draft, a finding.Attention, words string) bool {
	return slices.ContainsFunc(a.Evidence, func(s transcript.Span) bool { return strings.Contains(d.Transcript.Quote(s), words) })
}

// misplaced counts words that lie in no evidence and no left-out talk, or in
// both.
func misplaced(d note.Draft) int {
	evidence, left := make([]bool, len(d.Transcript.Words)), make([]bool, len(d.Transcript.Words))
	fill := func(in []bool, s transcript.Span) {
		for i := s.Start; i < s.End; i++ {
			in[i] = true
		}
	}
	for _, f := range d.Findings() {
		for _, s := range f.Evidence {
			fill(evidence, s)
		}
	}
	for _, l := range d.LeftOut {
		fill(left, l.Span)
	}
	n := 0
	for i := range evidence {
		if evidence[i] == left[i] {
			n++
		}
	}
	return n
}

// Group is the sum of the cases of one phenomenon.
type Group struct {
	Name  string
	Cases int
	Counts
}

// ByPhenomenon sums results, the phenomenon with the worst mistakes first: those
// that a reviewer would not see, then by F1. Cases without a phenomenon are one
// group.
func ByPhenomenon(results []Result) []Group {
	by := map[string]*Group{}
	var out []Group
	for _, r := range results {
		name := cmp.Or(r.Case.Phenomenon, "other")
		if by[name] == nil {
			by[name] = &Group{Name: name}
		}
		by[name].Cases++
		by[name].Counts.Add(r.Counts)
	}
	for _, g := range by {
		out = append(out, *g)
	}
	slices.SortFunc(out, func(a, b Group) int {
		return cmp.Or(cmp.Compare(b.Unseen(), a.Unseen()), cmp.Compare(a.F1(), b.F1()), cmp.Compare(a.Name, b.Name))
	})
	return out
}

// Sum adds groups up.
func Sum(groups []Group) Group {
	total := Group{Name: "all"}
	for _, g := range groups {
		total.Cases += g.Cases
		total.Counts.Add(g.Counts)
	}
	return total
}
