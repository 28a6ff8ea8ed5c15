package extract

import (
	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// siteOf chooses among the sites that share a term: "behind the ear" is the
// mastoid, or, where nodes are felt for, the posterior auricular group.
func (p *parser) siteOf(f *frame, it *item) (lexicon.Sense, bool) {
	first, ok := it.sense(lexicon.SiteSense)
	if !ok {
		return first, false
	}
	looked := p.noun
	for i := range f.c.items {
		if x := &f.c.items[i]; x.has(lexicon.NounSense) || x.has(lexicon.NameSense) {
			looked = x
		}
	}
	if looked == nil {
		return p.siteSpoken(it, first), true
	}
	best, top := p.siteSpoken(it, first), 0
	for _, s := range it.senses {
		if s.Kind != lexicon.SiteSense {
			continue
		}
		if _, n := pick(looked, subject{site: s.Site}, lexicon.NounSense, lexicon.NameSense); n > top {
			best, top = s, n
		}
	}
	return best, true
}

// siteSpoken chooses among sites that share a term the one in the part of the
// examination that is spoken of: the lining of the lids, of the mouth, of the nose.
func (p *parser) siteSpoken(it *item, first lexicon.Sense) lexicon.Sense {
	for _, t := range p.topic {
		for _, x := range t.sites() {
			for _, s := range it.senses {
				if s.Kind == lexicon.SiteSense && s.Site.Region == x.Region {
					return s
				}
			}
		}
	}
	return first
}

// siteFits reports that a term that is a place and a site is meant as the site:
// "nodes at the back of the head".
func (p *parser) siteFits(f *frame, it *item) bool {
	s, ok := p.siteOf(f, it)
	if !ok {
		return false
	}
	for i := range f.c.items {
		if x := &f.c.items[i]; x.has(lexicon.NounSense) || x.has(lexicon.NameSense) {
			if len(s.Near) > 0 && x.has(lexicon.SaysSense) && p.partOfTopic(s.Site) {
				continue // "cheeks sore" speaks of no sore
			}
			return exactly(x, s.Site)
		}
	}
	if len(s.Near) > 0 && p.partOfTopic(s.Site) {
		return true // "sinuses: forehead fine, cheeks sore"
	}
	return p.noun != nil && s.Site.General && exactly(p.noun, s.Site)
}

// partOfTopic reports a site whose whole, or another part of that whole, was
// named last.
func (p *parser) partOfTopic(x *lexicon.Site) bool {
	for _, t := range p.topic {
		if t.sent < p.sent-2 {
			continue
		}
		for _, y := range t.sites() {
			if _, in := y.Within(x.Parent); x.Parent != nil && in {
				return true
			}
		}
	}
	return false
}

// exactly reports that a noun names something of this very site.
func exactly(it *item, x *lexicon.Site) bool {
	_, n := pick(it, subject{site: x}, lexicon.NounSense, lexicon.NameSense)
	return n >= leastSure
}

// takeSides ties each side word to a site, to the values before it, or to the
// values after it.
func (p *parser) takeSides(f *frame) {
	c := f.c
	for i := range c.items {
		it := &c.items[i]
		s, ok := it.sense(lexicon.SideSense)
		if it.cue(lexicon.CueView) && !ok { // "my left" is the patient's right
			switch p.ts[it.b-1].Text {
			case "left":
				s.Value, ok = "left", true
			case "right":
				s.Value, ok = "right", true
			}
			f.view = true
		}
		if !ok || it.names() {
			continue
		}
		side := sideOf(s.Value)
		if s.Value == "other" {
			if side = p.lastSide.Opposite(); side == finding.NoSide {
				continue
			}
		}
		if s.Value == "same" {
			if side = p.lastSide; side == finding.NoSide {
				continue
			}
		}
		if f.view && (side == finding.Left || side == finding.Right) {
			side = side.Opposite()
		}
		f.sides++
		f.last = side
		f.sideTok = [2]int{it.a, it.b}
		if k := p.subjectAfter(f, i); k >= 0 {
			f.subs[k].side = side
			f.subs[k].tok[0] = it.a
			for j := range f.preds { // "the left one droops"
				if f.preds[j].at == f.subAt[k] && f.preds[j].kind == predNamed {
					f.preds[j].side = side
				}
			}
			continue
		}
		if k := f.placeAfter(i); k >= 0 {
			f.places[k].side = side
			continue
		}
		before, after := false, false
		for k := range f.preds {
			if f.preds[k].at < i {
				before = true
			} else if f.preds[k].at > i {
				after = true
			}
		}
		prep := i > 0 && c.items[i-1].cue(lexicon.CuePrep) || p.ts[it.a].Text == "on"
		trailing := before && (!after || prep && !f.sidedBefore(i))
		if side == finding.Both && before {
			trailing = true
		}
		for k := range f.preds {
			pr := &f.preds[k]
			if trailing && pr.at < i && pr.side == finding.NoSide {
				pr.side = side
			}
			if !trailing && pr.at > i {
				pr.side = side
			}
		}
		if !before {
			f.lead = side
			for k := range f.subs { // "on the left the canal is clear"
				if f.subAt[k] > i && f.subs[k].side == finding.NoSide {
					f.subs[k].side = side
				}
			}
		}
		if trailing || !after {
			for k := range f.subs { // "pupil on the right"
				if f.subAt[k] == i-1 || f.subAt[k] == i-2 {
					if f.subs[k].side == finding.NoSide && len(f.preds) <= 1 {
						f.subs[k].side = side
					}
				}
			}
		}
	}
}

func (f *frame) sidedBefore(i int) bool {
	for k := range f.preds {
		if f.preds[k].at < i && f.preds[k].side != finding.NoSide {
			return true
		}
	}
	return false
}

// subjectAfter finds the subject that directly follows item i.
func (p *parser) subjectAfter(f *frame, i int) int {
	if w := p.ts[f.c.items[i].b-1].Text; w == "side" {
		return -1 // "both sides" follows what it speaks of
	}
	for j := i + 1; j < len(f.c.items) && j <= i+3; j++ {
		for k := range f.subAt {
			if f.subAt[k] == j {
				return k
			}
		}
		it := &f.c.items[j]
		if len(it.senses) == 0 && it.num == nil { // an unknown word or an article
			if j > i+1 && !it.definite {
				return -1
			}
			continue
		}
		if it.has(lexicon.DetailSense) && !it.has(lexicon.SaysSense) {
			continue
		}
		return -1
	}
	return -1
}

func (f *frame) placeAfter(i int) int {
	for k := range f.places {
		if f.places[k].at == i+1 || f.places[k].at == i+2 && len(f.c.items[i+1].senses) == 0 {
			return k
		}
	}
	return -1
}
