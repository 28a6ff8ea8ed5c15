package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"

	"bedsaid/internal/finding"
	"bedsaid/internal/review"
)

// acked is what the record has said is written.
type acked struct {
	encounter, recording, note string
	samples                    int64
	decisions                  int
	status                     review.Status
	encounters                 int
	// purging says that the deletion of the encounter was begun, purged that it
	// was reported; held is an encounter that a hold keeps.
	purging, purged bool
	held            string
}

// longAfter deletes by the rule all that no hold keeps, years after.
func longAfter(ctx context.Context, x *Session, done func(func(*acked))) error {
	list, err := x.Encounters(ctx, Page{})
	if err != nil {
		return err
	}
	for _, e := range list[1:] { // all but the scenario's own
		h, err := x.PutHold(ctx, e.ID, "a claim")
		if err != nil {
			return err
		}
		done(func(a *acked) { a.held = e.ID })
		if _, err := x.LiftHold(ctx, h.ID, "settled"); err != nil {
			return err
		}
		if _, err := x.PutHold(ctx, e.ID, "a new claim"); err != nil {
			return err
		}
	}
	if err := keepYears(x, 1); err != nil {
		return err
	}
	inYears(x, 2)
	done(func(a *acked) { a.purging = true })
	gone, err := x.PurgeEncounters(ctx)
	if len(gone) > 0 {
		done(func(a *acked) { a.purged = true })
	}
	return err
}

// scenario does a bit of everything and tells of each thing that was reported
// as written. It stops at the first error.
func scenario(ctx context.Context, x *Session, done func(func(*acked))) error {
	e, err := x.NewEncounter(ctx, details())
	if err != nil {
		return err
	}
	done(func(a *acked) { a.encounter = e.ID; a.encounters++ })
	w, err := x.StartRecording(ctx, e.ID, wristband)
	if err != nil {
		return err
	}
	done(func(a *acked) { a.recording = w.Recording().ID })
	speech := tone(2)
	for part := range slices.Chunk(speech, piece) {
		if err := w.Append(ctx, part); err != nil {
			return err
		}
		done(func(a *acked) { a.samples = w.Recording().Samples })
	}
	if err := x.s.run(ctx, "PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
		return err
	}
	if err := w.Finish(ctx); err != nil {
		return err
	}
	n, err := x.SaveDraft(ctx, e.ID, w.Recording().ID, draft())
	if err != nil {
		return err
	}
	done(func(a *acked) { a.note, a.status = n.ID, review.Preliminary })
	all := []review.Decision{
		{Kind: review.Accept, Line: "f1"}, {Kind: review.Reject, Line: "f2"}, {Kind: review.Undo},
		{Kind: review.Accept, Line: "f2", Resolves: []finding.MarkKind{finding.UnsureSide}},
		{Kind: review.Sign}, {Kind: review.Amend, Why: "more to say"}, {Kind: review.Reject, Line: "f2", Why: "not seen after all"},
		{Kind: review.Sign}, {Kind: review.Addendum, Text: "told the next shift"},
	}
	for i, d := range all {
		var next review.Note
		if d.Kind == review.Sign || d.Kind == review.Addendum {
			next, err = x.Sign(ctx, n.ID, i, d, Signing{passphrase, wristband})
		} else {
			next, err = x.Decide(ctx, n.ID, i, d)
		}
		if err != nil {
			return err
		}
		done(func(a *acked) { a.decisions, a.status = i+1, next.Status() })
		if i == 5 {
			if err := x.s.run(ctx, "PRAGMA wal_checkpoint(PASSIVE)"); err != nil {
				return err
			}
		}
	}
	return longAfter(ctx, x, done)
}

