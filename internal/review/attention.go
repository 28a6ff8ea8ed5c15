package review

import (
	"fmt"
	"slices"

	"bedsaid/internal/finding"
)

// lineOf is the line whose finding a rule speaks of: that with the same words,
// else the first one of its kind and side.
func (s state) lineOf(a finding.Attention) string {
	if a.ID == "" {
		return ""
	}
	kind := func(l Line) bool { return l.Drafted.ID == a.ID && l.Drafted.Side == a.Side }
	i := slices.IndexFunc(s.lines, func(l Line) bool { return kind(l) && slices.Equal(l.Drafted.Evidence, a.Evidence) })
	if i < 0 {
		i = slices.IndexFunc(s.lines, kind)
	}
	if i < 0 {
		return ""
	}
	return s.lines[i].ID
}

// judge ends what no longer speaks of a line, and adds what does since a
// decision. What was closed keeps its closing; what the rules say again stands
// again.
func (n *Note) judge(line string, d Decision) {
	raised := d.Attention
	switch d.Kind {
	case Reject, NotAssessed: // nothing of it stands
		raised = nil
	default:
		if d.Attention == nil { // nobody asked the rules
			if d.Kind == Accept { // what was struck stands again, and so does all that was said of it
				for i := range n.actions {
					n.actions[i].Ended = n.actions[i].Ended && n.actions[i].Line != line
				}
			}
			return
		}
	}
	known := make([]bool, len(raised))
	for i := range n.actions {
		a := &n.actions[i]
		if a.Line != line {
			continue
		}
		k := slices.IndexFunc(raised, a.Same)
		if a.Ended = k < 0; !a.Ended {
			known[k] = true
		}
	}
	for k, a := range raised {
		if !known[k] {
			n.actions = append(n.actions, Action{Attention: a, Line: line})
		}
	}
}

// Decided gives the line that the last decision was about, as it stands; ok is
// false where it was about none.
func (n Note) Decided() (l Line, ok bool) {
	if len(n.decisions) == 0 {
		return Line{}, false
	}
	d := n.decisions[len(n.decisions)-1]
	if d.Kind == Add {
		return n.Line(addedID(len(n.decisions)))
	}
	return n.Line(d.Line)
}

// addedID is the id of the line that the decision of that number added.
func addedID(seq int) string { return fmt.Sprintf("a%d", seq) }

// handled words how an action was closed, for those who read the note.
func (a Action) handled() string {
	c := a.Closing
	var s string
	switch c.Handling {
	case Told:
		s = "told " + c.To + ", " + c.At.Format(minute)
		if c.ReadBack {
			s += ", read back"
		}
		if c.Answer != "" {
			s += `, answer: "` + c.Answer + `"`
		}
	case AlreadyKnown:
		s = `known before: "` + a.Reason + `"`
	case NotApplicable:
		s = `does not apply: "` + a.Reason + `"`
	default:
		return ""
	}
	s += " (" + a.By.Name + ", " + a.At.Format(minute) + ")"
	if a.Ended {
		s += "; the finding was changed or struck afterwards"
	}
	return s
}

// minute is how times stand in a note, with their offset.
const minute = "2006-01-02 15:04 -07:00"
