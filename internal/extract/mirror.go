package extract

import (
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// mirror repeats for one side what was said of the other: "left the same".
func (p *parser) mirror(f *frame) bool {
	if len(f.subs) == 0 && p.speaks(f.c, "outside", "inside", "externally") {
		return false // which part that is was not said
	}
	side := f.last
	for _, s := range f.subs {
		if s.side == finding.Right || s.side == finding.Left {
			side = s.side
		}
	}
	if n := len(p.cands); side == finding.NoSide && (n == 0 || p.cands[n-1].sent != p.sent) {
		side = p.pendSide // "other side, exactly the same"
	}
	if side == finding.NoSide && p.alikeAt(f) {
		return true
	}
	src := p.lastSided()
	if src == nil {
		return false
	}
	if side == finding.NoSide {
		side = src.side.Opposite()
		if len(f.subs) == 0 || ownSame(f) {
			return false
		}
	}
	if side != finding.Right && side != finding.Left {
		return false
	}
	var found []*cand
	home := organOf(src.f)
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone || c.mirrored {
			continue
		}
		if c.side != side.Opposite() {
			if c.side == side || len(found) > 0 && organOf(c.f) != home {
				break
			}
			continue
		}
		if organOf(c.f) != home {
			break
		}
		if !p.mirrorFits(f, c) {
			continue
		}
		found = append(found, c)
	}
	if len(found) == 0 {
		return false
	}
	a, b := f.c.span()
	for i := len(found) - 1; i >= 0; i-- {
		d := found[i].clone()
		if f.noneSame { // "the left has none of that"
			if d.f.Kind != lexicon.Presence {
				continue
			}
			d.value, d.quals = finding.Word("absent"), nil
		}
		d.side, d.sideSaid, d.sent, d.chunk, d.mirrored = side, true, p.sent, p.chunkN, true
		d.toks = append(d.toks, [2]int{a, b})
		dropMark(d, finding.UnsureSide)
		if d.f.Kind == lexicon.Clock {
			// the same hour on the other side is rarely meant; the reviewer decides
			d.mark(finding.UnsureValue, "taken over from the other side")
		}
		p.cands = append(p.cands, d)
	}
	p.hold(side, home, [2]int{a, b})
	return true
}

// alikeAt repeats what was just said for another site of the same side: "pinna not
// tender, mastoid the same".
func (p *parser) alikeAt(f *frame) bool {
	if len(f.subs) != 1 || len(p.cands) == 0 {
		return false
	}
	last := p.cands[len(p.cands)-1]
	if last.gone || last.sent < p.sent-1 {
		return false
	}
	for _, g := range p.x.lex.Findings() {
		if g.Kind == last.f.Kind && g != last.f && fit(g, f.subs[0]) >= leastSure && alike(g, last.f) && g.Allows(word(last)) {
			d := last.clone()
			a, b := f.c.span()
			d.f, d.sent, d.chunk, d.toks, d.quals = g, p.sent, p.chunkN, append(d.toks, [2]int{a, b}), nil
			p.cands = append(p.cands, d)
			return true
		}
	}
	return false
}

// mirrorFits narrows the copy to what the chunk names ("same drum").
func (p *parser) mirrorFits(f *frame, c *cand) bool {
	if len(f.subs) == 0 {
		return true
	}
	for _, s := range f.subs {
		if s.fnd == c.f || s.fnd == nil && fit(c.f, s) > 0 {
			return true
		}
	}
	return false
}

// ownSame reports a "same" that is a value of what is named with it: "pupils match".
func ownSame(f *frame) bool {
	for i := range f.c.items {
		it := &f.c.items[i]
		for _, s := range f.subs {
			if !it.cue(lexicon.CueSame) {
				continue
			}
			if _, n := pick(it, s, lexicon.SaysSense); n >= leastSure {
				return true
			}
		}
	}
	return false
}

func (p *parser) lastSided() *cand {
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if !c.gone && (c.side == finding.Right || c.side == finding.Left) && c.f.Sides == lexicon.Paired {
			return c
		}
		if c.sent < p.sent-4 {
			break
		}
	}
	return nil
}

func organOf(f *lexicon.Finding) *lexicon.Site {
	for _, s := range f.At {
		return organ(s)
	}
	return nil
}

// measuring reports that what was left out is a measurement: "I didn't measure".
func (p *parser) measuring(f *frame) bool {
	it := &f.c.items[f.unableAt]
	return strings.HasPrefix(p.ts[it.b-1].Text, "measur")
}