// keptAll opens a record and demands that it is whole and holds all that was
// reported as written.
func keptAll(dir string, a acked, encounters int) error {
	x, err := Open(bg, dir, "anna", passphrase, options())
	if err != nil {
		return fmt.Errorf("open: %w", err)
	}
	defer x.Close()
	if n := x.s.Notices(); len(n) > 0 {
		return fmt.Errorf("notices: %v", n)
	}
	r, err := x.Verify(bg)
	if err != nil {
		return err
	}
	if len(r.Problems) > 0 {
		return fmt.Errorf("problems: %v", r.Problems)
	}
	want := encounters + a.encounters
	if a.purging {
		_, err := x.Encounter(bg, a.encounter)
		switch {
		case a.purged && err == nil:
			return errors.New("an encounter whose deletion was reported is there")
		case errors.Is(err, ErrNotFound): // whole, as the verification says
			a.recording, a.note = "", ""
			want--
		case err != nil:
			return err
		}
	}
	if a.held != "" {
		if _, err := x.Encounter(bg, a.held); err != nil {
			return fmt.Errorf("held: %w", err)
		}
		if h, err := x.Holds(bg, a.held); err != nil || len(h) == 0 {
			return fmt.Errorf("%d holds: %w", len(h), err)
		}
	}
	if r.Encounters < want {
		return fmt.Errorf("%d encounters, want %d", r.Encounters, want)
	}
	if a.recording != "" {
		s, err := x.Sound(bg, a.recording, 0, math.MaxInt64)
		if err != nil {
			return err
		}
		if int64(len(s)) < a.samples || !slices.Equal(s, tone(2)[:len(s)]) {
			return fmt.Errorf("%d samples of %d, or others than were spoken", len(s), a.samples)
		}
	}
	if a.note != "" {
		n, err := x.Note(bg, a.note)
		if err != nil {
			return err
		}
		if n.Len() < a.decisions || n.Len() == a.decisions && n.Status() != a.status {
			return fmt.Errorf("%v, want %d decisions", n, a.decisions)
		}
	}
	return nil
}

// prepared is a closed record with one signed note, to be copied.
func prepared(t *testing.T) string {
	t.Helper()
	x, _ := fresh(t)
	signed(t, x, encounter(t, x))
	ok(t, x.Close())
	return x.s.dir
}

// openOn opens a copy of a record over a fault layer.
func openOn(t *testing.T, from string, v *faultVFS) *Session {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "copy")
	copyFolder(t, from, dir)
	opt := options()
	opt.base = v
	x, err := Open(bg, dir, "anna", passphrase, opt)
	ok(t, err)
	t.Cleanup(func() { x.Close() })
	return x
}

// times gives how often a fault test tries: BEDSAID_FAULTS, or the number that
// every run of the tests can afford.
func times(n int) int {
	if v, err := strconv.Atoi(os.Getenv("BEDSAID_FAULTS")); err == nil {
		return v
	}
	return n
}

