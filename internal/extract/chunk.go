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
)

var whyOf = map[act]finding.Why{
	actInstruct: finding.Instruction, actAsk: finding.Question, actTeach: finding.Teaching, actPlan: finding.Plan,
	actPast: finding.History, actOther: finding.OtherPerson, actRetract: finding.Corrected, actAnswer: finding.SmallTalk,
}

// chunk is a run of items between two joints: the unit that is understood at
// once.
type chunk struct {
	items []item
	joint joint
	act   act
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
	next := jointStart
	flush := func(p pause) {
		if len(c.items) > 0 {
			c.last = p
			cur.chunks = append(cur.chunks, c)
		}
		c = chunk{joint: next}
	}
	for i := range items {
		it := items[i]
		if len(c.items) == 0 {
			c.joint = next
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
	case it.cue(lexicon.CueRetract), it.cue(lexicon.CueCorrect) && c.content():
		return jointPlain, true
	case it.cue(lexicon.CueBut) && !it.content():
		return jointBut, true
	case it.cue(lexicon.CueOr):
		return jointOr, true
	case it.cue(lexicon.CueAnd):
		return jointAnd, true
	case it.cue(lexicon.CueUnable) && c.valued() && complete(c):
		return jointPlain, true
	case it.cue(lexicon.CueFiller) && !it.content() && c.content() && (!it.cue(lexicon.CueNormal) || i+1 < len(items) && (items[i+1].names() || items[i+1].has(lexicon.SideSense)) && p.commands(c)):
		return jointPlain, true // "clench your teeth good jaw strength intact"
	case it.cue(lexicon.CuePlan) && c.content() && !c.valued() && !it.content() && c.joint == jointStart:
		return 0, false // "nodes I will do in the morning"
	case it.cue(lexicon.CuePlan, lexicon.CueState, lexicon.CueInstruct, lexicon.CueBecause) && c.content() && !it.content():
		return jointPlain, true
	}
	k := len(c.items) - 1
	for k > 0 && (len(c.items[k].senses) == 0 && c.items[k].num == nil && c.items[k].b-c.items[k].a == 1 || c.items[k].has(lexicon.SideSense) && !c.items[k].names() && p.ts[c.items[k].a].Text != "on") {
		k-- // "in the right eye": article and side do not untie
	}
	prev := &c.items[k]
	tied := k+1 < len(c.items) && c.items[k+1].has(lexicon.SideSense) && p.x.lex.Cue(p.ts[c.items[k+1].a].Text, lexicon.CuePrep) && p.ts[c.items[k+1].a].Text != "on" ||
		prev.cue(lexicon.CuePrep) && !prev.cue(lexicon.CueThere) || prev.cue(lexicon.CueMore, lexicon.CueLess, lexicon.CueNot) ||
		it.has(lexicon.SiteSense) && it.b-it.a > 1 && p.x.lex.Cue(p.ts[it.a].Text, lexicon.CuePrep) || ownsValue(c, it)
	switch {
	case it.cue(lexicon.CueNegate) && !tied:
		// "left ear no redness", but not "there is no redness"
		if c.content() || c.any(func(p *item) bool { return p.has(lexicon.SideSense) }) {
			return jointPlain, true
		}
	case it.cue(lexicon.CueThere) && !it.cue(lexicon.CuePrep) && c.valued() && c.content() && it.b-it.a > 1:
		return jointPlain, true
	case denied(c) && !tied && p.prefixes(c, items, i):
		return jointPlain, true // "no nodules right drum"
	case denied(c) && !tied && !it.has(lexicon.NounSense) && !it.has(lexicon.DetailSense) && (it.names() && !presenceName(it) || it.has(lexicon.SaysSense) || it.has(lexicon.AloneSense) || it.num != nil && !it.locator) && !it.cue(lexicon.CuePresent, lexicon.CueAbsent):
		return jointPlain, true // "no crepitus no click full motion"
	case it.names() && !tied && valueFirst(c):
		return jointPlain, true // "full motion sclera white"
	case (it.names() || p.prefixes(c, items, i)) && !tied:
		// A new subject after a complete statement: "drum pearly gray nose midline".
		if complete(c) && !it.has(lexicon.SaysSense) {
			return jointPlain, true
		}
	case it.has(lexicon.SideSense) && !tied && leads(c) && complete(c):
		return jointPlain, true // "right three left four"
	case (it.num != nil && !it.locator || it.cue(lexicon.CueAbsent) && p.ts[it.a].Text == "none" || (it.has(lexicon.SaysSense) || it.has(lexicon.NounSense)) && !it.names()) && !tied && trails(c):
		return jointPlain, true // "three on the right four on the left"
	}
	return 0, false
}

// prefixes reports a side word that belongs to the site after it ("left ear"),
// not to the values before it ("whisper passed both ears, uvula midline").
func (p *parser) prefixes(c *chunk, items []item, i int) bool {
	it := &items[i]
	if !it.has(lexicon.SideSense) || it.names() || i+1 >= len(items) || !items[i+1].names() || p.ts[it.b-1].after != noPause {
		return false
	}
	last := p.ts[it.b-1].Text
	if last == "side" || last == "sides" || p.ts[it.a].Text == "on" && c.any((*item).names) && c.valued() {
		return false
	}
	if i+2 < len(items) && c.valued() && p.ts[items[i+1].b-1].after == noPause && items[i+2].names() && items[i+1].has(lexicon.SiteSense) && items[i+2].a == items[i+1].b {
		return false
	}
	return true
}

// ownsValue reports that the value just said is one of the named finding's:
// "passed the whisper test".
func ownsValue(c *chunk, it *item) bool {
	n, ok := it.sense(lexicon.NameSense)
	if !ok {
		return false
	}
	for _, s := range c.items[len(c.items)-1].senses {
		if s.Kind == lexicon.SaysSense && s.Finding == n.Finding {
			return true
		}
	}
	k := len(c.items) - 1
	return k > 0 && len(c.items[k].senses) == 0 && ownsValue(&chunk{items: c.items[:k]}, it)
}

// denied reports a chunk that denies a noun: "no click".
func denied(c *chunk) bool {
	neg := false
	for i := range c.items {
		it := &c.items[i]
		neg = neg || it.cue(lexicon.CueNegate)
		if neg && (it.has(lexicon.NounSense) || it.has(lexicon.NameSense) && presenceName(it)) {
			return true
		}
	}
	return false
}

// valueFirst reports a value followed by the name it is said of.
func valueFirst(c *chunk) bool {
	value := false
	for i := range c.items {
		it := &c.items[i]
		if value && (it.has(lexicon.NounSense) && !it.has(lexicon.SaysSense) || it.has(lexicon.NameSense)) {
			return true
		}
		value = value || it.num != nil && !it.locator || it.has(lexicon.SaysSense) && !it.names()
	}
	return false
}

// complete reports a chunk that has both a subject before its value and a
// value.
func complete(c *chunk) bool {
	subject := false
	for i := range c.items {
		it := &c.items[i]
		switch {
		case it.names() || it.has(lexicon.SideSense):
			subject = true
		case subject && (it.num != nil && !it.locator || it.has(lexicon.SaysSense) || it.cue(lexicon.CueAbsent, lexicon.CuePresent, lexicon.CueNormal)):
			return true
		}
	}
	return false
}

// leads reports that the chunk's side stands before its value.
func leads(c *chunk) bool {
	for i := range c.items {
		it := &c.items[i]
		if it.has(lexicon.SideSense) {
			return true
		}
		if it.num != nil || it.has(lexicon.SaysSense) {
			return false
		}
	}
	return false
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

// trails reports a value followed by its side.
func trails(c *chunk) bool {
	value := false
	for i := range c.items {
		it := &c.items[i]
		if it.num != nil || it.has(lexicon.SaysSense) || namesPresent(it) {
			value = true
		}
		if value && it.has(lexicon.SideSense) && i == len(c.items)-1 {
			return true
		}
	}
	return false
}
