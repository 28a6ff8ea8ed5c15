// Package finding holds what was examined and found: findings, the talk that
// was left out, what nobody mentioned, and what wants action. It is a leaf
// value over transcript spans: extract makes it, note and export read it.
package finding

import (
	"fmt"
	"log/slog"
	"strconv"
	"strings"

	"bedsaid/internal/transcript"
)

// Side is the side of the body, from the patient's view.
type Side uint8

// Sides. NoSide is a finding without a side, or one whose side was not said.
const (
	NoSide Side = iota
	Right
	Left
	Both
)

var sideNames = [...]string{"", "right", "left", "both"}

// String gives the contract's word, empty for NoSide.
func (s Side) String() string { return sideNames[s] }

// Opposite swaps right and left and leaves the others.
func (s Side) Opposite() Side {
	switch s {
	case Right:
		return Left
	case Left:
		return Right
	}
	return s
}

// Status says whether the finding was assessed.
type Status uint8

// Statuses.
const (
	StatusUnknown Status = iota
	Assessed
	NotAssessed
)

// String gives the contract's word.
func (s Status) String() string {
	return [...]string{"unknown", "assessed", "not_assessed"}[s]
}

// Source says who vouches for the finding.
type Source uint8

// Sources.
const (
	SourceUnknown Source = iota
	// Observed: the nurse stated it herself.
	Observed
	// Reported: the patient or somebody else said it.
	Reported
)

// String gives the contract's word.
func (s Source) String() string { return [...]string{"unknown", "observed", "reported"}[s] }

// Interpretation compares a value with the pack's expected values.
type Interpretation uint8

// Interpretations.
const (
	Unclear Interpretation = iota
	Expected
	Unexpected
)

// String gives the contract's word.
func (i Interpretation) String() string {
	return [...]string{"unclear", "expected", "unexpected"}[i]
}

// Value is one of the allowed words of a finding, words as they were said, a
// list of them, a number, or a pair of numbers; exactly one. The zero Value is
// no value.
type Value struct {
	word           string
	number, second float64
	kind           valueKind
}

type valueKind uint8

const (
	noValue valueKind = iota
	wordValue
	numberValue
	pairValue
	listValue
)

// listMark parts the words of a list; no spoken word holds it.
const listMark = "\x1f"

// Word makes a value that is one of the pack's allowed words.
func Word(w string) Value {
	if w == "" {
		return Value{}
	}
	return Value{word: w, kind: wordValue}
}

// Number makes a numeric value, in the finding's unit.
func Number(n float64) Value { return Value{number: n, kind: numberValue} }

// Pair makes a value of two numbers, such as a blood pressure.
func Pair(first, second float64) Value { return Value{number: first, second: second, kind: pairValue} }

// List makes a value of several words or sayings.
func List(words ...string) Value { return Value{word: strings.Join(words, listMark), kind: listValue} }

// IsZero reports that there is no value.
func (v Value) IsZero() bool { return v == Value{} }

// Word gives the word; ok is false for anything else.
func (v Value) Word() (w string, ok bool) { return v.word, v.kind == wordValue }

// Number gives the number; ok is false for anything but a single number.
func (v Value) Number() (n float64, ok bool) { return v.number, v.kind == numberValue }

// Pair gives the two numbers; ok is false for anything else.
func (v Value) Pair() (first, second float64, ok bool) {
	return v.number, v.second, v.kind == pairValue
}

// List gives the words of a list; ok is false for anything else.
func (v Value) List() (words []string, ok bool) {
	if v.kind != listValue {
		return nil, false
	}
	return strings.Split(v.word, listMark), true
}

// String renders a value without trailing zeros and with a leading zero.
func (v Value) String() string {
	switch v.kind {
	case numberValue:
		return digits(v.number)
	case pairValue:
		return digits(v.number) + "/" + digits(v.second)
	case listValue:
		return strings.ReplaceAll(v.word, listMark, ", ")
	}
	return v.word
}

func digits(n float64) string { return strconv.FormatFloat(n, 'f', -1, 64) }

// MarkKind is the kind of a doubt.
type MarkKind string

