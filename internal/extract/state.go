package extract

import (
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
	f := p.frame(c)
	if c.cue(lexicon.CueCorrect) || p.loneNo(c, next) {
		p.correct = true
		p.corrected = nil
	}
	start := len(p.cands)
	switch {
	case f.unable:
		p.unable(f)
	case p.trailingSide(f, next):
	case p.elliptical(f):
	case f.same && p.mirror(f):
	default:
		p.assert(f, next)
	}
	made := p.cands[start:]
	if p.correct && (len(made) > 0 || f.sides > 0 || len(f.subs) > 0 || len(f.places) > 0) && !p.onlyCue(c) {
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
	if c.joint == jointExcept && len(made) > 0 {
		p.override(start, true)
	}
	p.carry(f, len(p.cands) > start)
}

// trailingSide gives a side that stands alone at the end to what was said just
// before it: "four, both sides".
func (p *parser) trailingSide(f *frame, next *chunk) bool {
	if f.sides == 0 || len(f.preds)+len(f.places) > 0 || f.c.joint != jointComma || p.correct || next != nil && next.joint != jointBut && next.valued() && !next.any(func(it *item) bool { return it.names() || it.has(lexicon.SideSense) }) {
		return false
	}
	hit := false
	a, b := f.c.span()
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone || c.sent != p.sent || c.chunk < p.chunkN-1 || c.sideSaid || c.f.Sides != lexicon.Paired {
			break
		}
		if len(f.subs) > 0 && (f.subs[0].site == nil || fit(c.f, f.subs[0]) < 80 || c.value == finding.Word("absent")) {
			break // another site: what follows is about it
		}
		c.side, c.sideSaid, hit = f.last, true, true
		c.toks = append(c.toks, [2]int{a, b})
		dropMark(c, finding.UnsureSide)
	}
	return hit
}

// elliptical reads "not the left", "the left doesn't", "right isn't" after a
// finding on the other side as its denial.
func (p *parser) elliptical(f *frame) bool {
	if f.sides == 0 || len(f.subs)+len(f.places) > 0 || f.last != finding.Right && f.last != finding.Left {
		return false
	}
	for i := range f.preds {
		if f.preds[i].kind != predGeneric || f.preds[i].cue == lexicon.CueNormal && !f.preds[i].neg {
			return false
		}
	}
	if !f.negated && !f.c.cue(lexicon.CueNot) && !f.c.any(func(it *item) bool { return p.ts[it.a].Text == "not" }) {
		return false
	}
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone {
			continue
		}
		if c.sent < p.sent-1 || c.f.Named == "" || c.f.Sides != lexicon.Paired || c.side != f.last.Opposite() || c.value != finding.Word(c.f.Named) {
			return false
		}
		d := &cand{f: c.f, value: finding.Word(c.f.Not[c.f.Named]), side: f.last, sideSaid: true, status: finding.Assessed, source: c.source, sent: p.sent, chunk: p.chunkN}
		a, b := f.c.span()
		d.toks = append(d.toks, [2]int{a, b})
		p.cands = append(p.cands, d)
		return true
	}
	return false
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

// loneNo is the "no" of "three, no, four": between two statements, alone.
func (p *parser) loneNo(c *chunk, next *chunk) bool {
	if c.joint == jointStart && p.ask != nil || next == nil || len(c.items) != 1 || p.ts[c.items[0].a].Text != "no" {
		return false
	}
	if next.cue(lexicon.CueNegate) {
		return false
	}
	return next.content() || next.any(func(it *item) bool { return it.has(lexicon.SideSense) })
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
	p.listNeg = f.negated && !f.c.cue(lexicon.CueGone) && !(len(f.c.items) == 1 && p.ts[f.c.items[0].a].Text == "no")
	p.pendNot = false
	if n := len(f.c.items); n > 0 {
		for i := range f.c.items {
			if f.c.items[i].cue(lexicon.CueNot) {
				p.pendNot = true
			}
		}
	}
	if len(f.subs) > 0 {
		named := f.subs
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
			}
		}
		if !charted && !f.says2() {
			if len(p.pend) > 0 && !(f.c.joint == jointAnd || f.c.joint == jointOr || siblings(p.pend, named)) {
				p.pend, p.pendTok = nil, nil
			}
			p.pend = append(p.pend, named...)
			a, b := f.c.span()
			p.pendTok = append(p.pendTok, [2]int{a, b})
			p.pendNeg = f.negated
		}
	} else if charted {
		// a value list goes on about the same subject
		_ = charted
	}
	if f.lead != finding.NoSide && len(f.subs) == 0 {
		p.leadSide(f, charted)
	}
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
	if f.lead == finding.Both {
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
	for i := range f.preds {
		pr := &f.preds[i]
		if pr.used {
			continue
		}
		out = append(out, p.resolve(f, pr)...)
	}
	if len(out) == 0 {
		out = p.implied(f)
	}
	out = p.consume(f, out)
	if p.spread(f, out) {
		return
	}
	if p.bare(f, out, next) {
		return
	}
	start := len(p.cands)
	for i := range out {
		p.bareEnd = out[i].pr.kind == predNamed && !out[i].pr.neg
		p.chart(f, &out[i])
	}
	p.attach(f, start)
	p.backRun(f, start)
	if len(p.cands) > start {
		p.lastHead = f
	}
}

