package extract

import (
	"slices"
	"strconv"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// pairUp reads two values in a row for a pair ("pupils three and five") as
// right and left, and marks both.
func (p *parser) pairUp(c *cand) {
	if c.f.Sides != lexicon.Paired || c.sideSaid || c.side != finding.Both || len(p.cands) == 0 || p.correct {
		return
	}
	if _, ok := c.value.Number(); !ok {
		return
	}
	prev := p.cands[len(p.cands)-1]
	if prev.gone || prev.f != c.f || prev.sent != c.sent || prev.sideSaid || prev.side != finding.Both || prev.chunk < c.chunk-1 {
		return
	}
	prev.side, c.side = finding.Right, finding.Left
	prev.sideSaid, c.sideSaid = true, true
	for _, x := range [...]*cand{prev, c} {
		x.mark(finding.UnsureSide, "two values in a row, read as right and left", x.side.Opposite().String())
	}
}

// placeWord reports a term that says where on a site: "rim of ear", "lower lip".
func placeWord(term string) bool {
	for _, w := range [...]string{"upper ", "lower ", "top ", "tip ", "rim ", "edge ", "corner ", "ear lobe", "earlobe", "back ", "helix "} {
		if strings.HasPrefix(term+" ", w) {
			return true
		}
	}
	return false
}

// normal joins an item's normalized words without articles.
func (p *parser) normal(it *item) string {
	out := ""
	for i := it.a; i < it.b; i++ {
		if w := p.ts[i].Text; !lexicon.Article(w) {
			if out != "" {
				out += " "
			}
			out += w
		}
	}
	return out
}

// place gives a finding its side or zone.
func (p *parser) place(f *frame, s *said, c *cand) {
	switch c.f.Sides {
	case lexicon.Zone:
		p.zone(f, s, c)
	case lexicon.NoSides:
		if slices.Contains(c.f.Directed, word(c)) {
			for _, side := range [...]finding.Side{s.pr.side, s.subj.side, f.last} {
				if side != finding.NoSide {
					c.side = side
					break
				}
			}
		}
	case lexicon.Paired:
		p.side(f, s, c)
	}
}

func (p *parser) zone(f *frame, s *said, c *cand) {
	for _, pl := range f.places {
		c.zone = zoneText(pl)
		c.placeItem = true
	}
	if c.zone != "" {
		return
	}
	absent := c.value == finding.Word("absent")
	if absent {
		return
	}
	side := s.pr.side
	if side == finding.NoSide {
		side = s.subj.side
	}
	own := s.subj.site != nil && s.subj.tok[1] > 0 && deeper(s.subj.site)
	switch {
	case own:
		c.zone = p.words(s.subj.tok[0], s.subj.tok[1])
		if side != finding.NoSide && f.sides > 0 && s.subj.side == finding.NoSide {
			c.zone = side.String() + " " + c.zone
		}
	case side != finding.NoSide:
		c.zone = side.String() + " side"
	case p.pendPlace.text != "":
		c.zone = zoneText(p.pendPlace)
		c.toks = append(c.toks, p.pendPlaceTok)
	}
}

// deeper reports a site smaller than a whole region.
func deeper(s *lexicon.Site) bool { return !s.Wide }

func zoneText(pl placeSaid) string {
	if pl.side == finding.Right || pl.side == finding.Left {
		return pl.side.String() + " " + pl.text
	}
	return pl.text
}

// side finds the side of a paired finding, by the contract's fifth rule.
func (p *parser) side(f *frame, s *said, c *cand) {
	said := func(side finding.Side, tok [2]int) {
		c.side, c.sideSaid = side, true
		if tok[1] > 0 {
			c.toks = append(c.toks, tok)
		}
	}
	o := s.subj.organ()
	switch {
	case s.chart != nil && s.chart.Side == "both" && s.pr.side == finding.NoSide && s.subj.side == finding.NoSide:
		c.side = finding.Both
		c.sideSaid = false
	case s.pr.side != finding.NoSide:
		said(s.pr.side, [2]int{})
	case s.subj.side != finding.NoSide:
		said(s.subj.side, [2]int{})
	case f.lead != finding.NoSide:
		said(f.lead, [2]int{})
	case len(f.places) > 0 && f.places[0].side != finding.NoSide:
		said(f.places[0].side, [2]int{})
	case p.evenPair(c):
		c.side = finding.Both
	case p.pendSide != finding.NoSide:
		said(p.pendSide, p.sideTok)
	case p.held != finding.NoSide && (p.heldAt == nil || o == nil || o == p.heldAt) && p.heldFits(s.subj):
		said(p.held, p.heldTok)
		c.sideHeld = true
	case p.restated(c) != finding.NoSide:
		said(p.restated(c), [2]int{})
	case s.subj.plural || s.pr.it.plural || f.general:
		c.side = finding.Both
	case p.general(f, s), (s.pr.neg || !s.subj.single && !s.pr.it.article) && o != nil && p.pairAt == o:
		c.side = finding.Both
	default:
		c.mark(finding.UnsureSide, "no side was said", "right", "left")
	}
	if f.view && c.sideSaid {
		c.mark(finding.UnsureSide, "said from the examiner's view, turned to the patient's side", c.side.Opposite().String())
	}
}

// evenPair reports that right and left were just told in turn to be alike, so that what
// goes on without a side, and is as expected, is said of both: "right three, left three,
// round".
func (p *parser) evenPair(c *cand) bool {
	n := len(p.cands)
	if n < 2 || !slices.Contains(c.f.Expected["any"], word(c)) {
		return false
	}
	a, b := p.cands[n-2], p.cands[n-1]
	for k := n - 1; k >= 2 && b.sent == p.sent && b.side == finding.Both && b.f != c.f; k-- {
		a, b = p.cands[k-2], p.cands[k-1] // "round, equal, reactive"
	}
	return a.f == b.f && a.f != c.f && a.sent == p.sent && b.sent == p.sent && !a.gone && !b.gone && a.sideSaid && b.sideSaid &&
		a.value == b.value && a.side == b.side.Opposite() && a.side != finding.Both && b.chunk < p.chunkN
}

// restated is the side of the same finding where this sentence just gave it:
// "the left one droops, ptosis".
func (p *parser) restated(c *cand) finding.Side {
	n := len(p.cands)
	if n > 0 && c.f.Named != "" && p.cands[n-1].f == c.f && p.cands[n-1].sent == c.sent && p.cands[n-1].sideSaid && p.cands[n-1].value == c.value && !p.cands[n-1].gone {
		return p.cands[n-1].side
	}
	return finding.NoSide
}

// lone reports an organ of a pair in the singular, its side not said.
func lone(s subject) bool {
	return s.site != nil && s.fnd == nil && s.site.Paired && !s.site.General && !s.plural && s.side == finding.NoSide
}

// general reports words that speak of both sides without a plural: "no JVD",
// "cranial nerve seven intact", "face sensation intact".
func (p *parser) general(f *frame, s *said) bool {
	if stem, _ := numbered(s.f.ID); stem != "" {
		return true // "the olfactory" is a pair
	}
	if s.subj.single && !s.pr.neg || s.pr.it.article && !s.pr.neg {
		return false
	}
	if s.subj.site != nil && s.subj.site.Paired && !s.subj.site.General {
		// the site was named in the singular, here or in the topic
		return false
	}
	for _, t := range f.subs {
		if s.pr.kind == predAlone && lone(t) && !s.pr.neg && fit(s.f, t) > 0 {
			return false
		}
	}
	for _, t := range p.topic {
		if lone(t) && s.subj.fnd != nil && fit(s.f, t) > 0 && !s.pr.neg {
			return false
		}
	}
	return true
}

// spread repeats the last predicates for a site that goes on a list.
func (p *parser) spread(f *frame, out []said) bool {
	if len(out) > 0 || len(f.preds) > 0 || p.lastHead == nil || len(f.subs)+len(f.places) == 0 {
		return false
	}
	if f.c.joint != jointAnd && f.c.joint != jointOr && f.c.joint != jointComma {
		return false
	}
	return p.spreadTo(f)
}

// chart makes one finding of what was said.
func (p *parser) chart(f *frame, s *said) {
	if !p.selfStanding(f, s) {
		return
	}
	if n := s.pr.it.num; n != nil && n.falling && s.f.FallsFrom != nil {
		s.f = s.f.FallsFrom // "from two to one in the light": before and in light
	}
	if p.ofTheRest(f, s) {
		return
	}
	value := s.value
	if d, ok := s.pr.it.sense(lexicon.DetailSense); ok && s.pr.neg && s.pr.kind == predSays && s.f.Named != "" && s.f.Details[d.Key] {
		return // "it is not tender" of a node does not deny the node
	}
	if s.pr.neg && value != "#" {
		v, ok := s.f.Not[value]
		if !ok {
			return
		}
		value = v
	}
	c := &cand{f: s.f, status: finding.Assessed, source: finding.Observed, sent: p.sent, chunk: p.chunkN}
	if f.c.reply || f.says || p.says && p.chunkN-p.saysChunk <= 2 && f.c.joint != jointPlain && f.c.joint != jointStart {
		c.source = finding.Reported
		if p.reporter != "" {
			c.set("reporter", p.reporter)
		}
	}
	a, b := f.c.span()
	if s.f.Body && s.subj.tok[1] == 0 && p.askSent > 0 && p.askSent == p.sent {
		c.source = finding.Reported // "any pain? Four out of ten."
	}
	if w := p.ts[a].Text; w == "my" && c.source == finding.Observed { // "my throat is sore"
		c.source = finding.Reported
	}
	c.toks = append(c.toks, [2]int{a, b})
	if s.subj.tok[1] > 0 && (s.subj.tok[0] < a || s.subj.tok[0] >= b) {
		c.toks = append(c.toks, s.subj.tok)
	}
	c.toks = append(c.toks, p.pendTok...)
	if r := s.pr.it.said; r != nil {
		c.value, c.marks = r.value, append(c.marks, r.marks...)
		for k, v := range r.quals {
			c.set(k, v)
		}
	} else if value == "#" {
		if !p.numberValue(f, c, s) {
			return
		}
	} else {
		c.value = finding.Word(value)
		if s.f.Kind == lexicon.Grade || s.f.Kind == lexicon.Quantity || s.f.Kind == lexicon.Clock {
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				return
			}
			c.value = finding.Number(v)
		}
	}
	if f.hedged {
		c.mark(finding.UnsureValue, "said with a doubt")
	}
	if s.subj.far {
		c.mark(finding.Inferred, "taken to speak of what was named before")
	}
	if s.mark != "" {
		c.mark(finding.MarkKind(s.mark), "said in general terms")
	}
	if s.pr.it.right != "" {
		c.mark(finding.Respelled, readAs+s.pr.it.right, p.words(s.pr.it.a, s.pr.it.b))
	}
	for k := range f.subs {
		if it := &f.c.items[min(f.subAt[k], len(f.c.items)-1)]; it.right != "" {
			c.mark(finding.Respelled, readAs+it.right, p.words(it.a, it.b))
		}
	}
	if k := s.f.NamedKey; k != "" && s.pr.kind == predNamed && !s.pr.neg {
		if w := p.normal(s.pr.it); !s.f.Plain[w] {
			c.set(k, w)
		}
	}
	if s.subj.site != nil && s.subj.tok[1] > 0 && s.f.Details["place"] && s.f.Sides != lexicon.Zone && !s.pr.neg {
		if w := p.normal(&item{a: s.subj.tok[0], b: s.subj.tok[1]}); w != s.subj.site.Term && placeWord(w) {
			c.set("place", w)
		}
	}
	if f.base != "" {
		c.set("baseline", f.base)
	}
	p.place(f, s, c)
	if s.f.EndsSide {
		p.pairAt = p.heldAt
		p.endSide()
	}
	p.tellValue(s, c)
	p.pairUp(c)
	p.cands = append(p.cands, c)
	p.found(f, c)
	if n := s.pr.it.num; n != nil && n.falling && s.f.Falling != nil {
		p.inLight(c, n, s.pr.it.unit)
	}
}
