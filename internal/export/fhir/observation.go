package fhir

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

func examCategory() []concept {
	return []concept{{Coding: []coding{{System: category, Code: "exam", Display: "Exam"}}}}
}

func (b *builder) observation(path string, e note.Entry) observation {
	o := observation{
		ResourceType: "Observation", ID: b.id(path), Text: lines(export.LineOf(e).Marked()), Status: b.status(e.Finding),
		Category: examCategory(), Code: concept{Coding: []coding{{System: findingSystem, Code: e.ID, Display: e.Item.Name}}, Text: e.Item.Name},
		Subject: b.ref("patient"), EffectiveDateTime: instantOrNone(b.doc.Head.ExaminedAt),
		BodySite: bodySite(e), Method: &concept{Text: methodWords[e.Source]},
	}
	o.Code.Coding = append(o.Code.Coding, codings(b.lex.Codes(e.ID, e.Side.String(), false))...)
	if o.BodySite != nil {
		o.BodySite.Coding = codings(b.lex.Codes(e.ID, e.Side.String(), true))
	}
	if v, ok := b.vital(e); ok {
		o.Category = []concept{{Coding: []coding{{System: category, Code: "vital-signs", Display: "Vital Signs"}}}}
		for _, code := range v.Codes {
			o.Code.Coding = append(o.Code.Coding, coding{System: loinc, Code: code})
		}
	}
	if b.doc.Head.Author != (note.Person{}) {
		o.Performer = []reference{b.author()}
	}
	o.Extension = append(with(extension{URL: urlSide, ValueCode: e.Side.String()}, stringPart(urlZone, e.Zone)), b.evidence(e.Evidence)...)
	b.value(&o, e)
	switch e.Interpretation {
	case finding.Unexpected:
		o.Interpretation = []concept{{Coding: []coding{{System: interpretation, Code: "A", Display: "Abnormal"}}, Text: interpretationWords[finding.Unexpected]}}
	case finding.Expected:
		o.Interpretation = []concept{{Text: interpretationWords[finding.Expected]}}
	}
	for _, m := range e.Marks {
		o.Note = append(o.Note, annotation{"To check: " + export.MarkText(m)})
		x := parts(urlMark, with(extension{URL: "kind", ValueCode: string(m.Kind)}, stringPart("why", m.Why))...)
		for _, a := range m.Alternatives {
			x.Extension = append(x.Extension, stringPart("alternative", a))
		}
		o.Extension = append(o.Extension, x)
	}
	for _, k := range slices.Sorted(maps.Keys(e.Qualifiers)) {
		if v := e.Qualifiers[k]; v != "" {
			o.Component = append(o.Component, component{Code: concept{Coding: []coding{{System: qualifierSystem, Code: k}}, Text: k}, ValueString: v})
		}
	}
	return o
}

func codings(of []lexicon.Code) []coding {
	var out []coding
	for _, c := range of {
		out = append(out, coding{System: c.System, Code: c.Code, Display: c.Display})
	}
	return out
}

func (b *builder) value(o *observation, e note.Entry) {
	n, isNumber := e.Value.Number()
	word, isWord := e.Value.Word()
	high, isRange := e.High.Number()
	first, second, isPair := e.Value.Pair()
	list, isList := e.Value.List()
	switch {
	case e.Status == finding.NotAssessed:
		o.DataAbsentReason = absent(e.Reason)
	case isPair:
		o.Component = append(o.Component, b.part(e, pairFirst, first), b.part(e, pairSecond, second))
	case isList:
		for _, w := range list {
			o.Component = append(o.Component, component{Code: concept{Coding: []coding{{System: qualifierSystem, Code: listItem}}, Text: e.Item.Name}, ValueString: w})
		}
	case isWord:
		o.ValueCodeableConcept = &concept{Coding: []coding{{System: valueSystem, Code: word}}, Text: export.ValueText(e)}
	case isNumber && isRange:
		o.ValueRange = &valueRange{amount(n, e.Unit), amount(high, e.Unit)}
	case isNumber && e.Unit == "" && n == float64(int32(n)):
		whole := int(n)
		o.ValueInteger = &whole
	case isNumber:
		q := amount(n, e.Unit)
		o.ValueQuantity = &q
	default:
		o.DataAbsentReason = &concept{Coding: []coding{{System: absentReason, Code: "unknown", Display: "Unknown"}}}
	}
}

