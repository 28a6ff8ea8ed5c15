package store_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/internal/transcript"
)

// From an examination to a signed note. Everything in it is invented.
func Example() {
	ctx := context.Background()
	base, err := os.MkdirTemp("", "example")
	check(err)
	defer os.RemoveAll(base)
	anna := store.NewUser{Login: "anna", Name: "Anna Example", Credentials: "RN", Role: review.Examiner, Manages: true}
	x, _, err := store.Create(ctx, filepath.Join(base, "record"), anna, "four words nobody guesses", store.Options{Now: time.Now})
	check(err)
	defer x.Close()

	now := time.Now()
	e, err := x.NewEncounter(ctx, store.Details{
		Patient: [2]store.Identifier{{Kind: "record number", Value: "QX-4471"}, {Kind: "date of birth", Value: "1900-02-30"}},
		Bed:     "7B", ExaminedAt: now, Consent: store.Consent{From: "the patient", How: "said aloud", At: now},
	})
	check(err)
	wristband := store.Confirmed{"QX-4471", "1900-02-30"}

	// Sound comes in as it is spoken; what Append was given is safe half a second later.
	w, err := x.StartRecording(ctx, e.ID, wristband)
	check(err)
	for range 10 {
		check(w.Append(ctx, make([]int16, store.Rate/10)))
	}
	check(w.Finish(ctx))

	// The pipeline makes a draft of it (here one is made up); a note begins.
	d := note.Compose(note.Source{Transcript: transcript.FromText("Trachea is midline.")}, finding.Set{Findings: []finding.Finding{{
		ID: "neck.trachea", Status: finding.Assessed, Value: finding.Word("midline"), Source: finding.Observed,
		Evidence: []transcript.Span{{Start: 0, End: 3}}}}}, note.Outline{})
	info, err := x.SaveDraft(ctx, e.ID, w.Recording().ID, d)
	check(err)

	// A page shows the lines, and sends what was decided with how much it had seen.
	n, err := x.Note(ctx, info.ID)
	check(err)
	for _, o := range n.Obstacles() {
		fmt.Println("open:", o.Line)
	}
	seen := n.Len()
	n, err = x.Decide(ctx, info.ID, seen, review.Decision{Kind: review.Accept, Line: "f1"})
	check(err)

	// A second window that had seen as little gets both versions, and changes nothing.
	_, err = x.Decide(ctx, info.ID, seen, review.Decision{Kind: review.Reject, Line: "f1"})
	var conflict *store.ConflictError
	fmt.Println("conflict:", errors.As(err, &conflict))

	n, err = x.Sign(ctx, info.ID, n.Len(), review.Decision{Kind: review.Sign}, store.Signing{Passphrase: "four words nobody guesses", Confirmed: wristband})
	check(err)
	fmt.Println(n.Status(), "by", n.Versions()[0].Signatures[0].By.Name)
	// Output:
	// open: f1
	// conflict: true
	// final by Anna Example
}

func check(err error) {
	if err != nil {
		panic(err)
	}
}
