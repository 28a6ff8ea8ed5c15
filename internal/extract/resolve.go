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
				if x.Region == f.Region && steps > 0 && at.Parent == nil || steps > 0 && at.ID == "mouth" {
					score -= 20 // a whole region speaks less of its parts
				}
			} else if steps, ok := at.Within(x); ok && !(at.General && steps > 0) && (x.Region == f.Region || slices.Contains(f.Also, x.Region)) {
				// never from the whole to one group of many: "node" names none
				score = 62 - 6*steps - k
				if f.Named == "" && (x.Parent == nil || x.ID == "face") {
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

// least is the weakest fit that counts, for a subject of the same chunk and for
// one carried over.
const (
	leastOwn     = 40
	leastCarried = 44
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
	switch f.Kind {
	case lexicon.Quantity:
		if n.sign != "" || n.hasOf || n.clock || n.stage || n.isBy {
			return false
		}
		if f.Unit == "deg" {
			return unit == nil && named || unit != nil && unit.Code == "deg"
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
