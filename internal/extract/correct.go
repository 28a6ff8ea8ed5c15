package extract

import (
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// overlaps reports that two findings speak of the same side of the same thing.
func overlaps(a, b *cand) bool {
	if a.f != b.f {
		return false
	}
	if a.f.Sides == lexicon.NoSides {
		return true
	}
	if a.f.Sides == lexicon.Zone {
		return a.zone == b.zone || a.zone == "" || b.zone == ""
	}
	return a.side == b.side || a.side == finding.Both || b.side == finding.Both || a.side == finding.NoSide || b.side == finding.NoSide
}

// withdraw takes the side of n away from old; what is left of a pair stands.
func (p *parser) withdraw(old, n *cand) {
	if old.side == finding.Both && (n.side == finding.Right || n.side == finding.Left) {
		old.side = n.side.Opposite()
		return
	}
	old.gone = true
}

// override lets the findings made since start replace what the same sentence
// said of the same side before ("PERRLA except the left is sluggish").
func (p *parser) override(start int) {
	for _, n := range p.cands[start:] {
		for _, old := range p.recentCands(start) {
			if old.gone || old.sent < p.sent-1 || !overlaps(old, n) {
				continue
			}
			p.withdraw(old, n)
		}
	}
}

// recentCands are the standing findings of this sentence and the one before,
// latest first, made before start.
func (p *parser) recentCands(start int) []*cand {
	var out []*cand
	for i := start - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.sent < p.sent-4 {
			break
		}
		if !c.gone {
			out = append(out, c)
		}
	}
	return out
}

// mend lets a correcting chunk replace what it corrects, and only that.
func (p *parser) mend(f *frame, start int) {
	p.correct = false
	p.mendFrom, p.mendSent = start, p.sent
	made := p.cands[start:]
	if p.retracted != nil && len(made) > 0 {
		p.replaceRetracted(made)
		return
	}
	p.retracted = nil
	before := p.recentCands(start)
	if len(before) == 0 {
		return
	}
	if len(made) == 0 {
		p.mendPart(f, before)
		return
	}
	replaced := map[int]bool{}
	for _, n := range made {
		var target *cand
		for _, old := range before { // the same finding, the same side
			if !old.gone && overlaps(old, n) {
				target = old
				break
			}
		}
		if target == nil {
			for _, old := range before { // the same value, another side, site or item
				if old.gone || replaced[old.chunk] && old.chunk != before[0].chunk {
					continue
				}
				if old.f == n.f || sameSaying(old, n) {
					target = old
					break
				}
			}
		}
		if target == nil && before[0].chunk >= p.chunkN-2 && before[0].sent == p.sent {
			target = before[0]
		}
		if target == nil {
			continue
		}
		replaced[target.chunk] = true
		for _, old := range before { // "three, two, sorry, two"
			if old != target && !old.gone && old.f == target.f && overlaps(old, n) && old.value != n.value && target.f == n.f {
				p.withdrawCorrected(old, n)
			}
		}
		if n.quals == nil && target.f == n.f && target.value == n.value {
			n.quals, n.toks = target.quals, append(n.toks, target.toks...)
		}
		p.withdrawCorrected(target, n)
		for _, old := range before { // its fellows of the same breath
			if old != target && old.chunk == target.chunk && old.f == target.f && !old.gone && overlaps(old, n) {
				p.withdrawCorrected(old, n)
			}
		}
	}
}

func (p *parser) withdrawCorrected(old, n *cand) {
	if old.side == finding.Both && (n.side == finding.Right || n.side == finding.Left) && old.f == n.f {
		if n.sideSaid {
			old.side = n.side.Opposite()
			return
		}
	}
	if n.side == finding.NoSide && old.side != finding.NoSide && old.f.Sides == lexicon.Paired && n.f.Sides == lexicon.Paired {
		n.side, n.sideSaid = old.side, old.sideSaid
		dropMark(n, finding.UnsureSide)
		if len(n.f.At) > 0 && n.side != finding.Both {
			p.hold(n.side, n.f.At[0], [2]int{}) // what follows is of the same side
		}
	}
	if n.side == finding.Both && !n.sideSaid && old.sideSaid {
		n.side, n.sideSaid = old.side, true
	}
	if n.zone == "" && old.zone != "" && old.f == n.f {
		n.zone = old.zone
	}
	old.gone = true
}

