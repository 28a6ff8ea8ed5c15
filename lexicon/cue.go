package lexicon

import "sort"

// CueKind is what a cue does to the words around it.
type CueKind uint8

// Kinds of cues. The example beside each is a sentence that a nurse would say.
const (
	CueUnknown CueKind = iota
	CueNegate          // "no redness": denies what follows
	CueNot             // "is not red", "nontender": denies the next word
	CueNever           // "no change": looks like a negation and is none
	CueAbsent          // "bruit absent": denies what stands before
	CuePresent         // "gag present": affirms what stands before
	CueNormal          // "thyroid normal"
	CueGeneral         // "ears unremarkable": says nothing of one finding
	CueHedge           // "maybe a bruit"
	CueBut             // "no masses but a scab": ends a scope
	CueExcept          // "PERRLA except the left"
	CueSame            // "left the same"

	CueCorrect     // "I mean left"
	CueRetract     // "scratch that"
	CueInstruct    // "for me": makes an instruction wherever it stands
	CueCommand     // "open wide": an instruction at the start of a clause
	CuePlan        // "I am going to"
	CueTeach       // "should be pearly gray"
	CuePast        // "last week"
	CueOtherOne    // "my last patient"
	CueAsk         // "do you have"
	CueYes         // answer
	CueNo          // answer
	CueUnable      // "not tested": was not assessed
	CueHinder      // "would not let me": with "so no gag", the gag was not tested
	CueBecause     // "because of wax": a reason
	CueBaseline    // "unchanged", "his usual"
	CueFiller      // "um"
	CueThere       // "there is", "some", "a": a new statement, ends a negated list
	CuePrep        // "over the", "of the": ties what follows to what stands before
	CueAnd         // joins
	CueOr          // joins
	CueState       // "I would call that": a statement, whatever stands before
	CueHeading     // "moving on to": announces the next part
	CuePatientSays // "denies", "she says": reported
	CueMore        // "greater than": compares
	CueLess
	CueNoneSame // "the left has none of that": the same findings, denied
	CuePhone    // "my phone": talk with somebody else begins
	CueBack     // "bye": it ends
	CueView     // "my right": from the nurse's view
	CueYoung    // a child or a pregnancy
	CueGone     // "no longer", "resolved"
	CueDoing    // "I press": the nurse says what she does
	CueWhen     // "when I press": the circumstance of what was said
	CueClaim    // "her cough remained": a statement of its own, ends a denied list
	CueWhile    // "so that", "which means": teaching that follows a finding
)

var cueKinds = map[string]CueKind{
	"negate": CueNegate, "not": CueNot, "never": CueNever, "absent": CueAbsent, "present": CuePresent, "normal": CueNormal,
	"general": CueGeneral, "hedge": CueHedge, "but": CueBut, "except": CueExcept, "same": CueSame,
	"correct": CueCorrect, "retract": CueRetract, "instruct": CueInstruct, "command": CueCommand, "plan": CuePlan,
	"teach": CueTeach, "past": CuePast, "other_one": CueOtherOne, "ask": CueAsk, "yes": CueYes, "no": CueNo,
	"unable": CueUnable, "hinder": CueHinder, "because": CueBecause, "baseline": CueBaseline, "filler": CueFiller, "there": CueThere,
	"prep": CuePrep, "and": CueAnd, "or": CueOr, "state": CueState, "heading": CueHeading, "says": CuePatientSays,
	"more": CueMore, "less": CueLess, "view": CueView, "none_same": CueNoneSame, "phone": CuePhone, "back": CueBack, "young": CueYoung, "gone": CueGone, "claim": CueClaim, "when": CueWhen, "doing": CueDoing, "meaning": CueWhile,
}

// String gives the name that packs use.
func (k CueKind) String() string {
	for name, kind := range cueKinds {
		if kind == k {
			return name
		}
	}
	return "unknown"
}

func cueNames() []string {
	out := make([]string, 0, len(cueKinds))
	for k := range cueKinds {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
