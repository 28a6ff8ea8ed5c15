package extract

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// trailingSide gives a side that stands alone at the end to what was said just
// before it: "four, both sides".
func (p *parser) trailingSide(f *frame, next *chunk) bool {
	if f.sides == 0 || f.negated || len(f.preds)+len(f.places) > 0 || f.c.joint != jointComma || p.correct || next != nil && next.joint != jointBut && next.valued() && !next.any(func(it *item) bool { return it.names() || it.has(lexicon.SideSense) }) {
		return false
	}
	hit := false
	a, b := f.c.span()
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone || c.sent != p.sent || c.chunk < p.chunkN-1 || c.sideSaid && !c.sideHeld || c.f.Sides != lexicon.Paired {
			break
		}
		if len(f.subs) > 0 && (f.subs[0].site == nil || fit(c.f, f.subs[0]) < 80 || c.value == finding.Word("absent")) {
			break // another site: what follows is about it
		}
		c.side, c.sideSaid, c.sideHeld, hit = f.last, true, false, true
		c.toks = append(c.toks, [2]int{a, b})
		dropMark(c, finding.UnsureSide)
	}
	return hit
}

// elliptical reads "not the left", "the left doesn't", "right isn't" after a
// finding on the other side as its denial.
func (p *parser) elliptical(f *frame) bool {
	if f.sides == 0 || len(f.places) > 0 || f.last != finding.Right && f.last != finding.Left {
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
		for _, s := range f.subs {
			if s.site == nil || fit(c.f, s) < leastOwn {
				return false // "the left lid isn't", but of the lid alone
			}
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

// implied goes on with what was looked for where only a place is named: "nodes:
// none under the jaw, nothing above the clavicle, a hard one on the left".
func (p *parser) implied(f *frame) []said {
	one := f.c.any(p.oneOf) || p.sidedOne(f)
	neg, cued := f.negated, f.negated || one || f.exists && f.c.any(func(it *item) bool { return it.cue(lexicon.CueThere) && p.ts[it.a].Text == "there" })
	var at *item
	side := finding.NoSide
	for i := range f.preds {
		pr := &f.preds[i]
		switch {
		case pr.used:
			continue
		case (pr.kind == predSays || pr.kind == predNamed) && !pr.it.has(lexicon.DetailSense), pr.kind == predNumber && pr.it.unit == nil:
			return nil
		case pr.kind == predGeneric && pr.cue != lexicon.CueNormal:
			cued, neg = true, neg || pr.cue == lexicon.CueAbsent
			at = pr.it
		}
		if pr.side != finding.NoSide {
			side = pr.side
		}
	}
	if f.unknown > 0 && !one || one && len(f.subs) == 0 && !p.sideWaits() && !(f.there && (p.ask != nil && p.ask.sent == p.sent-1 || p.openTopic())) && len(p.waiting()) == 0 && (f.unknown > 0 || len(f.details) == 0 && f.sides == 0) {
		return nil // "I have no instrument", "milk and one"
	}
	if p.nounFollows() || p.onlyNo(f.c) {
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
	if !cued && !p.measured(f, subs) {
		return nil
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
		s.far = s.far || !cued && !p.sought(s) // "incision, right submandibular, four centimeters"
		if one && !neg {
			s.single, s.plural = true, false // "nodes: one under the chin"
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

// particular moves a summary finding to the group that is named after it: "two
// little glands, posterior triangle".
func (p *parser) particular(f *frame) bool {
	if len(f.subs) != 1 || f.subs[0].site == nil || len(f.preds) > 0 || f.negated || len(p.cands) == 0 || f.c.joint != jointComma {
		return false
	}
	c := p.cands[len(p.cands)-1]
	to := p.lookedFor(f.subs[0])
	if c.gone || c.sent != p.sent || c.chunk < p.chunkN-1 || to == nil || !slices.Contains(c.f.Covers, to.ID) {
		return false
	}
	a, b := f.c.span()
	c.f = to
	if f.subs[0].side != finding.NoSide {
		c.side, c.sideSaid = f.subs[0].side, true
	}
	c.toks = append(c.toks, [2]int{a, b})
	return true
}

// asExpected reports a summary of several findings, each as expected.
func asExpected(chart []lexicon.Charted) bool {
	for _, ch := range chart {
		if !slices.Contains(ch.Finding.Expected["any"], ch.Value) {
			return false
		}
	}
	return len(chart) > 1
}

// deniedAfter reports "definitely not" after an item, with which the chunk ends.
func deniedAfter(c *chunk, i int) bool {
	last := len(c.items) - 1
	return last > i && last <= i+2 && c.items[last].cue(lexicon.CueNot) && (last == i+1 || c.items[i+1].plain())
}

func (p *parser) resolveAlone(f *frame, pr *pred) []said {
	var out []said
	for i := range pr.it.senses {
		s := &pr.it.senses[i]
		if s.Kind != lexicon.AloneSense {
			continue
		}
		if (pr.neg || deniedAfter(f.c, pr.at)) && asExpected(s.Chart) {
			return nil // "not PERRLA" tells that something is not so, and not what
		}
		for k := range s.Chart {
			ch := &s.Chart[k]
			subj := subject{fnd: ch.Finding, plural: true}
			for j := range f.subs {
				if fit(ch.Finding, f.subs[j]) > 0 && f.subs[j].side != finding.NoSide {
					subj.side, subj.tok = f.subs[j].side, f.subs[j].tok
				}
				if lone(f.subs[j]) && !pr.neg && fit(ch.Finding, f.subs[j]) > 0 {
					subj.plural = false // "the canal is clear of wax"
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
		near := p.waiting()
		// "there is edema present" speaks of the edema, known or not
		own := slices.ContainsFunc(f.preds, func(o pred) bool { return o.kind == predNamed && o.at != pr.at })
		if len(near) == 0 {
			near = append(near, p.pend...)
			if !own && !slices.ContainsFunc(near, func(s subject) bool { return s.fnd != nil || s.site.Finding != nil }) {
				near = append(near, p.lastNamed(pr, f.sides > 0 || p.pendSide != finding.NoSide)...)
			}
		}
		if fillerOnly(f, pr) && len(p.pend) == 0 || f.unknown > 1 || f.unknown > 0 && len(p.pend) == 0 {
			near = nil
		}
		if len(near) == 0 && !own && !fillerOnly(f, pr) && f.unknown <= 1 {
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
		if p.setAgainst(f, pr, s.fnd) {
			out = append(out, said{pr: pr, f: s.fnd, value: "absent", subj: s})
			continue
		}
		if v, ok := genericValue(s.fnd, pr, text(p.ts, pr.it.b-1) == "present" || text(p.ts, pr.it.b-1) == "there"); ok {
			out = append(out, said{pr: pr, f: s.fnd, value: v, subj: s})
		}
	}
	return out
}

// waiting gives the findings looked for at the sites that were just named and
// wait for their value: "occipital, none on either side".
func (p *parser) waiting() []subject {
	var out []subject
	for _, s := range p.pend {
		if s.site == nil || s.fnd != nil || s.site.Finding != nil {
			return nil
		}
		fd := p.lookedFor(s)
		if fd == nil {
			return nil
		}
		out = append(out, subject{fnd: fd, side: s.side, plural: true, tok: s.tok})
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
		if c.sent != p.sent && !(c.sent >= p.sent-2 && sided && (c.sent == p.sent-1 || p.headed)) {
			break
		}
		if !c.gone && (c.f.Named != "" || c.f.No != "" || pr.cue == lexicon.CueNormal && c.f.Normal != "" && c.sent == p.sent) {
			return []subject{{fnd: c.f, plural: true}}
		}
	}
	return nil
}

// setAgainst reports "the right is normal" after a finding on the left alone, which it
// denies of the right.
func (p *parser) setAgainst(f *frame, pr *pred, fd *lexicon.Finding) bool {
	n := len(p.cands)
	if n == 0 || pr.cue != lexicon.CueNormal || pr.neg || len(f.subs) > 0 || fd.Kind != lexicon.Presence || f.lead != finding.Right && f.lead != finding.Left {
		return false
	}
	c := p.cands[n-1]
	return c.f == fd && !c.gone && c.sent == p.sent && c.side == f.lead.Opposite() && word(c) == "present"
}

func genericValue(f *lexicon.Finding, pr *pred, plainlyPresent bool) (string, bool) {
	switch pr.cue {
	case lexicon.CueNormal:
		if f.Normal == "" {
			return "", false
		}
		return f.Normal, true // a denial turns it round when it is charted
	case lexicon.CuePresent, lexicon.CueAbsent:
		v := "present"
		if pr.cue == lexicon.CueAbsent {
			v = "absent"
		}
		if f.Allows(v) {
			return v, true
		}
		if v == "present" { // "noted" and "seen" say too little of what is not simply there
			return f.Yes, f.Yes != "" && plainlyPresent
		}
		return f.No, f.No != ""
	}
	return "", false
}

// describes reports a chunk that only qualifies a finding.
func describes(c *chunk, f *lexicon.Finding) bool {
	measured := false
	for i := range c.items {
		it := &c.items[i]
		if d, ok := it.sense(lexicon.DetailSense); ok && f.Details[d.Key] {
			continue
		}
		if f.Details["size"] && it.unit != nil && it.unit.Base == "length" {
			measured = true // "ulcer on the lip, one centimeter"
			continue
		}
		if it.content() || it.cue(lexicon.CueNegate, lexicon.CuePresent, lexicon.CueAbsent, lexicon.CueNormal) {
			return false
		}
	}
	return measured || c.any(func(it *item) bool { return it.has(lexicon.DetailSense) })
}

// bare keeps names that stand alone ("gag and swallow intact") until their
// value comes.
func (p *parser) bare(f *frame, out []said, next *chunk) bool {
	if len(out) == 1 && out[0].f.Asked == lexicon.Summary && len(f.details) == 0 && f.sides == 0 && !f.there && !f.negated && next != nil {
		f.preds, f.waits = nil, true // "nodes: one under the chin"
		return true
	}
	if !f.exists && len(out) > 0 && !slices.ContainsFunc(out, func(s said) bool {
		return s.pr.kind != predNamed || s.pr.neg || s.pr.affirmed || len(s.f.Expected["any"]) != 1 || s.f.Expected["any"][0] != s.value
	}) {
		f.preds, f.waits = nil, true // naming what everybody has says nothing of it
		return true
	}
	heading := next == nil && f.c.joint == jointStart && len(f.c.items) <= 3 && !p.speaks(f.c, "is", "are")
	if next == nil && !heading || len(out) == 0 || f.there || f.negated || f.sides > 0 || len(f.places) > 0 || f.hedged || next != nil && next.joint == jointBut {
		return false
	}
	for i := range out {
		s := &out[i]
		if s.pr.kind != predNamed || s.pr.neg || s.pr.it.article || s.pr.affirmed {
			return false
		}
	}
	for i := range f.details {
		if !f.details[i].used {
			return false
		}
	}
	if next != nil && describes(next, out[0].f) {
		return false // "drainage, brown"
	}
	if next != nil && !next.valued() && !next.cue(lexicon.CueUnable) && (next.joint != jointAnd && next.joint != jointOr || !next.any(func(it *item) bool { return it.names() || it.has(lexicon.NounSense) })) {
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
	f.preds, f.waits = nil, true
	return true
}