// Each change of the disk in turn finds it full, or write-protected, or failing
// once, or for good: an error that says what to do, and what was reported as
// written is there afterwards.
func TestFullAndFailingDisk(t *testing.T) {
	from := prepared(t)
	count := &faultVFS{VFS: vfs.Find("")}
	x := openOn(t, from, count)
	before := count.count
	ok(t, scenario(bg, x, func(func(*acked)) {}))
	ok(t, x.Close())
	total := count.count - before
	if total < 100 {
		t.Fatalf("the scenario changed the disk %d times only", total)
	}
	kinds := []struct {
		name   string
		err    error
		want   []error
		onward bool // fails for good, not once
	}{
		{"full", sqlite3.FULL, []error{ErrFull}, true},
		{"full once", sqlite3.FULL, []error{ErrFull}, false},
		{"write-protected", sqlite3.IOERR_WRITE, []error{ErrDisk}, true},
		{"read-only", sqlite3.READONLY, []error{ErrReadOnly}, true},
		{"sync fails once", sqlite3.IOERR_FSYNC, []error{ErrDisk}, false},
	}
	injected, toldErr := 0, 0
	tries := times(12)
	for _, k := range kinds {
		for i := range tries {
			at := before + 1 + i*total/tries
			v := &faultVFS{VFS: vfs.Find("")}
			x := openOn(t, from, v)
			v.fail = func(n int) error {
				if n == at || k.onward && n > at {
					injected++
					return k.err
				}
				return nil
			}
			var a acked
			err := scenario(bg, x, func(f func(*acked)) { f(&a) })
			v.mu.Lock()
			v.fail = nil
			v.mu.Unlock()
			if err != nil {
				toldErr++
				var p *problem
				if !errors.As(err, &p) || p.Hint() == "" {
					t.Fatalf("%s at change %d: %v says not what to do", k.name, at, err)
				}
				if !slices.ContainsFunc(k.want, func(w error) bool { return errors.Is(err, w) }) {
					t.Errorf("%s at change %d: %v", k.name, at, err)
				}
			}
			dir := x.s.dir
			x.Close()
			if err := keptAll(dir, a, 1); err != nil {
				t.Fatalf("%s at change %d: %v", k.name, at, err)
			}
		}
	}
	if injected == 0 || toldErr < 3*tries {
		t.Errorf("%d faults injected, %d errors", injected, toldErr)
	}
}

// The disk fills up while sound is recorded, and is freed: the recording goes
// on and lacks nothing.
func TestRecordingGoesOnAfterFullDisk(t *testing.T) {
	v := &faultVFS{VFS: vfs.Find("")}
	x := openOn(t, prepared(t), v)
	e := encounter(t, x)
	w, err := x.StartRecording(bg, e.ID, wristband)
	ok(t, err)
	want := tone(9)
	failed := 0
	for i, part := range slices.Collect(slices.Chunk(want, 1600)) {
		full := i > 20 && i < 60
		v.mu.Lock()
		v.fail = func(int) error {
			if full {
				return sqlite3.FULL
			}
			return nil
		}
		v.mu.Unlock()
		if err := w.Append(bg, part); err != nil {
			failed++
			is(t, err, ErrFull)
		}
	}
	ok(t, w.Finish(bg))
	got, err := x.Sound(bg, w.Recording().ID, 0, math.MaxInt64)
	ok(t, err)
	if failed == 0 || !slices.Equal(got, want) {
		t.Errorf("%d failures, %d samples of %d", failed, len(got), len(want))
	}
}

// Power is lost at changes of the disk chosen by a fixed seed. Of what was not
// synced, sectors survive by chance.
func TestPowerLoss(t *testing.T) {
	from := prepared(t)
	count := &faultVFS{VFS: vfs.Find("")}
	x := openOn(t, from, count)
	before := count.count
	ok(t, scenario(bg, x, func(func(*acked)) {}))
	total := count.count - before
	ok(t, x.Close())
	r := rand.New(rand.NewPCG(20310203, 1))
	cuts, torn, tries := 0, 0, times(25)
	for i := range tries {
		at := before + 1 + (i*total+r.IntN(total))/tries
		v := &faultVFS{VFS: vfs.Find("")}
		x := openOn(t, from, v)
		v.begin(t, x.s.dir)
		var a, then acked
		left := filepath.Join(t.TempDir(), "left")
		v.onChange = func(n int) {
			if n == at {
				then = a
				v.cut(t, x.s.dir, left, r)
				cuts++
				for _, im := range v.images {
					torn += len(im.pending)
				}
			}
		}
		ok(t, scenario(bg, x, func(f func(*acked)) { f(&a) }))
		x.Close()
		if err := keptAll(left, then, 1); err != nil {
			t.Fatalf("power lost at change %d of %d: %v", at-before, total, err)
		}
	}
	if cuts != tries || torn == 0 {
		t.Errorf("%d cuts of %d, %d writes not synced", cuts, tries, torn)
	}
}

