package extract

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// onlySpokenOf reports "the nodes next week", "she's guarding the stitches": what has
// an article that presupposes it, and of which nothing is said, is not found by that.
func (f *frame) onlySpokenOf(s *said) bool {
	return s.pr.kind == predNamed && s.pr.it.definite && !s.pr.neg && !s.pr.affirmed && s.value == s.f.Named &&
		!f.there && f.sides == 0 && len(f.details) == 0 && len(f.places) == 0 && len(f.preds) == 1 && !f.hedged && !f.c.cue(lexicon.CueBaseline, lexicon.CueNegate)
}

// soughtOnly drops what is only looked for: "check it for a hole", "look for lice".
func (p *parser) soughtOnly(f *frame) {
	for k := range f.preds {
		pr := &f.preds[k]
		if pr.kind != predNamed || pr.at == 0 || pr.neg || p.ts[f.c.items[pr.at-1].b-1].Text != "for" && !(pr.at > 1 && lexicon.Article(p.ts[f.c.items[pr.at-1].a].Text) && p.ts[f.c.items[pr.at-2].b-1].Text == "for") {
			continue
		}
		for i := pr.at - 1; i >= 0 && i >= pr.at-5; i-- {
			switch p.ts[f.c.items[i].a].Text {
			case "check", "look", "feel", "watch", "test", "screen", "search", "checking", "looking", "feeling", "watching":
				pr.used = true
			}
		}
	}
}

// measured reports a place that is given the size or the feel of what is looked
// for there, so that it must be there: "left submandibular, one centimeter". A
// place itself may be soft, and hard or firm where nothing is looked for.
func (p *parser) measured(f *frame, subs []subject) bool {
	if len(subs) == 0 {
		return false
	}
	sought := true
	for _, s := range subs {
		if s.site == nil || !p.x.implied[s.site] {
			return false
		}
		sought = sought && p.sought(s)
	}
	return slices.ContainsFunc(f.details, func(d detail) bool {
		return !d.neg && (d.key == "size" || d.key == "mobility" || d.key == "consistency" && d.value != "soft" && sought)
	})
}

// sought reports that what may lie at a site was named not long ago.
func (p *parser) sought(s subject) bool {
	if p.noun == nil || p.nounSent < p.sent-regionMemory {
		return false
	}
	_, n := pick(p.noun, s, lexicon.NounSense, lexicon.NameSense)
	return n >= leastSure
}

// openTopic reports a site that was just named as a heading and where only one
// thing is looked for.
func (p *parser) openTopic() bool {
	return len(p.topic) == 1 && p.topicSent >= p.sent-2 && p.topic[0].site != nil && p.lookedFor(p.topic[0]) != nil
}

// sideWaits reports a side that was said by itself of a place where something is
// looked for: "Left. One, a centimeter."
func (p *parser) sideWaits() bool {
	return p.pendSide != finding.NoSide && len(p.topic) == 1 && p.topicSent >= p.sent-4 && p.topic[0].site != nil && p.x.implied[p.topic[0].site]
}

// oneOf reports the "one" of "one on the left", "a hard one": something of the
// kind that is looked for, not "every one" or "the right one".
func (p *parser) oneOf(it *item) bool {
	if someOf(p.ts, it.b) {
		return smallCount[p.ts[it.a].Text] && !it.definite
	}
	if p.ts[it.b-1].Text != "one" || it.num != nil || it.b-it.a > 2 {
		return false
	}
	if it.b-1 == 0 || p.ts[it.b-2].after != noPause {
		return true
	}
	switch p.ts[it.b-2].Text {
	case "every", "each", "any", "this", "that", "the", "which", "right", "left", "other", "no":
		return false
	}
	return true
}

// someOf reports the rest of "two of them" at i: a number of what is looked for.
func someOf(ts []token, i int) bool { return at(ts, i, "of", "them") || at(ts, i, "of", "those") }

// sidedOne reports "superficial cervical, right one": a site, its side and one of
// what is looked for.
func (p *parser) sidedOne(f *frame) bool {
	n := len(f.c.items) - 1
	if it := &f.c.items[n]; n > 0 && it.has(lexicon.SideSense) && it.b-it.a > 1 && p.ts[it.b-1].Text == "one" && len(f.subs) > 0 && f.subs[0].site != nil {
		return true
	}
	return n > 1 && p.ts[f.c.items[n].b-1].Text == "one" && f.c.items[n].num == nil && f.c.items[n-1].has(lexicon.SideSense) &&
		len(f.subs) > 0 && f.subs[0].site != nil && f.subAt[0] < n-1
}

// looking notes what is being looked for.
func (p *parser) looking(f *frame) {
	for i := range f.preds {
		if f.preds[i].kind == predNamed {
			p.noun, p.nounSent = f.preds[i].it, p.sent
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
	if p.noun != nil && (s.site.General || p.x.implied[s.site] || p.nounSent >= p.sent-4) {
		if sense, n := pick(p.noun, s, lexicon.NounSense, lexicon.NameSense); n >= leastSure && sense.Finding.Kind == lexicon.Presence {
			return p.groupAt(s.site, sense.Finding)
		}
	}
	if p.noun != nil && p.nounSent >= p.sent-4 { // "drainage from the nose, none from the ears"
		if n, ok := p.noun.sense(lexicon.NameSense); ok && n.Finding.Kind == lexicon.Presence {
			for _, f := range p.x.lex.Findings() {
				if f != n.Finding && f.Kind == lexicon.Presence && fit(f, s) >= leastSure && alike(f, n.Finding) {
					return f
				}
			}
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
	if only != nil && !only.Implied {
		return nil
	}
	return only
}

// groupAt is the particular finding of a site that a summary covers, else the
// summary: "cervical nodes: none. Above the collarbones, one".
func (p *parser) groupAt(x *lexicon.Site, f *lexicon.Finding) *lexicon.Finding {
	for _, id := range f.Covers {
		if g, ok := p.x.lex.Finding(id); ok && g.Implied && slices.Contains(g.At, x) {
			return g
		}
	}
	return f
}