// Codes of components that are the value itself and no qualifier.
const (
	pairFirst  = "value, first number"
	pairSecond = "value, second number"
	listItem   = "value, one of several"
)

// part is one number of a pair.
func (b *builder) part(e note.Entry, which string, n float64) component {
	q := amount(n, e.Unit)
	c := component{Code: concept{Coding: []coding{{System: qualifierSystem, Code: which}}, Text: e.Item.Name + ", " + strings.TrimPrefix(which, "value, ")}, ValueQuantity: &q}
	if v, ok := b.vital(e); ok && which == pairFirst && v.First != "" {
		c.Code.Coding = append(c.Code.Coding, coding{System: loinc, Code: v.First})
	} else if ok && v.Second != "" {
		c.Code.Coding = append(c.Code.Coding, coding{System: loinc, Code: v.Second})
	}
	return c
}

// vitalUnits are those that FHIR's profiles of vital signs allow (value set
// ucum-vitals-common); with another the observation keeps our code alone.
var vitalUnits = []string{"%", "cm", "[in_i]", "kg", "g", "[lb_av]", "Cel", "[degF]", "mm[Hg]", "/min", "kg/m2", "m2"}

// vital gives the standard codes of a vital sign that meets the profile which
// they bring with them: an assessed value in an allowed unit at a known time.
func (b *builder) vital(e note.Entry) (lexicon.Vital, bool) {
	v, ok := b.lex.Vital(e.ID)
	_, isNumber := e.Value.Number()
	_, _, isPair := e.Value.Pair()
	return v, ok && e.Status == finding.Assessed && (isNumber || isPair) && e.High.IsZero() &&
		slices.Contains(vitalUnits, e.Unit) && !b.doc.Head.ExaminedAt.IsZero()
}

// amount is a quantity in UCUM; a bare number has the unit 1.
func amount(n float64, unit string) quantity {
	if unit == "" {
		return quantity{Value: decimal(n), System: ucum, Code: "1"}
	}
	return quantity{Value: decimal(n), Unit: cmp.Or(export.UnitWord(unit), unit), System: ucum, Code: unit}
}

// refusals are words that tell a refusal from another reason (common practice,
// no source). The reason itself always goes with the code, as it was said.
var refusals = []string{"refus", "declin", "does not want", "doesn't want", "did not want", "didn't want", "won't let", "will not let"}

func absent(reason string) *concept {
	c := coding{absentReason, "not-performed", "Not Performed"}
	lower := strings.ToLower(reason)
	if slices.ContainsFunc(refusals, func(w string) bool { return strings.Contains(lower, w) }) {
		c.Code, c.Display = "asked-declined", "Asked But Declined"
	}
	return &concept{Coding: []coding{c}, Text: reason}
}

// bodySite names the place with its side in words ("right pupil"): R4 has one
// bodySite, and codes for sides of places need a licence that a site may not
// have.
func bodySite(e note.Entry) *concept {
	if e.Side == finding.NoSide && e.Zone == "" || !e.Item.Paired && e.Zone == "" {
		return nil
	}
	side := e.Side.String()
	if e.Side == finding.Both {
		side = "right and left"
	}
	if side != "" {
		side += " " + cmp.Or(e.Item.Site, e.Item.Organ, "side")
	}
	if side != "" && e.Zone != "" {
		side += ", "
	}
	return &concept{Text: side + strings.ReplaceAll(e.Zone, "_", " ")}
}

func (b *builder) evidence(spans []transcript.Span) []extension {
	var out []extension
	for _, s := range spans {
		out = append(out, parts(urlEvidence, with(stringPart("text", b.doc.Draft.Transcript.Quote(s)), intPart("from", s.Start), intPart("to", s.End))...))
	}
	return out
}

// panel groups observations that are read together, such as those of the pupils.
func (b *builder) panel(section int, p lexicon.Panel, members []reference) reference {
	path := observationPath(section, -1) + "/" + p.Code
	o := observation{
		ResourceType: "Observation", ID: b.id(path), Status: cmp.Or(b.doc.Head.Status, note.Preliminary).String(), Category: examCategory(),
		Code: *loincConcept(p.Code, p.Display, ""), Subject: b.ref("patient"), EffectiveDateTime: instantOrNone(b.doc.Head.ExaminedAt), HasMember: members,
	}
	if b.doc.Head.Author != (note.Person{}) {
		o.Performer = []reference{b.author()}
	}
	return b.add(path, o)
}
