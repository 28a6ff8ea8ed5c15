package extract

import (
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
)

func TestWordsOfDangerAreQuoted(t *testing.T) {
	x := newForTest(t)
	for _, text := range []string{
		"I can't breathe, nurse.", "He says he has chest pain.", "This is the worst headache I ever had.", "Nurse, I can't see.",
		"I just want to die.", "My husband hits me at home.", "I am allergic to penicillin.", "My throat is closing up.", "I can't see out of my left eye.",
	} {
		set := x.Extract(transcript.FromText(text), Options{})
		quoted := false
		for _, a := range set.Attention {
			quoted = quoted || a.ID == "" && a.Urgency == finding.Now && len(a.Evidence) > 0
		}
		if !quoted {
			t.Errorf("%q was not quoted", text)
		}
	}
	for _, text := range []string{"Can't see this drum at all.", "Denies chest pain.", "Any chest pain?", "No allergies.", "Pupils equal and round."} {
		for _, a := range x.Extract(transcript.FromText(text), Options{}).Attention {
			if a.ID == "" {
				t.Errorf("%q was quoted as danger", text)
			}
		}
	}
}

func TestAttentionRanksFindings(t *testing.T) {
	x := newForTest(t)
	set := x.Extract(transcript.FromText("There is a node above the right clavicle. Facial droop on the left."), Options{})
	if len(set.Attention) != 2 || set.Attention[0].ID != "face.droop" || set.Attention[1].ID != "node.supraclavicular" {
		t.Errorf("attention %+v", len(set.Attention))
	}
	for _, a := range set.Attention {
		if a.Source == "" || a.Why == "" {
			t.Errorf("%s has no source or reason", a.ID)
		}
	}
}

// A reason said apart belongs to what was left out.
func TestReasonSaidApart(t *testing.T) {
	f, ok := say(newForTest(t), "I am leaving out the gag reflex, because he ate ten minutes ago.")["mouth.gag@=not_assessed"]
	if !ok || f.Reason != "he ate ten minutes ago" {
		t.Errorf("reason %q, found %v", f.Reason, ok)
	}
}
