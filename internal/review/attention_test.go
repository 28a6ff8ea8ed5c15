package review_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// deviated is an alarming trachea, and what the rules say of it.
func deviated() (finding.Finding, finding.Attention) {
	f := midline()
	f.Value, f.Interpretation = finding.Word("deviated"), finding.Unexpected
	return f, finding.Attention{ID: f.ID, Why: "trachea not midline", Urgency: finding.Now, Evidence: f.Evidence}
}

// alarmed is the note of a draft with one alert of a finding and one of words.
func alarmed() review.Note {
	t := transcript.FromText("Trachea is deviated. I cannot breathe.")
	f, a := deviated()
	words := finding.Attention{Why: "the patient's words", Urgency: finding.Now, Evidence: []transcript.Span{{Start: 3, End: 6}}}
	return review.Begin(note.Compose(note.Source{Transcript: t}, finding.Set{Findings: []finding.Finding{f}, Attention: []finding.Attention{a, words}}, docOutline()), nurse)
}

// told closes the action of that index.
func told(i int) review.Decision {
	return review.Decision{Kind: review.Close, Index: i, Closing: review.Closing{Handling: review.Told, To: "the doctor on call", At: noon.Add(-time.Minute), ReadBack: true, Answer: "comes now"}}
}

// open gives what stands against signing as needing action.
func open(n review.Note) (all []int) {
	for _, o := range n.Obstacles() {
		if o.Kind == review.NotClosed {
			all = append(all, o.Index)
		}
	}
	return all
}

func exported(n review.Note) (all []string) {
	for _, a := range document(n).Draft.Attention {
		all = append(all, a.Why+"|"+a.Handled)
	}
	return all
}

func TestAlertsFollowWhatStands(t *testing.T) {
	none := []finding.Attention{}
	bad, alert := deviated()
	left := alert
	left.Why = "trachea far from midline"
	change := func(f finding.Finding, says []finding.Attention) review.Decision {
		return review.Decision{Kind: review.Change, Line: "f1", Finding: f, Attention: says}
	}
	add := review.Decision{Kind: review.Add, Finding: bad, Attention: []finding.Attention{left}}
	const byNurse = ` (Nurse One, 2031-02-03 12:00 +00:00)`
	const handled = `told the doctor on call, 2031-02-03 11:59 +00:00, read back, answer: "comes now"` + byNurse
	undo := review.Decision{Kind: review.Undo}
	for _, c := range []struct {
		name string
		ds   []review.Decision
		open []int
		goes []string // what an export says
	}{
		{"nothing decided", nil, []int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"changed to what is no alarm", []review.Decision{change(midline(), none)}, []int{1}, []string{"the patient's words|"}},
		{"changed, and nobody asked the rules", []review.Decision{change(midline(), nil)}, []int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"changed to what is an alarm by the same rule", []review.Decision{told(0), change(bad, []finding.Attention{alert})}, []int{1},
			[]string{"trachea not midline|" + handled, "the patient's words|"}},
		{"changed to what is an alarm by another", []review.Decision{change(bad, []finding.Attention{left})}, []int{1, 2}, []string{"trachea far from midline|", "the patient's words|"}},
		{"told of, then changed", []review.Decision{told(0), change(midline(), none)}, []int{1},
			[]string{"trachea not midline|" + handled + "; the finding was changed or struck afterwards", "the patient's words|"}},
		{"struck", []review.Decision{{Kind: review.Reject, Line: "f1"}}, []int{1}, []string{"the patient's words|"}},
		{"not assessed after all", []review.Decision{{Kind: review.NotAssessed, Line: "f1", Why: "dressing"}}, []int{1}, []string{"the patient's words|"}},
		{"struck and accepted again", []review.Decision{{Kind: review.Reject, Line: "f1"}, {Kind: review.Accept, Line: "f1", Attention: []finding.Attention{alert}}},
			[]int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"struck and accepted again, and nobody asked the rules", []review.Decision{{Kind: review.Reject, Line: "f1"}, {Kind: review.Accept, Line: "f1"}},
			[]int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"struck, and that taken back", []review.Decision{{Kind: review.Reject, Line: "f1"}, undo}, []int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"accepted", []review.Decision{{Kind: review.Accept, Line: "f1"}}, []int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"added", []review.Decision{add}, []int{0, 1, 2}, []string{"trachea not midline|", "trachea far from midline|", "the patient's words|"}},
		{"added, and taken back", []review.Decision{add, undo}, []int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"added and struck", []review.Decision{add, {Kind: review.Reject, Line: "a1"}}, []int{0, 1}, []string{"trachea not midline|", "the patient's words|"}},
		{"known, and does not apply", []review.Decision{{Kind: review.Close, Index: 0, Why: "old scar", Closing: review.Closing{Handling: review.AlreadyKnown}},
			{Kind: review.Close, Index: 1, Why: "a jest", Closing: review.Closing{Handling: review.NotApplicable}}}, nil,
			[]string{`trachea not midline|known before: "old scar"` + byNurse, `the patient's words|does not apply: "a jest"` + byNurse}},
	} {
		n := alarmed()
		for _, d := range c.ds {
			n = apply(t, n, by(nurse, d)...)
		}
		if got := open(n); !reflect.DeepEqual(got, c.open) {
			t.Errorf("%s: open %v, want %v", c.name, got, c.open)
		}
		if got := exported(n); !reflect.DeepEqual(got, c.goes) {
			t.Errorf("%s: an export says\n %s\nwant\n %s", c.name, strings.Join(got, "\n "), strings.Join(c.goes, "\n "))
		}
		again, err := review.Replay(n.Draft(), nurse, n.Decisions())
		if err != nil || !reflect.DeepEqual(again, n) {
			t.Errorf("%s: replay differs: %v", c.name, err)
		}
	}
}

