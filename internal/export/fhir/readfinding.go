package fhir

import (
	"encoding/json"
	"strings"

	"bedsaid/internal/finding"
)

func (r *reader) finding(o *observation, words int) finding.Finding {
	f := finding.Finding{Status: finding.Assessed, Source: finding.Observed, Evidence: r.spans(o.Extension, words)}
	if len(o.Code.Coding) > 0 && o.Code.Coding[0].System == findingSystem {
		f.ID = o.Code.Coding[0].Code
	} else {
		r.fail("an observation has no code of a finding")
	}
	f.Value, f.High, f.Unit = r.value(o)
	if o.DataAbsentReason != nil {
		f.Reason = o.DataAbsentReason.Text
		if len(o.DataAbsentReason.Coding) != 1 || o.DataAbsentReason.Coding[0].Code != "unknown" {
			f.Status = finding.NotAssessed
		}
	}
	if o.Method != nil && o.Method.Text == methodWords[finding.Reported] {
		f.Source = finding.Reported
	}
	for _, i := range o.Interpretation {
		for is, words := range interpretationWords {
			if i.Text == words {
				f.Interpretation = is
			}
		}
	}
	for _, c := range o.Component {
		if len(c.Code.Coding) == 0 || c.Code.Coding[0].System != qualifierSystem {
			r.fail("a component has no code of a qualifier")
			continue
		}
		if strings.HasPrefix(c.Code.Coding[0].Code, valuePrefix) {
			continue // the value itself
		}
		if f.Qualifiers == nil {
			f.Qualifiers = map[string]string{}
		}
		f.Qualifiers[c.Code.Coding[0].Code] = c.ValueString
	}
	for _, e := range o.Extension {
		switch e.URL {
		case urlSide:
			f.Side = r.side(e.ValueCode)
		case urlZone:
			f.Zone = e.ValueString
		case urlMark:
			f.Marks = append(f.Marks, mark(e))
		}
	}
	return f
}

func mark(e extension) finding.Mark {
	m := finding.Mark{Kind: finding.MarkKind(e.str("kind")), Why: e.str("why")}
	for _, x := range e.Extension {
		if x.URL == "alternative" {
			m.Alternatives = append(m.Alternatives, x.ValueString)
		}
	}
	return m
}

func (r *reader) value(o *observation) (v, high finding.Value, unit string) {
	switch {
	case o.ValueCodeableConcept != nil:
		if c := o.ValueCodeableConcept.Coding; len(c) == 1 && c[0].System == valueSystem {
			return finding.Word(c[0].Code), high, ""
		}
		r.fail("a value has no code of ours")
	case o.ValueInteger != nil:
		return finding.Number(float64(*o.ValueInteger)), high, ""
	case o.ValueQuantity != nil:
		return r.number(o.ValueQuantity.Value), high, unitOf(*o.ValueQuantity)
	case len(o.Component) > 0 && strings.HasPrefix(o.Component[0].Code.Coding[0].Code, valuePrefix):
		return r.composed(o)
	case o.ValueRange != nil:
		return r.number(o.ValueRange.Low.Value), r.number(o.ValueRange.High.Value), unitOf(o.ValueRange.Low)
	}
	return v, high, ""
}

// valuePrefix tells components that are the value from those that qualify it.
const valuePrefix = "value, "

// composed reads a pair or a list, whose parts are components.
func (r *reader) composed(o *observation) (v, high finding.Value, unit string) {
	var numbers []float64
	var words []string
	for _, c := range o.Component {
		switch c.Code.Coding[0].Code {
		case pairFirst, pairSecond:
			if c.ValueQuantity != nil {
				n, _ := r.number(c.ValueQuantity.Value).Number()
				numbers, unit = append(numbers, n), unitOf(*c.ValueQuantity)
			}
		case listItem:
			words = append(words, c.ValueString)
		}
	}
	switch {
	case len(numbers) == 2:
		return finding.Pair(numbers[0], numbers[1]), high, unit
	case len(words) > 0:
		return finding.List(words...), high, ""
	}
	r.fail("a value of several parts cannot be read")
	return v, high, ""
}

func (r *reader) number(n json.Number) finding.Value {
	x, err := n.Float64()
	if err != nil {
		r.fail("a quantity is no number")
	}
	return finding.Number(x)
}

func unitOf(q quantity) string {
	if q.Code == "1" {
		return ""
	}
	return q.Code
}
