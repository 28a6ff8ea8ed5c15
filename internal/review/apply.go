package review

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
)

// apply changes n, which nobody else holds.
func (n *Note) apply(d Decision) error {
	seq := len(n.decisions) + 1
	if err := n.check(d); err != nil {
		return err
	}
	d.Resolves, d.Attention = slices.Clone(d.Resolves), slices.Clone(d.Attention)
	if d.Kind == Undo {
		last, _ := n.lastUndoable(d.By)
		n.decisions = append(n.decisions, d)
		if n.undone == nil {
			n.undone = map[int]bool{}
		}
		n.undone[last], n.undone[seq] = true, true
		n.rebuild()
		return nil
	}
	n.decisions = append(n.decisions, d)
	n.step(d, seq)
	return nil
}

// rebuild takes all decisions that still count from the beginning.
func (n *Note) rebuild() {
	n.state = begin(n.draft)
	for i, d := range n.decisions {
		if !n.undone[i+1] {
			n.step(d, i+1)
		}
	}
}

// step does what an allowed decision does.
func (n *Note) step(d Decision, seq int) {
	i := n.index(d.Line)
	switch d.Kind {
	case Accept, Change, Reject, NotAssessed:
		struck := n.lines[i].State == Rejected
		n.lines[i] = decided(n.lines[i], d)
		if d.Kind != Accept || struck {
			n.judge(d.Line, d)
		}
	case Add:
		l := Line{ID: addedID(seq), State: Added, Finding: d.Finding, Beside: d.Line,
			By: d.By, At: d.At, Why: d.Why, ObservedAt: d.ObservedAt}
		n.lines = append(n.lines, l)
		n.judge(l.ID, d)
	case Listened:
		n.gaps[d.Index].Listened = true
	case Read:
		n.talk[d.Index].Read = true
	case Close:
		a := &n.actions[d.Index]
		a.Closing, a.By, a.At, a.Reason = d.Closing, d.By, d.At, d.Why
	case Comment:
		n.comments = append(n.comments, remark(d, seq))
		return
	case Addendum:
		n.addenda = append(n.addenda, remark(d, seq))
		if n.status == Final {
			n.status = Amended
		}
		return
	case Sign:
		n.pending = append(n.pending, Signature{By: d.By, At: d.At, Seq: seq})
		n.undoable = nil
		if d.By.Role.Licensed() {
			n.close()
			return
		}
		n.status = AwaitingCoSign
		if len(n.versions) > 0 {
			n.status = AmendingAwaitingCoSign
		}
		return
	case CoSign:
		n.pending = append(n.pending, Signature{By: d.By, At: d.At, Seq: seq, CoSign: true})
		n.undoable = nil
		n.close()
		return
	case Return:
		n.pending, n.undoable = nil, nil
		n.status = Preliminary
		if len(n.versions) > 0 {
			n.status = Amending
		}
		return
	case Amend:
		n.status, n.amendWhy, n.touched, n.undoable = Amending, d.Why, false, []int{seq}
		return
	}
	n.touched = true
	n.undoable = append(n.undoable, seq)
}

func remark(d Decision, seq int) Remark {
	return Remark{Text: d.Text, Why: d.Why, By: d.By, At: d.At, ObservedAt: d.ObservedAt, Seq: seq}
}

// close makes a version of what stands.
func (n *Note) close() {
	n.status = Final
	if len(n.versions) > 0 {
		n.status = Amended
	}
	n.versions = append(n.versions, Version{Lines: slices.Clone(n.lines), Actions: slices.Clone(n.actions), Signatures: n.pending, Why: n.amendWhy})
	n.pending, n.amendWhy = nil, ""
}

// decided gives a line after a decision on it.
func decided(l Line, d Decision) Line {
	f := l.Finding
	switch d.Kind {
	case Accept:
		if l.State == Undecided || l.State == Rejected {
			l.State = Accepted
			if l.Drafted.ID == "" {
				l.State = Added
			}
		}
		f.Marks = without(f.Marks, d.Resolves)
	case Change:
		marks, evidence := f.Marks, f.Evidence
		f = d.Finding
		f.Marks = without(marks, d.Resolves)
		if len(f.Evidence) == 0 {
			f.Evidence = evidence
		}
		if l.State != Added {
			l.State = Changed
		}
	case Reject:
		l.State = Rejected
		// The marks stay with what was struck; nothing of it is signed.
	case NotAssessed:
		f = finding.Finding{ID: f.ID, Side: f.Side, Zone: f.Zone, Status: finding.NotAssessed, Source: finding.Observed,
			Reason: d.Why, Evidence: f.Evidence}
		if l.State != Added {
			l.State = Changed
		}
	}
	l.Finding, l.By, l.At, l.Why = f, d.By, d.At, d.Why
	return l
}

func without(marks []finding.Mark, settled []finding.MarkKind) []finding.Mark {
	var open []finding.Mark
	for _, m := range marks {
		if !slices.Contains(settled, m.Kind) {
			open = append(open, m)
		}
	}
	return open
}

// check says whether the rules allow a decision.
func (n *Note) check(d Decision) error {
	no := func(r Rule) error { return &RuleError{Rule: r, Kind: d.Kind, Line: d.Line} }
	if d.At.IsZero() {
		return no(NoTime)
	}
	if d.ObservedAt.After(d.At) {
		return no(FutureTime)
	}
	if r := n.checkPerson(d); r != "" {
		return no(r)
	}
	if r := n.checkStatus(d); r != "" {
		return no(r)
	}
	if r := n.checkContent(d); r != "" {
		return no(r)
	}
	if d.Kind == Sign {
		if open := n.Obstacles(); len(open) > 0 {
			return &RuleError{Rule: Unfinished, Kind: d.Kind, Open: open}
		}
		if n.status == Amending && !n.touched {
			return no(NoChange)
		}
	}
	return nil
}

