package extract

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// listSite looks ahead for the site that closes a list: "no clicking or grating
// in the jaw joints".
func (p *parser) listSite() []subject {
	if p.s == nil {
		return nil
	}
	for j := p.si + 1; j < len(p.s.chunks) && j < p.si+6; j++ {
		c := &p.s.chunks[j]
		if c.act != actState || c.joint != jointOr && c.joint != jointAnd && c.joint != jointComma {
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
	seen := func(s subject) bool {
		sense, n := pick(pr.it, s, lexicon.SaysSense)
		return n >= leastSure && (s.fnd == nil || s.fnd == sense.Finding)
	}
	if slices.ContainsFunc(f.subs, seen) {
		return true
	}
	for k := range f.preds {
		if f.preds[k].kind == predNamed {
			return false
		}
	}
	return slices.ContainsFunc(p.pend, seen)
}

// normalOf reports that "intact" speaks of the finding named in the chunk and of
// nothing nearer ("swallow intact").
func (p *parser) normalOf(f *frame, pr *pred) bool {
	named, subs := false, f.subs
	if len(subs) == 0 {
		subs = p.pend
	}
	for _, s := range subs {
		if sense, n := pick(pr.it, s, lexicon.SaysSense); n >= leastOwn && !(s.fnd != nil && s.fnd.NamedOnly && s.fnd != sense.Finding) {
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
		if f.subAt[best] > pr.at && pr.kind == predSays {
			return []subject{own} // "eyes, and dry mucosa": said of the mucosa alone
		}
		if list := f.siteList(best, pr); list != nil {
			return append(append([]subject(nil), p.joined(f, own)...), list...)
		}
		return append(append([]subject(nil), p.joined(f, own)...), own)
	}
	for _, pl := range f.places {
		s := subject{site: pl.site}
		if n := score(s); n >= 75 || n >= leastOwn && zoned(pr.it) {
			return []subject{s}
		}
	}
	// A noun that names its own site must not borrow another organ's.
	if strangers(f) {
		return nil
	}
	if fillerOnly(f, pr) || f.unknown > 3 || f.unknown > p.strangeLimit(f, pr) && pr.kind != predNamed && len(p.pend) == 0 || len(f.places) > 0 && pr.kind == predSays {
		return nil // "you poor man" is no reduced smell
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
			if score(s) >= 55 && s.sent >= p.sent-2 {
				s.side, s.tok, s.far = finding.NoSide, [2]int{}, true
				return []subject{s}
			}
		}
	}
	return out
}

// zoned reports a word for something that may lie anywhere: "lump".
func zoned(it *item) bool {
	return slices.ContainsFunc(it.senses, func(s lexicon.Sense) bool { return s.Finding != nil && s.Finding.Sides == lexicon.Zone })
}

// strangeLimit is the number of unknown words that a statement about what was
// named before may hold: one where it says "is" or "not" of a topic just named.
func (p *parser) strangeLimit(f *frame, pr *pred) int {
	if pr.it.has(lexicon.DetailSense) {
		return 0 // a colour may be anything's
	}
	if p.topicSent >= p.sent-1 && p.speaks(f.c, "is", "are", "not", "look", "feel") {
		return 1
	}
	return 0
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
		if (!it.cue(lexicon.CueFiller, lexicon.CueNormal, lexicon.CueYes) || it.has(lexicon.SaysSense) && !it.cue(lexicon.CueFiller, lexicon.CueYes)) && (len(it.senses) > 0 || it.num != nil) {
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