// Mark kinds, as the contract lists them.
const (
	UnclearAudio MarkKind = "unclear_audio"
	Respelled    MarkKind = "respelled"
	UnsureSide   MarkKind = "unsure_side"
	UnsureValue  MarkKind = "unsure_value"
	UnitChanged  MarkKind = "unit_changed"
	Conflict     MarkKind = "conflict"
	Implausible  MarkKind = "implausible"
	Inferred     MarkKind = "inferred"
)

// Mark is a doubt that the reviewer must see.
type Mark struct {
	Kind MarkKind
	// Why is one short sentence for the nurse.
	Why string
	// Alternatives are other readings, in words ("4 mm"); may be empty.
	Alternatives []string
}

// Finding is one line of the draft.
type Finding struct {
	ID     string
	Side   Side
	Zone   string // a place such as "occiput"; empty where none
	Status Status
	Value  Value
	// High is the upper end of a range; zero where there is none.
	High Value
	// Unit is a UCUM code; empty where the value has none.
	Unit           string
	Qualifiers     map[string]string
	Source         Source
	Reason         string // why it was not assessed, in the words said
	Interpretation Interpretation
	Marks          []Mark
	Evidence       []transcript.Span
}

// String keeps patients' words out of logs and errors.
func (f Finding) String() string { return fmt.Sprintf("finding %s", f.ID) }

// GoString does the same for %#v.
func (f Finding) GoString() string { return f.String() }

// LogValue does the same for structured logs.
func (f Finding) LogValue() slog.Value { return slog.StringValue(f.String()) }

// Why names the reason that talk was left out of the findings.
type Why string

// Reasons, as the contract lists them.
const (
	Instruction  Why = "instruction"
	Question     Why = "question"
	Teaching     Why = "teaching"
	Plan         Why = "plan"
	History      Why = "history"
	OtherPerson  Why = "other_person"
	Corrected    Why = "corrected"
	TooGeneral   Why = "too_general"
	SmallTalk    Why = "small_talk"
	Unrecognized Why = "unrecognized"
)

// LeftOut is talk that was heard and not charted.
type LeftOut struct {
	Why  Why
	Span transcript.Span
}

// Missing is a finding of a complete examination that nobody spoke of; Side is
// NoSide unless one side alone is missing.
type Missing struct {
	ID   string
	Side Side
}

// ChartedBy says whether the finding settles it.
func (m Missing) ChartedBy(f Finding) bool {
	return f.ID == m.ID && (m.Side == NoSide || f.Side == m.Side || f.Side == Both)
}

// Urgency ranks what wants a person's action.
type Urgency uint8

// Urgencies, most pressing last so that a larger one outranks a smaller.
const (
	UrgencyUnknown Urgency = iota
	Recheck
	Routine
	Prompt
	Now
)

// String gives the contract's word.
func (u Urgency) String() string {
	return [...]string{"unknown", "recheck", "routine", "prompt", "now"}[u]
}

// Attention is something that wants a person's action: a finding, or a
// patient's statement of danger quoted verbatim (ID empty).
type Attention struct {
	ID       string
	Side     Side
	Why      string
	Urgency  Urgency
	Source   string // where the rule comes from
	Evidence []transcript.Span
	// Handled is what a person says was done about it, in words; empty while
	// nobody said anything.
	Handled string
}

// Same says whether two speak of one finding by one rule.
func (a Attention) Same(b Attention) bool {
	return a.ID == b.ID && a.Side == b.Side && a.Why == b.Why && a.Urgency == b.Urgency
}

// Set is all that was understood of one transcript.
type Set struct {
	Findings    []Finding
	LeftOut     []LeftOut
	Unmentioned []Missing
	Attention   []Attention
}

// String keeps patients' words out of logs and errors.
func (s Set) String() string {
	return fmt.Sprintf("%d findings, %d left out", len(s.Findings), len(s.LeftOut))
}

// GoString does the same for %#v.
func (s Set) GoString() string { return s.String() }

// LogValue does the same for structured logs.
func (s Set) LogValue() slog.Value { return slog.StringValue(s.String()) }
