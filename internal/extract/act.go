package extract

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// classify gives each chunk of a sentence its act.
func (p *parser) classify(s *sentence) {
	carried, open, since, hypothesis := actState, false, 0, false
	for i := range s.chunks {
		since++
		c := &s.chunks[i]
		own, strong := p.ownAct(c)
		switch {
		case own != actState:
			c.act = own
			carried, open, since, hypothesis = own, true, 0, p.ts[c.items[0].a].Text == "if"
			if !strong {
				open = false
			}
		case open && carried == actAsk && !s.asked && c.joint == jointPlain && c.valued() && c.any((*item).names):
			open = false // nobody paused after the question, or answered it
		case open && inherits(c, carried, since, hypothesis):
			c.act = carried
		default:
			open = false
		}
	}
	for i := 1; i < len(s.chunks); i++ { // "open your mouth, my brother"
		if c, before := &s.chunks[i], &s.chunks[i-1]; c.act == actOther && len(c.items) == 1 && (before.act == actInstruct || before.act == actAsk) {
			c.act = actInstruct
			for j := i + 1; j < len(s.chunks) && s.chunks[j].act == actOther && !s.chunks[j].cue(lexicon.CueOtherOne); j++ {
				s.chunks[j].act = actState
			}
		}
	}
	if !s.asked || p.thinks(s) {
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
	if n := len(s.chunks); n > 2 && from == 0 && p.tag(&s.chunks[n-1]) {
		from = n - 2 // "firm, it moves, and not tender, you say?" asks about the last alone
	}
	if first, _ := s.chunks[0].opener(); from > 0 && inverted(text(p.ts, first.a)) {
		from = 0 // "is the voice hoarse, do you think?"
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

// tag reports the end of a question that makes one of a statement: "you say?"
func (p *parser) tag(c *chunk) bool {
	a, b := c.span()
	return b-a == 2 && p.ts[a].Text == "you" && (p.ts[a+1].Text == "say" || p.ts[a+1].Text == "said" || p.ts[a+1].Text == "think" || p.ts[a+1].Text == "mean")
}

// inverted reports a verb that opens a question.
func inverted(w string) bool {
	switch w {
	case "is", "are", "was", "were", "do", "does", "did", "has", "have", "can", "could", "will":
		return true
	}
	return false
}

// thinks reports a statement that only ends as a question does: "present in both, I
// think?"
func (p *parser) thinks(s *sentence) bool {
	last := &s.chunks[len(s.chunks)-1]
	return last.cue(lexicon.CueHedge) && !last.content() && !slices.ContainsFunc(s.chunks, func(c chunk) bool { return c.cue(lexicon.CueAsk) || c.act == actAsk })
}

// recited takes what answers a question about what would be seen for teaching:
// "What would a third nerve look like? Big pupil, droopy lid."
func (p *parser) recited(s *sentence) {
	answers := p.suppose && !s.asked
	p.suppose = false
	for i := range s.chunks {
		c := &s.chunks[i]
		if s.asked && c.act == actTeach && p.speaks(c, "what", "which") {
			p.suppose = true
		}
		answers = answers && c.act == actState && !c.any(func(it *item) bool {
			return it.num != nil || it.has(lexicon.SideSense) || it.cue(lexicon.CueNegate, lexicon.CueUnable, lexicon.CueThere, lexicon.CueYes, lexicon.CueNo) || linking(p.ts[it.a].Text)
		})
	}
	if !answers {
		return
	}
	for i := range s.chunks {
		s.chunks[i].act = actTeach
	}
}

// speaks reports that a chunk holds one of the words.
func (p *parser) speaks(c *chunk, words ...string) bool {
	a, b := c.span()
	return slices.ContainsFunc(p.ts[a:b], func(t token) bool { return slices.Contains(words, t.Text) })
}

// discourse reports "right, before we go on": a word of talk, not a side.
func (p *parser) discourse(s *sentence) bool {
	ts := p.ts
	if len(s.chunks) < 2 {
		return len(s.chunks) == 1 && len(s.chunks[0].items) == 1 && ts[s.chunks[0].items[0].a].Text == "right"
	}
	c := &s.chunks[0]
	if strings.HasSuffix(p.t.Words[ts[c.items[0].a].end].Text, ":") {
		return false // "Right: no drainage"
	}
	if len(c.items) != 1 || ts[c.items[0].a].Text != "right" {
		return false
	}
	n := &s.chunks[1]
	a, _ := p.ownAct(n)
	return a != actState || !n.valued() || n.any((*item).names)
}

// sided reports that a lone "Right." is a side: a heading of what lies on both sides
// waits, or the left was spoken of, and the next sentence gives a bare value.
func (p *parser) sided(next *sentence) bool {
	c := &next.chunks[next.opening()]
	if next.asked || c.any((*item).names) || !c.valued() && !c.any(p.oneOf) {
		return false
	}
	if p.held == finding.Left {
		return true
	}
	return p.headed && slices.ContainsFunc(p.pend, func(s subject) bool {
		return s.fnd != nil && s.fnd.Sides == lexicon.Paired || s.site != nil && s.site.Paired
	})
}

// ownAct reads the act from the chunk's own cues. strong acts go on over the
// list that follows.
func (p *parser) ownAct(c *chunk) (a act, strong bool) {
	for i := range c.items {
		if it := &c.items[i]; it.cue(lexicon.CueRetract) && !leavesOut(&chunk{items: c.items[:i]}, it) {
			return actRetract, false
		}
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
	case w == "if", w == "normal" && c.joint != jointPlain && first.b-first.a == 1 && at+1 < len(c.items) && c.items[at+1].names() && (&chunk{items: c.items[at+1:]}).valued():
		return actTeach, true // "normal JVP is flat"
	}
	if p.forbids(c) {
		return actInstruct, true
	}
	if first.cue(lexicon.CueInstruct) || c.cue(lexicon.CueInstruct) {
		return actInstruct, true
	}
	if first.cue(lexicon.CueWhen) && !first.content() || c.cue(lexicon.CueDoing) && !c.valued() && !c.cue(lexicon.CueThere) {
		return actAside, false
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
	if first.cue(lexicon.CueAsk) && !first.content() && !first.cue(lexicon.CueNegate) && c.joint == jointStart || p.wonders(c) {
		return actAsk, true
	}
	return actState, false
}

// wonders reports "any pain at the jaw joints": "any" says that something is there
// only where it is denied or asked for.
func (p *parser) wonders(c *chunk) bool {
	for i := range c.items {
		it := &c.items[i]
		switch {
		case it.cue(lexicon.CueNegate, lexicon.CueNot, lexicon.CueUnable, lexicon.CueThere, lexicon.CuePatientSays, lexicon.CueBut, lexicon.CueOr, lexicon.CueAbsent):
			return false
		case p.ts[it.a].Text == "any" && it.b-it.a == 1 && it.cue(lexicon.CueAsk) && i+1 < len(c.items):
			return !p.listNeg && c.joint != jointOr && c.joint != jointAnd && c.joint != jointComma && !c.items[i+1].cue(lexicon.CueMore)
		}
	}
	return false
}

// commands reports a chunk that opens with an instruction.
func (p *parser) commands(c *chunk) bool {
	first, _ := c.opener()
	return first.cue(lexicon.CueCommand, lexicon.CueInstruct) || p.imperative(c, first)
}

// forbids reports "don't scratch"; not the note-taker's "don't see any drainage".
func (p *parser) forbids(c *chunk) bool {
	first, _ := c.opener()
	i := first.a
	if !at(p.ts, i, "do", "not") {
		return false
	}
	switch text(p.ts, i+2) {
	case "see", "feel", "hear", "appreciate", "note", "palpate", "find", "have", "get", "detect":
		return false
	}
	return true
}

// otherBed reports "bed seventeen's drip".
func (p *parser) otherBed(c *chunk) bool {
	for i := range c.items {
		it := &c.items[i]
		if it.locator && it.a > 2 && p.ts[it.a-1].after == noPause && at(p.ts, it.a-3, "that", "is") {
			return true // "that's bed three"
		}
		if it.locator && it.a > 3 && p.ts[it.a-1].after == noPause && p.ts[it.a-2].Text == "is" && bedWord(p.ts[it.a-1].Text) && c.items[0].a < it.a-2 {
			switch p.ts[it.a-3].Text {
			case "this", "it", "here", "he", "she", "patient", "room":
			default:
				return true // "the blown pupil is bay two"
			}
		}
		if it.locator && it.b < len(p.ts) && p.ts[it.b].Text == "is" && p.ts[it.b].word == p.ts[it.b-1].word && it.a > 0 && bedWord(p.ts[it.a-1].Text) {
			return true
		}
	}
	return false
}

func bedWord(w string) bool { return w == "bed" || w == "room" || w == "bay" || w == "cubicle" }

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
	if first.has(lexicon.NounSense) {
		return first.b-first.a == 1 && !c.valued() && c.joint == jointStart
	}
	if c.valued() && len(c.items) > 1 && !p.speaks(c, "if", "when", "you", "me") && p.speaks(c, "is", "are") {
		return false // "touch on the face is the same on both sides"
	}
	return first.has(lexicon.SaysSense) || first.has(lexicon.AloneSense)
}

// isNew reports a word that says that what is there was not there before.
func isNew(it *item) bool {
	s, ok := it.sense(lexicon.DetailSense)
	return ok && s.Key == "onset" && s.Value == "new"
}

// inherits reports that a chunk without an act of its own goes on with the one
// that began since chunks before, with "if" where it is a hypothesis: the rest of a list, not a statement of its own.
func inherits(c *chunk, from act, since int, hypothesis bool) bool {
	if c.joint == jointBut || c.joint == jointExcept {
		return false
	}
	if c.cue(lexicon.CueCorrect, lexicon.CueUnable) {
		return false
	}
	if (since > 2 || from == actTeach && !hypothesis) && c.joint == jointPlain && c.valued() && c.any((*item).names) && from != actAsk {
		return false // talk without pauses has gone on to a statement
	}
	switch from {
	case actTeach, actAsk:
		return true
	case actOther:
		return c.joint != jointPlain
	case actPast:
		return (!c.valued() || !c.any((*item).names) && !c.cue(lexicon.CueNegate)) && !c.any(isNew)
	}
	// After a plan or an instruction a value, number or denial is a statement.
	first, _ := c.opener()
	return !(c.valued() && !first.cue(lexicon.CueOr)) && !c.cue(lexicon.CueThere)
}
