package web

import (
	"fmt"
	"net/http"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// compareView says what differs from an earlier signed note of the same patient.
type compareView struct {
	placed
	// With is the note that is compared with, Others are those that could be; With
	// is nil where there is none.
	With   *earlier
	Others []earlier
	Groups []changeGroup
	Same   int
	// Open counts lines of a draft that nobody decided on yet.
	Open int
}

type changeGroup struct {
	Title, Means string
	Rows         []changeRow
	// First are those that the earlier note did not assess, and are as expected.
	First []changeRow
}

type changeRow struct {
	export.ChangeRow
	To string // opens its line
}

// Count is how many there are.
func (g changeGroup) Count() int { return len(g.Rows) + len(g.First) }

// changeMeans says of each kind what it says and what it does not.
var changeMeans = []struct {
	kind  note.ChangeKind
	title string
	means string
}{
	{note.New, "New", "charted now, and not before; or absent before and present now"},
	{note.Gone, "Gone", "present before, and said to be absent now"},
	{note.Changed, "Changed", "another value, detail or place"},
	{note.NoLonger, "No longer assessed", "charted before; now nobody mentioned it, or it was said to be not assessed. That is not the same as gone"},
}

// compare shows a note beside the patient's last signed one; ?with= names another.
func (s *Server) compare(w http.ResponseWriter, r *http.Request, p *person) {
	o, all, err := s.openBeside(r, p, "compare")
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := compareView{placed: o.placed}
	want := r.FormValue("with")
	for i := range all {
		if v.With == nil && (want == "" || want == all[i].ID) {
			v.With = &all[i]
			continue
		}
		v.Others = append(v.Others, all[i])
	}
	switch {
	case want != "" && v.With == nil: // no signed note of this patient
		s.fail(w, r, store.ErrNotFound)
		return
	case v.With != nil:
		before, err := s.earlierDraft(r, p, *v.With)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		v.Groups, v.Same = changesOf(o, before), note.Same(before, o.doc.Draft)
	}
	if !o.n.Status().Signed() {
		for _, l := range o.n.Lines() {
			if l.State == review.Undecided {
				v.Open++
			}
		}
	}
	s.show(w, r, http.StatusOK, "compare", "Compare", v)
}

func changesOf(o openNote, before note.Draft) []changeGroup {
	all := note.Compare(before, o.doc.Draft)
	var out []changeGroup
	for _, k := range changeMeans {
		g := changeGroup{Title: k.title, Means: k.means}
		for _, c := range all {
			if c.Kind != k.kind {
				continue
			}
			row := changeRow{ChangeRow: export.ChangeOf(c)}
			if l, ok := lineOf(o.n, c); ok {
				row.To = fmt.Sprintf("/notes/%s?at=%s#item-%s", o.ID, l.ID, l.ID)
			}
			if c.FirstAsExpected() {
				g.First = append(g.First, row)
			} else {
				g.Rows = append(g.Rows, row)
			}
		}
		out = append(out, g)
	}
	return out
}

// lineOf finds the line that a change rests on.
func lineOf(n review.Note, c note.Change) (review.Line, bool) {
	if len(c.After) == 0 {
		return review.Line{}, false
	}
	e := c.After[0]
	for _, l := range n.Lines() {
		f := l.Finding
		if l.State != review.Rejected && f.ID == e.ID && f.Zone == e.Zone && f.Value == e.Value && (f.Side == e.Side || e.Item.Paired && f.Side == finding.Both) {
			return l, true
		}
	}
	return review.Line{}, false
}