// dump is all that a record shows.
func dump(dir string) (string, error) {
	x, err := Open(bg, dir, "anna", passphrase, options())
	if err != nil {
		return "", err
	}
	defer x.Close()
	var b strings.Builder
	list, err := x.Encounters(bg, Page{})
	if err != nil {
		return "", err
	}
	for _, e := range list {
		h, err := x.EncounterHistory(bg, e.ID)
		if err != nil {
			return "", err
		}
		for _, v := range h {
			fmt.Fprintln(&b, v.ID, v.Version, v.Patient[0].Value, v.Patient[1].Value, v.Details.Bed)
		}
		for _, r := range e.Recordings {
			s, err := x.Sound(bg, r.ID, 0, math.MaxInt64)
			if err != nil {
				return "", err
			}
			fmt.Fprintln(&b, r.ID, r.State, s)
		}
		for _, info := range e.Notes {
			n, err := x.Note(bg, info.ID)
			if err != nil {
				return "", err
			}
			fmt.Fprintln(&b, info.ID, n.Status(), n.Draft().Transcript.Text())
			for _, l := range n.Lines() {
				fmt.Fprintln(&b, l.ID, l.State, l.Finding.Value)
			}
		}
	}
	r, err := x.Verify(bg)
	if err != nil {
		return "", err
	}
	if len(r.Problems) > 0 {
		return "", fmt.Errorf("%w: %v", ErrDamaged, r.Problems)
	}
	return b.String(), nil
}

// A bit is turned, or the end is cut off, in any file of the record: what is
// shown is what was written, or an error that says what to do.
func TestDamagedFiles(t *testing.T) {
	x, _, _ := full(t)
	from := filepath.Join(t.TempDir(), "live")
	// While it is open, the log of writes holds what the file does not yet.
	copyFolder(t, x.s.dir, from)
	ok(t, x.Close())
	ok(t, os.Remove(filepath.Join(from, recordName+"-shm")))
	want, err := dump(copied(t, from))
	ok(t, err)
	if len(want) < 1000 {
		t.Fatal("there is nothing in the record")
	}
	errs, same := 0, 0
	for _, name := range []string{recordName, recordName + "-wal", keysName, keysCopyName, anchorName} {
		data, err := os.ReadFile(filepath.Join(from, name))
		ok(t, err)
		harm := func(what string, bad []byte) {
			t.Helper()
			dir := copied(t, from)
			if bad == nil {
				ok(t, os.Remove(filepath.Join(dir, name)))
			} else {
				ok(t, os.WriteFile(filepath.Join(dir, name), bad, 0o600))
			}
			got, err := dump(dir)
			var p *problem
			switch {
			case err == nil && got == want:
				same++
			case err == nil:
				t.Errorf("%s %s: the record shows something else than was written", name, what)
			case !errors.As(err, &p) || p.Hint() == "":
				t.Errorf("%s %s: %v says not what to do", name, what, err)
			case errors.Is(err, ErrWrongPassphrase):
				t.Errorf("%s %s: damage is taken for a wrong passphrase", name, what)
			default:
				errs++
			}
		}
		r := rand.New(rand.NewPCG(7, uint64(len(name))))
		for range times(12) {
			at := r.IntN(len(data))
			flipped := slices.Clone(data)
			flipped[at] ^= 1 << r.IntN(8)
			harm(fmt.Sprintf("with a bit turned in byte %d of %d", at, len(data)), flipped)
			harm(fmt.Sprintf("cut after %d of %d bytes", at, len(data)), data[:at])
		}
		harm("empty", []byte{})
		harm("gone", nil)
	}
	if errs < 20 || same == 0 {
		t.Errorf("%d errors, %d times whole", errs, same)
	}
}

func copied(t *testing.T, from string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "c")
	copyFolder(t, from, dir)
	return dir
}

