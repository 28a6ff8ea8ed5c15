// Package notation checks text for ways of writing that are known to be misread
// in charts: the rows of the Joint Commission's "Do Not Use" list and of the
// ISMP's list of error-prone abbreviations. It is a leaf that knows no note: the
// tests of every exporter hold its text against it.
package notation

import (
	"regexp"
	"slices"
	"strings"
)

// Issue is one place in a text that may be misread.
type Issue struct {
	// Rule is the row: JC (Joint Commission), IS (ISMP), JCadd (the Joint
	// Commission's list for possible later inclusion).
	Rule string
	// At is the byte offset and Text what stands there.
	At   int
	Text string
	// Use is what to write in its place.
	Use string
}

// rule is one row of a list. Sources: Joint Commission, Official "Do Not Use"
// List (facts page of 2017-06-09) and its additions of 2009-03-05; ISMP, List of
// Error-Prone Abbreviations, Symbols and Dose Designations (copies of 2005 to
// 2009; the list of 2021 was not at hand). The rule that a space stands
// before a unit and no full stop after it is from memory.
type rule struct {
	id      string
	pattern *regexp.Regexp
	use     string
}

// units that a number is followed by in notes.
const units = `(?:mm|cm|mL|ml|L|mg|mcg|g|kg|m|mm Hg|degrees|units?)`

var rules = []rule{
	{"JC1", regexp.MustCompile(`\d ?[Uu]\b`), "unit"},
	{"JC2", regexp.MustCompile(`\bIU\b`), "international unit"},
	{"JC3", regexp.MustCompile(`\b(?:Q\.D\.|QD\b|q\.d\.|qd\b)`), "daily"},
	{"JC4", regexp.MustCompile(`\b(?:Q\.O\.D\.|QOD\b|q\.o\.d\.|qod\b)`), "every other day"},
	{"JC5", regexp.MustCompile(`\b\d+(?:\.\d*[1-9])?\.?0+ ?(?:mg|mcg|g|mL|units?)\b`), "no trailing zero"},
	{"JC6", regexp.MustCompile(`(?:^|[^\d.])\.\d`), "a zero before the point"},
	{"JC7", regexp.MustCompile(`\b(?:MS|MSO4|MgSO4)\b`), "the drug's whole name"},
	{"JCadd", regexp.MustCompile(`[<>@]`), "less than, greater than, at"},
	{"JCadd", regexp.MustCompile(`[µμ]`), "mc (mcg)"},
	{"IS1", regexp.MustCompile(`\bA[DSU]\b`), "right ear, left ear, both ears"},
	{"IS2", regexp.MustCompile(`\bO[DSU]\b`), "right eye, left eye, both eyes"},
	{"IS3", regexp.MustCompile(`\b(?:cc|CC)\b`), "mL"},
	{"IS4", regexp.MustCompile(`\b[Dd]/[Cc]\b`), "discharge or discontinue"},
	{"IS5", regexp.MustCompile(`\b(?:HS|hs)\b`), "half-strength or at bedtime"},
	{"IS6", regexp.MustCompile(`[µμ]g`), "mcg"},
	{"IS8", regexp.MustCompile(`\b\d+\.\d*0\b`), "no trailing zero"},
	{"IS9", regexp.MustCompile(`(?:^|[^\d.,-])\d{5,}(?:$|[^\d-])`), "commas in a large number"},
	{"IS10", regexp.MustCompile(`\b[Pp]er os\b`), "by mouth"},
	{"IS11", regexp.MustCompile(`\b(?:BT|IJ|IN|qhs|qn|q1d|q\d+PM)\b`), "the words"},
	{"IS12", regexp.MustCompile(`\d ?°|°(?: ?[^CF ]|$)|[+&/@] ?\d|\d ?[&/@]|\w&\w| & `), "the word"},
	{"IS13", regexp.MustCompile(`\b(?:SC|SQ|sub q|ss|SSRI|SSI)\b`), "subcut, sliding scale, or the words"},
	{"IS14", regexp.MustCompile(`\d(?:mm|cm|mL|ml|mg|mcg|g|kg|L|m)\b`), "a space before the unit"},
	{"IS14", regexp.MustCompile(`\d ` + units + `\.(?:\s|$)`), "no full stop after a unit"},
}

// Check lists what may be misread in a text, in its order. Words between double
// quotation marks are a person's, kept as said, and are not checked. said holds
// numbers that were spoken with their trailing zero as a precision ("5.0"): the
// Joint Commission's footnote lets those stand, except in a dose.
func Check(text string, said ...string) []Issue {
	text = blank(offsets, blank(fractions, blank(quotes, text)))
	var out []Issue
	for _, r := range rules {
		for _, at := range r.pattern.FindAllStringIndex(text, -1) {
			found := text[at[0]:at[1]]
			if r.id == "IS8" && slices.Contains(said, found) {
				continue
			}
			if r.id == "JC5" && !strings.Contains(found, ".") {
				continue // 10 mg has no point, and its zero means ten
			}
			out = append(out, Issue{r.id, at[0], found, r.use})
		}
	}
	slices.SortStableFunc(out, func(a, b Issue) int { return a.At - b.At })
	return out
}

var (
	quotes = regexp.MustCompile(`"[^"\n]*"`)
	// A time keeps the sign of its offset from UTC (RFC 3339).
	offsets = regexp.MustCompile(`\b\d\d:\d\d [+-]\d\d:\d\d\b`)
	// A blood pressure and a visual acuity keep their slash (common practice, no
	// source).
	fractions = regexp.MustCompile(`\b\d{2,3}/\d{2,3} mm Hg\b|\bacuity[a-z ,]*: \d+/\d+(?:\.\d+)?`)
)

// blank keeps the length, so that offsets stay true.
func blank(what *regexp.Regexp, text string) string {
	return what.ReplaceAllStringFunc(text, func(q string) string { return strings.Repeat(" ", len(q)) })
}
