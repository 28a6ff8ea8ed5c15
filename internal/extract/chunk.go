package extract

import (
	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// joint is how a chunk hangs on the one before it.
type joint uint8

const (
	jointStart joint = iota // first of a sentence
	jointPlain              // a new statement without a mark between
	jointComma
	jointAnd
	jointOr
	jointBut
	jointExcept
)

// act is what a chunk of speech does.
type act uint8

const (
	actState act = iota // says what is found
	actInstruct
	actAsk
	actTeach
	actPlan
	actPast
	actOther
	actRetract
	actAnswer
	actAside // a circumstance: "when I press"
	actTold  // what speakers in a conversation tell each other
)

var whyOf = map[act]finding.Why{
	actInstruct: finding.Instruction, actAsk: finding.Question, actTeach: finding.Teaching, actPlan: finding.Plan,
	actPast: finding.History, actOther: finding.OtherPerson, actRetract: finding.Corrected, actAnswer: finding.SmallTalk, actAside: finding.SmallTalk, actTold: finding.History,
}

// chunk is a run of items between two joints: the unit that is understood at
// once.
type chunk struct {
	items []item
	joint joint
	act   act
	// reply is true of a statement that may answer the question before it.
	reply bool
	// last is the punctuation after the chunk.
	last pause
}

func (c *chunk) span() (a, b int) { return c.items[0].a, c.items[len(c.items)-1].b }

func (c *chunk) any(f func(*item) bool) bool {
	for i := range c.items {
		if f(&c.items[i]) {
			return true
		}
	}
	return false
}

func (c *chunk) cue(k ...lexicon.CueKind) bool {
	return c.any(func(it *item) bool { return it.cue(k...) })
}

func (c *chunk) content() bool { return c.any((*item).content) }

// valued reports that the chunk says something of its subject: a value, a
// number or a denial.
func (c *chunk) valued() bool {
	return c.any(func(it *item) bool {
		return it.num != nil && !it.locator || it.has(lexicon.AloneSense) || (it.has(lexicon.SaysSense) && !it.names()) ||
			it.cue(lexicon.CueAbsent, lexicon.CuePresent, lexicon.CueNegate, lexicon.CueNormal)
	})
}

// opener gives the first item that is no filler, and its index.
func (c *chunk) opener() (*item, int) {
	for i := range c.items {
		it := &c.items[i]
		if it.cue(lexicon.CueFiller, lexicon.CueAnd, lexicon.CueBut, lexicon.CueHeading) && !it.content() && !it.cue(lexicon.CuePlan, lexicon.CueCommand, lexicon.CueCorrect) {
			continue
		}
		return it, i
	}
	return &c.items[0], 0
}

// sentence is a list of chunks up to a full stop.
type sentence struct {
	chunks []chunk
	asked  bool // ends in a question mark
}

// split cuts items into sentences and chunks.
func (p *parser) split(items []item) []sentence {
	ts := p.ts
	var out []sentence
	var cur sentence
	var c chunk
	next, answering := jointStart, false
	var before []*item
	flush := func(end pause) {
		if len(c.items) > 0 {
			c.last = end
			for _, part := range p.divide(c, before) {
				if p.turns(cur.chunks, &part) {
					out, cur = append(out, cur), sentence{}
					part.joint = jointStart
				}
				cur.chunks = append(cur.chunks, part)
			}
			for i := range c.items {
				if c.items[i].role() == roleHead {
					before = append([]*item{&c.items[i]}, before[:min(3, len(before))]...)
				}
			}
		}
		c = chunk{joint: next}
	}
	for i := range items {
		items[i].turns = p.opensTalk(items, i)
		it := items[i]
		if p.labelled && i > 0 && label(p.t.Words[ts[it.a].end].Text) != speakerUnknown && len(c.items) > 0 {
			flush(stop) // a new speaker begins a new sentence
			out, cur, next = append(out, cur), sentence{}, jointStart
		}
		if len(c.items) == 0 {
			c.joint = next
		}
		if k, ok := p.answersHere(&c, items, i); ok {
			question := c.items[k:]
			if c.items = c.items[:k:k]; k > 0 {
				flush(noPause)
			}
			if n := len(cur.chunks); n > 0 && (k > 0 || cur.chunks[n-1].last == noPause && c.joint == jointPlain) {
				out, cur = append(out, cur), sentence{} // what was said before it was not asked
				c.joint = jointStart
			}
			c.items, cur.asked = question, true
			flush(asking)
			out = append(out, cur)
			cur, next, answering = sentence{}, jointStart, true
			c.joint = next
		} else if answering && it.content() && len(c.items) > 0 {
			if len(cur.chunks) == 0 && !c.cue(lexicon.CuePatientSays, lexicon.CueThere) {
				next = jointPlain // "no, okay, shrug five out of five"
				flush(noPause)
				c.joint = next
			}
			answering = false
		}
		if j, cut := p.cutBefore(&c, items, i); cut {
			next = j
			flush(noPause)
			c.joint = j
		}
		c.items = append(c.items, it)
		switch ts[it.b-1].after {
		case comma:
			next = jointComma
			flush(comma)
		case stop, asking:
			next = jointStart
			flush(ts[it.b-1].after)
			cur.asked = ts[it.b-1].after == asking
			out = append(out, cur)
			cur = sentence{}
		}
	}
	flush(stop)
	if len(cur.chunks) > 0 {
		out = append(out, cur)
	}
	return out
}

// turns reports that a chunk begins a sentence of its own though no full stop was
// heard: a question, a plan or an instruction after something else, and what
// follows a question.
func (p *parser) turns(before []chunk, c *chunk) bool {
	if len(before) == 0 {
		return false
	}
	last := &before[len(before)-1]
	if last.last != noPause {
		return false
	}
	if first, _ := last.opener(); p.asks(first) {
		return c.joint != jointOr && (c.joint != jointAnd || c.valued())
	}
	first, _ := c.opener()
	return c.joint == jointPlain && (p.asks(first) || first.cue(lexicon.CuePlan, lexicon.CueInstruct, lexicon.CueCommand) && !first.content())
}

// asks reports a word that begins a question.
func (p *parser) asks(it *item) bool {
	return it.cue(lexicon.CueAsk) && !it.content() && !it.cue(lexicon.CueNegate) && asks[p.ts[it.a].Text]
}

// opening is the index of the first chunk that is more than fillers.
func (s *sentence) opening() int {
	i := 0
	for i+1 < len(s.chunks) && !s.chunks[i].any(func(it *item) bool { return !it.filler() }) {
		i++
	}
	return i
}

// answersHere reports a "yes" or "no" that answers the question before it where no
// mark was heard between, and where that begins: "does it hurt no it's fine".
func (p *parser) answersHere(c *chunk, items []item, i int) (from int, ok bool) {
	if len(c.items) == 0 || p.ts[items[i].a-1].after != noPause || !items[i].cue(lexicon.CueYes, lexicon.CueNo) || items[i].content() {
		return 0, false
	}
	if !answers[p.ts[items[i].a].Text] {
		return 0, false
	}
	if i+1 < len(items) && p.ts[items[i].b-1].after == noPause && items[i+1].content() && !items[i+1].cue(lexicon.CueFiller) &&
		!(items[i+1].role() == roleHead && !namesPresent(&items[i+1]) && i+2 < len(items) && items[i+2].role() == roleValue) {
		return 0, false // "any pain no redness" may be a list; "no neck supple" is an answer
	}
	for k := len(c.items) - 1; k >= 0 && k >= len(c.items)-askReach; k-- {
		if it := &c.items[k]; p.asks(it) && (k == 0 || it.turns || c.items[k-1].cue(lexicon.CueFiller, lexicon.CueAnd)) {
			return k, true
		}
	}
	return 0, false
}

// answers are words that answer a question wherever they stand.
var answers = wordSet("no nope nah naw yes yeah yep yup aye")

// askReach is the number of words and terms over which a "no" answers a question.
const askReach = 14

// divide cuts a chunk without joints or pauses into its statements.
func (p *parser) divide(c chunk, before []*item) []chunk {
	cuts := p.segment(c.items, before)
	var out []chunk
	at := 0
	for _, k := range append(cuts, len(c.items)) {
		part := chunk{items: c.items[at:k:k], joint: c.joint, last: noPause}
		if at > 0 {
			part.joint = jointPlain
		}
		at = k
		out = append(out, part)
	}
	out[len(out)-1].last = c.last
	return out
}

// leavesOut tells "the gag I leave out" from "leave that out", which takes back
// what was said before.
func leavesOut(c *chunk, it *item) bool {
	return it.cue(lexicon.CueUnable) && !c.valued() && c.any((*item).names)
}

// cutBefore decides whether a new chunk begins before items[i].
func (p *parser) cutBefore(c *chunk, items []item, i int) (joint, bool) {
	it := &items[i]
	if len(c.items) == 0 {
		switch {
		case it.cue(lexicon.CueExcept):
			return jointExcept, true
		case it.cue(lexicon.CueBut):
			return jointBut, true
		case it.cue(lexicon.CueOr):
			return jointOr, true
		case it.cue(lexicon.CueAnd):
			return jointAnd, true
		}
		return 0, false
	}
	if len(c.items) == 1 && c.items[0].cue(lexicon.CueAnd, lexicon.CueOr, lexicon.CueBut) && it.cue(lexicon.CueBut, lexicon.CueExcept) {
		return 0, false
	}
	switch {
	case it.cue(lexicon.CueExcept):
		return jointExcept, true
	case it.cue(lexicon.CueOtherOne) && !it.content() && c.valued() && p.freeBefore(c):
		return jointPlain, true // "no jvd her husband is on his way"
	case it.cue(lexicon.CueRetract) && !leavesOut(c, it), it.cue(lexicon.CueCorrect) && c.content():
		return jointPlain, true
	case it.cue(lexicon.CueWhen) && !it.content() && c.valued() && c.any((*item).names):
		return jointPlain, true // "gag is there when I do the mouth care"
	case it.cue(lexicon.CueBut) && !it.content():
		return jointBut, true
	case it.cue(lexicon.CueOr):
		return jointOr, true
	case it.cue(lexicon.CueAnd):
		return jointAnd, true
	case it.cue(lexicon.CueFiller) && !it.content() && (c.content() || len(c.items) == 1 && answers[p.ts[c.items[0].a].Text]) && (!it.cue(lexicon.CueNormal) || p.commands(c) && i+1 == len(items) || i+1 < len(items) && (items[i+1].names() || items[i+1].has(lexicon.SideSense)) && p.commands(c)):
		return jointPlain, true // "clench your teeth good jaw strength intact"
	case it.cue(lexicon.CuePlan) && c.content() && !c.valued() && !it.content() && c.joint == jointStart:
		return 0, false // "nodes I will do in the morning"
	case it.cue(lexicon.CuePlan, lexicon.CueState, lexicon.CueInstruct, lexicon.CueBecause) && c.content() && !it.content():
		return jointPlain, true
	}
	return 0, false
}

// freeBefore reports that a clause may begin after a chunk: it ends in no word that
// asks for more.
func (p *parser) freeBefore(c *chunk) bool {
	last := &c.items[len(c.items)-1]
	w := p.ts[last.b-1].Text
	return !last.cue(lexicon.CuePrep, lexicon.CueThere, lexicon.CueAnd, lexicon.CueOr, lexicon.CueNegate) && !lexicon.Article(w) && !linking(w) && w != "as" && w != "like" && w != "than"
}

// namesPresent reports a term that charts something by being named.
func namesPresent(it *item) bool {
	for _, s := range it.senses {
		if (s.Kind == lexicon.NounSense || s.Kind == lexicon.NameSense) && s.Finding.Named != "" {
			return true
		}
	}
	return false
}
