package store

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// Everything in these tests is invented.
const (
	passphrase = "four words nobody guesses"
	second     = "another set of four words"
)

var bg = context.Background()

// clock gives a time that moves on by a second at each call.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(time.Second)
	return c.at
}

// quick makes Argon2id cheap: these tests sign in hundreds of times.
var quick = cost{Time: 1, MemoryKiB: 64, Threads: 1}

func options() Options {
	c := &clock{at: time.Date(2031, 2, 3, 4, 5, 6, 0, time.FixedZone("", -5*3600))}
	return Options{Now: c.now, Outline: outline(), cost: quick}
}

func outline() note.Outline {
	return note.NewOutline([]note.Region{{ID: "n", Title: "Neck"}}, []note.Item{{ID: "neck.trachea", Region: "n", Name: "trachea"}, {ID: "ear.drum_seen", Region: "n"}})
}

var anna = NewUser{Login: "anna", Name: "Anna Example", Credentials: "RN", Role: review.Examiner, Manages: true}

// fresh makes a record in a new folder and signs its first user in.
func fresh(t *testing.T) (*Session, RecoveryKey) {
	t.Helper()
	x, key, err := Create(bg, filepath.Join(t.TempDir(), "record"), anna, passphrase, options())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { x.Close() })
	return x, key
}

func reopen(t *testing.T, dir string) *Session {
	t.Helper()
	x, err := Open(bg, dir, "anna", passphrase, options())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { x.Close() })
	return x
}

func ok(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// is demands an error and that it says what to do.
func is(t *testing.T, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("%v, want %v", err, want)
	}
}

var wristband = Confirmed{"QX-4471", "1900-02-30"}

func details() Details {
	at := time.Date(2031, 2, 3, 3, 0, 0, 0, time.UTC)
	return Details{Patient: [2]Identifier{{"record number", "QX-4471"}, {"date of birth", "1900-02-30"}}, Bed: "7B", ExaminedAt: at,
		Consent: Consent{From: "the patient", How: "said aloud", At: at}}
}

func encounter(t *testing.T, x *Session) Encounter {
	t.Helper()
	e, err := x.NewEncounter(bg, details())
	ok(t, err)
	return e
}

// draft has one plain finding and one with a mark.
func draft() note.Draft {
	tr := transcript.FromText("Trachea is midline. Drum seen.")
	set := finding.Set{Findings: []finding.Finding{
		{ID: "neck.trachea", Status: finding.Assessed, Value: finding.Word("midline"), Source: finding.Observed, Evidence: []transcript.Span{{Start: 0, End: 3}}},
		{ID: "ear.drum_seen", Status: finding.Assessed, Value: finding.Word("seen"), Source: finding.Observed, Evidence: []transcript.Span{{Start: 3, End: 5}},
			Marks: []finding.Mark{{Kind: finding.UnsureSide, Why: "no side was said"}}},
	}}
	return note.Compose(note.Source{Name: "typed.txt", Transcript: tr}, set, outline())
}

// tone is a second of sound that is neither silent nor simple.
func tone(seconds float64) []int16 {
	out := make([]int16, int(seconds*Rate))
	for i := range out {
		out[i] = int16(9000*math.Sin(float64(i)/9) + 2000*math.Sin(float64(i*i%7919)))
	}
	return out
}

// signed gives a note that was decided and signed.
func signed(t *testing.T, x *Session, e Encounter) NoteInfo {
	t.Helper()
	n, err := x.SaveDraft(bg, e.ID, "", draft())
	ok(t, err)
	for i, d := range []review.Decision{{Kind: review.Accept, Line: "f1"}, {Kind: review.Accept, Line: "f2", Resolves: []finding.MarkKind{finding.UnsureSide}}} {
		_, err := x.Decide(bg, n.ID, i, d)
		ok(t, err)
	}
	_, err = x.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{passphrase, wristband})
	ok(t, err)
	return n
}

