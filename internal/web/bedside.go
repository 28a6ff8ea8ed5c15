package web

import (
	"net/http"
	"slices"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// bedsideView is what is read from two metres away, with gloves on.
type bedsideView struct {
	ID    string
	Last  string // what was charted last, as the words came
	Flags []flag // of what was charted last
	// Answers say what was just heard and not charted, and why.
	Answers []answerView
	// Fresh says that nothing was understood yet.
	Fresh   bool
	Regions []bedsideRegion
	// Here is the region that is being examined: that of what was charted last.
	Here    *bedsideRegion
	Actions []item
	Done    []string // regions in which nothing is left
	Doubts  int
	Hidden  bool
}

// answerView is talk that was heard and not charted.
type answerView struct{ Why, Words string }

type bedsideRegion struct {
	Title     string
	Charted   int
	Missing   []string
	Done, Now bool
}

// bedside shows what is done, what nobody mentioned, what was charted last, and
// what needs action. ?hide=1 shows counts and regions alone, for visitors.
func (s *Server) bedside(w http.ResponseWriter, r *http.Request, p *person) {
	t, err := s.load(r, p, r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := s.bedsideOf(t)
	v.Hidden = r.FormValue("hide") != ""
	if r.Header.Get(partHeader) != "" {
		s.showParts(w, http.StatusOK, part{"bedside-now", v})
		return
	}
	s.show(w, r, http.StatusOK, "bedside", "Bedside", v)
}

func (s *Server) bedsideOf(t sheet) bedsideView {
	v := bedsideView{ID: t.info.ID}
	last, here := lastCharted(t.n), ""
	if last.ID != "" {
		e := entryOf(t.n.Draft(), last.Finding)
		v.Last = e.Item.Name + ", " + export.Statement(e)
		v.Flags = lineItem(t.n.Draft(), last).Flags
		here = e.Item.Region
	}
	v.Answers = answers(t.n.Draft())
	for _, r := range t.regions {
		if r.ID == "actions" {
			for _, it := range r.Items {
				if !it.Settled {
					v.Actions = append(v.Actions, it)
				}
			}
			continue
		}
		if r.ID == "speech" || r.ID == "talk" {
			continue
		}
		b := bedsideRegion{Title: r.Title, Missing: r.Missing, Now: r.ID == here}
		for _, it := range r.Items {
			if !it.Struck {
				b.Charted++
				if len(it.Line.Finding.Marks) > 0 {
					v.Doubts++
				}
			}
		}
		b.Done = b.Charted > 0 && len(b.Missing) == 0
		if b.Done {
			v.Done = append(v.Done, b.Title)
		}
		v.Regions = append(v.Regions, b)
	}
	// Where the region at hand has nothing left, the next that is open takes its
	// place.
	i := slices.IndexFunc(v.Regions, func(b bedsideRegion) bool { return b.Now && !b.Done })
	if i < 0 {
		i = slices.IndexFunc(v.Regions, func(b bedsideRegion) bool { return !b.Done })
	}
	for j := range v.Regions {
		v.Regions[j].Now = j == i
	}
	if i >= 0 {
		v.Here = &v.Regions[i]
	}
	return v
}

// answered are the reasons that are answered at once; instructions and small talk
// are passed over in silence.
var answered = map[finding.Why]string{
	finding.Corrected: "taken back", finding.TooGeneral: "too general to chart: say what you found", finding.Unrecognized: "not understood: say it another way",
	finding.OtherPerson: "about somebody else, not charted", finding.History: "told of the past, not charted", finding.Plan: "a plan, not charted as done",
	finding.Question: "a question, not charted", finding.Teaching: "explained, not charted",
}

// lately is how many of the last words are answered, and answersShown how many
// answers stand at once.
const lately, answersShown = 40, 2

// answers says what of the last words was not charted, the newest first.
func answers(d note.Draft) []answerView {
	var out []answerView
	for _, l := range slices.Backward(d.LeftOut) {
		why := answered[l.Why]
		if why != "" && l.Span.End > len(d.Transcript.Words)-lately && len(out) < answersShown {
			out = append(out, answerView{why, d.Transcript.Quote(l.Span)})
		}
	}
	return out
}

// lastCharted is the line whose words came last, or that was added last.
func lastCharted(n review.Note) review.Line {
	var last review.Line
	end := -1
	for _, l := range n.Lines() {
		switch {
		case l.State == review.Rejected:
		case l.State == review.Added:
			last, end = l, len(n.Draft().Transcript.Words)
		default:
			if e := endOf(l.Finding.Evidence); e > end {
				last, end = l, e
			}
		}
	}
	return last
}

func endOf(spans []transcript.Span) int {
	end := -1
	for _, s := range spans {
		end = max(end, s.End)
	}
	return end
}
