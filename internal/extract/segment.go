package extract

import (
	"strings"

	"bedsaid/lexicon"
)

// Costs of what makes a stretch of words an unlikely single statement. Their
// order matters more than their size: two values of two subjects in one
// statement are worse than a statement too many.
const (
	costStatement = 1.0  // each statement
	costCarried   = 0.3  // a value that leans on what was named before
	costForeign   = 2.5  // a value that its subject cannot have, a second subject
	costBare      = 2.0  // a subject of which nothing is said
	costLoneSide  = 3.0  // a side of nothing
	costBothEnds  = 1.5  // "moist mucosa pink": values before and after the subject
	costLate      = 1.0  // what nearly always follows its value: "either side"
	costSplitSide = 0.5  // a subject right after a side that is not its own: "tender on the left, maxillary"
	costDeny      = 0.8  // a denial after its subject: "left ear no redness"
	costList      = 1.2  // a second thing found, without "and"
	costStrange   = 0.05 // an unknown word before the subject
	costOdd       = 0.2  // a side where it is seldom heard: "on the right pink", "pink left"
	costTalk      = 0.1  // talk that begins after something was said: "gag present do you feel sick"
)

// segmentLimit is the largest number of items in one statement.
const segmentLimit = 24

// role is what an item can be in a statement.
type role uint8

const (
	roleNone role = iota
	roleHead
	roleNoun // what is found by being named
	roleValue
	roleSide
	roleDeny
	roleWhole // subject and value in one: "PERRLA"
)

// role tells what the item can be.
func (it *item) role() role {
	switch {
	case it.locator:
		return roleNone
	case it.num != nil:
		return roleValue
	case it.has(lexicon.AloneSense):
		return roleWhole
	case it.names():
		return roleHead
	case it.cue(lexicon.CueUnable, lexicon.CueGeneral):
		return roleValue
	case it.cue(lexicon.CueNegate) && !it.content() && !it.cue(lexicon.CueAbsent):
		return roleDeny
	case it.has(lexicon.NounSense) && namesPresent(it) && !(it.has(lexicon.SaysSense) && it.has(lexicon.DetailSense)):
		return roleNoun
	case it.has(lexicon.NounSense) && !namesPresent(it):
		return roleHead
	case it.has(lexicon.DetailSense) && !it.has(lexicon.SaysSense):
		return roleNone
	case it.has(lexicon.SaysSense), it.cue(lexicon.CueAbsent, lexicon.CuePresent, lexicon.CueNormal):
		return roleValue
	case it.has(lexicon.SideSense):
		return roleSide
	}
	return roleNone
}

// segment cuts a stretch without pauses or joints into statements; it gives the
// indices at which one begins, without the first. before are the names spoken
// just before.
func (p *parser) segment(items []item, before []*item) []int {
	n := len(items)
	best := make([]float64, n+1)
	from := make([]int, n+1)
	for i := 1; i <= n; i++ {
		best[i] = -1
	}
	for a := 0; a < n; a++ {
		if best[a] < 0 || a > 0 && !p.mayBegin(items, a) {
			continue
		}
		first := 0.0
		if a > 0 && items[a].role() == roleHead && items[a-1].has(lexicon.SideSense) && !(p.trails(items, a-1) && !oneOfPair(&items[a])) {
			first = costSplitSide
		}
		st := statement{cost: first, p: p, before: p.headsBefore(items, a, before)}
		for b := a; b < n && b < a+segmentLimit; b++ {
			st.add(items[a:], b-a)
			if b+1 < n && !p.mayBegin(items, b+1) {
				continue
			}
			if c := best[a] + st.total(); best[b+1] < 0 || c < best[b+1]-1e-9 {
				best[b+1], from[b+1] = c, a
			}
		}
	}
	var cuts []int
	for i := n; i > 0; i = from[i] {
		if best[i] < 0 {
			return nil
		}
		if from[i] > 0 {
			cuts = append([]int{from[i]}, cuts...)
		}
	}
	return cuts
}

// trails reports a side that follows what it is said of: "on the left", "both sides".
func (p *parser) trails(items []item, i int) bool {
	it := &items[i]
	return p.ts[it.a].Text == "on" || p.ts[it.b-1].Text == "side" || i > 0 && items[i-1].cue(lexicon.CuePrep)
}

// oneOfPair reports one of two organs: "ear", which a side may be said with.
func oneOfPair(it *item) bool {
	s, ok := it.sense(lexicon.SiteSense)
	return ok && s.Site.Paired && !it.plural
}

