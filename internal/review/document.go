package review

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
)

// Document gives the note as it leaves the program. Of a signed note it is the
// last signed version, also while an amendment is open: what is not signed does
// not go out under a signature. The head says whose it is, when it was examined
// and entered, and its id in the record; the rest of it follows from the note.
func (n Note) Document(h note.Head, o note.Outline) note.Document {
	h.Status, h.Author = note.Preliminary, person(n.author)
	h.Attester, h.AttestedAt, h.Relations, h.Addenda = note.Person{}, time.Time{}, nil, nil
	lines := n.lines
	if v := len(n.versions); n.status.Signed() && v > 0 {
		last := n.versions[v-1]
		lines = last.Lines
		h.Status = note.Final
		if v > 1 || len(n.addenda) > 0 {
			h.Status = note.Amended
		}
		if s := len(last.Signatures); s > 0 {
			h.Attester, h.AttestedAt = person(last.Signatures[s-1].By), last.Signatures[s-1].At
		}
		if v > 1 {
			h.Relations = []note.Relation{{Kind: note.Replaces, Note: version(h.ID, v-1)}}
			h.ID = version(h.ID, v)
		}
	}
	for _, a := range n.addenda {
		text := a.Text
		if !a.ObservedAt.IsZero() {
			text = "Late entry, observed " + a.ObservedAt.Format("2006-01-02 15:04 -07:00") + ": " + text
		}
		h.Addenda = append(h.Addenda, note.Addendum{Text: text, By: person(a.By), At: a.At})
	}
	return note.Document{Head: h, Draft: n.standing(lines, o), Decisions: n.decided(lines)}
}

func person(p Person) note.Person { return note.Person{Name: p.Name, Credentials: p.Credentials} }

// version names a signed version of a note.
func version(id string, n int) string { return fmt.Sprintf("%s, version %d", id, n) }

// Standing gives what the lines say now, signed or not, as a draft is listed.
func (n Note) Standing(o note.Outline) note.Draft { return n.standing(n.lines, o) }

// standing is the draft with the lines that stand in place of what was drafted.
// What a person charted is no longer missing; what wants action of a line that
// was struck or changed no longer rests on it and is left out.
func (n Note) standing(lines []Line, o note.Outline) note.Draft {
	d := n.draft
	set := finding.Set{LeftOut: d.LeftOut}
	var added []finding.Finding
	overtaken := map[key]bool{}
	for _, l := range lines {
		if l.State == Rejected || l.State == Changed {
			overtaken[key{l.Drafted.ID, l.Drafted.Side}] = true
		}
		if l.State != Rejected {
			set.Findings = append(set.Findings, l.Finding)
		}
		if l.State == Added || l.State == Changed {
			added = append(added, l.Finding)
		}
	}
	for _, m := range d.Unmentioned() {
		if !slices.ContainsFunc(added, m.ChartedBy) {
			set.Unmentioned = append(set.Unmentioned, m)
		}
	}
	for _, a := range d.Attention {
		if a.ID == "" || !overtaken[key{a.ID, a.Side}] {
			set.Attention = append(set.Attention, a)
		}
	}
	src := note.Source{Name: d.Name, Transcript: d.Transcript, Notices: d.Notices, Provenance: d.Provenance}
	return note.Compose(src, set, o)
}

type key struct {
	id   string
	side finding.Side
}

// decided gives what people did with the lines; a line that nobody decided on
// has no decision.
func (n Note) decided(lines []Line) []note.Decision {
	kinds := map[State]note.DecisionKind{Accepted: note.Confirmed, Changed: note.Corrected, Added: note.Added, Rejected: note.Removed}
	var out []note.Decision
	for _, l := range lines {
		kind, ok := kinds[l.State]
		if !ok {
			continue
		}
		d := note.Decision{Kind: kind, Finding: l.Finding.ID, Side: l.Finding.Side, Zone: l.Finding.Zone, By: person(l.By), At: l.At}
		if l.State == Changed || l.State == Rejected {
			d.Was = was(l.Drafted)
		}
		out = append(out, d)
	}
	return out
}

// was is what stood before, for the provenance: in the record's own words.
func was(f finding.Finding) string {
	value := f.Value.String()
	if f.Status == finding.NotAssessed {
		value = "not assessed"
	}
	if !f.High.IsZero() {
		value += " to " + f.High.String()
	}
	return strings.Join(strings.Fields(f.Side.String()+" "+f.Zone+" "+value+" "+f.Unit), " ")
}
