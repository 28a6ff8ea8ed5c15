package note

import (
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
)

// Nobody signs by exporting: a draft stays preliminary whatever its head says.
func TestDocumentOfADraftIsPreliminary(t *testing.T) {
	at := time.Unix(1e9, 0)
	d := Draft{Provenance: Provenance{DraftedAt: at}}
	doc := DocumentOf(d, Head{Status: Final, Signatures: []Signature{{By: Person{Name: "Sample"}, At: at, Version: 1}}})
	if doc.Head.Status != Preliminary || doc.Head.Signatures != nil || doc.Head.Watermark() == "" {
		t.Errorf("head: status %v, watermark %q", doc.Head.Status, doc.Head.Watermark())
	}
	if !doc.Head.EnteredAt.Equal(at) || !doc.Head.ExaminedAt.IsZero() {
		t.Error("times of entry and of examination are wrong")
	}
	if (Head{Status: Final}).Watermark() != "" || (Head{}).Watermark() == "" {
		t.Error("watermark stands where it should not, or lacks where it should stand")
	}
}

func TestWithoutTalkKeepsWhatIsCharted(t *testing.T) {
	words := transcript.FromText("hello there left eye red I can not breathe bye")
	set := finding.Set{
		Findings:  []finding.Finding{{ID: "a.one", Side: finding.Left, Value: finding.Word("red"), Evidence: []transcript.Span{{Start: 2, End: 5}}}},
		LeftOut:   []finding.LeftOut{{Why: finding.SmallTalk, Span: transcript.Span{Start: 0, End: 2}}},
		Attention: []finding.Attention{{ID: "a.one", Urgency: finding.Prompt, Evidence: []transcript.Span{{Start: 2, End: 5}}}, {Urgency: finding.Now, Evidence: []transcript.Span{{Start: 5, End: 9}}}},
	}
	full := Compose(Source{Transcript: words}, set, outline())
	bare := full.WithoutTalk()
	if got := bare.Transcript.Text(); got != "I can not breathe" {
		t.Errorf("words kept: %q", got)
	}
	if q := bare.Transcript.Quote(bare.Attention[0].Evidence[0]); q != "I can not breathe" {
		t.Errorf("quote of danger: %q", q)
	}
	fs := bare.Findings()
	if len(fs) != 1 || fs[0].Evidence != nil || fs[0].Value != finding.Word("red") || fs[0].Side != finding.Left || len(bare.LeftOut) != 0 {
		t.Errorf("kept %d findings, %d left out", len(fs), len(bare.LeftOut))
	}
	if len(full.Findings()[0].Evidence) != 1 || len(full.Transcript.Words) != 10 || len(full.Attention[1].Evidence) != 1 {
		t.Error("the draft itself was changed")
	}
}