// implied goes on with what was looked for where only a place is named: "nodes:
// none under the jaw, nothing above the clavicle, a hard one on the left".
func (p *parser) implied(f *frame) []said {
	one := f.c.any(func(it *item) bool {
		w := p.ts[it.a].Text
		return w == "one" && it.num == nil || it.b-it.a == 2 && p.ts[it.b-1].Text == "one"
	})
	neg, cued := f.negated, f.negated || f.exists || one
	var at *item
	side := finding.NoSide
	for i := range f.preds {
		pr := &f.preds[i]
		switch {
		case pr.used:
			continue
		case pr.kind == predSays && !pr.it.has(lexicon.DetailSense), pr.kind == predNamed, pr.kind == predNumber && pr.it.unit == nil:
			return nil
		case pr.kind == predGeneric && pr.cue != lexicon.CueNormal:
			cued, neg = true, neg || pr.cue == lexicon.CueAbsent
			at = pr.it
		}
		if pr.side != finding.NoSide {
			side = pr.side
		}
	}
	if !cued || p.nounFollows() || len(f.c.items) == 1 && p.ts[f.c.items[0].a].Text == "no" {
		return nil
	}
	if at == nil {
		at = &f.c.items[0]
	}
	subs := f.subs
	if len(subs) == 0 {
		subs = p.pend
	} else {
		subs = append(append([]subject(nil), p.joined(f, subs[0])...), subs...)
	}
	if len(subs) == 0 && one {
		subs = p.topic
	}
	if side == finding.NoSide {
		side = f.last
	}
	var out []said
	for _, s := range subs {
		fd := p.lookedFor(s)
		if fd == nil {
			continue
		}
		pr := &pred{at: 0, it: at, kind: predAlone, neg: neg, side: side}
		if s.side != finding.NoSide && len(f.subs) > 0 {
			pr.side = finding.NoSide
		}
		out = append(out, said{pr: pr, f: fd, value: "present", subj: s})
	}
	if len(out) > 0 {
		for i := range f.preds {
			f.preds[i].used = true
		}
	}
	return out
}

// looking notes what is being looked for.
func (p *parser) looking(f *frame) {
	for i := range f.preds {
		if f.preds[i].kind == predNamed {
			p.noun = f.preds[i].it
		}
	}
}

// nounFollows reports that the list goes on to its noun: "no submandibular or
// submental nodes".
func (p *parser) nounFollows() bool {
	if p.s == nil {
		return false
	}
	for j := p.si + 1; j < len(p.s.chunks); j++ {
		c := &p.s.chunks[j]
		if c.joint != jointOr && c.joint != jointAnd && c.joint != jointComma || c.cue(lexicon.CueNegate, lexicon.CueThere) {
			return false
		}
		site := false
		for i := range c.items {
			it := &c.items[i]
			if site && (it.has(lexicon.NounSense) || it.has(lexicon.NameSense) && presenceName(it)) {
				return true
			}
			site = site || it.has(lexicon.SiteSense)
			if !it.has(lexicon.SiteSense) && it.content() {
				return false
			}
		}
		if !site {
			return false
		}
	}
	return false
}

