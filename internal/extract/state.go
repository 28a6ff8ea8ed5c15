package extract

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// said is a predicate with the finding and value it resolved to.
type said struct {
	pr    *pred
	f     *lexicon.Finding
	value string
	subj  subject
	chart *lexicon.Charted // of a summary
	mark  string
}

// state charts what a chunk states.
func (p *parser) state(c *chunk, next *chunk) {
	if w := p.ts[c.items[0].a].Text; p.taught != nil && (w == "it" || w == "they") && p.taughtSent >= p.sent-2 && p.topicSent <= p.taughtSent {
		p.setTopic(p.taught) // "The uvula ought to rise. Say ah. It's midline."
		p.taught = nil
	}
	c, why := p.hindered(c)
	f := p.frame(c)
	if c.cue(lexicon.CueCorrect) || p.loneNo(c, next) {
		p.correct = true
	}
	start := len(p.cands)
	switch {
	case f.unable:
		p.unable(f)
	case p.particular(f):
	case p.trailingSide(f, next):
	case p.elliptical(f):
	case f.same && p.mirror(f):
	default:
		p.assert(f, next)
	}
	made := p.cands[start:]
	for i := range made {
		if why[1] > 0 && made[i].reason == "" {
			made[i].reason = p.words(why[0], why[1])
			made[i].toks = append(made[i].toks, why)
		}
	}
	if f.base != "" && len(made) == 0 && len(f.subs)+len(f.preds) == 0 {
		p.lateBaseline(f)
	}
	if p.correct && !f.waits && (len(made) > 0 || f.sides > 0 || len(f.subs) > 0 || len(f.places) > 0) && !p.onlyCue(c) {
		p.mend(f, start)
	}
	if p.mendSent == p.sent && !p.correct && p.mendFrom < start && p.mendFrom > 0 {
		for _, n := range p.cands[start:] {
			for _, old := range p.recentCands(p.mendFrom) {
				if overlaps(old, n) && old.value != n.value {
					p.withdraw(old, n)
				}
			}
		}
	}
	if c.joint == jointExcept {
		p.exceptFrom, p.exceptSent, p.excepted = start, p.sent, f.subs
	}
	if p.exceptSent == p.sent && p.exceptFrom > 0 && len(made) > 0 {
		p.override(p.exceptFrom)
	}
	p.carry(f, len(p.cands) > start)
}

// lateBaseline gives the statement just made its baseline: "sluggish, and that's
// usual for him".
func (p *parser) lateBaseline(f *frame) {
	n := len(p.cands)
	if n == 0 || p.cands[n-1].gone || p.cands[n-1].sent < p.sent-1 {
		return
	}
	last := p.cands[n-1]
	a, b := f.c.span()
	for i := n - 1; i >= 0 && p.cands[i].chunk == last.chunk; i-- {
		if c := p.cands[i]; c.f == last.f && !c.gone {
			c.set("baseline", f.base)
			c.toks = append(c.toks, [2]int{a, b})
		}
	}
}

// carry moves what the chunk named into the state of the sentence.
func (p *parser) carry(f *frame, charted bool) {
	if f.last == finding.Right || f.last == finding.Left {
		p.lastSide = f.last
	}
	if charted {
		for i := len(p.cands) - 1; i >= 0 && p.cands[i].chunk == p.chunkN; i-- {
			if c := p.cands[i]; !c.gone {
				p.remember(subject{fnd: c.f, plural: true})
				break
			}
		}
	}
	for _, pl := range f.places {
		if (pl.side == finding.Right || pl.side == finding.Left) && !charted && len(f.subs) == 0 && pl.site != nil {
			p.hold(pl.side, pl.site, [2]int{f.c.items[pl.at].a, f.c.items[pl.at].b})
			p.setTopic([]subject{{site: pl.site, side: pl.side}})
		}
	}
	p.keepDenial(f)
	if len(f.subs) > 0 {
		named := p.meant(f)
		if charted {
			p.pend, p.pendTok = nil, nil
		}
		for _, s := range named {
			if s.plural || s.side == finding.Both {
				p.pairAt = s.organ()
			} else if s.side != finding.NoSide {
				p.pairAt = nil
			}
		}
		p.setTopicOf(f, named)
		p.endHeldBy(f, named)
		for _, s := range named {
			if s.side == finding.Right || s.side == finding.Left {
				p.hold(s.side, s.first(), s.tok)
			} else if s.side == finding.NoSide && len(named) == 1 && f.sides == 1 && (f.lead == finding.Right || f.lead == finding.Left) && charted && !p.compared(p.chunkN) {
				p.hold(f.lead, s.first(), f.sideTok) // "carotid on the right two plus, I hear a bruit"
			} else if s.side == finding.NoSide && len(named) == 1 && f.sides == 1 && (f.last == finding.Right || f.last == finding.Left) && !charted && s.fnd != nil {
				p.hold(f.last, s.first(), f.sideTok) // "the shrug is weak on the left, three of five"
			}
		}
		if !charted && f.c.nothing(p.ts) {
			p.pend, p.pendTok = nil, nil // "nothing over the brows, cheeks tender"
		} else if !charted && !f.says2() {
			if len(p.pend) > 0 && !(f.c.joint == jointAnd || f.c.joint == jointOr || siblings(p.pend, named)) {
				p.pend, p.pendTok = nil, nil
			}
			p.pend = append(p.pend, named...)
			a, b := f.c.span()
			p.pendTok = append(p.pendTok, [2]int{a, b})
		} else if !charted {
			p.pend, p.pendTok = nil, nil // "left eye's clean": what waits is the other's
		}
	}
	if f.lead != finding.NoSide && len(f.subs) == 0 {
		p.leadSide(f, charted)
	} else if charted && p.held != finding.NoSide && f.last == p.held.Opposite() {
		p.held, p.heldTok = f.last, f.sideTok // "I hear a whoosh on the right, so a bruit there"
	}
}