// checkPerson: the author decides and signs; a preceptor charts beside, returns
// and co-signs; licensed nurses write addenda; everybody comments.
func (n *Note) checkPerson(d Decision) Rule {
	author := d.By.ID != "" && d.By.ID == n.author.ID
	switch d.Kind {
	case Accept, Change, Reject, NotAssessed, Listened, Read, Close, Sign, Amend:
		if d.By.Role == Reviewer || d.By.Role == RoleUnknown {
			return WrongRole
		}
		if !author {
			return NotAuthor
		}
	case Add:
		if d.By.Role == Reviewer || d.By.Role == RoleUnknown {
			return WrongRole
		}
		if !author && !(d.By.Role == Preceptor && n.author.Role == Student) {
			return NotAuthor
		}
	case CoSign, Return:
		if d.By.Role != Preceptor {
			return WrongRole
		}
		if author || slices.ContainsFunc(n.pending, func(s Signature) bool { return s.By.ID == d.By.ID }) {
			return SamePerson
		}
	case Addendum:
		if !d.By.Role.Licensed() {
			return WrongRole
		}
	case Undo, Comment:
		if d.By.ID == "" || d.By.Role == RoleUnknown {
			return WrongRole
		}
	default:
		return WrongRole
	}
	return ""
}

func (n *Note) checkStatus(d Decision) Rule {
	waits := n.status.Waits()
	switch d.Kind {
	case Comment:
		return ""
	case CoSign, Return:
		if !waits {
			return NotSigned
		}
		if d.Kind == CoSign && len(n.Obstacles()) > 0 {
			return Unfinished
		}
		return ""
	case Add:
		// A preceptor charts her own finding beside the student's before she signs.
		if waits && d.By.Role == Preceptor {
			return ""
		}
	case Undo:
		if _, ok := n.lastUndoable(d.By); !ok {
			return NothingToUndo
		}
		return ""
	case Amend, Addendum:
		if waits {
			return AwaitingPreceptor
		}
		if !n.status.Closed() {
			return NotSigned
		}
		return ""
	}
	switch {
	case n.status.Open():
		return ""
	case waits:
		return AwaitingPreceptor
	case n.status.Signed():
		return Signed
	}
	return NotAuthor // the zero Note
}

func (n *Note) checkContent(d Decision) Rule {
	i := n.index(d.Line)
	switch d.Kind {
	case Accept, Change, NotAssessed, Reject:
		if i < 0 || (n.lines[i].State == Rejected && d.Kind != Accept) {
			return NoLine
		}
		for _, k := range d.Resolves {
			if !slices.ContainsFunc(n.lines[i].Finding.Marks, func(m finding.Mark) bool { return m.Kind == k }) {
				return NoMark
			}
		}
	case Listened:
		if d.Index < 0 || d.Index >= len(n.gaps) {
			return NoGap
		}
	case Read:
		if d.Index < 0 || d.Index >= len(n.talk) {
			return NoTalk
		}
	case Close:
		if d.Index < 0 || d.Index >= len(n.actions) {
			return NoAction
		}
		return d.checkClosing()
	case Comment, Addendum:
		if strings.TrimSpace(d.Text) == "" {
			return NoText
		}
	}
	if d.Kind == Add && d.Line != "" && i < 0 {
		return NoLine
	}
	if (d.Kind == Add || d.Kind == Change) && !n.whole(d.Finding) {
		return NoFinding
	}
	if d.needsWhy(n.status) && strings.TrimSpace(d.Why) == "" {
		return NoReason
	}
	return ""
}

// checkClosing: who was told and when, or a reason why nobody was.
func (d Decision) checkClosing() Rule {
	c := d.Closing
	switch c.Handling {
	case Told:
		if strings.TrimSpace(c.To) == "" || c.At.IsZero() {
			return NotHandled
		}
		if c.At.After(d.At) {
			return FutureTime
		}
		return ""
	case AlreadyKnown, NotApplicable:
		if strings.TrimSpace(d.Why) == "" {
			return NoReason
		}
		return ""
	}
	return NotHandled
}

func (d Decision) needsWhy(s Status) bool {
	switch d.Kind {
	case NotAssessed, Return, Amend:
		return true
	case Change, Reject:
		return s.Signed()
	}
	return false
}

// whole says whether a finding can stand in a note. Its marks are the draft's
// business: a person who charts has no doubts, or says them in words.
func (n *Note) whole(f finding.Finding) bool {
	for _, e := range f.Evidence {
		if e.Start < 0 || e.Len() <= 0 || e.End > len(n.draft.Transcript.Words) {
			return false
		}
	}
	switch {
	case f.ID == "" || len(f.Marks) > 0 || f.Side > finding.Both || f.Interpretation > finding.Unexpected:
		return false
	case f.Source != finding.Observed && f.Source != finding.Reported:
		return false
	case f.Status == finding.Assessed:
		return !f.Value.IsZero()
	case f.Status == finding.NotAssessed:
		return f.Value.IsZero() && strings.TrimSpace(f.Reason) != ""
	}
	return false
}

// lastUndoable is the last decision that can be taken back, if it is this
// person's: nobody takes back what another decided.
func (n Note) lastUndoable(by Person) (seq int, ok bool) {
	if len(n.undoable) == 0 {
		return 0, false
	}
	seq = n.undoable[len(n.undoable)-1]
	return seq, by.ID != "" && n.decisions[seq-1].By.ID == by.ID
}
