package review

import (
	"fmt"

	"bedsaid/internal/finding"
)

// Rule names what a decision broke.
type Rule string

// Rules. Their sources: authorship, dating and keeping of the original follow
// the rule for amendments, corrections and delayed entries that CMS gives its
// contractors (Medicare Program Integrity Manual, chapter 3) and the ANA
// Principles for Nursing Documentation (2010); the rest is common practice, no
// source.
const (
	// WrongRole: the person's role does not do this.
	WrongRole Rule = "role"
	// NotAuthor: only the author decides and signs.
	NotAuthor Rule = "author"
	// SamePerson: nobody co-signs what she signed herself.
	SamePerson Rule = "same_person"
	// NoLine: there is no such line, or it was struck.
	NoLine Rule = "no_line"
	// NoFinding: the decision needs a finding with an id, and with a value or a
	// reason.
	NoFinding Rule = "no_finding"
	// NoReason: the decision needs a reason.
	NoReason Rule = "no_reason"
	// NoText: a comment or an addendum needs words.
	NoText Rule = "no_text"
	// NoGap: there is no such stretch of speech without words.
	NoGap Rule = "no_gap"
	// NoTalk: there is no such stretch of talk that was not understood.
	NoTalk Rule = "no_talk"
	// NoAction: there is no such thing that needs action.
	NoAction Rule = "no_action"
	// NotHandled: it is not said what was done: who was told, and when.
	NotHandled Rule = "not_handled"
	// NoMark: the line has no such open mark.
	NoMark Rule = "no_mark"
	// NothingToUndo: no decision of this person can be taken back.
	NothingToUndo Rule = "nothing_to_undo"
	// Signed: the note is signed; it takes an amendment or an addendum.
	Signed Rule = "signed"
	// NotSigned: the note must be signed first.
	NotSigned Rule = "not_signed"
	// AwaitingPreceptor: a student signed; a preceptor co-signs or returns it.
	AwaitingPreceptor Rule = "awaiting_preceptor"
	// Unfinished: findings are undecided, marks open, speech not listened to,
	// talk not read, or something that needs action is not closed.
	Unfinished Rule = "unfinished"
	// NoChange: nothing was changed in the amendment.
	NoChange Rule = "no_change"
	// FutureTime: observed after it was entered.
	FutureTime Rule = "future_time"
	// NoTime: a decision says when it was made.
	NoTime Rule = "no_time"
)

var ruleTexts = map[Rule][2]string{
	WrongRole:         {"this role does not do that", "ask the examiner or the preceptor"},
	NotAuthor:         {"only the nurse who wrote the note decides and signs", "leave a comment for her instead"},
	SamePerson:        {"nobody co-signs her own note", "another preceptor must co-sign"},
	NoLine:            {"there is no such line in the note, or it was struck", "load the note anew"},
	NoFinding:         {"a finding needs its name, and a value or the reason why it was not assessed", "fill in what is missing"},
	NoReason:          {"a reason is needed", "say in a few words why"},
	NoText:            {"there is no text", "write what is to be added"},
	NoGap:             {"there is no such stretch of speech", "load the note anew"},
	NoTalk:            {"there is no such stretch of talk", "load the note anew"},
	NoAction:          {"there is no such thing that needs action", "load the note anew"},
	NotHandled:        {"it is not said what was done", "say who was told and when, or that it was known or does not apply, and why"},
	NoMark:            {"the line has no such open mark", "load the note anew"},
	NothingToUndo:     {"there is no decision of yours to take back", "change the line instead"},
	Signed:            {"the note is signed", "amend it, or write an addendum"},
	NotSigned:         {"the note is not signed yet", "sign it first; until then change its lines"},
	AwaitingPreceptor: {"the note waits for the preceptor's signature", "the preceptor signs it or gives it back"},
	Unfinished:        {"the note is not finished", "decide every finding, settle every mark, listen to speech that gave no words, read what was not understood, and close what needs action"},
	NoChange:          {"nothing was changed", "change a line, or undo the amendment"},
	FutureTime:        {"the time of the finding lies after the time of entry", "correct the time"},
	NoTime:            {"the decision has no time", "set the computer's clock and try again"},
}

// RuleError says which rule a decision broke; the note is as it was.
type RuleError struct {
	Rule Rule
	Kind Kind
	// Line is the id of the line, where one is concerned.
	Line string
	// Open is what stands against signing, with Unfinished.
	Open []Obstacle
}

func (e *RuleError) Error() string {
	s := fmt.Sprintf("%s: %s", e.Kind, ruleTexts[e.Rule][0])
	if e.Line != "" {
		s = fmt.Sprintf("%s line %s: %s", e.Kind, e.Line, ruleTexts[e.Rule][0])
	}
	if n := len(e.Open); n > 0 {
		s += fmt.Sprintf(" (%d open)", n)
	}
	return s
}

// Hint says what the user can do.
func (e *RuleError) Hint() string { return ruleTexts[e.Rule][1] }

// Obstacle is one thing that stands against signing.
type Obstacle struct {
	Kind ObstacleKind
	// Line is the id of the line, with UndecidedLine and OpenMark.
	Line string
	// Mark is the kind of the open mark, with OpenMark.
	Mark finding.MarkKind
	// Index is the place in Note.Gaps, Note.Talk or Note.Actions, with the rest.
	Index int
}

// ObstacleKind is the kind of what stands against signing.
type ObstacleKind uint8

// Obstacles.
const (
	ObstacleUnknown ObstacleKind = iota
	// UndecidedLine: nobody has decided on the line.
	UndecidedLine
	// OpenMark: a doubt about the line is not settled.
	OpenMark
	// NotListened: a stretch of speech gave no words, and nobody listened to it.
	NotListened
	// NotRead: a stretch of talk was not understood, and nobody read it.
	NotRead
	// NotClosed: something needs action, and nobody said what was done.
	NotClosed
)
