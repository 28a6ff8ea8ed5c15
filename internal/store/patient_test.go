package store

import (
	"slices"
	"testing"
	"time"

	"bedsaid/internal/review"
)

// Signed notes of the same patient are found by both identifiers, whatever their
// order, case and spacing; later, unsigned and other patients' ones are not.
func TestSignedBefore(t *testing.T) {
	x, _ := fresh(t)
	open := func(days int, patient ...Identifier) Encounter {
		t.Helper()
		d := details()
		d.ExaminedAt = d.ExaminedAt.AddDate(0, 0, days)
		if len(patient) == 2 {
			d.Patient = [2]Identifier{patient[0], patient[1]}
		}
		e, err := x.NewEncounter(bg, d)
		ok(t, err)
		return e
	}
	write := func(e Encounter, sign bool) string {
		t.Helper()
		n, err := x.SaveDraft(bg, e.ID, "", draft())
		ok(t, err)
		if !sign {
			return n.ID
		}
		_, err = x.Decide(bg, n.ID, 0, review.Decision{Kind: review.Accept, Line: "f1"})
		ok(t, err)
		_, err = x.Decide(bg, n.ID, 1, review.Decision{Kind: review.Reject, Line: "f2"})
		ok(t, err)
		_, err = x.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{Passphrase: passphrase, Confirmed: Confirmed{e.Patient[0].Value, e.Patient[1].Value}})
		ok(t, err)
		return n.ID
	}
	turned := open(-2, Identifier{"Date of Birth", "1900-02-30"}, Identifier{"record number", "qx-4471 "})
	first := write(open(-3), true)
	second := write(turned, true)
	write(open(-1), false)
	write(open(-1, Identifier{"record number", "QX-4472"}, Identifier{"date of birth", "1900-02-30"}), true)
	here := open(0)
	same := write(here, true)
	this := write(here, false)
	write(open(1), true)
	all, err := x.SignedBefore(bg, this)
	ok(t, err)
	var got []string
	for _, n := range all {
		got = append(got, n.ID)
		if n.Of.ExaminedAt.After(here.ExaminedAt) || n.Of.ExaminedAt.Before(here.ExaminedAt.Add(-100*24*time.Hour)) {
			t.Errorf("a note of the wrong time: %v", n.Of.ExaminedAt)
		}
	}
	if want := []string{same, second, first}; !slices.Equal(got, want) {
		t.Errorf("found %v, want %v", got, want)
	}
	_, err = x.SignedBefore(bg, "n000")
	is(t, err, ErrNotFound)
}

// A survey reads every note of the newest encounters, and the log tells of it
// once.
func TestSurvey(t *testing.T) {
	x, _ := fresh(t)
	var want []string
	for range 3 {
		e := encounter(t, x)
		n, err := x.SaveDraft(bg, e.ID, "", draft())
		ok(t, err)
		want = append([]string{n.ID}, want...)
	}
	var got []string
	ok(t, x.Survey(bg, 2, func(i NoteInfo, n review.Note) error {
		if len(n.Lines()) != 2 {
			t.Errorf("%d lines", len(n.Lines()))
		}
		got = append(got, i.ID)
		return nil
	}))
	if !slices.Equal(got, want[:2]) {
		t.Errorf("read %v, want %v", got, want[:2])
	}
	acts := map[Act]int{}
	ok(t, x.Log(bg, func(e Event) error { acts[e.Act]++; return nil }))
	if acts[ActSurveyed] != 1 || acts[ActViewed] != 0 {
		t.Errorf("the log tells of %v", acts)
	}
	is(t, x.Survey(bg, 9, func(NoteInfo, review.Note) error { return ErrNotFound }), ErrNotFound)
}

// A draft that was read is kept for the next reading; what is altered on the disk
// meanwhile is refused all the same, and one that was not used lately is read anew.
func TestKeptDrafts(t *testing.T) {
	x, _ := fresh(t)
	e := encounter(t, x)
	var ids []string
	for range keptDrafts + 2 {
		n, err := x.SaveDraft(bg, e.ID, "", draft())
		ok(t, err)
		ids = append(ids, n.ID)
		_, err = x.Note(bg, n.ID)
		ok(t, err)
	}
	if n := len(x.s.drafts.all); n != keptDrafts {
		t.Errorf("%d drafts are kept, want %d", n, keptDrafts)
	}
	for _, id := range ids {
		n, err := x.Note(bg, id)
		ok(t, err)
		if len(n.Lines()) != 2 || n.Draft().Transcript.Text() != draft().Transcript.Text() {
			t.Error("another draft came back")
		}
	}
	last := ids[len(ids)-1]
	ok(t, x.s.write(bg, func(t *tx) error {
		return t.exec("UPDATE drafts SET body = x'00' WHERE id = (SELECT draft FROM notes WHERE id = ?)", last)
	}))
	_, err := x.Note(bg, last)
	is(t, err, ErrDamaged)
	ok(t, x.Close())
	if len(x.s.drafts.all) > 0 {
		t.Error("drafts are in memory after the record was closed")
	}
}