// lookedFor is what was being looked for at a site: what was named last, else
// the one thing that can be present there.
func (p *parser) lookedFor(s subject) *lexicon.Finding {
	if s.site == nil {
		if s.fnd != nil && s.fnd.Kind == lexicon.Presence {
			return s.fnd
		}
		return nil
	}
	if p.noun != nil {
		if sense, n := pick(p.noun, s, lexicon.NounSense, lexicon.NameSense); n >= 85 && sense.Finding.Kind == lexicon.Presence {
			return sense.Finding
		}
	}
	var only *lexicon.Finding
	for _, f := range p.x.lex.Findings() {
		for _, x := range f.At {
			if x == s.site && f.Kind == lexicon.Presence {
				if only != nil {
					return nil
				}
				only = f
			}
		}
	}
	if only != nil && only.Region != "nodes" {
		return nil
	}
	return only
}

// resolve finds what one predicate says of which subjects.
func (p *parser) resolve(f *frame, pr *pred) []said {
	switch pr.kind {
	case predAlone:
		return p.resolveAlone(f, pr)
	case predNumber:
		return p.resolveNumber(f, pr)
	case predGeneric:
		return p.resolveGeneric(f, pr)
	}
	kinds := []lexicon.SenseKind{lexicon.SaysSense}
	if pr.kind == predNamed {
		kinds = []lexicon.SenseKind{lexicon.NounSense, lexicon.NameSense, lexicon.SaysSense}
	}
	var out []said
	if pr.kind == predSays && pr.it.cue(lexicon.CueAbsent, lexicon.CuePresent) && !p.seenSite(f, pr) {
		pr.kind, pr.cue = predGeneric, lexicon.CuePresent
		if pr.it.cue(lexicon.CueAbsent) {
			pr.cue = lexicon.CueAbsent
		}
		return p.resolveGeneric(f, pr)
	}
	if pr.kind == predSays && pr.it.cue(lexicon.CueNegate) && !p.seenSite(f, pr) {
		return nil // "can't feel it" is a denial, not a value of what was named last
	}
	if pr.kind == predSays && pr.it.cue(lexicon.CueNormal) && p.normalOf(f, pr) {
		pr.kind, pr.cue = predGeneric, lexicon.CueNormal
		return p.resolveGeneric(f, pr)
	}
	if s, ok := p.lastSaid(f, pr); ok {
		return []said{s}
	}
	for _, s := range p.subjectsFor(f, pr, func(s subject) int { _, n := pick(pr.it, s, kinds...); return n }) {
		sense, n := pick(pr.it, s, kinds...)
		if n == 0 || sense.Finding.Strict && sense.Kind == lexicon.SaysSense && s.tok[1] == 0 && (p.topicSent < p.sent-1 || p.topicSent < p.sent && n < 80) {
			continue
		}
		v := sense.Value
		if sense.Kind != lexicon.SaysSense {
			if sense.Finding.Named == "" {
				// a noun such as "strength" names what the values speak of
				f.subs = append(f.subs, subject{fnd: sense.Finding, side: s.side, plural: s.plural || pr.it.plural, tok: [2]int{pr.it.a, pr.it.b}})
				f.subAt = append(f.subAt, pr.at)
				continue
			}
			v = sense.Finding.Named
		}
		out = append(out, said{pr: pr, f: sense.Finding, value: v, subj: s})
	}
	if len(out) == 0 && pr.kind == predSays && pr.it.cue(lexicon.CueNormal) {
		pr.kind, pr.cue = predGeneric, lexicon.CueNormal
		return p.resolveGeneric(f, pr)
	}
	if len(out) == 0 && pr.kind == predSays {
		if s, ok := onlySense(pr.it); ok && pr.it.b-pr.it.a > 1 {
			out = append(out, said{pr: pr, f: s.Finding, value: s.Value, subj: subject{fnd: s.Finding}})
		}
	}
	if len(out) == 0 && pr.kind == predNamed && !strangers(f) && !p.foreign() {
		if s, ok := onlyNoun(pr.it); ok {
			out = append(out, said{pr: pr, f: s.Finding, value: s.Finding.Named, subj: subject{fnd: s.Finding, plural: true}})
		}
	}
	if len(out) == 0 && pr.kind == predNamed {
		if s, ok := pr.it.sense(lexicon.NameSense); ok && s.Finding.Named != "" {
			out = append(out, said{pr: pr, f: s.Finding, value: s.Finding.Named, subj: subject{fnd: s.Finding, plural: pr.it.plural}})
		}
	}
	return out
}

