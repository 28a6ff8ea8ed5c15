package store

import (
	"path/filepath"
	"slices"
	"testing"
	"time"

	"bedsaid/internal/review"
)

// settable is a clock that stands still until it is moved.
type settable struct{ at time.Time }

func (c *settable) now() time.Time { return c.at }

func TestPausesAreKeptWithTheirTimes(t *testing.T) {
	start := time.Date(2031, 2, 3, 4, 0, 0, 0, time.UTC)
	c := &settable{start}
	opt := Options{Now: c.now, Outline: outline(), cost: quick}
	dir := filepath.Join(t.TempDir(), "record")
	x, _, err := Create(bg, dir, anna, passphrase, opt)
	ok(t, err)
	defer func() { x.Close() }()
	e := encounter(t, x)
	w, err := x.StartRecording(bg, e.ID, wristband)
	ok(t, err)
	sound := tone(8)
	ok(t, w.Append(bg, sound[:2*Rate+100])) // 100 of it are not a piece yet
	c.at = start.Add(2 * time.Second)
	ok(t, w.Pause(bg, PauseOffRecord))
	if got := w.Recording().Samples; got != 2*Rate+100 {
		t.Errorf("%d samples are on the disk when it pauses, want all", got)
	}
	c.at = start.Add(62 * time.Second)
	ok(t, w.Resume(bg))
	ok(t, w.Append(bg, sound[2*Rate+100:6*Rate+100]))
	ok(t, x.Close()) // a kill, as the record sees it: nothing is said of a pause

	c.at = start.Add(5 * time.Minute)
	x, err = Open(bg, dir, "anna", passphrase, opt)
	ok(t, err)
	_, err = x.ResumeRecording(bg, w.Recording().ID, wristband)
	ok(t, err)
	got, err := x.Pauses(bg, w.Recording().ID)
	ok(t, err)
	want := []Pause{
		{2*Rate + 100, start.Add(2*time.Second + 100*time.Second/Rate), start.Add(62 * time.Second), PauseOffRecord},
		{6*Rate + 100, start.Add(66 * time.Second), start.Add(5 * time.Minute), PauseCut},
	}
	same := slices.EqualFunc(got, want, func(a, b Pause) bool {
		return a.Samples == b.Samples && a.Why == b.Why && a.From.Equal(b.From) && a.To.Equal(b.To)
	})
	if !same {
		t.Errorf("pauses %v, want %v", got, want)
	}
	rep, err := x.Verify(bg)
	ok(t, err)
	if len(rep.Problems) > 0 {
		t.Errorf("problems: %v", rep.Problems)
	}
}

func TestWithdrawnSoundCanBeErasedByItsExaminer(t *testing.T) {
	x, _ := fresh(t)
	_, err := x.AddUser(bg, NewUser{Login: "berit", Name: "Berit Example", Credentials: "RN", Role: review.Examiner}, second)
	ok(t, err)
	b, err := x.s.SignIn(bg, "berit", second)
	ok(t, err)
	e, other := encounter(t, b), encounter(t, x)
	for x, e := range map[*Session]Encounter{b: e, x: other} {
		w, err := x.StartRecording(bg, e.ID, wristband)
		ok(t, err)
		ok(t, w.Append(bg, tone(2)))
		ok(t, w.Finish(bg))
	}
	_, err = b.EraseWithdrawn(bg, e.ID)
	is(t, err, ErrConsentHolds)
	for _, one := range []Encounter{e, other} {
		_, err = x.WithdrawConsent(bg, one.ID)
		ok(t, err)
	}
	_, err = b.EraseWithdrawn(bg, other.ID)
	is(t, err, ErrRole)
	h, err := b.PutHold(bg, e.ID, "a complaint")
	ok(t, err)
	_, err = b.EraseWithdrawn(bg, e.ID)
	is(t, err, ErrHeld)
	_, err = x.LiftHold(bg, h.ID, "settled")
	ok(t, err)
	done, err := b.EraseWithdrawn(bg, e.ID)
	ok(t, err)
	if len(done) != 1 || done[0].State != RecordingPurged {
		t.Fatalf("erased %v", done)
	}
	_, err = b.Sound(bg, done[0].ID, 0, Rate)
	is(t, err, ErrPurged)
	if again, err := b.EraseWithdrawn(bg, e.ID); err != nil || len(again) > 0 {
		t.Errorf("erased twice: %v %v", again, err)
	}
	kept, err := x.Recordings(bg, other.ID)
	ok(t, err)
	if kept[0].State != RecordingEnded {
		t.Error("sound of another encounter was erased")
	}
	var logged []string
	ok(t, x.Log(bg, func(v Event) error {
		if v.Act == ActSoundPurged {
			logged = append(logged, v.Subject)
		}
		return nil
	}))
	if !slices.Equal(logged, []string{done[0].ID}) {
		t.Errorf("the log names %v", logged)
	}
}
