package review

import (
	"fmt"
	"log/slog"
	"time"

	"bedsaid/internal/finding"
)

// Kind is what a decision does.
type Kind uint8

// Kinds of decisions.
const (
	KindUnknown Kind = iota
	// Accept lets the line stand as it was drafted.
	Accept
	// Change puts Decision.Finding in the line's place.
	Change
	// Reject strikes the line; it stays readable as struck.
	Reject
	// Add charts a finding that the draft does not have.
	Add
	// NotAssessed says of a line that it was not assessed after all; Why says why.
	NotAssessed
	// Listened says that a stretch of speech that gave no words was listened to.
	Listened
	// Undo takes back the last decision that still counts.
	Undo
	// Comment is a remark about the note; it changes nothing.
	Comment
	// Sign closes the note; a student's waits for the co-signature.
	Sign
	// CoSign closes a note that a student signed.
	CoSign
	// Return gives a note that a student signed back to her; Why says why.
	Return
	// Amend opens a signed note for correction; what was signed stays readable.
	Amend
	// Addendum adds text to a signed note and is signed by itself.
	Addendum
)

var kindNames = [...]string{"unknown", "accept", "change", "reject", "add", "not_assessed", "listened", "undo",
	"comment", "sign", "cosign", "return", "amend", "addendum"}

// String gives the kind's word, which is also its stored form.
func (k Kind) String() string { return nameOf(kindNames[:], int(k)) }

// ParseKind reads what String wrote; KindUnknown where it is no kind.
func ParseKind(s string) Kind { return Kind(indexOf(kindNames[:], s)) }

// Decision is one act of one person on a note. It is kept for ever: who, when,
// what it was (the line before), what it became, and why.
type Decision struct {
	Kind Kind
	// Line is the id of the line decided on; with Add, the id of the line that
	// the finding is charted beside, if any.
	Line string
	// Finding is what the line becomes (Change) or what is charted (Add).
	Finding finding.Finding
	// Resolves are the kinds of marks that the person has settled with it. A
	// line is not signed while a mark of it is open. Reject and NotAssessed
	// settle all marks of their line.
	Resolves []finding.MarkKind
	// Gap is the index of the stretch listened to, in Note.Gaps.
	Gap int
	// Text is a comment's or an addendum's.
	Text string
	// Why is the reason. NotAssessed, Return, Amend, and Change and Reject
	// after a signature, need one.
	Why string
	// ObservedAt makes an Add or an Addendum a late entry: when it was observed,
	// where that was long before At. Both times are shown. Zero otherwise.
	ObservedAt time.Time
	// By and At say who and when (the time of entry).
	By Person
	At time.Time
}

// String keeps patients' words out of logs and errors.
func (d Decision) String() string { return fmt.Sprintf("decision to %s", d.Kind) }

// GoString does the same for %#v.
func (d Decision) GoString() string { return d.String() }

// LogValue does the same for structured logs.
func (d Decision) LogValue() slog.Value { return slog.StringValue(d.String()) }
