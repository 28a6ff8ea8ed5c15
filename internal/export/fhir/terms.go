package fhir

import (
	"encoding/json"
	"html"
	"strconv"
	"strings"

	"bedsaid/internal/finding"
)

// Code systems of others, as FHIR R4 names them.
const (
	loinc          = "http://loinc.org"
	ucum           = "http://unitsofmeasure.org"
	category       = "http://terminology.hl7.org/CodeSystem/observation-category"
	absentReason   = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
	interpretation = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
	dataOperation  = "http://terminology.hl7.org/CodeSystem/v3-DataOperation"
	identifierType = "http://terminology.hl7.org/CodeSystem/v2-0203"
	agentType      = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
	uriSystem      = "urn:ietf:rfc:3986"
)

// Code systems and extensions of our own. They are names, not addresses: nothing
// is to be fetched there, and none ever changes its meaning. docs/export.md
// explains each.
const (
	findingSystem   = "urn:uuid:c823585c-0221-5685-883e-96534e93ad93"
	valueSystem     = "urn:uuid:759e750c-8381-5978-af6f-07ef00fa9b61"
	qualifierSystem = "urn:uuid:93672b5d-481a-5946-b45c-80c171c23b44"
	noteSystem      = "urn:uuid:115b2e88-c095-5406-8b84-97df5b086414"
	urlMark         = "urn:uuid:33da2d97-aca5-51ac-aac4-011585bbdc37"
	urlSide         = "urn:uuid:f84d519c-4524-5f3d-b49c-76ec8e90b65a"
	urlZone         = "urn:uuid:f55f9cfe-30fb-5789-bb0d-b5cd930bd708"
	urlEvidence     = "urn:uuid:ecde1a41-5ab2-5511-8f0e-0c1cea186652"
	urlUnmentioned  = "urn:uuid:ee390b46-2211-52f4-8cc3-6f057d20e110"
	urlAttention    = "urn:uuid:c168fed3-c2fd-58a0-b1ac-b69395945f11"
	urlLeftOut      = "urn:uuid:85ec8378-04cd-5f30-b9f7-02d3d7c7acc1"
	urlRecording    = "urn:uuid:88e6cda6-27b0-5dde-b05e-d84af76ab962"
	urlDecision     = "urn:uuid:288f33f4-064d-5d7c-a7ef-43813f4e0888"
	urlSeal         = "urn:uuid:1dfd8165-5cbc-51a2-9a5d-ec5867bd9302"
	urlSignature    = "urn:uuid:4f9b21bb-355a-58ee-962b-ffad72d6ea94"
	urlAddendum     = "urn:uuid:4d4127e2-7ccf-5885-9cdd-a85f46d10cb9"
)

// LOINC codes of the document itself; those of sections and panels are in the
// packs. docs/export.md names the published sets that print each.
const (
	nurseNote     = "34746-8"
	nurseNoteName = "Nurse Note"
	addendum      = "55107-7"
)

func loincConcept(code, display, text string) *concept {
	return &concept{Coding: []coding{{System: loinc, Code: code, Display: display}}, Text: text}
}

// lines makes a narrative of paragraphs; every text is escaped.
func lines(texts ...string) *narrative {
	var b strings.Builder
	b.WriteString(`<div xmlns="http://www.w3.org/1999/xhtml">`)
	for _, t := range texts {
		b.WriteString("<p>" + html.EscapeString(printable(t)) + "</p>")
	}
	b.WriteString("</div>")
	return &narrative{Status: "generated", Div: b.String()}
}

// printable drops what XML 1.0 has no character for.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' || r == 0x7f || r == 0xFFFE || r == 0xFFFF {
			return '?'
		}
		return r
	}, s)
}

func decimal(n float64) json.Number {
	return json.Number(strconv.FormatFloat(n, 'f', -1, 64))
}

func parts(url string, of ...extension) extension { return extension{URL: url, Extension: of} }

func stringPart(url, value string) extension { return extension{URL: url, ValueString: value} }

func intPart(url string, n int) extension { return extension{URL: url, ValueInteger: &n} }

func decimalPart(url string, n float64) extension {
	d := decimal(n)
	return extension{URL: url, ValueDecimal: &d}
}

// with drops the parts that say nothing: FHIR has no empty string.
func with(exts ...extension) []extension {
	var out []extension
	for _, e := range exts {
		if e.ValueString != "" || e.ValueCode != "" || e.ValueInteger != nil || e.ValueDecimal != nil || e.ValueInstant != "" || len(e.Extension) > 0 {
			out = append(out, e)
		}
	}
	return out
}

// Interpretations in words. Only "unexpected" also has a standard code, A for
// abnormal, so that a chart flags it. "Expected" has none: N would say normal,
// which nobody said.
var interpretationWords = map[finding.Interpretation]string{
	finding.Expected:   "as expected of a healthy adult",
	finding.Unexpected: "not as expected of a healthy adult",
}

// Methods in words: who vouches for the finding.
var methodWords = map[finding.Source]string{
	finding.Observed: "stated by the examiner",
	finding.Reported: "reported to the examiner",
}
