package eval

import (
	"os"
	"strings"
	"testing"

	"bedsaid/internal/extract"
	"bedsaid/lexicon"
)

// The floor of the half of the NegEx test kit that is beside this checkout
// (chapmanbe/negex at d136b97, Annotations-1-120-random.txt; Chapman et al.
// 2001, doi 10.1006/jbin.2001.1029). The kit's own reference code reaches 0.956
// on the whole of it.
const negationFloor = 0.98

func TestNegations(t *testing.T) {
	f, err := os.Open("../../../shared/data/negex/annotations-first-half.tsv")
	if err != nil {
		t.Skip("skipped: the NegEx test kit is not beside this checkout")
	}
	defer f.Close()
	rows, err := ReadNegations(f)
	if err != nil {
		t.Fatal(err)
	}
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	a := Negations(extract.New(lex), rows, nil)
	t.Logf("%d rows: precision %.4f, recall %.4f, F1 %.4f", len(rows), a.Precision(), a.Recall(), a.F1())
	if a.F1() < negationFloor {
		t.Errorf("F1 %.4f fell below the floor %.2f", a.F1(), negationFloor)
	}
}

// Rows of our own in the kit's form.
func TestReadNegations(t *testing.T) {
	rows, err := ReadNegations(strings.NewReader("1\tPE\tThe PE's of old; now no PE.\tNegated\r\n" +
		"2\tmild   cough\t\"He has a \"\"dry\"\" MILD   COUGH, no fever.\"\tAffirmed\n3\tred. Sore\tEye RED.\tAffirmed\n4\tgone\tNothing here.\tAffirmed\n"))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range rows {
		got = append(got, r.Text.Quote(r.Phrase))
	}
	if s := strings.Join(got, "|"); s != "PE.|MILD COUGH,|RED.|" {
		t.Errorf("phrases %q", s)
	}
	if !rows[0].Denied || rows[1].Denied {
		t.Error("labels")
	}
	for _, bad := range []string{"", "1\ta\tb\n", "1\ta\ta\tNegated\n2\tb\tb\tmaybe\n"} {
		if _, err := ReadNegations(strings.NewReader(bad)); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}
