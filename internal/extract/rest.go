package extract

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// restReach is for how many sentences "the rest" leaves out what was found.
const restReach = 6

// restOf reports words that speak of all but what was found: "the rest of the skull",
// "smooth otherwise".
func (p *parser) restOf(c *chunk) bool {
	a, b := c.span()
	for i := max(0, a-1); i < b; i++ { // "otherwise" may have opened the statement
		switch p.ts[i].Text {
		case "otherwise", "elsewhere":
			return true
		case "rest", "remainder":
			return text(p.ts, i+1) == "of" || text(p.ts, i+1) == "is"
		case "everything", "everywhere", "anywhere":
			return text(p.ts, i+1) == "else"
		case "apart", "aside", "other":
			return at(p.ts, i+1, "from", "that") || at(p.ts, i+1, "than", "that")
		}
	}
	return false
}

// ofTheRest reports a statement that nothing more was found, of what was found just
// before: that stands, and the words are part of it. "Swelling on the occiput. The rest
// of the skull is smooth."
func (p *parser) ofTheRest(f *frame, s *said) bool {
	if s.f.Kind != lexicon.Presence || !p.restOf(f.c) {
		return false
	}
	v := s.value
	if s.pr.neg {
		v = s.f.Not[v]
	}
	if v != "absent" {
		return false
	}
	if n, ok := s.pr.it.sense(lexicon.NameSense); ok && slices.Contains(n.Finding.Covers, s.f.ID) {
		pr := *s.pr // "the rest is clear of nodes": of all groups, not of the one named last
		if pr.side == finding.NoSide && f.sides == 0 {
			pr.side = finding.Both
		}
		s.pr, s.f, s.subj = &pr, n.Finding, subject{fnd: n.Finding, plural: true}
		return false
	}
	for i := len(p.cands) - 1; i >= 0 && p.cands[i].sent >= p.sent-restReach; i-- {
		if c := p.cands[i]; c.f == s.f && !c.gone && word(c) == "present" {
			a, b := f.c.span()
			c.toks = append(c.toks, [2]int{a, b})
			return true
		}
	}
	return false
}

// owed is what was said to be there at a place that was not understood: "there's a swelling
// at the back". A place named next says where.
type owed struct {
	it    *item
	tok   [2]int
	chunk int
}

// owe keeps what a chunk said to be there and did not chart.
func (p *parser) owe(f *frame) {
	p.owed = owed{}
	for i := range f.preds {
		if pr := &f.preds[i]; f.exists && pr.kind == predNamed && pr.it.article && !pr.neg && !f.hedged {
			a, b := f.c.span()
			p.owed = owed{it: pr.it, tok: [2]int{a, b}, chunk: p.chunkN}
		}
	}
}

// pay reads a place that stands alone as that of what was said to be there just before.
func (p *parser) pay(f *frame) []said {
	if p.owed.it == nil || p.owed.chunk != p.chunkN-1 || f.c.joint != jointComma || len(f.places) == 0 || len(f.preds)+len(f.subs) > 0 || f.negated || f.unknown > 0 {
		return nil
	}
	out := p.resolve(f, &pred{it: p.owed.it, kind: predNamed})
	if len(out) > 0 {
		p.pendTok = append(p.pendTok, p.owed.tok)
	}
	return out
}

// particularLast drops what a sentence only named where it then says what of it is
// there: "wax, loads of it, packed right in".
func (p *parser) particularLast() {
	for i := len(p.cands) - 1; i >= 0 && p.cands[i].sent == p.sent; i-- {
		c := p.cands[i]
		if c.gone || c.f.Named == "" || c.f.Kind == lexicon.Presence || word(c) != c.f.Named {
			continue
		}
		for _, d := range p.cands[i+1:] {
			if d.f == c.f && !d.gone && d.side == c.side && d.status == c.status && word(d) != word(c) && word(d) != c.f.Not[c.f.Named] && word(d) != c.f.Normal && !(c.f.Together[word(c)] && c.f.Together[word(d)]) {
				c.gone = true
				d.toks = append(d.toks, c.toks...)
				for k, v := range c.quals {
					d.set(k, v)
				}
				break
			}
		}
	}
}
