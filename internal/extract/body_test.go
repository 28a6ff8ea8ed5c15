package extract

import (
	"fmt"
	"strings"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// one drafts a text and gives what was charted of one finding.
func one(t *testing.T, x *Extractor, id, text string) []finding.Finding {
	t.Helper()
	var out []finding.Finding
	tr := transcript.FromText(text)
	set := x.Extract(tr, Options{})
	if n := unplaced(tr, set); n > 0 {
		t.Errorf("%q: %d words out of place", text, n)
	}
	for _, f := range set.Findings {
		if f.ID == id {
			out = append(out, f)
		}
	}
	return out
}

func marksOf(f finding.Finding) string {
	var out []string
	for _, m := range f.Marks {
		out = append(out, string(m.Kind))
	}
	return strings.Join(out, " ")
}

// A value at the edge of a band of the NEWS2 chart (shared reference, section 1a:
// single scores of 3) asks for action on one side of it and not on the other.
func TestUrgentBandsEndWhereTheChartSays(t *testing.T) {
	x := newForTest(t)
	for _, c := range []struct {
		say             string
		urgent, regular float64
	}{
		{"Respirations %v.", 8, 9}, {"Respirations %v.", 25, 24}, {"Sats %v percent.", 91, 92}, {"Blood pressure %v over 60.", 90, 91},
		{"Blood pressure %v over 90.", 220, 219}, {"Heart rate %v.", 40, 41}, {"Heart rate %v.", 131, 130}, {"Temp %v celsius.", 35.0, 35.1},
	} {
		for v, want := range map[float64]int{c.urgent: 1, c.regular: 0} {
			text := fmt.Sprintf(c.say, v)
			if got := len(x.Extract(transcript.FromText(text), Options{}).Attention); got != want {
				t.Errorf("%s: %d rules speak, want %d", text, got, want)
			}
		}
	}
}

// The Glasgow coma score's parts go from 1 to 4, 1 to 5 and 1 to 6, its total is
// their sum, from 3 to 15 (shared reference, section 1a: value sets and the
// invariant gcs-total-range of the MII intensive care guide).
func TestComaScoreIsItsPartsSum(t *testing.T) {
	x := newForTest(t)
	for e := 1; e <= 4; e++ {
		for v := 1; v <= 5; v++ {
			for m := 1; m <= 6; m++ {
				got := one(t, x, "vital.coma_score", fmt.Sprintf("E%d V%d M%d.", e, v, m))
				if len(got) != 1 || got[0].Value != finding.Number(float64(e+v+m)) || marksOf(got[0]) != "inferred" {
					t.Fatalf("E%d V%d M%d gave %v", e, v, m, got)
				}
			}
		}
	}
	for text, want := range map[string]string{
		"GCS 15, E4 V5 M6.": "", "GCS 14, E4 V5 M6.": "conflict", "GCS 15.": "", "GCS 3.": "", "GCS 2.": "implausible", "GCS 16.": "implausible",
		"GCS 13, E5 V4 M4.": "implausible", "GCS 10, E3 V T M6.": "unsure_value",
	} {
		if got := one(t, x, "vital.coma_score", text); len(got) != 1 || marksOf(got[0]) != want {
			t.Errorf("%s: marks %q, want %q", text, marksOf(got[0]), want)
		}
	}
}

// Pressures and rates are said short: every one of three figures is read back.
func TestHundredsSaidShort(t *testing.T) {
	x := newForTest(t)
	ones := strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens := strings.Fields("x x twenty thirty forty fifty sixty seventy eighty ninety")
	say := func(n int) string {
		h, r := ones[n/100], n%100
		switch {
		case r < 10:
			return h + " oh " + ones[r]
		case r < 20:
			return h + " " + ones[r]
		case r%10 == 0:
			return h + " " + tens[r/10]
		}
		return h + " " + tens[r/10] + " " + ones[r%10]
	}
	for n := 101; n < 250; n++ {
		if n%100 == 0 {
			continue
		}
		text := "Blood pressure " + say(n) + " over ninety, heart rate " + say(n) + "."
		if got := one(t, x, "vital.blood_pressure", text); len(got) != 1 || got[0].Value != finding.Pair(float64(n), 90) {
			t.Errorf("%s: %v", text, got)
		}
		if got := one(t, x, "vital.pulse", text); len(got) != 1 || got[0].Value != finding.Number(float64(n)) {
			t.Errorf("%s: %v", text, got)
		}
	}
}

// Kinds that no built-in pack uses: a site's pack may.
func TestTimeTextAndList(t *testing.T) {
	pack := `name = "site"
version = "1"
[[region]]
id = "history"
title = "History"
body = true
[[finding]]
id = "history.last_meal"
region = "history"
sides = "none"
kind = "time"
asked = "if_indicated"
names = ["last meal", "last ate"]
[[finding]]
id = "history.complaint"
region = "history"
sides = "none"
kind = "text"
asked = "if_indicated"
names = ["chief complaint"]
[[finding]]
id = "history.allergies"
region = "history"
sides = "none"
kind = "list"
asked = "if_indicated"
names = ["allergic to"]
`
	lex, err := lexicon.With(lexicon.File{Name: "site.toml", Data: []byte(pack)})
	if err != nil {
		t.Fatal(err)
	}
	x := New(lex)
	for _, c := range []struct{ id, text, value, marks string }{
		{"last_meal", "Last meal at fourteen twenty. Trachea midline.", "14:20", ""},
		{"last_meal", "Last meal 0630.", "06:30", ""},
		{"last_meal", "Last ate at 18:05.", "18:05", ""},
		{"last_meal", "Last ate at two thirty pm.", "14:30", ""},
		{"last_meal", "Last ate at two thirty.", "02:30", "unsure_value"},
		{"last_meal", "Last meal oh six hundred.", "06:00", ""},
		{"complaint", "Chief complaint is a Sore throat for two days. Trachea midline.", "a Sore throat for two days", ""},
		{"allergies", "She is allergic to penicillin, latex and shellfish.", "penicillin, latex, shellfish", ""},
	} {
		got := one(t, x, "history."+c.id, c.text)
		if len(got) != 1 || got[0].Value.String() != c.value || marksOf(got[0]) != c.marks {
			t.Errorf("%s: %d findings", c.text, len(got))
			for _, f := range got {
				t.Errorf("  %s, marks %q, want %s, %q", f.Value, marksOf(f), c.value, c.marks)
			}
		}
	}
	if l, ok := one(t, x, "history.allergies", "Allergic to latex and bees.")[0].Value.List(); !ok || len(l) != 2 {
		t.Errorf("list %v", l)
	}
}

// A head and neck examination does not list vital signs as left out, and vital
// signs alone do not list the head and neck.
func TestScopeOfVitalSigns(t *testing.T) {
	x := newForTest(t)
	count := func(text, exam string) (vital, other int) {
		for _, m := range x.Extract(transcript.FromText(text), Options{Exam: exam}).Unmentioned {
			if strings.HasPrefix(m.ID, "vital.") {
				vital++
			} else {
				other++
			}
		}
		return vital, other
	}
	for _, c := range []struct {
		text, exam   string
		vital, other bool
	}{
		{"Trachea midline.", "", false, true},
		{"Trachea midline. Blood pressure 120 over 80.", "", false, true},
		{"Blood pressure 120 over 80.", "", true, false},
		{"Vitals: blood pressure 120 over 80. Trachea midline.", "", true, true},
		{"Trachea midline. I will get her vitals later.", "", false, true},
		{"Trachea midline.", "vital-signs", true, false},
		{"Blood pressure 120 over 80.", "head-and-neck", false, true},
		{"", "", false, true},
	} {
		v, o := count(c.text, c.exam)
		if (v > 0) != c.vital || (o > 0) != c.other {
			t.Errorf("%q, exam %q: %d vital signs and %d others not mentioned", c.text, c.exam, v, o)
		}
	}
}