func TestNoteFromDraftToSignature(t *testing.T) {
	x, _ := fresh(t)
	e := encounter(t, x)
	n := signed(t, x, e)
	dir := x.s.dir
	ok(t, x.Close())

	x = reopen(t, dir)
	if got := x.s.Notices(); len(got) > 0 {
		t.Errorf("notices: %v", got)
	}
	got, err := x.Note(bg, n.ID)
	ok(t, err)
	if got.Status() != review.Final || len(got.Versions()) != 1 || got.Author() != x.user.Person() {
		t.Errorf("%v", got)
	}
	want := draft()
	if !reflect.DeepEqual(got.Draft().Findings(), want.Findings()) || got.Draft().Transcript.Text() != want.Transcript.Text() || got.Draft().Name != "typed.txt" {
		t.Error("the draft was not read back as it was")
	}
	list, err := x.Encounters(bg, Page{})
	ok(t, err)
	if len(list) != 1 || list[0].Bed != "7B" || !list[0].ExaminedAt.Equal(details().ExaminedAt) || len(list[0].Notes) != 1 || list[0].Notes[0].Status != review.Final {
		t.Errorf("%v", list)
	}
	info, err := x.NoteInfo(bg, n.ID)
	ok(t, err)
	if info.Length != 3 || info.Encounter != e.ID {
		t.Errorf("%+v", info.Length)
	}
	var acts []Act
	ok(t, x.Log(bg, func(e Event) error { acts = append(acts, e.Act); return nil }))
	for _, a := range []Act{ActCreated, ActEncounter, ActDraft, ActDecided, ActSigned, ActViewed} {
		if !slices.Contains(acts, a) {
			t.Errorf("%s is not in the log", a)
		}
	}
}

func TestSecondDecisionGetsBothVersions(t *testing.T) {
	x, _ := fresh(t)
	e := encounter(t, x)
	n, err := x.SaveDraft(bg, e.ID, "", draft())
	ok(t, err)
	other := reopen(t, x.s.dir) // another process would see the same
	_, err = x.Decide(bg, n.ID, 0, review.Decision{Kind: review.Accept, Line: "f1"})
	ok(t, err)
	_, err = other.Decide(bg, n.ID, 0, review.Decision{Kind: review.Reject, Line: "f1"})
	var c *ConflictError
	if !errors.As(err, &c) || c.Seen.Len() != 0 || c.Now.Len() != 1 || c.Yours.Kind != review.Reject || c.Hint() == "" {
		t.Fatalf("%v", err)
	}
	got, err := other.Note(bg, n.ID)
	ok(t, err)
	if l, _ := got.Line("f1"); l.State != review.Accepted {
		t.Error("the second decision was written over the first")
	}
	_, err = other.Decide(bg, n.ID, 1, review.Decision{Kind: review.Reject, Line: "f1"})
	ok(t, err)
	_, err = x.UpdateEncounter(bg, e.ID, 1, details(), "")
	ok(t, err)
	_, err = other.UpdateEncounter(bg, e.ID, 1, details(), "")
	var ec *EncounterConflict
	if !errors.As(err, &ec) || ec.Now.Version != 2 {
		t.Errorf("%v", err)
	}
}

func TestSigningNeedsPassphraseAndPatient(t *testing.T) {
	x, _ := fresh(t)
	e := encounter(t, x)
	n, err := x.SaveDraft(bg, e.ID, "", draft())
	ok(t, err)
	sign := review.Decision{Kind: review.Sign}
	if _, err := x.Decide(bg, n.ID, 0, sign); err == nil {
		t.Error("signed without a passphrase")
	}
	_, err = x.Sign(bg, n.ID, 0, sign, Signing{"wrong", wristband})
	is(t, err, ErrWrongPassphrase)
	_, err = x.Sign(bg, n.ID, 0, sign, Signing{passphrase, Confirmed{"QX-4471", "1900-02-28"}})
	is(t, err, ErrIdentity)
	_, err = x.Sign(bg, n.ID, 0, sign, Signing{passphrase, wristband})
	var re *review.RuleError
	if !errors.As(err, &re) || re.Rule != review.Unfinished {
		t.Errorf("%v", err)
	}
	if got, err := x.Note(bg, n.ID); err != nil || got.Len() != 0 {
		t.Errorf("something was written: %v %v", got, err)
	}
}

