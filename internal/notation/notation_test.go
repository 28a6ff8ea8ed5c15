package notation

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Each row of the two lists as written, and as it should be written.
func TestEachListedRow(t *testing.T) {
	for _, c := range []struct {
		row, rule string
		bad, good []string
	}{
		{"JC1", "JC1", []string{"10 U", "10U", "4 u given"}, []string{"10 units", "Uvula midline", "U shaped"}},
		{"JC2", "JC2", []string{"100 IU"}, []string{"100 international units"}},
		{"JC3", "JC3", []string{"Q.D.", "QD", "q.d.", "qd"}, []string{"daily"}},
		{"JC4", "JC4", []string{"Q.O.D.", "QOD", "q.o.d.", "qod"}, []string{"every other day"}},
		{"JC5", "JC5", []string{"5.0 mg", "12.50 mg", "1.0 mL"}, []string{"5 mg", "12.5 mg", "10 mg", "100 mL", "0.05 mg"}},
		{"JC6", "JC6", []string{".5 mg", "a .5"}, []string{"0.5 mg", "See 3.5", "end. 5 more"}},
		{"JC7", "JC7", []string{"MS", "MSO4", "MgSO4"}, []string{"morphine sulfate", "Ms. Sample"}},
		{"JC-add", "JCadd", []string{"> 4 mm", "< 4 mm", "3 @ 4", "4 µg", "4 μg"}, []string{"greater than 4 mm", "less than 4 mm"}},
		{"IS1", "IS1", []string{"AD clear", "AS", "AU"}, []string{"right ear", "As expected"}},
		{"IS2", "IS2", []string{"OD 3 mm", "OS", "OU"}, []string{"right eye: 3 mm", "Odd"}},
		{"IS3", "IS3", []string{"5 cc", "CC"}, []string{"5 mL", "success"}},
		{"IS4", "IS4", []string{"D/C", "d/c"}, []string{"discharge"}},
		{"IS5", "IS5", []string{"HS", "hs"}, []string{"at bedtime"}},
		{"IS6", "IS6", []string{"5 μg", "5 µg"}, []string{"5 mcg"}},
		{"IS7", "JC6", []string{".5"}, []string{"0.5"}},
		{"IS8", "IS8", []string{"1.0", "2.50"}, []string{"1", "2.5", "10", "1.05"}},
		{"IS9", "IS9", []string{"100000", "takes 25000 units"}, []string{"100,000", "1000", "2031-02-03"}},
		{"IS10", "IS10", []string{"per os"}, []string{"by mouth"}},
		{"IS11", "IS11", []string{"BT", "IJ", "IN", "qhs", "qn", "q1d", "q6PM"}, []string{"in the neck", "nightly"}},
		{"IS12", "IS12", []string{"45°", "3+4", "2 & 3", "5/5", "3 @ 4"}, []string{"45 degrees", "2+ of 4", "grade 2+", "120/80 mm Hg", "visual acuity, left eye: 20/40", "told, 2031-02-03 14:10 +01:00"}},
		{"IS13", "IS13", []string{"SC", "SQ", "sub q", "ss", "SSRI", "SSI"}, []string{"subcut", "glass"}},
		{"IS14", "IS14", []string{"5mm", "2.5cm", "5 mm. Next", "5 mm."}, []string{"5 mm", "5 mm, round", "2 x 3 cm"}},
	} {
		for _, bad := range c.bad {
			if !slices.ContainsFunc(Check(bad), func(i Issue) bool { return i.Rule == c.rule }) {
				t.Errorf("row %s: %q passes: %v", c.row, bad, Check(bad))
			}
		}
		for _, good := range c.good {
			if got := Check(good); len(got) > 0 {
				t.Errorf("row %s: %q is refused: %v", c.row, good, got)
			}
		}
	}
}

// No row of the reference page is left without a test, where it is at hand.
func TestRowsOfTheReferencePage(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "..", "shared", "reference", "standards.md"))
	if err != nil {
		t.Skip("skipped: the reference page is not at hand")
	}
	self, err := os.ReadFile("notation_test.go")
	if err != nil {
		t.Fatal(err)
	}
	rows := regexp.MustCompile(`(?m)^\| ((?:JC|IS)[0-9a-z-]*) \|`).FindAllStringSubmatch(string(page), -1)
	if len(rows) < 20 {
		t.Fatalf("only %d rows found on the page", len(rows))
	}
	for _, r := range rows {
		if r[1] == "JC-exc" || r[1] == "JC-scope" {
			continue // an exception and a scope, tested below
		}
		if !strings.Contains(string(self), `{"`+r[1]+`", `) {
			t.Errorf("row %s has no test", r[1])
		}
	}
}

func TestPrecisionThatWasSpokenMayStand(t *testing.T) {
	if got := Check("lump, size 5.0 cm", "5.0"); len(got) > 0 {
		t.Errorf("refused: %v", got)
	}
	if len(Check("lump, size 5.0 cm")) == 0 {
		t.Error("5.0 that nobody spoke passes")
	}
	if len(Check("morphine 5.0 mg", "5.0")) == 0 {
		t.Error("a dose with a trailing zero passes")
	}
}

func TestQuotedWordsAreThePersonsOwn(t *testing.T) {
	if got := Check(`not assessed: "OD 5mm"`); len(got) > 0 {
		t.Errorf("refused: %v", got)
	}
	if got := Check(`"OS" OD`); len(got) != 1 || got[0].At != 5 {
		t.Errorf("got %v", got)
	}
}
