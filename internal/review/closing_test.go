package review_test

import (
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// Talk that was not understood and what needs action stand against signing
// until the author decided on each.
func TestTalkAndActionsStandAgainstSigning(t *testing.T) {
	words := transcript.FromText("I cannot breathe. Wobble the flange.")
	set := finding.Set{
		LeftOut:   []finding.LeftOut{{Why: finding.SmallTalk, Span: transcript.Span{Start: 0, End: 3}}, {Why: finding.Unrecognized, Span: transcript.Span{Start: 3, End: 6}}},
		Attention: []finding.Attention{{Why: "cannot breathe", Urgency: finding.Now, Evidence: []transcript.Span{{Start: 0, End: 3}}}},
	}
	n := review.Begin(note.Compose(note.Source{Transcript: words}, set, note.Outline{}), nurse)
	if got := n.Obstacles(); len(got) != 2 || got[0].Kind != review.NotRead || got[1].Kind != review.NotClosed || len(n.Talk()) != 1 {
		t.Fatalf("obstacles %v, want the talk and the action", got)
	}
	closing := func(d review.Decision) review.Decision {
		d.Kind = review.Close
		return by(nurse, d)[0]
	}
	told := review.Closing{Handling: review.Told, To: "the doctor on call", At: noon.Add(-time.Minute), ReadBack: true, Answer: "comes now"}
	late := told
	late.At = noon.Add(time.Hour)
	refused(t, n, closing(review.Decision{}), review.NotHandled)
	refused(t, n, closing(review.Decision{Closing: review.Closing{Handling: review.Told, At: noon}}), review.NotHandled)
	refused(t, n, closing(review.Decision{Closing: review.Closing{Handling: review.Told, To: "x"}}), review.NotHandled)
	refused(t, n, closing(review.Decision{Closing: late}), review.FutureTime)
	refused(t, n, closing(review.Decision{Closing: review.Closing{Handling: review.NotApplicable}}), review.NoReason)
	refused(t, n, closing(review.Decision{Closing: told, Index: 1}), review.NoAction)
	refused(t, n, by(nurse, review.Decision{Kind: review.Read, Index: 1})[0], review.NoTalk)
	refused(t, n, by(other, review.Decision{Kind: review.Read})[0], review.NotAuthor)
	n = apply(t, n, by(nurse, review.Decision{Kind: review.Read})[0], closing(review.Decision{Closing: told}))
	if got := n.Obstacles(); len(got) != 0 || n.Actions()[0].Closing != told || !n.Talk()[0].Read {
		t.Errorf("after both were decided: %v", got)
	}
	n = apply(t, n, by(nurse, review.Decision{Kind: review.Undo})[0])
	if got := n.Obstacles(); len(got) != 1 || got[0].Kind != review.NotClosed || n.Actions()[0].Closed() {
		t.Errorf("after undo: %v", got)
	}
	again, err := review.Replay(n.Draft(), nurse, n.Decisions())
	if err != nil || again.Actions()[0].Closed() {
		t.Errorf("replay: %v", err)
	}
}