// headsBefore are the last names before items[a].
func (p *parser) headsBefore(items []item, a int, before []*item) []*item {
	var out []*item
	for k := a - 1; k >= 0 && len(out) < 3; k-- {
		if items[k].role() == roleHead {
			out = append(out, &items[k])
		}
	}
	return append(out, before...)
}

// tied reports that a name hangs on what stands before it: "of the lids", "in the
// right eye".
func (p *parser) tied(items []item, i int) bool {
	for k := i - 1; k >= 0 && k >= i-4; k-- {
		it := &items[k]
		switch {
		case p.ts[it.b-1].after != noPause:
			return false
		case it.cue(lexicon.CuePrep) && !it.content():
			return true
		case it.has(lexicon.SideSense) && !it.names():
			if !items[i].has(lexicon.SiteSense) {
				return false
			}
			if w := p.ts[it.a].Text; it.b-it.a > 1 && p.x.lex.Cue(w, lexicon.CuePrep) {
				return true
			}
		case len(it.senses) == 0 && it.num == nil && lexicon.Article(p.ts[it.a].Text):
		default:
			return false
		}
	}
	return false
}

// wantsObject reports the "will not palpate" of "I will not palpate the carotid": a
// verb whose object follows, because nothing that could be it stands before.
func (p *parser) wantsObject(items []item, k int) bool {
	it := &items[k]
	if !it.cue(lexicon.CueUnable) || it.content() || it.b-it.a < 2 {
		return false
	}
	switch w := p.ts[it.b-1].Text; {
	case strings.HasSuffix(w, "ed"), w == "done", w == "taken", w == "out", w == "possible", w == "able":
		return false
	}
	for j := k - 1; j >= 0 && j >= k-3; j-- {
		if items[j].names() || items[j].has(lexicon.NounSense) {
			return false
		}
	}
	return true
}

// mayBegin reports that a statement can begin at items[i].
func (p *parser) mayBegin(items []item, i int) bool {
	prev, it := &items[i-1], &items[i]
	w := p.ts[prev.b-1].Text
	if prev.cue(lexicon.CuePrep) && !prev.cue(lexicon.CueThere) || prev.cue(lexicon.CueMore, lexicon.CueLess, lexicon.CueNot) || lexicon.Article(w) ||
		prev.cue(lexicon.CueNegate) && !prev.cue(lexicon.CueAbsent) || it.role() == roleHead && p.tied(items, i) && !prev.has(lexicon.SideSense) {
		return false
	}
	if it.cue(lexicon.CueNot) && it.b-it.a == 1 {
		for k := i + 1; k < len(items) && k <= i+2; k++ {
			if items[k].role() == roleSide {
				return p.contrasts(items, k)
			}
		}
	}
	if p.wantsObject(items, i-1) {
		return false
	}
	if it.role() == roleNone {
		return it.turns || lexicon.Article(p.ts[it.a].Text) || it.cue(lexicon.CueThere, lexicon.CueAsk) && !it.cue(lexicon.CuePrep) || it.has(lexicon.DetailSense) || it.cue(lexicon.CuePrep) && i+1 < len(items) && items[i+1].has(lexicon.SideSense)
	}
	return true
}

// opensTalk reports a word with which a speaker turns to something else than what
// was found: a question, a plan, an instruction, a clause about somebody.
func (p *parser) opensTalk(items []item, i int) bool {
	it := &items[i]
	if it.content() || it.cue(lexicon.CueHedge, lexicon.CuePrep, lexicon.CueUnable, lexicon.CueNegate, lexicon.CueNot, lexicon.CueAbsent, lexicon.CuePresent, lexicon.CuePatientSays) {
		return false
	}
	if i > 0 && leansOn[p.ts[items[i-1].b-1].Text] {
		return false
	}
	w := p.ts[it.a].Text
	switch {
	case it.cue(lexicon.CueAsk):
		return asks[w]
	case it.cue(lexicon.CuePlan, lexicon.CueInstruct, lexicon.CuePhone, lexicon.CueOtherOne, lexicon.CueBack):
		return true
	case it.cue(lexicon.CueCommand):
		return i > 0 && (items[i-1].role() != roleNone || items[i-1].cue(lexicon.CueFiller))
	}
	return persons[w] && !(i > 0 && items[i-1].definite) // not "the sort you would expect"
}

// asks are words that begin a question, where no mark tells it from a statement.
var asks = wordSet("do did does are is have has can was were how where when why any noticed having got ever what")

// persons begin a clause of their own.
var persons = wordSet("i he she we they you it that there who let")

// leansOn are words after which a clause is no new one: "the drum that I see".
var leansOn = wordSet("that when if where because like than as what to and or but which who whether until before after while since how why whom whose not so now the a an")
