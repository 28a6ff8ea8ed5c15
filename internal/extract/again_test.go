package extract

import (
	"testing"

	"bedsaid/internal/finding"
)

// What the rules say of each finding on its own is what they said when the note
// was drafted, so that a correction neither loses an alert nor invents one.
func TestAttentionOfOneFinding(t *testing.T) {
	x := newForTest(t)
	alerts := 0
	for _, c := range loadCases(t, "../../testdata/cases") {
		tr := c.Transcript()
		set := x.Extract(tr, Options{})
		var want, got []finding.Attention
		for _, a := range set.Attention {
			if a.ID != "" {
				want = append(want, a)
			}
		}
		for _, f := range set.Findings {
			for _, a := range x.Attention(tr, f) {
				if !has(got, a) {
					got = append(got, a)
				}
			}
		}
		for _, a := range want {
			if !has(got, a) {
				t.Errorf("%s: %s (%v) was said of the draft, and not of its finding", c.ID, a.ID, a.Urgency)
			}
		}
		for _, a := range got {
			if !has(want, a) {
				t.Errorf("%s: %s (%v) is said of its finding, and was not of the draft", c.ID, a.ID, a.Urgency)
			}
		}
		alerts += len(want)
	}
	if alerts < 50 {
		t.Errorf("%d alerts in all cases", alerts)
	}
	// A finding that a person typed rests on no words.
	tr := loadCases(t, "../../testdata/cases")[0].Transcript()
	typed := finding.Finding{ID: "neck.trachea", Status: finding.Assessed, Value: finding.Word("deviated"), Side: finding.Left, Source: finding.Observed}
	if got := x.Attention(tr, typed); len(got) != 1 || got[0].Urgency != finding.Now || got[0].Evidence != nil {
		t.Errorf("%v", got)
	}
	typed.Value, typed.Side = finding.Word("midline"), finding.NoSide
	if got := x.Attention(tr, typed); got == nil || len(got) != 0 {
		t.Errorf("%v", got)
	}
}

func has(all []finding.Attention, a finding.Attention) bool {
	for _, o := range all {
		if sameLine(o, a) && o.Same(a) {
			return true
		}
	}
	return false
}
