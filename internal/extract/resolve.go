package extract

import (
	"slices"

	"bedsaid/lexicon"
)

// fit scores how well a finding belongs to a subject; 0 is not at all.
func fit(f *lexicon.Finding, s subject) int {
	if s.fnd == f {
		return 100
	}
	best := 0
	for j, x := range s.sites() {
		for k, at := range f.At {
			score := 0
			if steps, ok := x.Within(at); ok {
				if steps > 0 && x.Region != f.Region && !slices.Contains(f.Also, x.Region) {
					continue // what is said of a pupil is not said of the head
				}
				score = 90 - 8*steps - k
				if steps > 0 && x.Region != f.Region {
					score = 56 - 8*steps
				}
				if steps > 0 && (x.Region == f.Region && at.Parent == nil || at.Wide && at.Parent != nil && at.Parent.Region != at.Region) {
					score -= 20 // a whole region speaks less of its parts
				}
			} else if steps, ok := at.Within(x); ok && !(at.General && steps > 0) && (x.Region == f.Region || slices.Contains(f.Also, x.Region)) {
				// never from the whole to one group of many: "node" names none
				score = 62 - 6*steps - k
				if f.Named == "" && (x.Parent == nil || x.Organs) {
					score = 30 // "neck ... in the middle" says nothing of the trachea
				}
			}
			if s.fnd != nil {
				score -= 10 + 3*j // where a finding lies first counts most
			}
			if score > best {
				best = score
			}
		}
	}
	return best
}

// pick chooses the sense among those of the wanted kinds that fits best.
func pick(it *item, s subject, kinds ...lexicon.SenseKind) (lexicon.Sense, int) {
	var best lexicon.Sense
	top := 0
	for _, sense := range it.senses {
		if sense.Finding == nil || sense.Kind == lexicon.SaysSense && sense.Finding.NamedOnly && s.fnd != sense.Finding {
			continue
		}
		for _, k := range kinds {
			if sense.Kind != k {
				continue
			}
			score := fit(sense.Finding, s)
			if k == lexicon.SaysSense && sense.Finding.Strict && score < 65 {
				continue // what is said of the whole ear is not said of the drum
			}
			if k == lexicon.NameSense && score > 0 {
				score += 5
			}
			if score > top {
				best, top = sense, score
			}
		}
	}
	return best, top
}

// nameOf is the finding that an item names. Where two share the name ("light
// reflex"), the site spoken of decides, else the first is meant.
func (p *parser) nameOf(f *frame, it *item) (lexicon.Sense, bool) {
	first, ok := it.sense(lexicon.NameSense)
	for _, subs := range [...][]subject{f.subs, p.topic} {
		for _, s := range subs {
			if sense, n := pick(it, s, lexicon.NameSense); n >= leastCarried {
				return sense, true
			}
		}
	}
	return first, ok
}

// least is the weakest fit that counts, for a subject of the same chunk and for
// one carried over; from leastSure on a term speaks of this very site.
const (
	leastOwn     = 40
	leastCarried = 44
	leastSure    = 85
)

// byNumber chooses the finding that a number speaks of.
func (p *parser) byNumber(n *number, unit *lexicon.Unit, s subject) (*lexicon.Finding, int) {
	var best *lexicon.Finding
	top := 0
	try := func(f *lexicon.Finding) {
		score := fit(f, s)
		if score == 0 || !numberFits(f, n, unit, s.fnd == f) {
			return
		}
		if score > top {
			best, top = f, score
		}
	}
	if s.fnd != nil {
		try(s.fnd)
		if best != nil {
			return best, top
		}
	}
	for _, f := range p.x.numeric {
		try(f)
	}
	return best, top
}

func numberFits(f *lexicon.Finding, n *number, unit *lexicon.Unit, named bool) bool {
	if f.Body {
		return named && bodyFits(f, n, unit)
	}
	switch f.Kind {
	case lexicon.Quantity:
		if n.sign != "" || n.hasOf || n.clock || n.stage || n.isBy {
			return false
		}
		if f.Unit == "deg" {
			return unit == nil && named && (n.value == 0 || n.value >= 10) || unit != nil && unit.Code == "deg"
		}
		if most := f.Plausible[1]; unit == nil && !named && most > 0 && n.value > 10*most {
			return false // "eyes open, sats ninety six": no pupil, not even in another unit
		}
		return unit == nil || unit.Base == "length" || unit.Base == "volume" || unit.Base == "mass"
	case lexicon.Grade:
		if n.hasOf && !f.Allows(num(n.of)) && n.of != 4 || n.sign == "" && !n.hasOf && !f.Allows(num(n.value)) {
			return false // no scale of this finding
		}
		return unit == nil && !n.clock && !n.stage && !n.isBy && (n.sign != "" || n.hasOf || named)
	case lexicon.Clock:
		return unit == nil && (n.clock || named) && n.sign == "" && !n.hasOf
	case lexicon.Choice:
		return named && n.hasOf && n.of == 5 && f.Allows("intact") && unit == nil
	}
	return false
}

