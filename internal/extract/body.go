package extract

import (
	"math"
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// bodyFits reports that a number can be a value of a body finding: of its kind,
// and with one of its units or none.
func bodyFits(f *lexicon.Finding, n *number, unit *lexicon.Unit) bool {
	if n.clock || n.stage || n.isBy || n.sign != "" {
		return false
	}
	switch f.Kind {
	case lexicon.Quantity:
		return !n.hasOf && (unit == nil || measureFor(f, unit) != nil)
	case lexicon.Pair:
		return !n.isRange && (unit == nil || measureFor(f, unit) != nil)
	case lexicon.Grade:
		return unit == nil && (!n.hasOf || f.Allows(num(n.of)))
	case lexicon.Score:
		return unit == nil && !n.isRange && (!n.hasOf || n.of == mostOf(f))
	}
	return false
}

// measureFor is the measure that a unit goes with: its own, one of the same kind
// that can be turned into it, or a loose word for it.
func measureFor(f *lexicon.Finding, unit *lexicon.Unit) *lexicon.Measure {
	if _, ok := f.UnitDetails[unit.Code]; ok {
		return nil
	}
	for i := range f.Measures {
		m := &f.Measures[i]
		if m.Unit == unit.Code {
			return m
		}
		for _, l := range m.Loose {
			if l == unit.Code {
				return nearest(f, nil, 0)
			}
		}
	}
	return nil
}

// nearest is the measure in which v is plausible; the first of none or several.
// A nil number asks for the first.
func nearest(f *lexicon.Finding, n *number, v float64) *lexicon.Measure {
	if n != nil {
		for i := range f.Measures {
			if f.Measures[i].Holds(v) {
				return &f.Measures[i]
			}
		}
	}
	if len(f.Measures) == 0 {
		return nil
	}
	return &f.Measures[0]
}

// plausible reports that no bound of the finding speaks against the number.
func plausible(f *lexicon.Finding, n *number, unit *lexicon.Unit) bool {
	switch f.Kind {
	case lexicon.Pair:
		m := nearest(f, nil, 0)
		return m.Holds(n.value) && (!n.hasOf || n.of >= f.Second[0] && n.of <= f.Second[1])
	case lexicon.Quantity:
		for i := range f.Measures {
			m := &f.Measures[i]
			if (unit == nil || unit.Code == m.Unit || measureFor(f, unit) != nil && !own(f, unit)) && m.Holds(n.value) {
				return true
			}
		}
		return false
	}
	return f.Kind != lexicon.Grade || f.Allows(num(n.value))
}

// own reports that the unit is one that the finding is measured in.
func own(f *lexicon.Finding, unit *lexicon.Unit) bool {
	for i := range f.Measures {
		if f.Measures[i].Unit == unit.Code {
			return true
		}
	}
	return false
}

// bodyValue gives a body finding its number, unit and marks. A unit that was not
// said is taken from the value, and marked.
func (p *parser) bodyValue(c *cand, n *number, unit *lexicon.Unit) {
	f := c.f
	if f.Kind == lexicon.Score {
		c.value = finding.Number(n.value)
		return // its bounds are those of its parts
	}
	var m *lexicon.Measure
	if unit != nil && own(f, unit) {
		m = measureFor(f, unit)
	} else {
		m = nearest(f, n, n.value)
		p.inferUnit(c, n, m)
	}
	if n.guessed {
		c.mark(finding.Inferred, "no unit was said; read as feet and inches")
	}
	if n.tenths {
		c.mark(finding.UnsureValue, `said without "point"`, num(math.Trunc(n.value))+" "+m.Unit)
	}
	c.unit = m.Unit
	c.value = finding.Number(n.value)
	if n.isRange {
		low, high := min(n.value, n.high), max(n.value, n.high)
		c.value, c.high = finding.Number(low), finding.Number(high)
	}
	if !m.Holds(n.value) {
		c.mark(finding.Implausible, "outside "+num(m.Plausible[0])+" to "+num(m.Plausible[1])+" "+m.Unit)
	}
	if f.Kind == lexicon.Pair {
		p.pairValue(c, n)
	}
}

// inferUnit marks a unit that was not said where the value alone tells it.
func (p *parser) inferUnit(c *cand, n *number, m *lexicon.Measure) {
	if len(c.f.Measures) < 2 {
		return
	}
	var other []string
	for i := range c.f.Measures {
		if o := &c.f.Measures[i]; o != m && o.Holds(n.value) {
			other = append(other, num(n.value)+" "+o.Unit)
		}
	}
	if other != nil {
		c.mark(finding.UnsureValue, "no unit was said", other...)
		return
	}
	c.mark(finding.Inferred, "no unit was said; taken from the value")
}

func (p *parser) pairValue(c *cand, n *number) {
	f := c.f
	switch {
	case !n.hasOf:
		c.mark(finding.UnsureValue, "one of two numbers was said")
		return
	case n.of < f.Second[0] || n.of > f.Second[1]:
		c.mark(finding.Implausible, "second number outside "+num(f.Second[0])+" to "+num(f.Second[1])+" "+f.Unit)
	case n.of >= n.value:
		c.mark(finding.Implausible, "the second number is not the smaller one", num(n.of)+"/"+num(n.value)+" "+f.Unit)
	}
	c.value = finding.Pair(n.value, n.of)
}

// flows turns a number whose unit belongs to a qualifier into that qualifier:
// the litres of oxygen beside a saturation.
func (p *parser) flows(f *frame, pr *pred) bool {
	unit := pr.it.unit
	if unit == nil {
		return false
	}
	for _, fd := range p.x.body {
		if key, ok := fd.UnitDetails[unit.Code]; ok {
			pr.used = true
			f.details = append(f.details, detail{at: pr.at, it: pr.it, key: key, value: num(pr.it.num.value) + " " + unit.Code})
			return true
		}
	}
	return false
}

// measuredApart reports two measurements under different conditions: "92 on room
// air, 97 on two liters".
func measuredApart(a, b *cand) bool {
	for k, v := range b.quals {
		if a.quals[k] != v {
			return true
		}
	}
	return len(a.quals) > len(b.quals)
}

// bodyTaking is the latest body finding of the sentence that takes a qualifier
// and lacks it.
func (p *parser) bodyTaking(key string) *cand {
	for i := len(p.cands) - 1; i >= 0 && p.cands[i].sent == p.sent; i-- {
		if c := p.cands[i]; !c.gone && c.f.Body && c.f.Details[key] && c.quals[key] == "" {
			return c
		}
	}
	return nil
}

// expectedOf compares a number with what its measure expects.
func expectedOf(c *cand) (finding.Interpretation, bool) {
	v, ok := c.value.Number()
	for i := range c.f.Measures {
		m := &c.f.Measures[i]
		if !ok || m.Unit != c.unit || len(m.Expected) != 2 {
			continue
		}
		switch {
		case slices.ContainsFunc(m.Unless, func(k string) bool { return c.quals[k] != "" }):
			return finding.Unclear, true
		case v < m.Expected[0] || v > m.Expected[1]:
			return finding.Unexpected, true
		}
		return finding.Expected, true
	}
	return finding.Unclear, false
}
