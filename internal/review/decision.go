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
	// Read says that a stretch of talk that was not understood was read, and
	// that no finding in it is missing from the note.
	Read
	// Close says what was done about something that needed action (Closing).
	Close
)

var kindNames = [...]string{"unknown", "accept", "change", "reject", "add", "not_assessed", "listened", "undo",
	"comment", "sign", "cosign", "return", "amend", "addendum", "read", "close"}

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
	// Index says what Listened, Read and Close decide on: its place in
	// Note.Gaps, Note.Talk or Note.Actions.
	Index int
	// Closing says how something was closed (Close).
	Closing Closing
	// Attention is what the packs' rules say of the finding as it stands after a
	// Change, an Add, or an Accept of what was struck. It is kept with the decision,
	// so that later packs do not change what was decided; nil where nobody asked the
	// rules, and what was said of the line's finding before then stays.
	Attention []finding.Attention
	// Text is a comment's or an addendum's; with Add and Change, the sentence in
	// which the person typed the finding, if she did.
	Text string
	// Why is the reason. NotAssessed, Return, Amend, Change and Reject after a
	// signature, and Close without telling anybody, need one.
	Why string
	// ObservedAt makes an Add or an Addendum a late entry: when it was observed,
	// where that was long before At. Both times are shown. Zero otherwise.
	ObservedAt time.Time
	// By and At say who and when (the time of entry).
	By Person
	At time.Time
}

// Handling is what was done about something that needed action.
type Handling uint8

// Handlings.
const (
	HandlingUnknown Handling = iota
	// Told: a person was told (Closing.To, Closing.At).
	Told
	// AlreadyKnown: it was known before; Decision.Why says to whom, and since when.
	AlreadyKnown
	// NotApplicable: it does not apply to this patient; Decision.Why says why.
	NotApplicable
)

var handlingNames = [...]string{"unknown", "told", "already_known", "not_applicable"}

// String gives the word.
func (h Handling) String() string { return nameOf(handlingNames[:], int(h)) }

// ParseHandling reads what String wrote; HandlingUnknown where it is none.
func ParseHandling(s string) Handling { return Handling(indexOf(handlingNames[:], s)) }

// MarshalText gives the stored form: the word.
func (h Handling) MarshalText() ([]byte, error) { return []byte(h.String()), nil }

// UnmarshalText takes an unknown word for HandlingUnknown, which no rule allows.
func (h *Handling) UnmarshalText(b []byte) error {
	*h = ParseHandling(string(b))
	return nil
}

// Closing says how something that needed action was closed.
type Closing struct {
	Handling Handling `json:"handling"`
	// To is who was told, by name or function; At is when.
	To string    `json:"to,omitempty"`
	At time.Time `json:"at"`
	// ReadBack says that the person told repeated it; Answer is what was answered.
	ReadBack bool   `json:"read_back,omitempty"`
	Answer   string `json:"answer,omitempty"`
}

// String keeps what was answered out of logs and errors.
func (c Closing) String() string { return "closed: " + c.Handling.String() }

// GoString does the same for %#v.
func (c Closing) GoString() string { return c.String() }

// String keeps patients' words out of logs and errors.
func (d Decision) String() string { return fmt.Sprintf("decision to %s", d.Kind) }

// GoString does the same for %#v.
func (d Decision) GoString() string { return d.String() }

// LogValue does the same for structured logs.
func (d Decision) LogValue() slog.Value { return slog.StringValue(d.String()) }