// sameSaying reports findings that differ in the item alone: both present, both
// the same value, or both numbers.
func sameSaying(a, b *cand) bool {
	_, x := a.value.Number()
	_, y := b.value.Number()
	return a.value == b.value || x && y && a.f.Kind == b.f.Kind
}

// mendPart corrects a side, a place, a site or a qualifier where no new value
// was said.
func (p *parser) mendPart(f *frame, before []*cand) {
	last := before[0]
	a, b := f.c.span()
	if f.c.cue(lexicon.CueNot) || f.negated { // "sorry, not the uvula, the tongue"
		for _, c := range before {
			for _, s := range f.subs {
				if s.fnd == c.f || s.fnd == nil && fit(c.f, s) >= 80 {
					c.gone = true
					return
				}
			}
		}
	}
	was, sent := last.side, last.sent
	group := func(fn func(c *cand)) {
		for _, c := range before {
			if c.chunk == last.chunk || c.chunk >= last.chunk-5 && c.sent == sent && c.side == was && organOf(c.f) == organOf(last.f) && was != finding.NoSide {
				fn(c)
				c.sent = p.sent
				c.toks = append(c.toks, [2]int{a, b})
			}
		}
	}
	side := f.last
	for _, s := range f.subs {
		if s.side != finding.NoSide {
			side = s.side
		}
	}
	switch {
	case len(f.places) > 0 && last.f.Sides == lexicon.Zone:
		group(func(c *cand) { c.zone = zoneText(f.places[0]) })
	case side != finding.NoSide && len(f.subs) == 0 || side != finding.NoSide && sameOrgan(f.subs, last):
		group(func(c *cand) {
			if c.f.Sides == lexicon.Paired || c.side != finding.NoSide {
				c.side, c.sideSaid = side, true
				dropMark(c, finding.UnsureSide)
			} else if c.f.Sides == lexicon.Zone && c.zone != "" {
				c.zone = resided(c.zone, side)
			}
		})
		if side != finding.Both {
			p.held = side
			if p.heldAt == nil {
				for _, s := range p.topic {
					p.heldAt = s.organ()
				}
			}
		}
	case len(f.subs) > 0:
		p.mendSite(f, last, before)
	default:
		for i := range f.details {
			d := &f.details[i]
			if last.quals[d.key] != "" {
				delete(last.quals, d.key)
			}
		}
	}
}

func sameOrgan(subs []subject, c *cand) bool {
	for _, s := range subs {
		if s.fnd == c.f || fit(c.f, s) > 0 {
			return true
		}
	}
	return false
}

func resided(zone string, side finding.Side) string {
	for _, s := range [...]finding.Side{finding.Right, finding.Left} {
		if rest, ok := strings.CutPrefix(zone, s.String()+" "); ok {
			return side.String() + " " + rest
		}
	}
	return side.String() + " " + zone
}

// mendSite moves the last finding to another site: "frontal, I mean maxillary".
func (p *parser) mendSite(f *frame, last *cand, before []*cand) {
	a, b := f.c.span()
	s := f.subs[len(f.subs)-1]
	var to *lexicon.Finding
	top := 0
	for _, g := range p.x.lex.Findings() {
		if g.Kind != last.f.Kind || g == last.f {
			continue
		}
		if w, ok := last.value.Word(); ok && !g.Allows(w) {
			continue
		}
		if n := fit(g, s); n > top && (s.fnd == g || alike(g, last.f)) {
			to, top = g, n
		}
	}
	if to == nil || top < leastOwn {
		return
	}
	for _, c := range before {
		if c.chunk == last.chunk && c.f == last.f {
			c.f = to
			if s.side != finding.NoSide {
				c.side, c.sideSaid = s.side, true
			}
			c.toks = append(c.toks, [2]int{a, b})
		}
	}
}

// alike reports ids that say the same of two sites (…_tenderness, node.…).
func alike(a, b *lexicon.Finding) bool {
	tail := func(s string) string { return s[strings.LastIndexAny(s, "._")+1:] }
	if tail(a.ID) == tail(b.ID) || a.Implied && b.Implied {
		return true
	}
	stem, _ := numbered(a.ID)
	other, _ := numbered(b.ID)
	return stem != "" && stem == other
}

