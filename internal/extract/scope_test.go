package extract

import (
	"slices"
	"strings"
	"testing"

	"bedsaid/internal/finding"
)

// What a recording says of itself narrows what is listed as not mentioned as
// --exam would.
func TestScopeAsSaid(t *testing.T) {
	x := newForTest(t)
	for _, c := range loadCases(t, "../../testdata/cases/scope") {
		var want []finding.Missing
		for _, exam := range strings.Split(c.Scope, ",") {
			if !slices.Contains(x.lex.Exams(), exam) {
				t.Fatalf("%s: no examination %q", c.ID, exam)
			}
			for _, m := range x.Extract(c.Transcript(), Options{Exam: exam}).Unmentioned {
				if !slices.Contains(want, m) {
					want = append(want, m)
				}
			}
		}
		got := x.Extract(c.Transcript(), Options{}).Unmentioned
		if len(want) == 0 || len(got) != len(want) || slices.ContainsFunc(want, func(m finding.Missing) bool { return !slices.Contains(got, m) }) {
			t.Errorf("%s: %d not mentioned, want the %d of %s", c.ID, len(got), len(want), c.Scope)
		}
	}
}