// unable charts what was said to be left out, with its reason.
func (p *parser) unable(f *frame) {
	for i := f.unableAt + 1; i < len(f.c.items) && f.because < 0; i++ {
		if w := p.ts[f.c.items[i].a].Text; w == "for" || w == "with" { // "not seen for the wax"
			f.because = f.c.items[i].a + 1
		}
	}
	w := text(p.ts, f.c.items[f.unableAt].b)
	f.onlyBefore(f.unableAt, w == "it" || w == "that") // "I don't do that to somebody ..."
	subs := f.subs
	seen := map[*lexicon.Finding]bool{}
	if len(subs) > 0 && p.pend != nil && (f.c.joint == jointAnd || f.c.joint == jointOr) {
		subs = append(append([]subject(nil), p.pend...), subs...)
	}
	named := func(f *lexicon.Finding, s subject) {
		if !seen[f] {
			seen[f] = true
			subs = append(subs, subject{fnd: f, side: s.side, plural: true})
		}
	}
	for i := range f.preds { // "did not assess neck strength", "tenderness not tested"
		pr := &f.preds[i]
		if pr.kind != predNamed || f.because >= 0 && pr.it.a >= f.because {
			continue
		}
		for _, s := range p.resolve(f, pr) {
			named(s.f, s.subj)
		}
	}
	if len(f.subs) > len(subs) {
		subs = f.subs
	}
	subs = groupsFirst(subs)
	if f.because >= 0 {
		var keep []subject
		for _, s := range subs {
			if s.tok[0] < f.because {
				keep = append(keep, s)
			}
		}
		subs = keep
	}
	refers := p.speaks(f.c, "it", "that", "them", "those")
	if n := len(p.cands); len(subs) == 0 && n > 0 && refers && p.cands[n-1].sent == p.sent && p.cands[n-1].status == finding.NotAssessed {
		return // "gag not tested, I don't do that to somebody just awake"
	}
	if len(subs) == 0 && f.unknown > 0 && len(p.pend) == 0 && !refers {
		return // "I haven't done the reflexes": something else was left out
	}
	if len(subs) == 0 {
		for i := len(p.cands) - 1; i >= 0 && p.cands[i].sent == p.sent; i-- {
			if p.measuring(f) && p.cands[i].f.Kind != lexicon.Quantity && p.cands[i].f.Kind != lexicon.Grade {
				continue // "equal and reactive, I didn't measure": their size
			}
			if !p.cands[i].gone { // "smell intact on the left, could not test it on the right"
				subs = []subject{{fnd: p.cands[i].f, plural: true}}
				break
			}
		}
	}
	if len(subs) == 0 {
		subs = p.pend
	}
	if len(subs) == 0 && f.unknown == 0 { // "the reflexes" are nothing named before
		subs = p.topic
	}
	a, _ := f.c.span()
	charted := map[*lexicon.Finding]bool{}
	for _, s := range subs {
		if p.talk.chat[a] && s.tok[1] == 0 {
			continue // "we could not do that" of a conversation
		}
		fd := s.fnd
		if fd == nil && s.site != nil {
			if fd = s.site.Finding; fd == nil {
				fd = s.site.Unable
			}
			if fd == nil && p.x.implied[s.site] {
				fd = p.lookedFor(s) // "deep cervical I can't get at"
			}
		}
		if fd == nil || charted[fd] {
			continue
		}
		charted[fd] = true
		c := &cand{f: fd, status: finding.NotAssessed, source: finding.Observed, sent: p.sent, chunk: p.chunkN}
		a, b := f.c.span()
		c.toks = append(c.toks, [2]int{a, b})
		if s.tok[1] > 0 && (s.tok[0] < a || s.tok[0] >= b) {
			c.toks = append(c.toks, s.tok)
		}
		c.toks = append(c.toks, p.pendTok...)
		if f.because >= 0 {
			c.reason = p.words(f.because, b)
		}
		q := said{pr: &pred{it: &item{}}, f: fd, subj: s}
		if f.last != finding.NoSide {
			q.pr.side = f.last
		}
		if fd.Sides == lexicon.Paired {
			p.side(f, &q, c)
			if c.side == finding.NoSide {
				c.side = finding.Both
				dropMark(c, finding.UnsureSide)
			}
		}
		p.cands = append(p.cands, c)
	}
	p.unableChunk = p.chunkN
}

// groupsFirst drops a summary finding where its particular one is named too.
func groupsFirst(subs []subject) []subject {
	var out []subject
	particular := false
	for _, s := range subs {
		particular = particular || s.fnd != nil && s.fnd.Asked != lexicon.Summary
	}
	for _, s := range subs {
		if !particular || s.fnd == nil || s.fnd.Asked != lexicon.Summary || !hasStem(s.fnd.ID) {
			out = append(out, s)
		}
	}
	return out
}

func hasStem(id string) bool { n, _ := numbered(id); return n == "" }

// onlyBefore drops what stands after item i where something stands before it:
// "the gag I am leaving out with those ulcers".
func (f *frame) onlyBefore(i int, before bool) {
	for k := range f.subAt {
		before = before || f.subAt[k] < i
	}
	for k := range f.preds {
		before = before || f.preds[k].at < i && f.preds[k].kind != predGeneric
	}
	if !before {
		return
	}
	var preds []pred
	for _, pr := range f.preds {
		if pr.at < i {
			preds = append(preds, pr)
		}
	}
	var subs []subject
	var at []int
	for k := range f.subs {
		if f.subAt[k] < i {
			subs, at = append(subs, f.subs[k]), append(at, f.subAt[k])
		}
	}
	f.preds, f.subs, f.subAt = preds, subs, at
}

// becauseOf gives what was just left out its reason, said in a chunk of its own:
// "I am leaving out the gag reflex, because he ate ten minutes ago".
func (p *parser) becauseOf(c *chunk) bool {
	first, _ := c.opener()
	if !first.cue(lexicon.CueBecause) || p.unableChunk != p.chunkN-1 || p.chunkN == 0 {
		return false
	}
	a, b := c.span()
	found := false
	for i := len(p.cands) - 1; i >= 0; i-- {
		k := p.cands[i]
		if k.gone || k.status != finding.NotAssessed || k.chunk != p.unableChunk {
			break
		}
		if k.reason == "" {
			k.reason = p.words(first.b, b)
			k.toks = append(k.toks, [2]int{a, b})
			found = true
		}
	}
	if found {
		p.unableChunk = p.chunkN
	}
	return found
}
