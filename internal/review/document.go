package review

import (
	"fmt"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
)

// Document gives the note as it leaves the program. Of a signed note it is the
// last signed version, also while an amendment is open: what is not signed does
// not go out under a signature. The head says whose it is, when it was examined
// and entered, and its id in the record; the rest of it follows from the note.
func (n Note) Document(h note.Head, o note.Outline) note.Document {
	h.Status, h.Author = note.Preliminary, person(n.author)
	h.Signatures, h.Relations, h.Addenda = nil, nil, nil
	lines, actions := n.lines, n.actions
	if v := len(n.versions); n.status.Signed() && v > 0 {
		last := n.versions[v-1]
		lines, actions = last.Lines, last.Actions
		h.Status = note.Final
		if v > 1 || len(n.addenda) > 0 {
			h.Status = note.Amended
		}
		h.Signatures = n.signatures()
		if v > 1 {
			h.Relations = []note.Relation{{Kind: note.Replaces, Note: version(h.ID, v-1)}}
			h.ID = version(h.ID, v)
		}
	}
	for _, a := range n.addenda {
		text := a.Text
		if !a.ObservedAt.IsZero() {
			text = "Late entry, observed " + a.ObservedAt.Format(minute) + ": " + text
		}
		h.Addenda = append(h.Addenda, note.Addendum{Text: text, By: person(a.By), At: a.At})
	}
	return note.Document{Head: h, Draft: n.standing(lines, actions, o), Decisions: n.decided(lines)}
}

// signatures gives who signed each version, the first one first.
func (n Note) signatures() []note.Signature {
	var out []note.Signature
	for i, v := range n.versions {
		for _, s := range v.Signatures {
			out = append(out, note.Signature{By: person(s.By), At: s.At, CoSign: s.CoSign, Version: i + 1, Why: v.Why})
		}
	}
	return out
}

func person(p Person) note.Person { return note.Person{Name: p.Name, Credentials: p.Credentials} }

// version names a signed version of a note.
func version(id string, n int) string { return fmt.Sprintf("%s, version %d", id, n) }

// Standing gives what the lines say now, signed or not, as a draft is listed.
func (n Note) Standing(o note.Outline) note.Draft { return n.standing(n.lines, n.actions, o) }

// standing is the draft with the lines that stand in place of what was drafted.
// What a person charted is no longer missing; what wants action no more, and was
// never closed, is left out.
func (n Note) standing(lines []Line, actions []Action, o note.Outline) note.Draft {
	d := n.draft
	set := finding.Set{LeftOut: d.LeftOut, Findings: findings(lines)}
	set.Unmentioned = uncharted(d.Unmentioned(), set.Findings)
	for _, a := range actions {
		if !a.Gone() {
			one := a.Attention
			one.Handled = a.handled()
			set.Attention = append(set.Attention, one)
		}
	}
	src := note.Source{Name: d.Name, Transcript: d.Transcript, Notices: d.Notices, Provenance: d.Provenance}
	return note.Compose(src, set, o)
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