// retract takes back the last statement, unless what follows replaces it.
func (p *parser) retract(c *chunk) {
	if n := len(p.fate); n > 0 && (p.fate[n-1].why == finding.Instruction || p.fate[n-1].why == finding.Question) {
		return // "move your neck, no, I take that back": nothing was said to be found
	}
	p.correct = true
	p.retracted = nil
	var last *cand
	for _, old := range p.recentCands(len(p.cands)) {
		if last == nil {
			last = old
		}
		if old.chunk == last.chunk {
			p.retracted = append(p.retracted, old)
		}
	}
	p.retractSent = p.sent
}

// settleRetract lets a retraction that nothing replaced leave nothing.
func (p *parser) settleRetract() {
	if p.retracted == nil || p.sent == p.retractSent {
		return
	}
	for _, c := range p.retracted {
		c.gone = true
	}
	p.retracted, p.correct = nil, false
}

// replaceRetracted lets new findings take the place of those taken back; where
// none of them does, all that was taken back is gone.
func (p *parser) replaceRetracted(made []*cand) {
	hit := false
	for _, n := range made {
		for _, old := range p.retracted {
			if !old.gone && overlaps(old, n) {
				p.withdrawCorrected(old, n)
				hit = true
			}
		}
	}
	if !hit {
		for _, c := range p.retracted {
			c.gone = true
		}
	}
	p.retracted = nil
}

// retracts reports "no, that's toothpaste", "no I haven't": what was said just before is
// taken back, and nothing that a pack knows is put in its place.
func (p *parser) retracts(c, next *chunk) bool {
	n := len(p.cands)
	if p.ask != nil || n == 0 || p.cands[n-1].gone || p.cands[n-1].sent < p.sent-1 || p.cands[n-1].source == finding.Reported {
		return false
	}
	first, i := c.opener()
	if p.ts[first.a].Text != "no" {
		return false
	}
	said := c
	if p.onlyNo(&chunk{items: c.items[i:]}) {
		if next == nil || next.joint == jointStart {
			return false
		}
		said, i = next, 0
	} else if i++; i >= len(c.items) {
		return false
	}
	a := said.items[i].a
	_, b := said.span()
	if k := a + 1; at(p.ts, a, "i") && (text(p.ts, k) == "have" || text(p.ts, k) == "do") && text(p.ts, k+1) == "not" {
		return k+2 == b
	}
	switch text(p.ts, a) {
	case "that", "it", "this", "those", "they", "these":
	default:
		return false
	}
	if !linking(text(p.ts, a+1)) {
		return false
	}
	rest, strange := said.items[i:], false
	for k := range rest {
		it := &rest[k]
		if it.content() || it.has(lexicon.SideSense) || it.has(lexicon.DetailSense) || it.cue(lexicon.CueNormal, lexicon.CueYes, lexicon.CueNo, lexicon.CueFiller, lexicon.CueGeneral, lexicon.CueNegate) {
			return false
		}
		strange = strange || it.plain() && it.a > a+1 && !smallWords[p.ts[it.a].Text] && !lexicon.Article(p.ts[it.a].Text)
	}
	return strange
}

// onlyNo reports a chunk that is the one word "no".
func (p *parser) onlyNo(c *chunk) bool {
	return len(c.items) == 1 && p.ts[c.items[0].a].Text == "no"
}

// loneNo is the "no" of "three, no, four": between two statements, alone.
func (p *parser) loneNo(c *chunk, next *chunk) bool {
	if c.joint == jointStart && p.ask != nil || next == nil || !p.onlyNo(c) {
		return false
	}
	if next.cue(lexicon.CueNegate) {
		return false
	}
	return next.content() || next.any(func(it *item) bool { return it.has(lexicon.SideSense) })
}

// onlyCue reports a chunk that is nothing but a correction word.
func (p *parser) onlyCue(c *chunk) bool {
	for i := range c.items {
		it := &c.items[i]
		if it.content() || it.has(lexicon.SideSense) || it.has(lexicon.PlaceSense) || it.has(lexicon.DetailSense) {
			return false
		}
	}
	return true
}
