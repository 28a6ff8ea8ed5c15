package extract

import (
	"slices"

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
	in := p.scope(opt, said)
	var out []finding.Missing
	for _, f := range p.x.lex.Findings() {
		if f.Asked != lexicon.Always || !in(f) {
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

// scope tells what the examination covers: what the caller says, else what the
// recording itself says that it is. Without either, what is measured of the whole
// body belongs to it where it was announced, or is all that was spoken of.
func (p *parser) scope(opt Options, said map[string]finding.Side) func(*lexicon.Finding) bool {
	exams := []string{opt.Exam}
	if opt.Exam == "" {
		exams = p.examsSaid()
	}
	if len(exams) > 0 {
		return func(f *lexicon.Finding) bool {
			return slices.ContainsFunc(exams, func(e string) bool { return p.x.lex.Covers(e, f) })
		}
	}
	body, parts := false, false
	for id := range said {
		if f, ok := p.x.lex.Finding(id); ok {
			body, parts = body || f.Body, parts || !f.Body
		}
	}
	out := map[string]bool{}
	for _, r := range p.x.lex.Regions() {
		out[r.ID] = r.Body && (body && !parts || p.announced(r)) || !r.Body && (parts || !body)
	}
	return func(f *lexicon.Finding) bool { return out[f.Region] }
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