func TestRecordingSurvivesReopening(t *testing.T) {
	x, _ := fresh(t)
	e := encounter(t, x)
	_, err := x.StartRecording(bg, e.ID, Confirmed{"QX-4471", ""})
	is(t, err, ErrIdentity)
	w, err := x.StartRecording(bg, e.ID, wristband)
	ok(t, err)
	want := tone(3.3)
	for part := range slices.Chunk(want, 1600) {
		ok(t, w.Append(bg, part))
	}
	if safe := w.Recording().Seconds(); safe < 2.8 {
		t.Errorf("%v s of 3.3 are on the disk", safe)
	}
	id := w.Recording().ID
	dir := x.s.dir
	ok(t, w.Flush(bg))
	ok(t, x.Close())

	x = reopen(t, dir)
	w, err = x.ResumeRecording(bg, id, wristband)
	ok(t, err)
	more := tone(0.7)
	ok(t, w.Append(bg, more))
	ok(t, w.Finish(bg))
	want = append(want, more...)
	got, err := x.Sound(bg, id, 0, math.MaxInt64)
	ok(t, err)
	if !slices.Equal(got, want) {
		t.Errorf("%d samples, want %d as they were", len(got), len(want))
	}
	for _, c := range [][2]int64{{0, 1}, {7999, 8001}, {52700, 52900}, {63000, 64000}, {63999, 99999}, {5, 5}} {
		got, err := x.Sound(bg, id, c[0], c[1])
		ok(t, err)
		if !slices.Equal(got, want[min(c[0], int64(len(want))):min(c[1], int64(len(want)))]) {
			t.Errorf("samples %v differ", c)
		}
	}
	var wav strings.Builder
	ok(t, x.WriteWAV(bg, id, &wav))
	if wav.Len() != 44+2*len(want) {
		t.Errorf("%d bytes of WAV", wav.Len())
	}
	_, err = x.ResumeRecording(bg, id, wristband)
	is(t, err, ErrFinished)
	is(t, w.Append(bg, more), ErrFinished)
}

// Two windows go on with one recording: the sound of the one that is too late is
// not lost, nor written among the other's.
func TestRecordingGoneOnWithElsewhere(t *testing.T) {
	x, _ := fresh(t)
	w, err := x.StartRecording(bg, encounter(t, x).ID, wristband)
	ok(t, err)
	other, err := x.ResumeRecording(bg, w.Recording().ID, wristband)
	ok(t, err)
	ok(t, other.Append(bg, tone(1)))
	is(t, w.Append(bg, tone(0.6)), ErrFinished)
	if got := w.Unsaved(); !slices.Equal(got, tone(0.6)) {
		t.Errorf("%d samples unsaved", len(got))
	}
	ok(t, other.Finish(bg))
	if got, err := x.Sound(bg, w.Recording().ID, 0, math.MaxInt64); err != nil || !slices.Equal(got, tone(1)) {
		t.Errorf("%d samples, %v", len(got), err)
	}
}

func TestConsent(t *testing.T) {
	x, _ := fresh(t)
	d := details()
	d.Consent = Consent{}
	e, err := x.NewEncounter(bg, d)
	ok(t, err)
	_, err = x.StartRecording(bg, e.ID, wristband)
	is(t, err, ErrConsent)
	e, err = x.UpdateEncounter(bg, e.ID, e.Version, details(), "asked")
	ok(t, err)
	w, err := x.StartRecording(bg, e.ID, wristband)
	ok(t, err)
	ok(t, w.Append(bg, tone(1)))
	if _, err = x.WithdrawConsent(bg, e.ID); err != nil {
		t.Fatal(err)
	}
	is(t, w.Append(bg, tone(1)), ErrConsent)
	ok(t, w.Finish(bg))
	got, err := x.Sound(bg, w.Recording().ID, 0, math.MaxInt64)
	ok(t, err)
	if len(got) != Rate {
		t.Errorf("%d samples", len(got))
	}
	_, err = x.StartRecording(bg, e.ID, wristband)
	is(t, err, ErrConsent)
}

func TestIdentifiersChangeWithAReasonAndAreKept(t *testing.T) {
	x, _ := fresh(t)
	e := encounter(t, x)
	d := details()
	d.Patient[0].Value = "QX-4472"
	if _, err := x.UpdateEncounter(bg, e.ID, 1, d, " "); err == nil {
		t.Error("identifiers were changed without a reason")
	}
	_, err := x.UpdateEncounter(bg, e.ID, 1, d, "two digits were swapped")
	ok(t, err)
	h, err := x.EncounterHistory(bg, e.ID)
	ok(t, err)
	if len(h) != 2 || h[0].Patient[0].Value != "QX-4471" || h[1].Patient[0].Value != "QX-4472" || !h[0].EnteredAt.Equal(h[1].EnteredAt) {
		t.Errorf("%d versions", len(h))
	}
	d.Patient[1] = d.Patient[0]
	_, err = x.NewEncounter(bg, d)
	is(t, err, ErrIncomplete)
}

