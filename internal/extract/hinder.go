package extract

import "bedsaid/lexicon"

// hindrance is what kept the nurse from looking.
type hindrance struct {
	why   [2]int // its words
	chunk int    // the chunk whose "no" it was last the reason of
}

// hindered reads "she wouldn't let me look, so no uvula, no tonsils": what kept the
// nurse from looking was told, and what "so no" names was not examined. Without it
// "so no" denies, as in "the drum bulges, so no light reflex". It gives the chunk
// with its "no" as the word that leaves out, and where the reason stands.
func (p *parser) hindered(c *chunk) (*chunk, [2]int) {
	for i := range c.items {
		it := &c.items[i]
		if text(p.ts, it.a) != "no" {
			if it.content() {
				break
			}
			continue
		}
		why := p.hinder.why
		if !p.soBefore(c, it.a) {
			if i > 0 && !c.items[0].cue(lexicon.CueAnd, lexicon.CueOr) || p.hinder.why[1] == 0 || c.joint == jointStart || p.hinder.chunk != p.chunkN-1 {
				break
			}
		} else if why = p.hinderedBy(it.a); why[1] == 0 {
			break
		}
		out := *c
		out.items = append(c.items[:i:i], item{a: it.a, b: it.a + 1, senses: []lexicon.Sense{{Kind: lexicon.CueSense, Cue: lexicon.CueUnable}}})
		for _, rest := range p.x.itemize(p.ts[it.a+1 : it.b]) {
			rest.a, rest.b = rest.a+it.a+1, rest.b+it.a+1
			out.items = append(out.items, rest)
		}
		out.items = append(out.items, c.items[i+1:]...)
		p.hinder = hindrance{why: why, chunk: p.chunkN}
		return &out, why
	}
	return c, [2]int{}
}

// soBefore reports "so no" and "so that's no", in one breath.
func (p *parser) soBefore(c *chunk, at int) bool {
	for i := at - 1; i >= 0 && i >= at-3; i-- {
		switch w := p.ts[i].Text; {
		case w == "so":
			return true
		case w != "that" && w != "it" && w != "there" && !linking(w):
			return false
		}
	}
	return false
}

// hinderedBy gives the words before token at, in its sentence, that tell what
// kept the nurse from looking.
func (p *parser) hinderedBy(at int) [2]int {
	for j := p.si; p.s != nil && j >= 0; j-- {
		c := &p.s.chunks[j]
		for i := range c.items {
			it := &c.items[i]
			if it.a < at && it.cue(lexicon.CueHinder, lexicon.CueUnable) {
				a, b := c.span()
				return [2]int{a, min(b, at)}
			}
		}
	}
	return [2]int{}
}
