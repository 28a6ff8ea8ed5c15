// Package review holds what people decide about a draft note: accept, change,
// strike and add findings, sign, co-sign, amend, add to. It is a pure state
// machine over immutable values: a Note and a Decision give the next Note, or
// a RuleError. No clock, no file, no network; package store keeps the
// decisions, and replaying them gives the same Note.
package review

import (
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// Status is how far a note has come.
type Status uint8

// Statuses. The word for a reader outside (HL7 FHIR R4, composition-status) is
// that of Note.Document's head.
const (
	StatusUnknown Status = iota
	// Preliminary: being decided on; nobody signed.
	Preliminary
	// AwaitingCoSign: signed by a student, waits for a preceptor.
	AwaitingCoSign
	// Final: signed.
	Final
	// Amending: signed before, and open for correction now.
	Amending
	// AmendingAwaitingCoSign: a student signed an amendment, waits for a preceptor.
	AmendingAwaitingCoSign
	// Amended: corrected or added to after it was signed, and signed again.
	Amended
)

var statusNames = [...]string{"unknown", "preliminary", "awaiting_cosign", "final", "amending", "amending_awaiting_cosign", "amended"}

// String gives the status's word.
func (s Status) String() string { return nameOf(statusNames[:], int(s)) }

// ParseStatus reads what String wrote; StatusUnknown where it is no status.
func ParseStatus(s string) Status { return Status(indexOf(statusNames[:], s)) }

// Open says whether lines can be decided on.
func (s Status) Open() bool { return s == Preliminary || s == Amending }

// Signed says whether a signed version exists.
func (s Status) Signed() bool { return s >= Final }

// Waits says whether a student signed and the preceptor has not.
func (s Status) Waits() bool { return s == AwaitingCoSign || s == AmendingAwaitingCoSign }

// Closed says whether the note stands as it was signed last.
func (s Status) Closed() bool { return s == Final || s == Amended }

// State is how a line stands.
type State uint8

// States of a line.
const (
	StateUnknown State = iota
	// Undecided: drafted, and nobody has decided.
	Undecided
	// Accepted: stands as drafted.
	Accepted
	// Changed: stands otherwise than drafted.
	Changed
	// Rejected: struck.
	Rejected
	// Added: charted by a person, not drafted.
	Added
)

var stateNames = [...]string{"unknown", "undecided", "accepted", "changed", "rejected", "added"}

// String gives the state's word.
func (s State) String() string { return nameOf(stateNames[:], int(s)) }

// Line is one finding of the note as it stands.
type Line struct {
	// ID is stable within the note: "f3" is the third finding of the draft,
	// "a7" was added by the seventh decision.
	ID    string
	State State
	// Finding is what stands; of a struck line, what was struck. Its Marks are
	// those that are still open.
	Finding finding.Finding
	// Drafted is the finding as drafted, with all its marks; it means nothing
	// where State is Added.
	Drafted finding.Finding
	// Beside is the id of the line that this one was charted beside.
	Beside string
	// By and At are of the last decision on the line, and Why is its reason.
	By  Person
	At  time.Time
	Why string
	// ObservedAt is not zero where the line is a late entry.
	ObservedAt time.Time
}

// Gap is a stretch of speech that gave no words.
type Gap struct {
	transcript.Interval
	// Listened says that somebody listened to it.
	Listened bool
}

// Talk is a stretch of talk that was heard and not understood.
type Talk struct {
	transcript.Span
	// Read says that somebody read it.
	Read bool
}

// Action is something that needs a person's action, and how it was closed.
type Action struct {
	finding.Attention
	// Line is the id of the line whose finding it speaks of; empty for the
	// patient's own words and what else belongs to no line.
	Line string
	// Ended says that the finding was changed or struck since, and the rules say
	// so no more. What was closed before stays listed with its closing.
	Ended bool
	// Closing is zero while it is open; By, At and Why are those of the decision.
	Closing Closing
	By      Person
	At      time.Time
	Reason  string
}

// Closed says whether somebody closed it.
func (a Action) Closed() bool { return a.Closing.Handling != HandlingUnknown }

// Gone says that nobody needs to see it any more: its finding ended it before
// anybody closed it.
func (a Action) Gone() bool { return a.Ended && !a.Closed() }

// Signature is a person's name below the note.
type Signature struct {
	By Person
	At time.Time
	// Seq is the number of the decision that it was.
	Seq int
	// CoSign is true of a preceptor's below a student's.
	CoSign bool
}

// Version is the note as it was signed: never changed afterwards.
type Version struct {
	Lines []Line
	// Actions are what needed action then, with their closings.
	Actions    []Action
	Signatures []Signature
	// Why is the reason of the amendment; empty for the first version.
	Why string
}

// Remark is a comment or an addendum.
type Remark struct {
	Text string
	Why  string
	By   Person
	At   time.Time
	// ObservedAt is not zero where the addendum is a late entry.
	ObservedAt time.Time
	Seq        int
}

// Note is a draft and all that was decided about it. It is immutable: Apply
// gives another. The zero Note is empty and takes no decision.
type Note struct {
	draft     note.Draft
	author    Person
	decisions []Decision
	undone    map[int]bool // numbers of decisions taken back
	state
}

// state is what decisions change.
type state struct {
	status   Status
	lines    []Line
	gaps     []Gap
	talk     []Talk
	actions  []Action
	pending  []Signature // of the version being signed
	versions []Version
	addenda  []Remark
	comments []Remark
	amendWhy string
	touched  bool  // a line was decided on in this amendment
	undoable []int // numbers of decisions that Undo can take back, the last one last
}

// Begin makes the note of a draft: all findings undecided. The author is who
// examined, a student included.
func Begin(d note.Draft, author Person) Note {
	return Note{draft: d, author: author, state: begin(d)}
}

func begin(d note.Draft) state {
	s := state{status: Preliminary}
	for i, f := range d.Findings() {
		s.lines = append(s.lines, Line{ID: fmt.Sprintf("f%d", i+1), State: Undecided, Finding: f, Drafted: f})
	}
	for _, g := range d.Untranscribed() {
		s.gaps = append(s.gaps, Gap{Interval: g})
	}
	for _, l := range d.LeftOut {
		if l.Why == finding.Unrecognized {
			s.talk = append(s.talk, Talk{Span: l.Span})
		}
	}
	for _, a := range d.Attention {
		s.actions = append(s.actions, Action{Attention: a, Line: s.lineOf(a)})
	}
	return s
}

// Replay makes the note of a draft after decisions, in their order.
func Replay(d note.Draft, author Person, decisions []Decision) (Note, error) {
	n := Begin(d, author)
	for i, x := range decisions {
		if err := n.apply(x); err != nil {
			return Note{}, fmt.Errorf("replay decision %d: %w", i+1, err)
		}
	}
	return n, nil
}

// Apply gives the note after a decision. Where a rule forbids it, the error is
// a *RuleError.
func (n Note) Apply(d Decision) (Note, error) {
	n.decisions = slices.Clone(n.decisions)
	n.undone = maps.Clone(n.undone)
	n.state = n.state.clone()
	if err := n.apply(d); err != nil {
		return Note{}, err
	}
	return n, nil
}

func (s state) clone() state {
	s.lines = slices.Clone(s.lines)
	s.gaps = slices.Clone(s.gaps)
	s.talk = slices.Clone(s.talk)
	s.actions = slices.Clone(s.actions)
	s.pending = slices.Clone(s.pending)
	s.versions = slices.Clone(s.versions)
	s.addenda = slices.Clone(s.addenda)
	s.comments = slices.Clone(s.comments)
	s.undoable = slices.Clone(s.undoable)
	return s
}

// Draft is what the note began with.
func (n Note) Draft() note.Draft { return n.draft }

// Author is who examined and signs.
func (n Note) Author() Person { return n.author }

// Status says how far the note has come.
func (n Note) Status() Status { return n.status }

// Len is the number of decisions, those taken back included.
func (n Note) Len() int { return len(n.decisions) }

// Decisions gives all decisions in order, those taken back included: the first
// has number 1.
func (n Note) Decisions() []Decision { return slices.Clone(n.decisions) }

// Counts says that the decision of that number was not taken back, and takes
// nothing back itself.
func (n Note) Counts(seq int) bool { return !n.undone[seq] }

// CanUndo says whether this person can take back a decision now.
func (n Note) CanUndo(by Person) bool { _, ok := n.lastUndoable(by); return ok }

// Lines gives all lines, in the order of the draft, added ones last.
func (n Note) Lines() []Line { return slices.Clone(n.lines) }

// Line gives one line; ok is false where there is none of that id.
func (n Note) Line(id string) (l Line, ok bool) {
	if i := n.index(id); i >= 0 {
		return n.lines[i], true
	}
	return Line{}, false
}

// Gaps gives the stretches of speech that gave no words.
func (n Note) Gaps() []Gap { return slices.Clone(n.gaps) }

// Talk gives the stretches of talk that were not understood.
func (n Note) Talk() []Talk { return slices.Clone(n.talk) }

// Actions gives what needs a person's action: that of the draft, the most urgent
// first, then what decisions raised. A place in it stays the same.
func (n Note) Actions() []Action { return slices.Clone(n.actions) }

// Findings gives what the note says now: all lines but the struck ones.
func (n Note) Findings() []finding.Finding { return findings(n.lines) }

func findings(lines []Line) []finding.Finding {
	var all []finding.Finding
	for _, l := range lines {
		if l.State != Rejected {
			all = append(all, l.Finding)
		}
	}
	return all
}

// Unmentioned gives what nobody spoke of and nobody charted since.
func (n Note) Unmentioned() []finding.Missing {
	return uncharted(n.draft.Unmentioned(), n.Findings())
}

// uncharted gives those of them that no finding settles.
func uncharted(all []finding.Missing, by []finding.Finding) []finding.Missing {
	return slices.DeleteFunc(all, func(m finding.Missing) bool { return slices.ContainsFunc(by, m.ChartedBy) })
}

// Versions gives the note as it was signed each time, the first one first.
func (n Note) Versions() []Version { return slices.Clone(n.versions) }

// Pending gives the signatures of a version that still lacks one.
func (n Note) Pending() []Signature { return slices.Clone(n.pending) }

// Addenda gives what was added after signing.
func (n Note) Addenda() []Remark { return slices.Clone(n.addenda) }

// Comments gives the remarks about the note; they are no part of it.
func (n Note) Comments() []Remark { return slices.Clone(n.comments) }

// Obstacles gives what stands against signing; none where it can be signed.
func (n Note) Obstacles() []Obstacle {
	var out []Obstacle
	for _, l := range n.lines {
		if l.State == Undecided {
			out = append(out, Obstacle{Kind: UndecidedLine, Line: l.ID})
		}
		if l.State == Rejected {
			continue
		}
		for _, m := range l.Finding.Marks {
			out = append(out, Obstacle{Kind: OpenMark, Line: l.ID, Mark: m.Kind})
		}
	}
	for i, g := range n.gaps {
		if !g.Listened {
			out = append(out, Obstacle{Kind: NotListened, Index: i})
		}
	}
	for i, t := range n.talk {
		if !t.Read {
			out = append(out, Obstacle{Kind: NotRead, Index: i})
		}
	}
	for i, a := range n.actions {
		if !a.Closed() && !a.Gone() {
			out = append(out, Obstacle{Kind: NotClosed, Index: i})
		}
	}
	return out
}

func (n Note) index(id string) int {
	return slices.IndexFunc(n.lines, func(l Line) bool { return l.ID == id })
}

// String keeps patients' words out of logs and errors.
func (n Note) String() string {
	return fmt.Sprintf("%s note of %d lines after %d decisions", n.status, len(n.lines), len(n.decisions))
}

// GoString does the same for %#v.
func (n Note) GoString() string { return n.String() }

// LogValue does the same for structured logs.
func (n Note) LogValue() slog.Value { return slog.StringValue(n.String()) }

// String keeps patients' words out of logs and errors.
func (l Line) String() string { return fmt.Sprintf("%s line %s", l.State, l.ID) }

// GoString does the same for %#v.
func (l Line) GoString() string { return l.String() }

// String keeps patients' words out of logs and errors.
func (a Action) String() string { return "something that needs action, " + a.Closing.String() }

// GoString does the same for %#v.
func (a Action) GoString() string { return a.String() }

// String keeps patients' words out of logs and errors.
func (r Remark) String() string { return fmt.Sprintf("remark of decision %d", r.Seq) }

// GoString does the same for %#v.
func (r Remark) GoString() string { return r.String() }

// String keeps patients' words out of logs and errors.
func (v Version) String() string { return fmt.Sprintf("signed version of %d lines", len(v.Lines)) }

// GoString does the same for %#v.
func (v Version) GoString() string { return v.String() }
