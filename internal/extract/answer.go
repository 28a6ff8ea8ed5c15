package extract

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// doubtWords make a question one about what may be wrong with a sense or a motion:
// "any change in your smell?"; a no to it is a yes to the sense.
var doubtWords = []string{"change", "changes", "problem", "trouble", "difficulty", "loss", "abnormal", "unusual", "issue", "different", "strange", "odd", "funny"}

// answerWords is how far from its question an answer may begin in a conversation.
const answerWords = 12

// question keeps what a question asks about until the answer comes.
func (p *parser) question(c *chunk) {
	f := p.frame(c)
	p.askSent = p.sent + 1
	for i := range f.preds { // a question denies nothing
		f.preds[i].neg = false
	}
	if len(f.subs) > 0 {
		p.setTopic(f.subs)
	}
	p.endSide()
	if f.last == finding.Right || f.last == finding.Left {
		p.lastSide = f.last // "in the right nostril?" "Nothing on that side."
	}
	if of := p.asksDetail(f); of != nil {
		p.ask = &question{of: of, sent: p.sent}
		return
	}
	start := len(p.cands)
	for i := range f.preds {
		pr := &f.preds[i]
		if pr.used || pr.kind == predNumber || pr.kind == predGeneric {
			continue
		}
		for _, s := range p.resolve(f, pr) {
			if s.subj.far || pr.kind != predAlone && s.subj.tok[1] == 0 && len(f.subs) == 0 && p.topicSent < p.sent-2 {
				continue // "does that hurt?" with nothing named
			}
			p.chart(f, &s)
		}
	}
	if len(p.cands) == start { // "can you smell this?"
		for _, s := range f.subs {
			if s.fnd != nil && s.fnd.Yes != "" {
				pr := pred{it: &c.items[0]}
				p.chart(f, &said{pr: &pr, f: s.fnd, value: s.fnd.Yes, subj: s})
			}
		}
	}
	if len(p.cands) == start && len(f.subs) > 0 && p.askItem != nil { // "and over the maxillary sinuses?"
		for _, s := range f.subs {
			if sense, n := pick(p.askItem, s, lexicon.NounSense, lexicon.SaysSense); n >= leastOwn && s.site != nil {
				pr := pred{it: p.askItem, kind: predAlone}
				v := sense.Value
				if sense.Kind != lexicon.SaysSense {
					v = sense.Finding.Named
				}
				p.chart(f, &said{pr: &pr, f: sense.Finding, value: v, subj: s})
			}
		}
	}
	for i := range f.preds {
		if k := f.preds[i].kind; k == predNamed || k == predSays {
			p.askItem = f.preds[i].it
		}
	}
	made := append([]*cand(nil), p.cands[start:]...)
	p.cands = p.cands[:start]
	if len(made) == 0 {
		if p.ask != nil && p.ask.sent == p.sent {
			a, b := c.span()
			p.ask.extra = append(p.ask.extra, [2]int{a, b})
		}
		return
	}
	if p.ask != nil && p.ask.sent == p.sent {
		p.ask.cands = append(p.ask.cands, made...)
		return
	}
	_, end := c.span()
	p.ask = &question{cands: made, sent: p.sent, end: end, doubts: p.speaks(c, doubtWords...)}
}

// asksDetail gives the finding of which a question asks how it feels: "Is it sore?",
// of a node.
func (p *parser) asksDetail(f *frame) *cand {
	if len(f.subs) > 0 || len(p.cands) == 0 || len(f.places) > 0 {
		return nil
	}
	c := p.cands[len(p.cands)-1]
	if c.gone || c.sent < p.sent-1 || c.status != finding.Assessed || c.f.Named == "" || c.value != finding.Word(c.f.Named) || !c.f.Details["tenderness"] {
		return nil
	}
	for _, d := range f.details {
		if d.key == "tenderness" && d.value == "present" {
			return c
		}
	}
	return nil
}

