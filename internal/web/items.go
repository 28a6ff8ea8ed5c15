package web

import (
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// item is one thing of a note that somebody decides on: a line, something that
// needs action, a stretch of speech without words, or of talk that was not
// understood.
type item struct {
	ID string // "f3", "a7" as in the note; "act0", "gap0", "talk0"
	// Kind is line, action, gap or talk.
	Kind  string
	Index int
	Name  string
	Says  string
	// Heard are the words that a plain line rests on, with some before and after.
	// SideUnsaid is its side where those words do not name it.
	Heard      []heardRun
	SideUnsaid string
	When       string
	// Flags are words such as "not expected"; colour only repeats them.
	Flags []flag
	// State is a word for how it stands; Settled says that nothing is open in it.
	State   string
	Settled bool
	// Plain lines are as expected and without a doubt: a region of them can be
	// accepted at once, after each was shown.
	Plain  bool
	Struck bool
	// Now is the most urgent kind of action.
	Now  bool
	Desk *desk // where it is the one being decided
	Line review.Line
}

// heardRun is a stretch of words; it rests on those that are On.
type heardRun struct {
	Text string
	On   bool
}

// flag is a word beside a line: kind is doubt, odd or skipped.
type flag struct{ Kind, Word string }

// region is a part of the body with its items.
type region struct {
	ID, Title string
	Items     []item
	Missing   []string
	// Plain are the lines that can be accepted together; Open counts all items
	// that are not settled.
	Plain []string
	Open  int
	// Decides says that the reader may decide on them.
	Decides bool
	Note    string
	After   int
}

// sheet is a note laid out for review.
type sheet struct {
	info    store.NoteInfo
	n       review.Note
	regions []region
	// person is who reads it.
	person review.Person
}

// lay lays a note out: what is not about one finding first, then region by
// region, in each the doubtful and unexpected lines first.
func (s *Server) lay(info store.NoteInfo, n review.Note, who review.Person) sheet {
	out := sheet{info: info, n: n, person: who}
	d := n.Draft()
	add := func(r region) {
		r.Decides, r.Note, r.After = out.decides(), info.ID, n.Len()
		for _, it := range r.Items {
			if !it.Settled {
				r.Open++
				if it.Plain {
					r.Plain = append(r.Plain, it.ID)
				}
			}
		}
		if len(r.Items) > 0 || len(r.Missing) > 0 {
			out.regions = append(out.regions, r)
		}
	}
	add(region{ID: "actions", Title: "Needs action", Items: actionItems(n)})
	add(region{ID: "speech", Title: "Speech without words", Items: gapItems(n)})
	add(region{ID: "talk", Title: "Talk that was not understood", Items: talkItems(n)})
	byRegion := map[string][]item{}
	for _, l := range n.Lines() {
		id := d.Item(l.Finding.ID).Region
		it := lineItem(d, l)
		if it.Plain {
			it.Heard = heardWith(d.Transcript, l.Finding.Evidence)
			it.SideUnsaid = s.sideUnsaid(d.Item(l.Finding.ID), l.Finding.Side, it.Heard)
		}
		byRegion[id] = append(byRegion[id], it)
	}
	missing := n.Unmentioned()
	for _, r := range d.Regions() {
		items := byRegion[r.ID]
		slices.SortStableFunc(items, func(a, b item) int { return rank(a.Line) - rank(b.Line) })
		var names []string
		for _, m := range missing {
			if d.Item(m.ID).Region == r.ID {
				names = append(names, export.MissingName(d, m))
			}
		}
		add(region{ID: r.ID, Title: r.Title, Items: items, Missing: names})
	}
	return out
}

// decides says whether the reader may decide on the note's lines now.
func (t sheet) decides() bool {
	return t.n.Status().Open() && t.person.ID == t.n.Author().ID
}

// rank puts what is decided one by one first, by what was drafted, so that no
// line moves when it is decided.
func rank(l review.Line) int {
	switch {
	case l.State == review.Added:
		return 4
	case len(l.Drafted.Marks) > 0:
		return 0
	case l.Drafted.Interpretation == finding.Unexpected:
		return 1
	case !plainLine(l):
		return 2
	}
	return 3
}

// plainLine says whether a line may be accepted with its region: expected,
// assessed, observed by the nurse herself, and without a doubt when it was
// drafted.
func plainLine(l review.Line) bool {
	f := l.Drafted
	return l.State != review.Added && len(f.Marks) == 0 && f.Interpretation == finding.Expected && f.Status == finding.Assessed && f.Source == finding.Observed
}

var stateWords = map[review.State]string{
	review.Undecided: "to decide", review.Accepted: "accepted", review.Changed: "changed", review.Rejected: "struck", review.Added: "added by you",
}

func entryOf(d note.Draft, f finding.Finding) note.Entry {
	return note.Entry{Finding: f, Item: d.Item(f.ID)}
}

func lineItem(d note.Draft, l review.Line) item {
	f := l.Finding
	e := entryOf(d, f)
	v := item{ID: l.ID, Kind: "line", Name: e.Item.Name, Says: export.Statement(e), State: stateWords[l.State],
		Settled: l.State != review.Undecided && (l.State == review.Rejected || len(f.Marks) == 0), Plain: plainLine(l),
		Struck: l.State == review.Rejected, When: export.When(d.Transcript, f.Evidence), Line: l}
	if f.Interpretation == finding.Unexpected {
		v.Flags = append(v.Flags, flag{"odd", "not expected"})
	}
	if f.Status == finding.NotAssessed {
		v.Flags = append(v.Flags, flag{"skipped", "not assessed"})
	}
	for _, m := range f.Marks {
		v.Flags = append(v.Flags, flag{"doubt", export.MarkWord(m.Kind)})
	}
	return v
}

var urgencyWords = map[finding.Urgency]string{finding.Now: "now", finding.Prompt: "promptly", finding.Routine: "routine", finding.Recheck: "recheck"}

func actionItems(n review.Note) []item {
	d := n.Draft()
	var out []item
	for i, a := range n.Actions() {
		if a.Gone() {
			continue
		}
		name := "the patient's words"
		if a.ID != "" {
			it := d.Item(a.ID)
			name = strings.TrimSpace(it.Name + " " + export.SideWord(a.Side, it.Organ))
		}
		v := item{ID: fmt.Sprintf("act%d", i), Kind: "action", Index: i, Name: name, Says: a.Why, State: "open", Settled: a.Closed(),
			When: export.When(d.Transcript, a.Evidence), Now: a.Urgency == finding.Now,
			Flags: []flag{{"odd", urgencyWords[a.Urgency]}}}
		if a.Closed() {
			v.State = closedWords(a)
		}
		out = append(out, v)
	}
	return out
}

func closedWords(a review.Action) string {
	switch a.Closing.Handling {
	case review.Told:
		s := "told " + a.Closing.To + ", " + a.Closing.At.Local().Format(clock)
		if a.Closing.ReadBack {
			s += ", read back"
		}
		if a.Closing.Answer != "" {
			s += ", answer: " + a.Closing.Answer
		}
		return s
	case review.AlreadyKnown:
		return "known before: " + a.Reason
	}
	return "does not apply: " + a.Reason
}

func gapItems(n review.Note) []item {
	var out []item
	for i, g := range n.Gaps() {
		v := item{ID: fmt.Sprintf("gap%d", i), Kind: "gap", Index: i, Name: "no words were heard",
			Says: fmt.Sprintf("%.1f seconds, from %s", g.End-g.Start, export.ClockTime(g.Start)), When: export.ClockTime(g.Start), State: "to listen to", Settled: g.Listened}
		if g.Listened {
			v.State = "listened to"
		}
		out = append(out, v)
	}
	return out
}

func talkItems(n review.Note) []item {
	tr := n.Draft().Transcript
	var out []item
	for i, t := range n.Talk() {
		span := []transcript.Span{t.Span}
		v := item{ID: fmt.Sprintf("talk%d", i), Kind: "talk", Index: i, Name: "may hold a finding", Says: tr.Quote(t.Span), When: export.When(tr, span),
			State: "to read", Settled: t.Read}
		if t.Read {
			v.State = "read"
		}
		out = append(out, v)
	}
	return out
}

// heardWith gives the words that a line rests on among those around them: what
// takes a statement back, or says whom it is about, stands beside it.
func heardWith(t transcript.Transcript, spans []transcript.Span) []heardRun {
	var out []heardRun
	add := func(from, to int, on bool) {
		if from < to {
			out = append(out, heardRun{t.Quote(transcript.Span{Start: from, End: to}), on})
		}
	}
	end, on := 0, 0 // of what was given, and of what it rests on
	for _, s := range inOrder(spans) {
		if s.End <= on {
			continue
		}
		on = s.End
		if s.Start-around > end && end > 0 {
			out = append(out, heardRun{Text: "…"})
		}
		add(max(s.Start-around, end), s.Start, false)
		add(max(s.Start, end), s.End, true)
		end = max(end, s.End)
		next := len(t.Words)
		for _, o := range spans {
			if o.Start >= s.End {
				next = min(next, o.Start)
			}
		}
		add(end, min(end+around, next), false)
		end = max(end, min(end+around, next))
	}
	return out
}

func inOrder(spans []transcript.Span) []transcript.Span {
	all := slices.Clone(spans)
	slices.SortFunc(all, func(a, b transcript.Span) int { return a.Start - b.Start })
	return all
}

// sideUnsaid gives the side of a line where the words shown beside it do not name
// it. That is no doubt about it: it was understood from what came before.
func (s *Server) sideUnsaid(it note.Item, side finding.Side, heard []heardRun) string {
	if side != finding.Right && side != finding.Left {
		return ""
	}
	for _, h := range heard {
		for _, w := range strings.Fields(h.Text) {
			for _, f := range lexicon.Normalize(w) {
				if s.sides[f.Text] == side.String() {
					return ""
				}
			}
		}
	}
	return export.SideWord(side, it.Organ)
}

// sideWords are the single words by which packs name a side.
func sideWords(lex *lexicon.Lexicon) map[string]string {
	out := map[string]string{}
	for _, t := range lex.Terms() {
		if forms := lexicon.Normalize(t.Text); t.Sense.Kind == lexicon.SideSense && len(forms) == 1 && !strings.Contains(t.Text, " ") {
			out[forms[0].Text] = t.Sense.Value
		}
	}
	return out
}

// find gives an item by its id.
func (t sheet) find(id string) (*item, *region) {
	for i := range t.regions {
		for j := range t.regions[i].Items {
			if t.regions[i].Items[j].ID == id {
				return &t.regions[i].Items[j], &t.regions[i]
			}
		}
	}
	return nil, nil
}

// next gives the first item after an id that is open and decided by itself,
// from the top again where there is none further down; "" where all are settled.
func (t sheet) next(after string) string {
	first, passed := "", after == ""
	for _, r := range t.regions {
		for _, it := range r.Items {
			if !it.Settled && !it.Plain {
				if passed {
					return it.ID
				}
				if first == "" {
					first = it.ID
				}
			}
			passed = passed || it.ID == after
		}
	}
	return first
}