// nothing reports a chunk that opens with "nothing".
func (c *chunk) nothing(ts []token) bool { return ts[c.items[0].a].Text == "nothing" }

// compared reports that a chunk charted something of a pair as a whole.
func (p *parser) compared(chunk int) bool {
	for i := len(p.cands) - 1; i >= 0 && p.cands[i].chunk == chunk; i-- {
		if p.cands[i].f.EndsSide {
			return true
		}
	}
	return false
}

// says2 reports a predicate that should have charted: a value, a number.
func (f *frame) says2() bool {
	for i := range f.preds {
		if f.preds[i].kind != predNamed || namesPresent(f.preds[i].it) {
			return true
		}
	}
	return false
}

// leadSide holds a side that stood before values, or alone.
func (p *parser) leadSide(f *frame, charted bool) {
	if !charted && len(f.preds) == 0 {
		p.pendSide, p.sideTok = f.lead, f.sideTok
	} else {
		p.pendSide = finding.NoSide
	}
	if f.lead == finding.Both || charted && p.compared(p.chunkN) {
		p.endSide()
		return
	}
	for _, s := range p.topic {
		if o := s.first(); o != nil {
			p.hold(f.lead, o, f.sideTok)
			return
		}
	}
	p.hold(f.lead, nil, f.sideTok)
}

// meant are the subjects of a chunk as they were charted: the "droop" of a lid is
// no droop of the face.
func (p *parser) meant(f *frame) []subject {
	out := slices.Clone(f.subs)
	for k := range out {
		if out[k].fnd == nil || out[k].fnd.Named == "" {
			continue
		}
		var other *lexicon.Finding
		for _, c := range p.since(p.chunkN) {
			if c.f == out[k].fnd {
				other = nil
				break
			}
			if f.subAt[k] < len(f.c.items) && spokenBy(&f.c.items[f.subAt[k]], c) {
				other = c.f
			}
		}
		if other != nil {
			out[k].fnd = other
		}
	}
	return out
}

// setTopicOf makes the named subjects the topic; a site that the finding
// itself stands for does not push the finding out.
func (p *parser) setTopicOf(f *frame, named []subject) {
	var keep []subject
	for _, s := range named {
		if s.adjective && len(named) > 1 {
			continue
		}
		keep = append(keep, s)
	}
	if len(keep) == 0 {
		keep = named
	}
	p.setTopic(keep)
}

// endHeldBy ends a held side when another organ, or both of a pair, is named.
func (p *parser) endHeldBy(f *frame, named []subject) {
	for k, s := range named {
		if k < len(f.subAt) && len(f.preds) > 0 && f.subAt[k] > f.preds[0].at && f.negated && s.side == finding.NoSide {
			continue // "no pain on his face" names no new organ
		}
		if s.side == finding.Both {
			p.endSide()
			return
		}
		if s.side == finding.NoSide && p.heldAt != nil {
			if o := s.organ(); o != nil && o != p.heldAt {
				p.endSide()
				return
			}
		}
	}
}

func siblings(a, b []subject) bool {
	for _, x := range a {
		for _, y := range b {
			if x.fnd != nil && y.fnd != nil {
				if a, _ := numbered(x.fnd.ID); a != "" {
					if b, _ := numbered(y.fnd.ID); a == b {
						continue // cranial nerves three, four
					}
				}
			}
			if x.site == nil || y.site == nil || x.site.Parent == nil || x.site.Parent != y.site.Parent || x.site == y.site {
				return false
			}
		}
	}
	return true
}

func related(a, b subject) bool {
	for _, x := range a.sites() {
		for _, y := range b.sites() {
			if x == y && a.fnd == nil && b.fnd == nil {
				return a.side == finding.NoSide || b.side == finding.NoSide || a.side == b.side
			}
			if x != y || a.fnd == nil || b.fnd == nil {
				if _, ok := x.Within(y); ok && x != y {
					return true
				}
				if _, ok := y.Within(x); ok && x != y {
					return true
				}
			}
		}
	}
	return false
}

// joined gives the pending subjects that are one list with the chunk's own.
func (p *parser) joined(f *frame, own subject) []subject {
	if len(p.pend) == 0 {
		return nil
	}
	for _, s := range p.pend {
		if related(s, own) {
			return nil
		}
	}
	if f.c.joint == jointAnd || f.c.joint == jointOr || (f.c.joint == jointComma && siblings(p.pend, []subject{own})) {
		return p.pend
	}
	return nil
}

