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
	if p.flows(f, pr) {
		return nil
	}
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
		if fd := p.onlyAngle(); fd != nil && (p.tookAngle() || p.at(pr)) {
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

// at reports "at thirty degrees".
func (p *parser) at(pr *pred) bool { return pr.it.a > 0 && p.ts[pr.it.a-1].Text == "at" }

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

// inLight charts the second number of a falling range: "three to one" of a pupil.
func (p *parser) inLight(c *cand, n *number, unit *lexicon.Unit) {
	lit := c.f.Falling
	c.high = finding.Value{}
	d := c.clone()
	d.f, d.value = lit, finding.Number(scaled(n.high, unitScale(lit, unit)))
	p.cands = append(p.cands, d)
}

// unitScale turns a spoken length into the finding's millimetres; other units
// are kept as heard.
func unitScale(f *lexicon.Finding, unit *lexicon.Unit) float64 {
	if unit != nil && unit.Base == "length" && f.Unit == "mm" {
		return unit.Scale
	}
	return 1
}

func scaled(v, by float64) float64 { return math.Round(v*by*1000) / 1000 }

// numberValue reads the number into the finding's own unit and marks what
// cannot be safe.
func (p *parser) numberValue(f *frame, c *cand, s *said) bool {
	n, unit := s.pr.it.num, s.pr.it.unit
	if s.f.Body && s.f.Kind != lexicon.Grade {
		p.bodyValue(c, n, unit)
		return true
	}
	v, scale := n.value, unitScale(s.f, unit)
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
		if unit != nil && unit.Base != "angle" && !(unit.Base == "length" && s.f.Unit == "mm") {
			c.mark(finding.UnitChanged, "heard as "+num(v)+" "+unit.Code+", which is no unit of this finding")
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
		case n.falling && s.f.Falling != nil:
		case n.falling:
			c.value, c.high = finding.Number(w), finding.Number(v)
		default:
			c.high = finding.Number(w)
		}
	}
	return true
}
