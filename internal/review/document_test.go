package review_test

import (
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
)

func docOutline() note.Outline {
	return note.NewOutline([]note.Region{{ID: "n"}}, []note.Item{{ID: "neck.trachea", Region: "n"}, {ID: "ear.drum_seen", Region: "n"}, {ID: "neck.mass", Region: "n"}})
}

func document(n review.Note) note.Document { return n.Document(note.Head{ID: "n1"}, docOutline()) }

// signed accepts the trachea, gives the drum its side and signs.
func signed(t *testing.T) review.Note {
	t.Helper()
	left := drum()
	left.Side, left.Marks = finding.Left, nil
	return apply(t, review.Begin(draft(), nurse), by(nurse,
		review.Decision{Kind: review.Accept, Line: "f1"},
		review.Decision{Kind: review.Change, Line: "f2", Finding: left, Resolves: []finding.MarkKind{finding.UnsureSide, finding.UnclearAudio}},
		review.Decision{Kind: review.Sign})...)
}

func TestDocumentOfANoteThatNobodySigned(t *testing.T) {
	n := apply(t, review.Begin(draft(), nurse), by(nurse, review.Decision{Kind: review.Reject, Line: "f2", Why: "not seen"})...)
	doc := document(n)
	if doc.Head.Status != note.Preliminary || doc.Head.Signatures != nil || doc.Head.Author.Name != "Nurse One" {
		t.Errorf("head %+v", doc.Head.Status)
	}
	if fs := doc.Draft.Findings(); len(fs) != 1 || fs[0].ID != "neck.trachea" {
		t.Errorf("%d findings stand", len(fs))
	}
	if len(doc.Decisions) != 1 || doc.Decisions[0].Kind != note.Removed || doc.Decisions[0].Was != "seen" {
		t.Errorf("decisions %d", len(doc.Decisions))
	}
}

func TestDocumentOfASignedNote(t *testing.T) {
	doc := document(signed(t))
	if doc.Head.Status != note.Final || len(doc.Head.Signatures) != 1 || doc.Head.Signatures[0].By.Name != "Nurse One" || doc.Head.Signatures[0].At.IsZero() || doc.Head.Watermark() != "" {
		t.Errorf("status %v, %d signatures", doc.Head.Status, len(doc.Head.Signatures))
	}
	fs := doc.Draft.Findings()
	if len(fs) != 2 || fs[1].Side != finding.Left || len(fs[1].Marks) != 0 {
		t.Errorf("findings do not stand as decided: %d", len(fs))
	}
	if len(doc.Decisions) != 2 || doc.Decisions[0].Kind != note.Confirmed || doc.Decisions[1].Kind != note.Corrected {
		t.Errorf("decisions %v", doc.Decisions)
	}
}

// While an amendment is open, what was signed goes out, and not what is being
// changed; signed again it replaces the earlier version.
func TestDocumentOfAnAmendment(t *testing.T) {
	amend := by(nurse, review.Decision{Kind: review.Amend, Why: "other side"})
	amend[0].At = noon.Add(time.Hour)
	right := drum()
	right.Side, right.Marks = finding.Right, nil
	change := by(nurse, review.Decision{Kind: review.Change, Line: "f2", Finding: right, Why: "looked again"})
	change[0].At = noon.Add(2 * time.Hour)
	open := apply(t, apply(t, signed(t), amend...), change...)
	doc := document(open)
	if doc.Head.Status != note.Final || doc.Draft.Findings()[1].Side != finding.Left {
		t.Errorf("status %v, side %v: what is not signed went out", doc.Head.Status, doc.Draft.Findings()[1].Side)
	}
	sign := by(nurse, review.Decision{Kind: review.Sign})
	sign[0].At = noon.Add(3 * time.Hour)
	doc = document(apply(t, open, sign...))
	if doc.Head.Status != note.Amended || doc.Draft.Findings()[1].Side != finding.Right || doc.Head.ID != "n1, version 2" {
		t.Errorf("status %v, id %q", doc.Head.Status, doc.Head.ID)
	}
	if r := doc.Head.Relations; len(r) != 1 || r[0] != (note.Relation{Kind: note.Replaces, Note: "n1, version 1"}) {
		t.Errorf("relations %v", r)
	}
}

func TestDocumentHoldsAddenda(t *testing.T) {
	late := by(nurse, review.Decision{Kind: review.Addendum, Text: "Looked again: no change.", Why: "asked", ObservedAt: noon.Add(-6 * time.Hour)})
	late[0].At = noon.Add(time.Hour)
	doc := document(apply(t, signed(t), late...))
	if len(doc.Head.Addenda) != 1 || doc.Head.Addenda[0].Text != "Late entry, observed 2031-02-03 06:00 +00:00: Looked again: no change." || doc.Head.Status != note.Amended {
		t.Errorf("%d addenda, status %v", len(doc.Head.Addenda), doc.Head.Status)
	}
}

// What a person charted is no longer missing, and what was struck wants no action.
func TestDocumentFollowsTheDecisions(t *testing.T) {
	d := note.Compose(note.Source{}, finding.Set{
		Findings:    []finding.Finding{midline()},
		Unmentioned: []finding.Missing{{ID: "neck.mass"}},
		Attention:   []finding.Attention{{ID: "neck.trachea", Urgency: finding.Now}, {Urgency: finding.Now}},
	}, docOutline())
	mass := finding.Finding{ID: "neck.mass", Status: finding.Assessed, Value: finding.Word("absent"), Source: finding.Observed}
	doc := document(apply(t, review.Begin(d, nurse), by(nurse,
		review.Decision{Kind: review.Reject, Line: "f1"}, review.Decision{Kind: review.Add, Finding: mass})...))
	if len(doc.Draft.Unmentioned()) != 0 || len(doc.Draft.Attention) != 1 || doc.Draft.Attention[0].ID != "" {
		t.Errorf("%d missing, %d want action", len(doc.Draft.Unmentioned()), len(doc.Draft.Attention))
	}
	if fs := doc.Draft.Findings(); len(fs) != 1 || fs[0].ID != "neck.mass" {
		t.Errorf("%d findings", len(fs))
	}
}