// An alert that a correction raises stands against signing, and what was signed
// keeps its alerts and closings while an amendment changes them.
func TestAlertsOfSignedVersions(t *testing.T) {
	bad, alert := deviated()
	n := apply(t, alarmed(), by(nurse, review.Decision{Kind: review.Change, Line: "f1", Finding: midline(), Attention: []finding.Attention{}}, told(1), review.Decision{Kind: review.Sign})...)
	if got := exported(n); len(got) != 1 || !strings.HasPrefix(got[0], "the patient's words|told") {
		t.Fatalf("%v", got)
	}
	before := exported(n)
	n = apply(t, n, by(nurse, review.Decision{Kind: review.Amend, Why: "it was deviated"},
		review.Decision{Kind: review.Change, Line: "f1", Finding: bad, Attention: []finding.Attention{alert}, Why: "heard again"})...)
	if got := exported(n); !reflect.DeepEqual(got, before) {
		t.Errorf("while the amendment is open %v goes out", got)
	}
	refused(t, n, by(nurse, review.Decision{Kind: review.Sign})[0], review.Unfinished)
	n = apply(t, n, by(nurse, told(0), review.Decision{Kind: review.Sign})...)
	if got := exported(n); len(got) != 2 {
		t.Errorf("%v", got)
	}
	if v := n.Versions(); !v[0].Actions[0].Gone() || v[1].Actions[0].Gone() {
		t.Error("the first version's alerts were changed by the second")
	}
}

// Every signature goes out: the student's, the preceptor's, and those of the
// amendment with its reason.
func TestDocumentNamesEverySignature(t *testing.T) {
	n := apply(t, review.Begin(draft(), student), by(student, append(decideAll[:len(decideAll):len(decideAll)], review.Decision{Kind: review.Sign})...)...)
	if got := document(n).Head.Signatures; got != nil {
		t.Errorf("%d signatures of a note that waits", len(got))
	}
	n = apply(t, n, by(preceptor, review.Decision{Kind: review.CoSign})...)
	n = apply(t, n, by(student, review.Decision{Kind: review.Amend, Why: "the other side"}, review.Decision{Kind: review.Reject, Line: "f2", Why: "not seen"}, review.Decision{Kind: review.Sign})...)
	n = apply(t, n, by(preceptor, review.Decision{Kind: review.CoSign})...)
	var got []string
	for _, s := range document(n).Head.Signatures {
		how := "signed"
		if s.CoSign {
			how = "co-signed"
		}
		got = append(got, s.By.Name+", "+s.By.Credentials+" "+how+" "+string(rune('0'+s.Version))+" "+s.Why)
	}
	want := []string{"Student Three, SN signed 1 ", "Nurse Four, MSN, RN co-signed 1 ", "Student Three, SN signed 2 the other side", "Nurse Four, MSN, RN co-signed 2 the other side"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%q", got)
	}
}