// A disk that takes no writes does not keep a nurse from reading; a count of
// writes that is gone is told, and written in the log.
func TestReadingWithoutWriting(t *testing.T) {
	dir := prepared(t)
	ok(t, os.Remove(filepath.Join(dir, anchorName)))
	v := &faultVFS{VFS: vfs.Find("")}
	x := openOn(t, dir, v)
	if n := x.s.Notices(); len(n) != 1 || !strings.Contains(n[0], anchorName) {
		t.Errorf("%v", n)
	}
	found := false
	ok(t, x.Log(bg, func(e Event) error { found = found || e.Act == ActAnchorLost; return nil }))
	if !found {
		t.Error("it is not in the log")
	}
	v.mu.Lock()
	v.fail = func(int) error { return sqlite3.FULL }
	v.mu.Unlock()
	y, err := x.s.SignIn(bg, "anna", passphrase)
	ok(t, err)
	list, err := y.Encounters(bg, Page{})
	ok(t, err)
	if n, err := y.Note(bg, list[0].Notes[0].ID); err != nil || n.Status() != review.Final {
		t.Errorf("%v %v", n, err)
	}
	_, err = y.NewEncounter(bg, details())
	is(t, err, ErrFull)
	v.mu.Lock()
	v.fail = nil
	v.mu.Unlock()
}

// A key file that asks for more than the machine has, though its checksum fits,
// is damage and not a reason to stand still.
func TestKeyFileAsksForTooMuch(t *testing.T) {
	k, _, err := readKeys(prepared(t))
	ok(t, err)
	for _, c := range []cost{{Time: 1 << 30, MemoryKiB: 64, Threads: 1}, {Time: 1, MemoryKiB: 1 << 31, Threads: 1}, {Time: 0, MemoryKiB: 64, Threads: 1}, {Time: 1, MemoryKiB: 64}} {
		k.Wraps[0].Cost = c
		_, _, err := k.unlock(k.Wraps[0].Name, passphrase)
		is(t, err, ErrDamaged)
	}
}

// Whatever stands in a key file or at the head of a backup: an error or a
// reading, never a crash.
func FuzzForms(f *testing.F) {
	k := keyFile{Format: keysFormat, Record: "r1", Wraps: []wrap{{Name: "anna", Cost: quick, Salt: []byte("s"), Nonce: make([]byte, 24), Key: []byte("k")}}}
	data, err := k.encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte(backupFormat + "\n\x00\x00\x00\x02{}"))
	f.Add([]byte(`{"kind":"change","finding":{"id":"x","side":"left","evidence":[{"words":[0,9]}]},"by":{"role":"examiner"}}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if k, err := decodeKeys(b); err == nil {
			if again, err := k.encode(); err != nil || !slices.Equal(again, b) {
				t.Fatal("a key file was read that is not written like that")
			}
		}
		if _, err := checkBackup(strings.NewReader(string(b)), func(backupHeader) ([]byte, error) { return make([]byte, keySize), nil }, &strings.Builder{}); err == nil {
			t.Fatal("a backup without a fitting hash was taken")
		}
		if d, _, err := decodeDecision(b, 5); err == nil && (d.Finding.Side > finding.Both || len(d.Finding.Evidence) > 0 && d.Finding.Evidence[0].End > 5) {
			t.Fatal("a decision was read that stands for nothing")
		}
		ParseSeals(string(b))
		_, _ = ParseRecoveryKey(string(b))
	})
}

// The key file is damaged: its copy opens the record and takes its place.
func TestKeyFileHasACopy(t *testing.T) {
	dir := prepared(t)
	ok(t, os.WriteFile(filepath.Join(dir, keysName), []byte("{}"), 0o600))
	x := reopen(t, dir)
	if n := x.s.Notices(); len(n) != 1 || !strings.Contains(n[0], "copy") {
		t.Errorf("%v", n)
	}
	ok(t, x.Close())
	x = reopen(t, dir)
	if n := x.s.Notices(); len(n) != 0 {
		t.Errorf("it was not put right: %v", n)
	}
}