// answerFirst takes the answer off the front of a sentence.
func (p *parser) answerFirst(s *sentence) {
	q := p.ask
	if q == nil || len(s.chunks) == 0 || q.sent == p.sent {
		return
	}
	if s.asked { // a further question; the first was not answered
		return
	}
	if a, _ := s.chunks[0].span(); p.labelled && p.who == speakerNurse || p.talk.chat[a] && (!p.labelled && q.talk > 0 || p.talk.since(q.end, a) > answerWords) {
		return // the examiner answers nobody; in a conversation an answer follows at once
	}
	k := 0
	for k < len(s.chunks)-1 && !s.chunks[k].any(func(it *item) bool { return !it.cue(lexicon.CueFiller) || it.cue(lexicon.CueYes, lexicon.CueNo) }) {
		k++ // "um, yes"
	}
	first := &s.chunks[k]
	yes, no := p.reads(first)
	if q.talk > 0 && slices.ContainsFunc(s.chunks[k+1:], func(c chunk) bool { return c.valued() && c.any((*item).names) }) {
		yes, no = false, false // "Never mind. Take a sip. No, the swallow's impaired."
	}
	if !yes && !no {
		q.talk++
		if q.talk > 2 {
			p.ask = nil
		}
		return
	}
	p.ask = nil
	if q.doubts && slices.ContainsFunc(s.chunks, func(c chunk) bool { return c.content() }) {
		return // "any trouble with your smell? No, I can't smell a thing": the statement tells
	}
	first.act = actAnswer
	a, b := first.span()
	tok := [][2]int{{a, b}}
	// "no, it's fine": what follows in the same breath is the answer still
	side := finding.NoSide
	for i := range s.chunks {
		c := &s.chunks[i]
		if i > k && (c.content() && !p.patientWords(c) || c.joint == jointBut) {
			break
		}
		for j := range c.items {
			if sd, ok := c.items[j].sense(lexicon.SideSense); ok {
				side = sideOf(sd.Value)
			}
		}
		if i > k && p.patientWords(c) {
			c.act = actAnswer
			a, b := c.span()
			tok = append(tok, [2]int{a, b})
		}
	}
	if q.of != nil && !q.of.gone {
		q.of.set("tenderness", map[bool]string{true: "absent", false: "present"}[no])
		q.of.toks = append(q.of.toks, tok...)
		q.of.toks = append(q.of.toks, q.extra...)
	}
	for _, c := range q.cands {
		v := word(c) // "any trouble swallowing?" yes
		if q.doubts && v == c.f.Normal && v != "" {
			if yes {
				continue // which change is not said
			}
		} else if no {
			var ok bool
			if v, ok = c.f.Not[v]; !ok {
				if v = c.f.No; v == word(c) {
					continue // "is it blocked?" no: not how open it is
				}
			}
		}
		if v == "" {
			continue
		}
		c.value, c.source, c.sent, c.chunk = finding.Word(v), finding.Reported, p.sent, p.chunkN
		if side != finding.NoSide && c.f.Sides == lexicon.Paired {
			c.side, c.sideSaid = side, true
			dropMark(c, finding.UnsureSide)
		}
		if c.f.Sides == lexicon.Zone && v == "absent" && !c.placeItem {
			c.zone = ""
		}
		if q.talk > 0 {
			c.mark(finding.Inferred, "answered after other talk")
		}
		c.toks = append(c.toks, tok...)
		c.toks = append(c.toks, q.extra...)
		p.cands = append(p.cands, c)
	}
}

// reads tells a yes from a no at the start of a chunk.
func (p *parser) reads(c *chunk) (yes, no bool) {
	if w := p.ts[c.items[0].a].Text; (w == "only" || w == "just") && !c.content() && c.any(func(it *item) bool { return it.has(lexicon.SideSense) }) {
		return true, false // "only the right one"
	}
	for i := range c.items {
		it := &c.items[i]
		if it.cue(lexicon.CueNo) || it.cue(lexicon.CueNegate) && p.ts[it.a].Text == "no" {
			// "no redness" states; "no" alone answers
			if it.b-it.a == 1 && i+1 < len(c.items) && !(i+2 == len(c.items) && p.ts[c.items[i+1].a].Text == "pain") && (c.items[i+1].content() || c.items[i+1].has(lexicon.DetailSense)) {
				return false, false
			}
			return false, true
		}
		if it.cue(lexicon.CueYes) {
			return true, false
		}
		if it.cue(lexicon.CueFiller) || len(it.senses) == 0 && i == 0 {
			continue
		}
		break
	}
	return patientYes(p.ts, c), false
}

// patientYes reports an answer given as a sentence: "it hurts there".
func patientYes(ts []token, c *chunk) bool {
	a, b := c.span()
	for i := a; i < b && i < a+4; i++ {
		if (ts[i].Text == "hurt" || ts[i].Text == "ouch" || ts[i].Text == "sore") && !at(ts, i-1, "not") {
			return true
		}
	}
	return false
}

