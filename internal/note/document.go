package note

import (
	"fmt"
	"log/slog"
	"time"

	"bedsaid/internal/finding"
)

// Document is a note as it leaves the program: the findings and the words about
// them, and what a chart must know of the note itself. It is never changed once
// made.
type Document struct {
	Head  Head
	Draft Draft
	// Decisions are what a reviewer did with single findings, in the order of
	// time; empty for a draft that nobody reviewed.
	Decisions []Decision
	// Changes are the differences from an earlier note of the same patient,
	// where one was compared.
	Changes []Change
}

// Status is how far a note has come. The words are those of the status of a
// clinical document in HL7 FHIR R4 (value set composition-status).
type Status uint8

// Statuses of a note.
const (
	StatusUnknown Status = iota
	Preliminary          // drafted, perhaps reviewed, not signed
	Final                // signed
	Amended              // signed, then changed or added to and signed again
)

var statuses = [...]string{"unknown", "preliminary", "final", "amended"}

// String gives the word.
func (s Status) String() string { return statuses[s] }

// Identifier is one of the two by which a patient is told from others. The zero
// value is one that was not stated.
type Identifier struct {
	// Kind is the site's word: "record number", "date of birth". NameKind is a
	// person's name.
	Kind, Value string
}

// NameKind is the kind of identifier that is the patient's name.
const NameKind = "name"

// Identifiers puts the two in order: a name first, as documents have it.
func Identifiers(a, b Identifier) [2]Identifier {
	if a == (Identifier{}) || b.Kind == NameKind && a.Kind != NameKind {
		a, b = b, a
	}
	return [2]Identifier{a, b}
}

// Person is somebody who wrote or signed, with her credentials ("RN").
type Person struct{ Name, Credentials string }

// Signature is a person's name below a version of a note.
type Signature struct {
	By Person
	At time.Time
	// CoSign is true of a preceptor's below a student's.
	CoSign bool
	// Version is what was signed: 1 for the note as it was signed first, 2 for its
	// first amendment. Why is the reason of an amendment.
	Version int
	Why     string
}

// Relation says what a note is to an earlier one.
type Relation struct {
	Kind RelationKind
	// Note is the earlier note's id.
	Note string
}

// RelationKind is the kind of a Relation; the words are FHIR's
// (document-relationship-type).
type RelationKind uint8

// Kinds of relations.
const (
	RelationUnknown RelationKind = iota
	Appends                      // an addendum
	Replaces                     // the earlier note no longer stands
)

// String gives the word.
func (k RelationKind) String() string { return [...]string{"unknown", "appends", "replaces"}[k] }

// Addendum is a text that was added after the note was signed.
type Addendum struct {
	Text string
	By   Person
	At   time.Time
}

// Head is what a chart must know of a note beside its findings. Every field may
// be zero; an exporter then says "not stated".
type Head struct {
	// ID is the note's id in the record; empty where it has none yet.
	ID string
	// Identifiers are the two by which the patient is identified (two are what
	// the Joint Commission's national patient safety goal NPSG.01.01.01 asks), in
	// the order that the function of that name gives.
	Identifiers           [2]Identifier
	ExaminedAt, EnteredAt time.Time
	Author                Person
	Status                Status
	// Signatures are all that stand below it, those of earlier versions first;
	// none while it is preliminary.
	Signatures []Signature
	Relations  []Relation
	Addenda    []Addendum
	// Seal is the line by which the record knows this note again; empty for what
	// does not come from a record.
	Seal string
}

// DecisionKind is what a reviewer did.
type DecisionKind uint8

// Kinds of decisions.
const (
	DecisionUnknown DecisionKind = iota
	Confirmed
	Corrected
	Added
	Removed
)

var decisionKinds = [...]string{"unknown", "confirmed", "corrected", "added", "removed"}

// String gives the word.
func (k DecisionKind) String() string { return decisionKinds[k] }

// Decision is what a reviewer did with one finding.
type Decision struct {
	Kind DecisionKind
	// Finding, Side and Zone name the finding as it now stands, or stood where
	// it was removed.
	Finding string
	Side    finding.Side
	Zone    string
	// Was is what it said before; empty where that does not apply.
	Was string
	By  Person
	At  time.Time
}

// DocumentOf is a draft that nobody has signed, ready to be exported: always
// preliminary, whatever the head says.
func DocumentOf(d Draft, h Head) Document {
	h.Status, h.Signatures = Preliminary, nil
	if h.EnteredAt.IsZero() {
		h.EnteredAt = d.Provenance.DraftedAt
	}
	if h.ExaminedAt.IsZero() {
		h.ExaminedAt = d.Provenance.RecordedAt
	}
	return Document{Head: h, Draft: d}
}

// Watermark is what stands over and behind a note that is not signed; empty for
// one that is.
func (h Head) Watermark() string {
	if h.Status == Final || h.Status == Amended {
		return ""
	}
	return "PRELIMINARY, NOT SIGNED"
}

// String keeps patients' words out of logs and errors.
func (d Document) String() string { return "document of a " + d.Draft.String() }

// GoString does the same for %#v.
func (d Document) GoString() string { return d.String() }

// LogValue does the same for structured logs.
func (d Document) LogValue() slog.Value { return slog.StringValue(d.String()) }

// String keeps the patient's name out of logs and errors.
func (h Head) String() string { return "head of a note, " + h.Status.String() }

// GoString does the same for %#v.
func (h Head) GoString() string { return h.String() }

// LogValue does the same for structured logs.
func (h Head) LogValue() slog.Value { return slog.StringValue(h.String()) }

// String keeps the patient's name out of logs and errors.
func (i Identifier) String() string { return "identifier of a patient" }

// GoString does the same for %#v.
func (i Identifier) GoString() string { return i.String() }

// String keeps patients' words out of logs and errors.
func (d Decision) String() string { return fmt.Sprintf("%s finding %s", d.Kind, d.Finding) }

// GoString does the same for %#v.
func (d Decision) GoString() string { return d.String() }

// String keeps patients' words out of logs and errors.
func (s Signature) String() string { return fmt.Sprintf("signature below version %d", s.Version) }

// GoString does the same for %#v.
func (s Signature) GoString() string { return s.String() }

// String keeps patients' words out of logs and errors.
func (a Addendum) String() string { return "addendum" }

// GoString does the same for %#v.
func (a Addendum) GoString() string { return a.String() }
