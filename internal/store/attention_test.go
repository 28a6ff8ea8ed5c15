package store

import (
	"errors"
	"slices"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// A rule that speaks of a deviated trachea.
func deviatedRule(_ transcript.Transcript, f finding.Finding) []finding.Attention {
	if f.ID == "neck.trachea" && f.Value.String() == "deviated" {
		return []finding.Attention{{ID: f.ID, Side: f.Side, Why: "trachea not midline", Urgency: finding.Now, Source: "a rule of this test", Evidence: f.Evidence}}
	}
	return nil
}

// What the rules say of a correction is kept with the decision: other rules, or
// none, read it alike afterwards, and it stands against the signature.
func TestAttentionIsKeptWithTheDecision(t *testing.T) {
	x, _ := fresh(t)
	x.s.opt.Attention = deviatedRule
	n, err := x.SaveDraft(bg, encounter(t, x).ID, "", draft())
	ok(t, err)
	bad := draft().Findings()[0]
	bad.Value, bad.Side, bad.Evidence = finding.Word("deviated"), finding.Left, nil // its words stay those of the line
	added := bad
	added.Side = finding.Right
	for i, d := range []review.Decision{
		{Kind: review.Change, Line: "f1", Finding: bad},
		{Kind: review.Reject, Line: "f2"},
		{Kind: review.Add, Finding: added},
		{Kind: review.Reject, Line: "a3"},
		{Kind: review.Accept, Line: "a3"},
		{Kind: review.Accept, Line: "f1"},
	} {
		_, err := x.Decide(bg, n.ID, i, d)
		ok(t, err)
	}
	var rule *review.RuleError
	_, err = x.Sign(bg, n.ID, 6, review.Decision{Kind: review.Sign}, Signing{passphrase, wristband})
	if !errors.As(err, &rule) || rule.Rule != review.Unfinished || len(rule.Open) != 2 {
		t.Fatalf("%v", err)
	}
	dir := x.s.dir
	ok(t, x.Close())

	x = reopen(t, dir) // no rules at all
	got, err := x.Note(bg, n.ID)
	ok(t, err)
	a := got.Actions()
	if len(a) != 2 || a[0].Line != "f1" || a[0].Side != finding.Left || !slices.Equal(a[0].Evidence, []transcript.Span{{Start: 0, End: 3}}) ||
		a[1].Line != "a3" || a[1].Side != finding.Right || a[1].Evidence != nil || a[1].Source != "a rule of this test" || a[0].Ended || a[1].Ended {
		t.Errorf("%v: %d actions", got, len(a))
	}
	closing := review.Closing{Handling: review.Told, To: "the doctor on call", At: x.s.opt.Now()}
	for i := range 2 {
		_, err := x.Decide(bg, n.ID, 6+i, review.Decision{Kind: review.Close, Index: i, Closing: closing})
		ok(t, err)
	}
	// Changed to what is no alarm, with the rules at hand again: what was told stays.
	x.s.opt.Attention = deviatedRule
	good := draft().Findings()[0]
	_, err = x.Decide(bg, n.ID, 8, review.Decision{Kind: review.Change, Line: "f1", Finding: good})
	ok(t, err)
	// A caller's own idea of the rules does not count.
	_, err = x.Decide(bg, n.ID, 9, review.Decision{Kind: review.Change, Line: "f1", Finding: good, Attention: deviatedRule(transcript.Transcript{}, bad)})
	ok(t, err)
	signed, err := x.Sign(bg, n.ID, 10, review.Decision{Kind: review.Sign}, Signing{passphrase, wristband})
	ok(t, err)
	if a := signed.Actions(); len(a) != 2 || !a[0].Ended || !a[0].Closed() || a[0].Gone() {
		t.Errorf("%v", a)
	}
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
}