func TestUsers(t *testing.T) {
	x, key := fresh(t)
	_, err := x.AddUser(bg, NewUser{Login: "sam", Name: "Sam Sample", Role: review.Student}, "short")
	is(t, err, ErrWeakPassphrase)
	sam, err := x.AddUser(bg, NewUser{Login: "sam", Name: "Sam Sample", Credentials: "SN", Role: review.Student}, second)
	ok(t, err)
	_, err = x.AddUser(bg, NewUser{Login: "sam", Name: "Other", Role: review.Student}, second)
	is(t, err, ErrUserExists)
	y, err := x.s.SignIn(bg, "sam", second)
	ok(t, err)
	_, err = y.AddUser(bg, NewUser{Login: "eve", Name: "Eve", Role: review.Examiner}, second)
	is(t, err, ErrRole)
	for _, c := range [][2]string{{"sam", passphrase}, {"nobody", second}, {"", second}, {"", string(key)}, {"anna", ""}} {
		_, err = x.s.SignIn(bg, c[0], c[1])
		is(t, err, ErrWrongPassphrase)
		_, err = Open(bg, x.s.dir, c[0], c[1], options())
		is(t, err, ErrWrongPassphrase)
	}
	is(t, y.ChangePassphrase(bg, passphrase, second), ErrWrongPassphrase)
	ok(t, y.ChangePassphrase(bg, second, "a third set of four words"))
	_, err = x.s.SignIn(bg, "sam", second)
	is(t, err, ErrWrongPassphrase)
	_, err = x.s.SignIn(bg, "sam", "a third set of four words")
	ok(t, err)
	ok(t, x.RetireUser(bg, sam.ID))
	_, err = y.NewEncounter(bg, details()) // signed in before
	is(t, err, ErrRole)
	_, err = x.s.SignIn(bg, "sam", "a third set of four words")
	is(t, err, ErrWrongPassphrase)
	is(t, x.RetireUser(bg, x.user.ID), ErrLastUser)
	all, err := x.Users(bg)
	ok(t, err)
	if len(all) != 2 {
		t.Errorf("%d users", len(all))
	}
}

// A student charts and signs, the preceptor charts her own finding beside it and
// co-signs, a reviewer comments; each on the same laptop, by her own passphrase.
func TestSeveralPeopleOnOneNote(t *testing.T) {
	x, _ := fresh(t)
	as := func(login string, role review.Role) *Session {
		t.Helper()
		_, err := x.AddUser(bg, NewUser{Login: login, Name: login + " Example", Credentials: "RN", Role: role}, second)
		ok(t, err)
		y, err := x.s.SignIn(bg, login, second)
		ok(t, err)
		return y
	}
	student, preceptor, reviewer := as("sam", review.Student), as("pat", review.Preceptor), as("rev", review.Reviewer)
	e := encounter(t, student)
	n, err := student.SaveDraft(bg, e.ID, "", draft())
	ok(t, err)
	own := draft().Findings()[1]
	own.Marks, own.Side = nil, finding.Left
	with := Signing{second, wristband}
	steps := []struct {
		who *Session
		d   review.Decision
	}{
		{student, review.Decision{Kind: review.Accept, Line: "f1"}},
		{reviewer, review.Decision{Kind: review.Comment, Text: "which side?"}},
		{student, review.Decision{Kind: review.Accept, Line: "f2", Resolves: []finding.MarkKind{finding.UnsureSide}}},
		{student, review.Decision{Kind: review.Sign}},
		{preceptor, review.Decision{Kind: review.Add, Line: "f2", Finding: own}},
		{preceptor, review.Decision{Kind: review.CoSign}},
	}
	for i, s := range steps {
		if s.d.Kind == review.Sign || s.d.Kind == review.CoSign {
			// Nobody else's session does it.
			for _, other := range []*Session{x, reviewer} {
				with := Signing{second, wristband}
				if other == x {
					with.Passphrase = passphrase
				}
				var re *review.RuleError
				if _, err := other.Sign(bg, n.ID, i, s.d, with); !errors.As(err, &re) {
					t.Errorf("%s by another: %v", s.d.Kind, err)
				}
			}
			_, err = s.who.Sign(bg, n.ID, i, s.d, with)
		} else {
			_, err = s.who.Decide(bg, n.ID, i, s.d)
		}
		ok(t, err)
		if got, err := x.NoteInfo(bg, n.ID); err != nil || i == 3 && got.Status != review.AwaitingCoSign {
			t.Errorf("%v %v", got.Status, err)
		}
	}
	got, err := x.Note(bg, n.ID)
	ok(t, err)
	v := got.Versions()
	if got.Status() != review.Final || len(v) != 1 || v[0].Lines[2].By.Name != "pat Example" || v[0].Lines[2].Beside != "f2" || v[0].Lines[2].Finding.Side != finding.Left {
		t.Errorf("%v", got)
	}
	_, err = reviewer.NewEncounter(bg, details())
	is(t, err, ErrRole)
	_, err = reviewer.SaveDraft(bg, e.ID, "", draft())
	is(t, err, ErrRole)
	_, err = reviewer.StartRecording(bg, e.ID, wristband)
	is(t, err, ErrRole)
}