// listSite looks ahead for the site that closes a list: "no clicking or grating
// in the jaw joints".
func (p *parser) listSite() []subject {
	if p.s == nil {
		return nil
	}
	for j := p.si + 1; j < len(p.s.chunks) && j < p.si+6; j++ {
		c := &p.s.chunks[j]
		if c.act != actState || c.joint != jointOr && c.joint != jointAnd && c.joint != jointComma || c.correcting {
			return nil
		}
		noun, prep := false, false
		for i := range c.items {
			it := &c.items[i]
			switch {
			case it.num != nil, it.cue(lexicon.CueNegate, lexicon.CueThere) && !it.cue(lexicon.CuePrep), it.has(lexicon.SaysSense) && !it.has(lexicon.DetailSense) && !it.has(lexicon.NounSense):
				return nil
			case it.has(lexicon.NounSense), it.has(lexicon.NameSense):
				noun = true
			case noun && it.cue(lexicon.CuePrep):
				prep = true
			case it.has(lexicon.SiteSense):
				if !noun || !prep {
					return nil
				}
				g := &frame{c: c}
				p.subject(g, it, i, false, false)
				if i > 0 {
					for k := i - 1; k >= 0 && k >= i-2; k-- {
						if sd, ok := c.items[k].sense(lexicon.SideSense); ok && len(g.subs) > 0 {
							g.subs[0].side = sideOf(sd.Value)
						}
					}
				}
				return g.subs[:min(1, len(g.subs))]
			}
		}
		if !noun {
			return nil
		}
	}
	return nil
}

// seenSite reports that "seen" or "palpable" is said of a site or finding of
// this chunk or just before, and no other finding was named for it.
func (p *parser) seenSite(f *frame, pr *pred) bool {
	for _, s := range f.subs {
		if _, n := pick(pr.it, s, lexicon.SaysSense); n >= 85 {
			return true
		}
	}
	for k := range f.preds {
		if f.preds[k].kind == predNamed {
			return false
		}
	}
	for _, s := range p.pend {
		if _, n := pick(pr.it, s, lexicon.SaysSense); n >= 85 {
			return true
		}
	}
	return false
}

// normalOf reports that "intact" speaks of the finding named in the chunk and of
// nothing nearer ("swallow intact").
func (p *parser) normalOf(f *frame, pr *pred) bool {
	named := false
	for _, s := range f.subs {
		if _, n := pick(pr.it, s, lexicon.SaysSense); n >= leastOwn {
			return false
		}
		named = named || s.fnd != nil && s.fnd.Normal != ""
	}
	return named
}

// lastSaid goes on about the finding charted last in the sentence: "consensual
// brisk in the left, sluggish in the right".
func (p *parser) lastSaid(f *frame, pr *pred) (said, bool) {
	if pr.kind != predSays || len(f.subs) > 0 || len(p.pend) > 0 || f.sides == 0 {
		return said{}, false
	}
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone {
			continue
		}
		if c.sent != p.sent {
			break
		}
		for _, s := range pr.it.senses {
			if s.Kind == lexicon.SaysSense && s.Finding == c.f {
				return said{pr: pr, f: c.f, value: s.Value, subj: subject{fnd: c.f, plural: true}}, true
			}
		}
		if pr.it.cue(lexicon.CueNormal) && c.f.Normal != "" {
			return said{pr: pr, f: c.f, value: c.f.Normal, subj: subject{fnd: c.f, plural: true}}, true
		}
		break
	}
	return said{}, false
}

// onlySense gives the one finding that all senses of an item speak of.
func onlySense(it *item) (lexicon.Sense, bool) {
	var only lexicon.Sense
	for _, s := range it.senses {
		if s.Kind != lexicon.SaysSense {
			continue
		}
		if only.Finding != nil && only.Finding != s.Finding {
			return only, false
		}
		only = s
	}
	return only, only.Finding != nil
}

// onlyNoun gives the one finding that a noun can name, whatever the site.
func onlyNoun(it *item) (lexicon.Sense, bool) {
	var only lexicon.Sense
	for _, s := range it.senses {
		if s.Kind == lexicon.NounSense && s.Finding.Named != "" {
			if only.Finding != nil && only.Finding != s.Finding {
				return only, false
			}
			only = s
		}
	}
	return only, only.Finding != nil
}

