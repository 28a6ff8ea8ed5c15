package extract

import (
	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// missing lists the findings of a complete examination that nobody spoke of.
// Here, and only here, a summary and its parts cover each other.
func (p *parser) missing(opt Options) []finding.Missing {
	said := map[string]finding.Side{}
	add := func(id string, s finding.Side) {
		have, ok := said[id]
		switch {
		case !ok:
			said[id] = s
		case have != s:
			said[id] = finding.Both
		}
	}
	for _, c := range p.cands {
		if c.gone {
			continue
		}
		side := c.side
		if side == finding.NoSide || c.f.Sides != lexicon.Paired {
			side = finding.Both
		}
		add(c.f.ID, side)
		for _, id := range c.f.Covers {
			add(id, side)
		}
	}
	scope := p.scope(opt, said)
	var out []finding.Missing
	for _, f := range p.x.lex.Findings() {
		if f.Asked != lexicon.Always || !scope[f.Region] {
			continue
		}
		switch s, ok := said[f.ID]; {
		case !ok:
			out = append(out, finding.Missing{ID: f.ID})
		case f.Sides == lexicon.Paired && (s == finding.Right || s == finding.Left):
			out = append(out, finding.Missing{ID: f.ID, Side: s.Opposite()})
		}
	}
	return out
}

// scope gives the regions that the examination covers. What is measured of the
// whole body belongs to it where it was announced, or is all that was spoken of.
func (p *parser) scope(opt Options, said map[string]finding.Side) map[string]bool {
	out := map[string]bool{}
	body, parts := false, false
	for id := range said {
		if f, ok := p.x.lex.Finding(id); ok {
			body, parts = body || f.Body, parts || !f.Body
		}
	}
	for _, r := range p.x.lex.Regions() {
		if opt.Exam == "" {
			out[r.ID] = r.Body && (body && !parts || p.announced(r)) || !r.Body && (parts || !body)
		}
		for _, e := range r.Exams {
			if e == opt.Exam {
				out[r.ID] = true
			}
		}
	}
	return out
}

// announced reports that the region was named, other than as a plan or in talk of
// something else.
func (p *parser) announced(r lexicon.Region) bool {
	for _, s := range p.fate {
		switch s.why {
		case finding.Unrecognized, finding.SmallTalk, finding.TooGeneral:
		default:
			continue
		}
		for i := s.a; i < s.b; i++ {
			for _, words := range r.Named {
				if at(p.ts, i, words...) {
					return true
				}
			}
		}
	}
	return false
}
