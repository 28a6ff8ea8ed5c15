package extract

import (
	"math"
	"strconv"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// resolveNumber reads a number as the value of what is named, or keeps it as a
// measure of what was found.
func (p *parser) resolveNumber(f *frame, pr *pred) []said {
	n := pr.it.num
	if n.stage || n.isBy {
		p.measure(f, pr)
		return nil
	}
	if pr.it.unit != nil && pr.it.unit.Base == "length" && p.measuresLast(f, pr) {
		p.measure(f, pr)
		return nil
	}
	subs := p.subjectsFor(f, pr, func(s subject) int { _, k := p.byNumber(n, pr.it.unit, s); return k })
	var out []said
	for _, s := range subs {
		if fd, _ := p.byNumber(n, pr.it.unit, s); fd != nil {
			if s.fnd != nil && s.fnd != fd && s.fnd.Kind == lexicon.Quantity {
				continue
			}
			out = append(out, said{pr: pr, f: fd, value: "#", subj: s})
		}
	}
	if out == nil && pr.it.unit != nil && pr.it.unit.Base == "angle" {
		if fd := p.onlyAngle(); fd != nil && p.tookAngle() {
			return []said{{pr: pr, f: fd, value: "#", subj: subject{fnd: fd}}}
		}
	}
	if out == nil && (pr.it.unit != nil || n.hasOf || bareCount(f, pr) || bareNumber(pr) && p.counted(f)) {
		p.measure(f, pr)
	}
	return out
}

// onlyAngle is the one finding measured in degrees: the angle of the bed.
func (p *parser) onlyAngle() *lexicon.Finding {
	var only *lexicon.Finding
	for _, f := range p.x.numeric {
		if f.Unit == "deg" {
			if only != nil {
				return nil
			}
			only = f
		}
	}
	return only
}

// tookAngle reports that what was said just before depends on the bed's angle.
func (p *parser) tookAngle() bool {
	for i := len(p.cands) - 1; i >= 0 && p.cands[i].sent >= p.sent-1; i-- {
		if p.cands[i].f.Details["angle"] && !p.cands[i].gone {
			return true
		}
	}
	for _, s := range p.pend {
		if s.fnd != nil && s.fnd.Details["angle"] {
			return true
		}
	}
	return p.noun != nil && takesKey(p.noun, "angle")
}

// counted reports a chunk, or a last finding, of which a number is a count:
// "two teeth missing", "teeth missing, four".
func (p *parser) counted(f *frame) bool {
	for _, q := range f.preds {
		if q.kind != predNumber && takesCount(q.it) {
			return true
		}
	}
	if c := p.lastTaking("count"); c != nil && c.sent == p.sent && len(f.preds) == 1 && p.lastChunkOf(c) {
		return c.f.Kind == lexicon.Choice
	}
	return false
}

func takesCount(it *item) bool {
	for _, s := range it.senses {
		if s.Finding != nil && s.Finding.Details["count"] && (s.Kind == lexicon.SaysSense || s.Kind == lexicon.AloneSense) {
			return true
		}
	}
	return false
}

// bareCount reports "two" before a plural noun.
func bareCount(f *frame, pr *pred) bool {
	for _, q := range f.preds {
		if q.kind == predNamed && q.at > pr.at && q.at <= pr.at+4 && q.it.plural {
			return true
		}
	}
	return false
}

// measuresLast reports that a length belongs to a lump, node or wound rather
// than to a finding that is itself a measure.
func (p *parser) measuresLast(f *frame, pr *pred) bool {
	for _, q := range f.preds {
		if q.kind != predNamed {
			continue
		}
		for _, s := range q.it.senses {
			if s.Finding != nil && (s.Finding.Details["size"] || s.Finding.Details["height"]) {
				return true
			}
		}
	}
	for k := range f.subs {
		if fd, n := p.byNumber(pr.it.num, pr.it.unit, f.subs[k]); fd != nil && n >= leastOwn {
			return false
		}
	}
	if c := p.lastTaking("size", "height"); c != nil {
		if c.sent == p.sent {
			return true
		}
		for _, s := range p.topic {
			if fd, n := p.byNumber(pr.it.num, pr.it.unit, s); fd != nil && n >= leastCarried {
				return false
			}
		}
		return c.sent >= p.sent-1
	}
	return false
}

// measure turns a number into a qualifier to be tied to a finding.
func (p *parser) measure(f *frame, pr *pred) {
	n := pr.it.num
	pr.used = true
	d := detail{at: pr.at, it: pr.it}
	switch {
	case n.stage:
		d.key, d.value = "stage", num(n.value)
	case pr.it.unit != nil && pr.it.unit.Base == "angle":
		d.key, d.value = "angle", num(n.value)+" deg"
	case pr.it.unit != nil:
		d.key, d.value = "size", num(n.value)+" "+pr.it.unit.Code
		if n.isBy {
			d.value = num(n.value) + " x " + num(n.by) + " " + pr.it.unit.Code
		} else if n.isRange {
			d.value = num(n.value) + "-" + num(n.high) + " " + pr.it.unit.Code
		}
	case n.isBy:
		return
	case n.hasOf:
		d.key, d.value = "severity", num(n.value)+" of "+num(n.of)
	default:
		d.key, d.value = "count", num(n.value)
	}
	f.details = append(f.details, d)
}

func num(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// chart makes one finding of what was said.
func (p *parser) chart(f *frame, s *said) {
	if n := s.pr.it.num; n != nil && n.falling && s.f.ID == "eye.pupil_size_in_light" {
		if size, ok := p.x.lex.Finding("eye.pupil_size"); ok {
			s.f = size // "from two to one in the light": before and in light
		}
	}
	value := s.value
	if s.pr.neg && value != "#" {
		v, ok := s.f.Not[value]
		if !ok {
			return
		}
		value = v
	}
	c := &cand{f: s.f, status: finding.Assessed, source: finding.Observed, sent: p.sent, chunk: p.chunkN}
	if f.says || p.says && p.chunkN-p.saysChunk <= 2 && f.c.joint != jointPlain && f.c.joint != jointStart {
		c.source = finding.Reported
		if p.reporter != "" {
			c.set("reporter", p.reporter)
		}
	}
	a, b := f.c.span()
	c.toks = append(c.toks, [2]int{a, b})
	if s.subj.tok[1] > 0 && (s.subj.tok[0] < a || s.subj.tok[0] >= b) {
		c.toks = append(c.toks, s.subj.tok)
	}
	for _, t := range p.pendTok {
		c.toks = append(c.toks, t)
	}
	if value == "#" {
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
	if s.mark != "" {
		c.mark(finding.MarkKind(s.mark), "said in general terms")
	}
	if s.pr.it.right != "" {
		c.mark(finding.Respelled, "heard as another word, read as "+s.pr.it.right, p.words(s.pr.it.a, s.pr.it.b))
	}
	for k := range f.subs {
		if it := &f.c.items[min(f.subAt[k], len(f.c.items)-1)]; it.right != "" {
			c.mark(finding.Respelled, "heard as another word, read as "+it.right, p.words(it.a, it.b))
		}
	}
	if k := s.f.NamedKey; k != "" && s.pr.kind == predNamed && !s.pr.neg {
		if w := p.normal(s.pr.it); !s.f.Plain[w] {
			c.set(k, w)
		}
	}
	if s.subj.site != nil && s.subj.tok[1] > 0 && s.f.Details["place"] && s.f.Sides != lexicon.Zone && !s.pr.neg {
		if w := p.normal(&item{a: s.subj.tok[0], b: s.subj.tok[1]}); w != s.subj.site.Term && s.subj.site.Term != "" && !s.subj.site.General {
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
	p.pairUp(c)
	p.cands = append(p.cands, c)
	if n := s.pr.it.num; n != nil && n.falling && s.f.ID == "eye.pupil_size" {
		p.inLight(c, n)
	}
}

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

// inLight charts the second number of "three to one" of a pupil.
func (p *parser) inLight(c *cand, n *number) {
	lit, ok := p.x.lex.Finding("eye.pupil_size_in_light")
	if !ok {
		return
	}
	c.high = finding.Value{}
	d := c.clone()
	d.f, d.value = lit, finding.Number(scaled(n.high, c.scale()))
	p.cands = append(p.cands, d)
}

func (c *cand) scale() float64 { return 1 }

func scaled(v, by float64) float64 { return math.Round(v*by*1000) / 1000 }

// numberValue reads the number into the finding's own unit and marks what
// cannot be safe.
func (p *parser) numberValue(f *frame, c *cand, s *said) bool {
	n, unit := s.pr.it.num, s.pr.it.unit
	v, scale := n.value, 1.0
	switch s.f.Kind {
	case lexicon.Choice:
		switch {
		case v >= 5:
			c.value = finding.Word("intact")
		case v == 0:
			c.value = finding.Word("absent")
		default:
			c.value = finding.Word("reduced")
		}
		return s.f.Allows("intact")
	case lexicon.Quantity:
		if unit != nil {
			switch {
			case unit.Base == "length" && s.f.Unit == "mm":
				scale = unit.Scale
			case unit.Base == "angle":
			default:
				c.mark(finding.UnitChanged, "heard as "+num(v)+" "+unit.Code+", which is no unit of this finding")
			}
		}
		v = scaled(v, scale)
		if r := s.f.Plausible; r[1] > 0 && (v < r[0] || v > r[1]) {
			var alt []string
			for _, by := range [...]float64{0.1, 10} {
				if w := scaled(v, by); w >= r[0] && w <= r[1] {
					alt = append(alt, num(w)+" "+s.f.Unit)
				}
			}
			c.mark(finding.Implausible, "outside "+num(r[0])+" to "+num(r[1])+" "+s.f.Unit, alt...)
		}
	case lexicon.Grade:
		if n.sign != "" {
			c.set("sign", n.sign)
		}
		if n.hasOf {
			c.set("of", num(n.of))
		}
		if !s.f.Allows(num(v)) {
			c.mark(finding.Implausible, "no grade of this scale")
		}
	case lexicon.Clock:
		if v < 0 || v > 12 || v != math.Trunc(v) {
			c.mark(finding.Implausible, "no hour of a clock")
		}
	}
	c.value = finding.Number(v)
	if n.isRange {
		w := scaled(n.high, scale)
		switch {
		case n.falling && s.f.ID == "eye.pupil_size":
		case n.falling:
			c.value, c.high = finding.Number(w), finding.Number(v)
		default:
			c.high = finding.Number(w)
		}
	}
	return true
}

// place gives a finding its side or zone.
func (p *parser) place(f *frame, s *said, c *cand) {
	switch c.f.Sides {
	case lexicon.Zone:
		p.zone(f, s, c)
	case lexicon.NoSides:
		if c.value == finding.Word("deviated") || c.f.ID == "node.any" {
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
func deeper(s *lexicon.Site) bool {
	switch s.ID {
	case "head", "scalp", "face", "neck", "mouth", "skin", "mucosa":
		return false
	}
	return true
}

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
	case p.pendSide != finding.NoSide:
		said(p.pendSide, p.sideTok)
	case p.held != finding.NoSide && (p.heldAt == nil || o == nil || o == p.heldAt) && p.heldFits(s.subj):
		said(p.held, p.heldTok)
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

// general reports words that speak of both sides without a plural: "no JVD",
// "cranial nerve seven intact", "face sensation intact".
func (p *parser) general(f *frame, s *said) bool {
	if s.subj.single && !s.pr.neg || s.pr.it.article && !s.pr.neg {
		return false
	}
	if s.subj.site != nil && s.subj.site.Paired && !s.subj.site.General {
		// the site was named in the singular, here or in the topic
		return false
	}
	for _, t := range p.topic {
		if t.site != nil && t.site.Paired && !t.site.General && !t.plural && s.subj.fnd != nil && fit(s.f, t) > 0 && t.side == finding.NoSide && t.fnd == nil && !s.pr.neg {
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