// patientWords reports a chunk that speaks of itself, as a patient does.
func (p *parser) patientWords(c *chunk) bool { return p.speaks(c, "i", "me", "my", "mine", "hurt") }

// endSentence settles what the sentence left open.
func (p *parser) endSentence(s *sentence) {
	p.headed = p.heading(s)
	p.flushBare(s)
	p.particularLast()
	p.bareException(s)
	p.settleRetract()
	if p.correct && p.retracted == nil {
		p.doubtCorrected(s)
		p.correctAge++
		if p.correctAge > 1 {
			p.correct, p.correctAge = false, 0
		}
	} else {
		p.correctAge = 0
	}
}

// heading reports a sentence that only names a place or a side, so that what
// follows is said of it: "Above the collarbones. Right. None."
func (p *parser) heading(s *sentence) bool {
	if s.asked || len(s.chunks) > 2 || len(p.pend) == 0 && p.pendSide == finding.NoSide {
		return false
	}
	n := len(p.cands)
	if n > 0 && p.cands[n-1].sent == p.sent {
		return false
	}
	for i := range s.chunks {
		c := &s.chunks[i]
		if c.act != actState || c.valued() || c.any(func(it *item) bool {
			return it.plain() && !smallWords[p.ts[it.a].Text] && !lexicon.Article(p.ts[it.a].Text)
		}) {
			return false
		}
	}
	return true
}

// doubtCorrected marks what was said before a correction that was not
// understood: "tongue midline. No. It wanders off."
func (p *parser) doubtCorrected(s *sentence) {
	n := len(p.cands)
	if n == 0 || p.cands[n-1].gone || p.cands[n-1].sent == p.sent || p.cands[n-1].sent < p.sent-2 {
		return
	}
	for i := range s.chunks {
		if c := &s.chunks[i]; c.act == actState && c.content() && !p.onlyCue(c) {
			p.cands[n-1].mark(finding.UnsureValue, "a correction after it was not understood")
			return
		}
	}
}

// bareException reads "intact, except eight on the right" as not intact there, and
// marks it. An exception that was not understood is a doubt about all that was
// said before it.
func (p *parser) bareException(s *sentence) {
	if p.exceptFrom == 0 || p.exceptSent != p.sent || len(p.cands) > p.exceptFrom {
		return
	}
	last := p.cands[p.exceptFrom-1]
	if last.sent != p.sent {
		return
	}
	for _, sub := range p.excepted {
		if sub.fnd == nil || sub.fnd.Normal == "" || sub.fnd.Not[sub.fnd.Normal] == "" {
			continue
		}
		fr := &frame{c: &chunk{items: []item{{a: sub.tok[0], b: sub.tok[1]}}}}
		p.chart(fr, &said{pr: &pred{it: &fr.c.items[0], kind: predGeneric}, f: sub.fnd, value: sub.fnd.Not[sub.fnd.Normal], subj: sub})
	}
	for _, c := range p.cands[p.exceptFrom:] {
		c.mark(finding.Inferred, "said as an exception, without its value")
	}
	if len(p.cands) > p.exceptFrom {
		p.override(p.exceptFrom)
		return
	}
	for i := p.exceptFrom - 1; i >= 0 && p.cands[i].chunk == last.chunk; i-- {
		p.cands[i].mark(finding.UnsureValue, "an exception to it was not understood")
	}
}

// flushBare charts names that stood in a list and got no value: they were said
// to be found.
func (p *parser) flushBare(s *sentence) {
	if len(p.pend) == 0 || s.asked || !p.bareEnd {
		return
	}
	for _, sub := range p.pend {
		if sub.fnd == nil || sub.fnd.Kind != lexicon.Presence || len(sub.fnd.Expected["any"]) == 0 || sub.fnd.Expected["any"][0] != "absent" {
			continue
		}
		if len(s.chunks) == 1 || sub.tok[1] == 0 {
			continue // a heading
		}
		fr := &frame{c: &chunk{items: []item{{a: sub.tok[0], b: sub.tok[1]}}}}
		pr := pred{it: &item{a: sub.tok[0], b: sub.tok[1]}, kind: predNamed}
		p.chart(fr, &said{pr: &pr, f: sub.fnd, value: "present", subj: sub})
	}
	p.pend = nil
}