// subjectsFor lists the subjects a predicate is said of: those of its own
// chunk, else those named just before, else the topic, else what was named
// earlier.
func (p *parser) subjectsFor(f *frame, pr *pred, score func(subject) int) []subject {
	if pr.kind == predNamed && !strangers(f) {
		for _, s := range p.listSite() {
			if score(s) >= leastOwn {
				return []subject{s}
			}
		}
	}
	best, top := -1, 0
	for k := range f.subs {
		if f.subAt[k] == pr.at && pr.kind == predNamed && f.subs[k].fnd != nil && p.otherFits(f, pr, k, score) {
			continue
		}
		n := score(f.subs[k])
		if f.subs[k].fnd != nil && f.subs[k].fnd.Asked == lexicon.Summary && n > 0 {
			n = leastOwn // the group that is named beside it goes first
		}
		if n >= leastOwn && f.subAt[k] <= pr.at {
			n++ // a subject before its predicate goes first
		}
		if n > top {
			best, top = k, n
		}
	}
	if best >= 0 && top >= leastOwn {
		own := f.subs[best]
		own.side = f.sideNear(own)
		if list := f.siteList(best, pr); list != nil {
			return append(append([]subject(nil), p.joined(f, own)...), list...)
		}
		return append(append([]subject(nil), p.joined(f, own)...), own)
	}
	for _, pl := range f.places {
		s := subject{site: pl.site}
		if score(s) >= leastOwn {
			return []subject{s}
		}
	}
	// A noun that names its own site must not borrow another organ's.
	if strangers(f) {
		return nil
	}
	if fillerOnly(f, pr) || f.unknown > 3 || f.unknown > 1 && pr.kind != predNamed || len(f.places) > 0 && pr.kind == predSays {
		return nil
	}
	if bareNumber(pr) && f.unknown > 0 && len(p.pend) == 0 {
		return nil // "high five" is no size
	}
	var out []subject
	for _, s := range p.pend {
		if score(s) >= leastOwn {
			out = append(out, s)
		}
	}
	if out == nil {
		for _, s := range p.topic {
			if score(s) >= leastCarried {
				s.tok, s.side = [2]int{}, finding.NoSide // the held side decides
				out = append(out, s)
			}
		}
	}
	if out == nil && f.unknown == 0 && !bareNumber(pr) && !p.foreign() {
		for _, s := range p.recent {
			if score(s) >= 55 {
				s.side, s.tok = finding.NoSide, [2]int{}
				return []subject{s}
			}
		}
	}
	return out
}

// bareNumber reports a number without unit, sign or scale.
func bareNumber(pr *pred) bool {
	return pr.kind == predNumber && pr.it.unit == nil && pr.it.num.sign == "" && !pr.it.num.hasOf && !pr.it.num.clock
}

// fillerOnly reports a chunk that is one word of encouragement: "good", "clear".
func fillerOnly(f *frame, pr *pred) bool {
	if len(f.subs) > 0 || f.sides > 0 || f.negated {
		return false
	}
	for i := range f.c.items {
		it := &f.c.items[i]
		if !it.cue(lexicon.CueFiller, lexicon.CueNormal, lexicon.CueYes) && (len(it.senses) > 0 || it.num != nil) {
			return false
		}
	}
	return f.c.joint == jointStart || pr.it.cue(lexicon.CueFiller)
}

// siteList gives the sites that follow a predicate without commas: "no nodes in
// front of the ears behind the ears".
func (f *frame) siteList(best int, pr *pred) []subject {
	if own := f.subs[best]; own.fnd != nil { // "cranial nerves two through twelve"
		if stem, _ := numbered(own.fnd.ID); stem != "" {
			var out []subject
			for _, s := range f.subs {
				if s.fnd != nil && strings.HasPrefix(s.fnd.ID, stem) {
					out = append(out, s)
				}
			}
			return out
		}
	}
	if f.subAt[best] <= pr.at || f.subs[best].site == nil {
		return nil
	}
	var out []subject
	for k := range f.subs {
		if f.subAt[k] > pr.at && f.subs[k].site != nil && f.subs[k].site.Parent == f.subs[best].site.Parent {
			out = append(out, f.subs[k])
		}
	}
	if len(out) < 2 {
		return nil
	}
	return out
}