// The drill: every passphrase is lost, the printed key is typed in.
func TestRecoveryKey(t *testing.T) {
	x, key := fresh(t)
	n := signed(t, x, encounter(t, x))
	dir := x.s.dir
	ok(t, x.Close())
	typed := strings.ToLower(strings.ReplaceAll(key.Reveal(), "-", "  "))
	parsed, err := ParseRecoveryKey(typed)
	ok(t, err)
	slip := []byte(typed)
	slip[0] ^= 1
	_, err = ParseRecoveryKey(string(slip))
	is(t, err, ErrRecoveryKey)
	_, err = Recover(bg, dir, newRecoveryKey(), "anna", second, options())
	is(t, err, ErrRecoveryKey)
	_, err = Recover(bg, dir, parsed, "nobody", second, options())
	is(t, err, ErrNotFound)
	y, err := Recover(bg, dir, parsed, "anna", second, options())
	ok(t, err)
	defer y.Close()
	if got, err := y.Note(bg, n.ID); err != nil || got.Status() != review.Final {
		t.Errorf("%v %v", got, err)
	}
	_, err = Open(bg, dir, "anna", passphrase, options())
	is(t, err, ErrWrongPassphrase)
	if s := key.String() + (&keyFile{}).Format; strings.Contains(s, key.Reveal()) {
		t.Error("the key prints itself")
	}
}

func TestFolders(t *testing.T) {
	dir := t.TempDir()
	_, err := Open(bg, dir, "anna", passphrase, options())
	is(t, err, ErrNoRecord)
	ok(t, os.WriteFile(filepath.Join(dir, "thesis.txt"), []byte("x"), 0o600))
	_, _, err = Create(bg, dir, anna, passphrase, options())
	is(t, err, ErrExists)
	if left, _ := os.ReadDir(dir); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
	x, _ := fresh(t)
	_, _, err = Create(bg, x.s.dir, anna, passphrase, options())
	is(t, err, ErrExists)
	_, err = x.s.db.Exec("PRAGMA user_version = 99")
	ok(t, err)
	ok(t, x.Close())
	_, err = Open(bg, x.s.dir, "anna", passphrase, options())
	is(t, err, ErrNewer)
	for _, name := range []string{recordName, keysName, keysCopyName, anchorName} {
		info, err := os.Stat(filepath.Join(x.s.dir, name))
		ok(t, err)
		if info.Mode().Perm() != 0o600 && name != recordName {
			t.Errorf("%s has mode %v", name, info.Mode())
		}
	}
	if info, err := os.Stat(x.s.dir); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("the folder has mode %v", info.Mode())
	}
}

func TestSoundPacksWithoutLoss(t *testing.T) {
	for name, s := range map[string][]int16{
		"nothing": {}, "one": {-32768}, "extremes": {32767, -32768, 32767, -32768, 0}, "tone": tone(0.5), "silence": make([]int16, 8000),
	} {
		got, err := unpackSound(packSound(s))
		if err != nil || !slices.Equal(got, s) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzSound(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 255, 127, 0, 128})
	f.Fuzz(func(t *testing.T, raw []byte) {
		unpackSound(raw) // whatever comes: no panic
		s := make([]int16, min(len(raw)/2, maxPiece))
		for i := range s {
			s[i] = int16(raw[2*i]) | int16(raw[2*i+1])<<8
		}
		if got, err := unpackSound(packSound(s)); err != nil || !slices.Equal(got, s) {
			t.Fatal("changed by packing")
		}
	})
}
