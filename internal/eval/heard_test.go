package eval

import (
	"context"
	"testing"

	"bedsaid/internal/corpus"
	"bedsaid/lexicon"
)

// What a recognizer leaves of the corpus's examinations is understood worse than
// what was written, and no worse than this. F1 only rises, the counts only fall.
func TestAsHeard(t *testing.T) {
	cases, err := corpus.Load("../../testdata/cases/narration")
	if err != nil {
		t.Fatal(err)
	}
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		way                       string
		f1                        float64
		falseExpected, wrongValue int // without a mark
	}{
		{"bare", 0.843, 107, 156},
		{"lines", 0.911, 53, 101},
		{"guessed", 0.867, 77, 136},
	} {
		heard := make([]corpus.Case, len(cases))
		for i, c := range cases {
			var ok bool
			if heard[i], ok = Heard(want.way, c); !ok {
				t.Fatalf("no way %q", want.way)
			}
		}
		results, err := Cases(context.Background(), lex, heard, Judged(lex, heard))
		if err != nil {
			t.Fatal(err)
		}
		g := Sum(ByPhenomenon(results))
		t.Logf("%s: F1 %.4f, false expected without a mark %d, wrong value %d; words out of place %d", want.way, g.F1(), g.FalseExpectedUnmarked, g.WrongValueUnmarked, g.Misplaced)
		if g.F1() < want.f1 || g.FalseExpectedUnmarked > want.falseExpected || g.WrongValueUnmarked > want.wrongValue || g.Misplaced > 0 {
			t.Errorf("%s: worse than F1 %.3f, false expected %d, wrong value %d", want.way, want.f1, want.falseExpected, want.wrongValue)
		}
	}
}