// sideNear is a subject's side, or that of its organ in the same chunk:
// "nystagmus in the left eye".
func (f *frame) sideNear(own subject) finding.Side {
	if own.side != finding.NoSide {
		return own.side
	}
	for _, s := range f.subs {
		if s.side != finding.NoSide && (s.organ() == own.organ() || own.fnd != nil && own.organ() == nil) {
			return s.side
		}
	}
	return finding.NoSide
}

// foreign reports talk of another part of the body.
func (p *parser) foreign() bool {
	return len(p.topic) > 0 && p.topic[0].site != nil && p.topic[0].site.Region == ""
}

// strangers reports that the chunk names a site of its own.
func strangers(f *frame) bool {
	for _, s := range f.subs {
		if s.site != nil {
			return true
		}
	}
	return false
}

// otherFits reports that a site in the chunk gives the word another meaning
// ("perforation of the septum").
func (p *parser) otherFits(f *frame, pr *pred, self int, score func(subject) int) bool {
	for k := range f.subs {
		if k != self && score(f.subs[k]) >= leastOwn && f.subs[k].site != nil {
			return true
		}
	}
	if f.subs[self].fnd != nil && (f.subs[self].fnd.Asked == lexicon.Summary || ambiguousName(pr.it)) {
		for _, s := range p.pend {
			if score(s) >= 80 && s.site != nil {
				return true
			}
		}
		for _, s := range p.topic {
			if score(s) >= 80 && s.site != nil && !strangers(f) {
				return true
			}
		}
	}
	return false
}

// ambiguousName reports a name that other findings also use.
func ambiguousName(it *item) bool {
	for _, s := range it.senses {
		if s.Kind == lexicon.NounSense || s.Kind == lexicon.SaysSense {
			return true
		}
	}
	return false
}

func (p *parser) resolveAlone(f *frame, pr *pred) []said {
	var out []said
	for i := range pr.it.senses {
		s := &pr.it.senses[i]
		if s.Kind != lexicon.AloneSense {
			continue
		}
		for k := range s.Chart {
			ch := &s.Chart[k]
			subj := subject{fnd: ch.Finding, plural: true}
			for j := range f.subs {
				if fit(ch.Finding, f.subs[j]) > 0 && f.subs[j].side != finding.NoSide {
					subj.side, subj.tok = f.subs[j].side, f.subs[j].tok
				}
			}
			if len(s.Chart) == 1 {
				subj.plural = subj.plural && !pr.it.article
			}
			out = append(out, said{pr: pr, f: ch.Finding, value: ch.Value, subj: subj, chart: ch, mark: s.Mark})
		}
		if len(s.Chart) > 1 && len(s.Chart[0].Finding.At) > 0 {
			f.subs = append(f.subs, subject{site: s.Chart[0].Finding.At[0], plural: true, tok: [2]int{pr.it.a, pr.it.b}})
			f.subAt = append(f.subAt, pr.at)
		}
		break
	}
	return out
}

// resolveGeneric reads "normal", "present" and "absent" of what is named.
func (p *parser) resolveGeneric(f *frame, pr *pred) []said {
	var subs []subject
	for k := len(f.subs) - 1; k >= 0; k-- {
		s := f.subs[k]
		if s.fnd == nil && s.site != nil && s.site.Finding != nil {
			s.fnd = s.site.Finding
		}
		if s.fnd != nil {
			s.side = f.sideNear(s)
			subs = append(subs, p.joined(f, f.subs[k])...)
			if list := f.siteList(k, pr); list != nil {
				subs = append(subs, list...)
			} else {
				subs = append(subs, s)
			}
			break
		}
	}
	if subs == nil && len(f.subs) == 0 {
		near := append(append([]subject(nil), p.pend...), p.lastNamed(pr, f.sides > 0)...)
		if fillerOnly(f, pr) && len(p.pend) == 0 || f.unknown > 1 {
			near = nil
		}
		if len(near) == 0 && !fillerOnly(f, pr) {
			near = p.topic
		}
		for _, s := range near {
			if s.fnd == nil && s.site != nil && s.site.Finding != nil {
				s.fnd = s.site.Finding
			}
			if s.fnd != nil {
				subs = append(subs, s)
			}
		}
	}
	var out []said
	for _, s := range subs {
		if s.fnd == nil {
			continue
		}
		if v, ok := genericValue(s.fnd, pr); ok {
			out = append(out, said{pr: pr, f: s.fnd, value: v, subj: s})
		}
	}
	return out
}