// reassures reports "that's normal", "this is fine": a comment, no finding.
func (p *parser) reassures(f *frame) bool {
	for i := range f.c.items {
		it := &f.c.items[i]
		if it.cue(lexicon.CueFiller, lexicon.CueAnd, lexicon.CueBut) && !it.content() {
			continue
		}
		w := p.ts[it.a].Text
		does := (w == "he" || w == "she") && it.b-it.a == 1 && i+1 < len(f.c.items) && f.c.items[i+1].plain() && !smallWords[p.ts[f.c.items[i+1].a].Text]
		return w == "that" || w == "this" || does // "she sees fine with both"
	}
	return false
}

// ofEach gives what is said of a site that is no more than its parts to each of
// them: "sinuses not tender" is said of the frontal and of the maxillary ones.
func (p *parser) ofEach(out []said) []said {
	for _, s := range out {
		if s.subj.site == nil || !s.subj.site.Each {
			continue
		}
		for _, g := range p.x.lex.Findings() {
			part := slices.ContainsFunc(g.At, func(at *lexicon.Site) bool { return at.Parent == s.subj.site })
			if part && g.Kind == s.f.Kind && alike(g, s.f) && !slices.ContainsFunc(out, func(o said) bool { return o.f == g }) {
				also := s
				also.f = g
				out = append(out, also)
			}
		}
	}
	return out
}

// resolve finds what one predicate says of which subjects.
func (p *parser) resolve(f *frame, pr *pred) []said { return p.ofEach(p.resolveOwn(f, pr)) }

// resolveOwn is resolve, with a site in place of its parts.
func (p *parser) resolveOwn(f *frame, pr *pred) []said {
	if pr.kind == predGeneric && pr.cue == lexicon.CueNormal && len(f.subs) == 0 && p.reassures(f) {
		return nil
	}
	if pr.kind == predNamed && f.modified(pr.at) && !pr.it.names() {
		return nil
	}
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
		if pr.it.has(lexicon.DetailSense) && pr.it.has(lexicon.NounSense) {
			kinds = kinds[:2] // "sores" are none of the site's tenderness
		}
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
		if n == 0 || sense.Finding.Strict && sense.Kind == lexicon.SaysSense && s.tok[1] == 0 && (p.topicSent < p.sent-1 && f.unknown > 0 || p.topicSent < p.sent-4 || p.topicSent < p.sent && n < 80) {
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
	if len(out) == 0 && pr.kind == predSays && adjective(pr.it) {
		pr.kind = predNamed // "sore, on the lip"
		return p.resolveOwn(f, pr)
	}
	if len(out) == 0 && pr.kind == predSays {
		if s, ok := p.recalled(f, pr); ok {
			out = append(out, s)
		}
	}
	if len(out) == 0 && pr.kind == predSays && pr.it.cue(lexicon.CueNormal) {
		pr.kind, pr.cue = predGeneric, lexicon.CueNormal
		return p.resolveGeneric(f, pr)
	}
	if len(out) == 0 && pr.kind == predSays {
		if s, ok := onlySense(pr.it); ok && !s.Finding.NamedOnly && pr.it.b-pr.it.a > 1 && (f.unknown <= 2 && p.talksOf(s.Finding.Region) || f.unknown == 0 && pr.it.b-pr.it.a > 2 && p.spokenOf(s.Finding.Region)) && !f.namesOther(s.Finding) {
			out = append(out, said{pr: pr, f: s.Finding, value: s.Value, subj: subject{fnd: s.Finding}})
		}
	}
	if len(out) == 0 && pr.kind == predNamed && !strangers(f) && !p.foreign() {
		if s, ok := onlyNoun(pr.it); ok && (p.talksOf(s.Finding.Region) || p.examining()) && !f.modified(pr.at) {
			out = append(out, said{pr: pr, f: s.Finding, value: s.Finding.Named, subj: subject{fnd: s.Finding, plural: true}})
		}
	}
	if len(out) == 0 && pr.kind == predNamed {
		if s, ok := pr.it.sense(lexicon.NameSense); ok && s.Finding.Named != "" && !(s.Finding.Sides == lexicon.Zone && (strangers(f) || !p.talksOf(s.Finding.Region))) {
			out = append(out, said{pr: pr, f: s.Finding, value: s.Finding.Named, subj: subject{fnd: s.Finding, plural: pr.it.plural}})
		}
	}
	return out
}

// coveredBy reports a summary finding beside one that it stands for: "nodes"
// where their group is named.
func (p *parser) coveredBy(s *said, all []said) bool {
	for i := range all {
		for _, id := range s.f.Covers {
			if all[i].f.ID == id && s.f.Named != "" {
				return true
			}
		}
	}
	return false
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
				if g.turns() && (g.cue != lexicon.CueAbsent || s.value == s.f.Named) {
					s.pr.neg = true
				}
				if s.f.Allows("present") {
					s.pr.affirmed = true
				}
			}
		}
		g.used = true
	}
	var out []said
	for i := range in {
		s := in[i]
		drop := p.coveredBy(&s, in)
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
