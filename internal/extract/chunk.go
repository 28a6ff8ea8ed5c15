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
	// correcting is true where a correction word opens the chunk.
	correcting bool
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
	tied := prev.cue(lexicon.CuePrep) && !prev.cue(lexicon.CueThere) || prev.cue(lexicon.CueMore, lexicon.CueLess, lexicon.CueNot) ||
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

// classify gives each chunk of a sentence its act.
func (p *parser) classify(s *sentence) {
	carried, open := actState, false
	for i := range s.chunks {
		c := &s.chunks[i]
		own, strong := p.ownAct(c)
		last := i == len(s.chunks)-1
		switch {
		case own != actState:
			c.act = own
			carried, open = own, true
			if !strong {
				open = false
			}
		case open && inherits(c, carried):
			c.act = carried
		default:
			open = false
		}
		_ = last
	}
	if !s.asked {
		return
	}
	// The question is the run of chunks from the one that asks, else the whole
	// sentence; what was stated before it stands.
	from := 0
	for i := range s.chunks {
		if s.chunks[i].cue(lexicon.CueAsk) || s.chunks[i].act == actAsk {
			from = i
			break
		}
	}
	for i := from; i < len(s.chunks); i++ {
		if a := s.chunks[i].act; a == actState || a == actPlan {
			s.chunks[i].act = actAsk
		}
	}
	// "any pain here, in the jaw joints?" is one question
	out := s.chunks[:from+1]
	for _, c := range s.chunks[from+1:] {
		if last := &out[len(out)-1]; c.act == actAsk && last.act == actAsk {
			last.items = append(last.items[:len(last.items):len(last.items)], c.items...)
			last.last = c.last
			continue
		}
		out = append(out, c)
	}
	s.chunks = out
}

// discourse reports "right, before we go on": a word of talk, not a side.
func (p *parser) discourse(s *sentence) bool {
	ts := p.ts
	if len(s.chunks) < 2 {
		return len(s.chunks) == 1 && len(s.chunks[0].items) == 1 && ts[s.chunks[0].items[0].a].Text == "right"
	}
	c := &s.chunks[0]
	if len(c.items) != 1 || ts[c.items[0].a].Text != "right" {
		return false
	}
	n := &s.chunks[1]
	a, _ := p.ownAct(n)
	return a != actState || !n.valued() || n.any((*item).names)
}

// ownAct reads the act from the chunk's own cues. strong acts go on over the
// list that follows.
func (p *parser) ownAct(c *chunk) (a act, strong bool) {
	if c.cue(lexicon.CueRetract) {
		return actRetract, false
	}
	first, at := c.opener()
	if c.cue(lexicon.CueState) {
		return actState, false
	}
	if c.cue(lexicon.CueOtherOne) || p.otherBed(c) {
		return actOther, true
	}
	if c.cue(lexicon.CuePast) && !c.cue(lexicon.CueGone) {
		return actPast, true
	}
	switch w := p.ts[first.a].Text; {
	case w == "if", w == "normal" && first.b-first.a == 1 && at+1 < len(c.items) && c.items[at+1].names() && (&chunk{items: c.items[at+1:]}).valued():
		return actTeach, true // "normal JVP is flat"
	}
	if first.cue(lexicon.CueInstruct) || c.cue(lexicon.CueInstruct) {
		return actInstruct, true
	}
	if c.cue(lexicon.CueTeach) || first.cue(lexicon.CueWhile) {
		return actTeach, true
	}
	if first.cue(lexicon.CueCommand) && !first.content() && !(at == 0 && len(c.items) > 1 && c.items[1].cue(lexicon.CueAbsent, lexicon.CuePresent)) {
		return actInstruct, true
	}
	if first.cue(lexicon.CueUnable) {
		return actState, false
	}
	if p.imperative(c, first) {
		return actInstruct, true
	}
	if first.cue(lexicon.CuePlan) && !c.cue(lexicon.CueUnable) {
		return actPlan, true
	}
	for i := at; i < len(c.items) && i < at+4; i++ { // "now I am going to"
		it := &c.items[i]
		if it.cue(lexicon.CuePlan) && !it.content() && !c.cue(lexicon.CueUnable) {
			return actPlan, true
		}
		if it.content() && (c.joint != jointStart || it.num != nil || it.has(lexicon.SaysSense) || it.has(lexicon.AloneSense)) {
			break
		}
	}
	if first.cue(lexicon.CueAsk) && !first.content() && !first.cue(lexicon.CueNegate) && c.joint == jointStart {
		return actAsk, true
	}
	return actState, false
}

// commands reports a chunk that opens with an instruction.
func (p *parser) commands(c *chunk) bool {
	first, _ := c.opener()
	return first.cue(lexicon.CueCommand, lexicon.CueInstruct) || p.imperative(c, first)
}

// otherBed reports "bed seventeen's drip".
func (p *parser) otherBed(c *chunk) bool {
	for i := range c.items {
		it := &c.items[i]
		if it.locator && it.b < len(p.ts) && p.ts[it.b].Text == "is" && p.ts[it.b].word == p.ts[it.b-1].word && it.a > 0 && (p.ts[it.a-1].Text == "bed" || p.ts[it.a-1].Text == "room" || p.ts[it.a-1].Text == "bay") {
			return true
		}
	}
	return false
}

// imperative tells "open wide" and "swallow" from "opens wide" and "swallow
// intact".
func (p *parser) imperative(c *chunk, first *item) bool {
	t := p.ts[first.a]
	if t.Plural || !p.x.lex.Cue(t.Text, lexicon.CueCommand) || first.num != nil {
		return false
	}
	if first.names() {
		return !c.valued() && first.b-first.a == 1 && len(c.items) <= 3 && c.joint == jointStart && c.last != comma
	}
	return first.has(lexicon.SaysSense) || first.has(lexicon.AloneSense)
}

// inherits reports that a chunk without an act of its own goes on with the one
// before: the rest of a list, not a statement of its own.
func inherits(c *chunk, from act) bool {
	if c.joint == jointBut || c.joint == jointExcept {
		return false
	}
	if c.cue(lexicon.CueCorrect, lexicon.CueUnable) {
		return false
	}
	switch from {
	case actTeach, actAsk:
		return true
	case actOther:
		return c.joint != jointPlain
	case actPast:
		return !c.valued() || !c.any((*item).names) && !c.cue(lexicon.CueNegate)
	}
	// After a plan or an instruction a value, number or denial is a statement.
	first, _ := c.opener()
	return !(c.valued() && !first.cue(lexicon.CueOr)) && !c.cue(lexicon.CueThere)
}