// lastNamed is the finding charted last in this sentence, for "present" and
// "absent" said of it: "nystagmus on the left, none on the right".
func (p *parser) lastNamed(pr *pred, sided bool) []subject {
	if pr.cue == lexicon.CueNormal && !sided {
		return nil
	}
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.sent != p.sent && !(c.sent == p.sent-1 && sided) {
			break
		}
		if !c.gone && (c.f.Named != "" || c.f.No != "") {
			return []subject{{fnd: c.f, plural: true}}
		}
	}
	return nil
}

func genericValue(f *lexicon.Finding, pr *pred) (string, bool) {
	switch pr.cue {
	case lexicon.CueNormal:
		if f.Normal == "" {
			return "", false
		}
		if pr.neg {
			v, ok := f.Not[f.Normal]
			pr.neg = false
			return v, ok
		}
		return f.Normal, true
	case lexicon.CuePresent, lexicon.CueAbsent:
		v := "present"
		if pr.cue == lexicon.CueAbsent {
			v = "absent"
		}
		if f.Allows(v) {
			return v, true
		}
		if v == "present" {
			return f.Yes, f.Yes != ""
		}
		return f.No, f.No != ""
	}
	return "", false
}

// consume drops a bare name that another predicate of the chunk speaks of, and
// turns it round where "absent" follows.
func (p *parser) consume(f *frame, in []said) []said {
	for i := range f.preds {
		g := &f.preds[i]
		if g.kind != predGeneric || g.cue == lexicon.CueNormal {
			continue
		}
		for j := range in {
			s := &in[j]
			if s.pr.kind == predNamed && s.pr.at < g.at && !g.used {
				if g.cue == lexicon.CueAbsent && s.value == s.f.Named && !s.pr.neg {
					s.pr.neg = true
				}
				if g.cue == lexicon.CuePresent && g.neg {
					s.pr.neg = true
				}
				if s.f.Allows("present") {
					s.pr.place = "said"
				}
			}
		}
		g.used = true
	}
	var out []said
	for i := range in {
		s := in[i]
		drop := false
		for j := range in {
			o := in[j]
			if i == j || o.f != s.f || o.pr == s.pr {
				continue
			}
			// the name gives way to the value said of it
			if s.pr.kind == predNamed && o.pr.kind != predNamed && !(o.pr.kind == predGeneric && o.pr.cue != lexicon.CueNormal) {
				drop = true
			}
			if s.pr.kind == predGeneric && o.pr.kind == predNamed && s.pr.cue != lexicon.CueNormal {
				drop = true
			}
			// "feels it less": the later word is the one meant
			if s.pr.kind == predSays && o.pr.kind == predSays && s.value != o.value && s.pr.at < o.pr.at && s.pr.side == o.pr.side && !(s.f.Together[s.value] && s.f.Together[o.value]) {
				drop = true
			}
		}
		if !drop {
			out = append(out, s)
		}
	}
	return out
}

// bare keeps names that stand alone ("gag and swallow intact") until their
// value comes.
func (p *parser) bare(f *frame, out []said, next *chunk) bool {
	heading := next == nil && f.c.joint == jointStart && len(f.c.items) <= 3
	if next == nil && !heading || len(out) == 0 || f.there || f.negated || f.sides > 0 || len(f.places) > 0 || f.hedged || next != nil && next.joint == jointBut {
		return false
	}
	for i := range out {
		s := &out[i]
		if s.pr.kind != predNamed || s.pr.neg || s.pr.it.article || s.pr.place == "said" {
			return false
		}
	}
	for i := range f.details {
		if !f.details[i].used {
			return false
		}
	}
	if next != nil && !next.valued() && (next.joint != jointAnd && next.joint != jointOr || !next.any(func(it *item) bool { return it.names() || it.has(lexicon.NounSense) })) {
		return false
	}
	for i := range out {
		have := false
		for k := range f.subs {
			have = have || f.subs[k].fnd == out[i].f
		}
		if !have {
			s := out[i].subj
			f.subs = append(f.subs, subject{fnd: out[i].f, side: s.side, plural: true, tok: [2]int{out[i].pr.it.a, out[i].pr.it.b}})
			f.subAt = append(f.subAt, out[i].pr.at)
		}
	}
	f.preds = nil
	return true
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