// assert resolves the chunk's predicates and charts them.
func (p *parser) assert(f *frame, next *chunk) {
	p.asDetails(f)
	p.looking(f)
	var out []said
	for _, names := range [...]bool{true, false} { // "full motion": the noun tells what the value speaks of
		for i := range f.preds {
			pr := &f.preds[i]
			if pr.used || names != (pr.kind == predNamed && !namesPresent(pr.it)) {
				continue
			}
			out = append(out, p.resolve(f, pr)...)
		}
	}
	if len(out) == 0 {
		out = p.implied(f)
	}
	if len(out) == 0 {
		out = p.pay(f)
	}
	out = p.consume(f, out)
	if p.spread(f, out) {
		return
	}
	if p.bare(f, out, next) {
		return
	}
	start := len(p.cands)
	pair := false
	for i := range out {
		if pair && out[i].pr.side == f.lead { // "left four, equal, round"
			out[i].pr.side = finding.Both
		}
		pair = pair || out[i].f.EndsSide
		p.bareEnd = out[i].pr.kind == predNamed && !out[i].pr.neg
		if f.onlySpokenOf(&out[i]) {
			continue
		}
		p.chart(f, &out[i])
	}
	p.attach(f, start)
	p.backRun(f, start)
	if p.owed = (owed{}); len(p.cands) > start {
		p.lastHead = f
	} else {
		p.owe(f)
	}
}

// namesOther reports that the chunk itself names something of which the finding
// says nothing.
func (f *frame) namesOther(fd *lexicon.Finding) bool {
	for _, s := range f.subs {
		if fit(fd, s) < leastOwn {
			return true
		}
	}
	return false
}

// regionMemory is for how many sentences a region is still spoken of.
const regionMemory = 8

// talksOf reports that something of a region was named in the last sentences.
func (p *parser) talksOf(region string) bool {
	for _, s := range append(append([]subject(nil), p.topic...), p.recent...) {
		if s.sent >= p.sent-regionMemory && (s.fnd != nil && s.fnd.Region == region || slices.ContainsFunc(s.sites(), func(x *lexicon.Site) bool { return x.Region == region })) {
			return true
		}
	}
	return false
}

// examining reports that a part of the examination was named in this sentence.
func (p *parser) examining() bool {
	return slices.ContainsFunc(append(append([]subject(nil), p.topic...), p.recent...), func(s subject) bool {
		return s.sent == p.sent && slices.ContainsFunc(s.sites(), func(x *lexicon.Site) bool { return x.Region != "" })
	})
}

// modified reports a noun that an unknown word makes another thing: "perineal
// edema", "suprapubic tenderness".
func (f *frame) modified(at int) bool {
	if at == 0 || strangers(f) {
		return false
	}
	w := &f.c.items[at-1]
	return len(f.places) == 0 && w.plain() && !f.small[at-1]
}

// recalled reads a value that belongs to a test announced a while ago: "I am
// whispering. Right ear, ..., passed."
func (p *parser) recalled(f *frame, pr *pred) (said, bool) {
	if f.unknown > 0 {
		return said{}, false
	}
	for _, t := range p.recent {
		if t.fnd == nil || !t.fnd.NamedOnly || t.sent < p.sent-8 {
			continue
		}
		for _, s := range pr.it.senses {
			if s.Kind != lexicon.SaysSense || s.Finding != t.fnd {
				continue
			}
			subj := subject{fnd: t.fnd, plural: true}
			for _, o := range append(append([]subject(nil), f.subs...), p.pend...) {
				if fit(t.fnd, o) > 0 {
					subj.side, subj.tok, subj.plural = o.side, o.tok, o.plural
					break
				}
			}
			return said{pr: pr, f: t.fnd, value: s.Value, subj: subj}, true
		}
	}
	return said{}, false
}

// spokenOf reports that the talk is of a region: something of it was named in the
// last sentences, or nothing of another.
func (p *parser) spokenOf(region string) bool {
	other := false
	for _, s := range append(append([]subject(nil), p.topic...), p.recent...) {
		if s.sent < p.sent-4 && s.sent > 0 {
			continue
		}
		if s.fnd != nil && s.fnd.Region == region {
			return true
		}
		for _, x := range s.sites() {
			if x.Region == region {
				return true
			}
			other = true
		}
	}
	return !other
}

func spanOf(ts []token, a, b int) transcript.Span {
	return transcript.Span{Start: ts[a].word, End: ts[b-1].end + 1}
}

func trimPunct(s string) string { return strings.Trim(s, " .,;:?!-—…\"") }

func (p *parser) placeText(it *item) string {
	var parts []string
	for i := it.a; i < it.b; i++ {
		if w := p.ts[i].Text; !lexicon.Article(w) && (i == it.a || p.ts[i].word != p.ts[i-1].word) {
			parts = append(parts, strings.ToLower(trimPunct(p.t.Words[p.ts[i].word].Text)))
		}
	}
	return strings.Join(parts, " ")
}
