package extract

import (
	"fmt"
	"strings"
	"testing"

	"bedsaid/internal/transcript"
)

func TestExplainTellsEachStage(t *testing.T) {
	x := newForTest(t)
	var got []string
	x.Explain(transcript.FromText("Carotids, right two plus, soft bruit on the left. I am going to check the gag. Pupils three, no, four."), Options{}, func(s Step) {
		got = append(got, fmt.Sprintf("%d|%s|%s", s.Stage, s.Words, s.What))
	})
	all := strings.Join(got, "\n")
	for _, want := range []string{
		"1|Carotids|site carotid", "1|two plus|number 2+", "1|soft|qualifier consistency: soft", "2|right two plus|states",
		"3|two plus|carotid.pulse=2: said of \"Carotids\"; right was said", "3|bruit|carotid.bruit=present",
		"2|I am going to check the gag|is a plan", "eye.pupil_size=3 gave way",
	} {
		if !strings.Contains(all, want) {
			t.Errorf("lacks %s", want)
		}
	}
	if t.Failed() {
		t.Log(all)
	}
}

// Explaining changes nothing, and every act has its words.
func TestExplainGivesWhatExtractGives(t *testing.T) {
	x := newForTest(t)
	for _, c := range loadCases(t, "../../testdata/cases") {
		tr := transcript.FromText(c.Text)
		a := x.Extract(tr, Options{})
		b := x.Explain(tr, Options{}, func(s Step) {
			if s.Stage == StageUnknown || s.What == "" {
				t.Errorf("%s: a step says nothing", c.ID)
			}
		})
		if len(a.Findings) != len(b.Findings) || len(a.LeftOut) != len(b.LeftOut) {
			t.Errorf("%s: explained otherwise", c.ID)
		}
	}
}
