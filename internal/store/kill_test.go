package store

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// TestMain lets this program be run again as another process that works in a
// record.
func TestMain(m *testing.M) {
	if dir := os.Getenv("BEDSAID_TEST_RECORD"); dir != "" {
		os.Exit(child(os.Getenv("BEDSAID_TEST_WORK"), dir, os.Stdout))
	}
	os.Exit(m.Run())
}

// child works in a record, and tells each thing that was reported as written
// before it goes on.
func child(work, dir string, tell io.Writer) int {
	x, err := Open(bg, dir, "anna", passphrase, options())
	if err != nil {
		fmt.Fprintln(tell, "error", err)
		return 1
	}
	switch work {
	case "all":
		err = workAll(x, dir, tell)
	case "write":
		err = workWrite(x, tell, writing())
	case "write on":
		err = workWrite(x, tell, time.Hour)
	case "panic":
		n := planted(x)
		panic(fmt.Sprintf("a mistake of the program: %v %+v %v", x, n, x.s))
	}
	if err != nil {
		fmt.Fprintln(tell, "error", err)
		return 1
	}
	return 0
}

// workAll goes through encounter after encounter until it is killed.
func workAll(x *Session, dir string, tell io.Writer) error {
	for i := 0; ; i++ {
		e, err := x.NewEncounter(bg, details())
		if err != nil {
			return err
		}
		fmt.Fprintln(tell, "encounter", e.ID)
		w, err := x.StartRecording(bg, e.ID, wristband)
		if err != nil {
			return err
		}
		id := w.Recording().ID
		fmt.Fprintln(tell, "recording", id)
		said := 0
		for part := range slices.Chunk(tone(2), 1600) {
			said += len(part)
			fmt.Fprintln(tell, "said", id, said)
			if err := w.Append(bg, part); err != nil {
				return err
			}
		}
		if err := w.Finish(bg); err != nil {
			return err
		}
		fmt.Fprintln(tell, "ended", id, said)
		n, err := x.SaveDraft(bg, e.ID, id, draft())
		if err != nil {
			return err
		}
		fmt.Fprintln(tell, "note", n.ID, 0)
		for j, d := range []review.Decision{{Kind: review.Accept, Line: "f1"}, {Kind: review.Accept, Line: "f2", Resolves: []finding.MarkKind{finding.UnsureSide}}} {
			if _, err := x.Decide(bg, n.ID, j, d); err != nil {
				return err
			}
			fmt.Fprintln(tell, "note", n.ID, j+1)
		}
		if _, err := x.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{passphrase, wristband}); err != nil {
			return err
		}
		fmt.Fprintln(tell, "note", n.ID, 3)
		if i%2 == 0 {
			if _, err := x.PutHold(bg, e.ID, "a claim"); err != nil {
				return err
			}
			fmt.Fprintln(tell, "held", e.ID)
		}
		if i%2 == 1 {
			now := x.s.opt.Now
			inYears(x, 2)
			fmt.Fprintln(tell, "purging")
			gone, err := x.PurgeEncounters(bg)
			if err != nil {
				return err
			}
			for _, g := range gone {
				fmt.Fprintln(tell, "purged", g.ID)
			}
			x.s.opt.Now = now
			file := filepath.Join(filepath.Dir(dir), "backup-"+e.ID)
			if _, err := x.Backup(bg, file); err != nil {
				return err
			}
			fmt.Fprintln(tell, "backup", file)
		}
	}
}

// workWrite adds encounters for a while.
func workWrite(x *Session, tell io.Writer, d time.Duration) error {
	end := time.Now().Add(d)
	for time.Now().Before(end) {
		e, err := x.NewEncounter(bg, details())
		if err != nil {
			return err
		}
		fmt.Fprintln(tell, "encounter", e.ID)
	}
	return x.Close()
}

// writing is how long two processes write: BEDSAID_SECONDS, or two seconds.
func writing() time.Duration {
	if d, err := time.ParseDuration(os.Getenv("BEDSAID_SECONDS") + "s"); err == nil {
		return d
	}
	return 2 * time.Second
}

func process(t *testing.T, work, dir string) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	ok(t, err)
	c := exec.Command(exe)
	c.Env = append(os.Environ(), "BEDSAID_TEST_RECORD="+dir, "BEDSAID_TEST_WORK="+work)
	return c
}

// lines is the output of a process, to be read while it is written.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// wait waits until a process has told that many lines more.
func (l *lines) wait(t *testing.T, more int) {
	t.Helper()
	want := strings.Count(l.String(), "\n") + more
	for range 6000 {
		if strings.Count(l.String(), "\n") >= want {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("the process tells nothing")
}

// told is what a process has told.
type told struct {
	encounters []string
	said       map[string]int64 // spoken, whether written or not
	ended      map[string]int64
	notes      map[string]int
	backups    []string
	held       map[string]bool
	purged     map[string]bool
	// purging says that the deletion of all that no hold keeps was begun.
	purging bool
}

func listen(out string) (told, error) {
	a := told{said: map[string]int64{}, ended: map[string]int64{}, notes: map[string]int{}, held: map[string]bool{}, purged: map[string]bool{}}
	lines := strings.Split(out, "\n")
	for _, line := range lines[:len(lines)-1] { // the last one may be cut off
		var id string
		var n int64
		f := strings.Fields(line)
		if len(f) > 1 {
			id = f[1]
		}
		if len(f) > 2 {
			fmt.Sscan(f[2], &n)
		}
		switch {
		case len(f) == 0:
		case f[0] == "error":
			return a, errors.New(line)
		case f[0] == "encounter":
			a.encounters = append(a.encounters, id)
		case f[0] == "said":
			a.said[id] = n
		case f[0] == "ended":
			a.ended[id] = n
		case f[0] == "note":
			a.notes[id] = int(n)
		case f[0] == "held":
			a.held[id] = true
		case f[0] == "purging":
			a.purging = true
		case f[0] == "purged":
			a.purged[id] = true
		case f[0] == "backup":
			a.backups = append(a.backups, id)
		}
	}
	return a, nil
}

// A process that records, decides, signs and backs up is killed at moments that
// a fixed seed chooses: no signed note is lost, no decision is half-written, at
// most a second of sound is missing, and the recording goes on.
func TestKilledProcess(t *testing.T) {
	dir := prepared(t)
	x := reopen(t, dir)
	ok(t, keepYears(x, 1))
	ok(t, x.Close())
	r := rand.New(rand.NewPCG(20310203, 9))
	kills, written, deleted := times(6), 0, 0
	for round := range kills {
		c := process(t, "all", dir)
		var out lines
		c.Stdout = &out
		ok(t, c.Start())
		out.wait(t, 1+r.IntN(80))
		time.Sleep(time.Duration(r.IntN(50)) * time.Millisecond)
		ok(t, c.Process.Kill())
		_ = c.Wait() // it was killed
		a, err := listen(out.String())
		ok(t, err)
		written += len(a.encounters) + len(a.notes)
		deleted += len(a.purged)
		if err := keptTold(dir, a, round%20 == 19 || round == kills-1); err != nil {
			t.Fatalf("kill %d: %v", round, err)
		}
		// A backup that was told of is whole; one that was cut off has no name.
		for i, b := range a.backups {
			if i == len(a.backups)-1 {
				to := filepath.Join(t.TempDir(), "restored")
				if _, err := Restore(bg, b, to, Unlocking{Login: "anna", Passphrase: passphrase}, options()); err != nil {
					t.Fatalf("kill %d: %v", round, err)
				}
			}
			ok(t, os.Remove(b))
		}
		for _, left := range []string{".bedsaid-backup-*", "backup-*"} {
			names, err := filepath.Glob(filepath.Join(filepath.Dir(dir), left))
			ok(t, err)
			for _, n := range names {
				ok(t, os.RemoveAll(n))
			}
		}
	}
	if written == 0 {
		t.Error("no process wrote anything before it was killed")
	}
	t.Logf("%d kills, %d encounters and notes told of, %d encounters deleted by the rule", kills, written, deleted)
}

func keptTold(dir string, a told, whole bool) error {
	x, err := Open(bg, dir, "anna", passphrase, options())
	if err != nil {
		return err
	}
	defer x.Close()
	// gone allows that something is not there: its deletion had begun.
	gone := func(err error) bool { return a.purging && errors.Is(err, ErrNotFound) }
	for _, id := range a.encounters {
		_, err := x.Encounter(bg, id)
		if a.purged[id] && !errors.Is(err, ErrNotFound) {
			return errors.New("an encounter whose deletion was told of is there")
		}
		if err != nil && (a.held[id] || !gone(err)) {
			return err
		}
	}
	for id, n := range a.said {
		s, err := x.Sound(bg, id, 0, math.MaxInt64)
		if gone(err) {
			continue
		}
		if err != nil {
			return err
		}
		if int64(len(s)) < n-Rate || int64(len(s)) < a.ended[id] || !slices.Equal(s, tone(2)[:len(s)]) {
			return fmt.Errorf("%d samples of %d that were spoken", len(s), n)
		}
		if a.ended[id] == 0 {
			w, err := x.ResumeRecording(bg, id, wristband)
			if errors.Is(err, ErrFinished) { // it was ended, and killed before it told
				continue
			}
			if err != nil {
				return err
			}
			if err := w.Append(bg, tone(1)); err != nil {
				return err
			}
			if err := w.Finish(bg); err != nil {
				return err
			}
			if got := w.Recording().Samples; got != int64(len(s))+Rate {
				return fmt.Errorf("%d samples after going on", got)
			}
		}
	}
	for id, n := range a.notes {
		note, err := x.Note(bg, id)
		if gone(err) {
			continue
		}
		if err != nil {
			return err
		}
		if note.Len() < n || n == 3 && note.Status() != review.Final {
			return fmt.Errorf("%v, want %d decisions", note, n)
		}
	}
	if !whole {
		return nil
	}
	rep, err := x.Verify(bg)
	if err == nil && len(rep.Problems) > 0 {
		err = fmt.Errorf("%v", rep.Problems)
	}
	return err
}

// Two processes write into one record at once: all that either was told is
// written is there.
func TestTwoProcessesWrite(t *testing.T) {
	dir := prepared(t)
	var outs [2]bytes.Buffer
	var wg sync.WaitGroup
	errs := make([]error, len(outs))
	for i := range outs {
		c := process(t, "write", dir)
		c.Stdout = &outs[i]
		ok(t, c.Start())
		wg.Go(func() { errs[i] = c.Wait() })
	}
	wg.Wait()
	n := 0
	for i := range outs {
		ok(t, errs[i])
		a, err := listen(outs[i].String())
		ok(t, err)
		if len(a.encounters) == 0 {
			t.Errorf("process %d wrote nothing", i)
		}
		n += len(a.encounters)
		ok(t, keptTold(dir, a, i == 1))
	}
	t.Logf("%d writes by two processes in %v", n, writing())
}

// Backups are made while another process adds encounters and this one records:
// each is whole, holds at least what had been told of when it began, and is
// restored.
func TestBackupDuringWriting(t *testing.T) {
	dir := prepared(t)
	x := reopen(t, dir)
	w, err := x.StartRecording(bg, encounter(t, x).ID, wristband)
	ok(t, err)
	c := process(t, "write on", dir)
	var out lines
	c.Stdout = &out
	ok(t, c.Start())
	stop, stopped := make(chan struct{}), make(chan error)
	go func() {
		for {
			select {
			case <-stop:
				stopped <- nil
				return
			default:
				if err := w.Append(bg, tone(0.5)); err != nil {
					stopped <- err
					return
				}
			}
		}
	}()
	var made []Report
	var least []int64
	for i := range 3 {
		out.wait(t, 3)
		least = append(least, w.Recording().Samples)
		r, err := x.Backup(bg, filepath.Join(filepath.Dir(dir), fmt.Sprint("backup", i)))
		ok(t, err)
		made = append(made, r)
	}
	close(stop)
	ok(t, <-stopped)
	ok(t, c.Process.Kill())
	_ = c.Wait() // it was killed
	if made[0].Encounters >= made[2].Encounters || made[2].Seconds == 0 {
		t.Errorf("nothing was written between the backups: %+v", made)
	}
	for i, m := range made {
		to := filepath.Join(t.TempDir(), "restored")
		r, err := Restore(bg, filepath.Join(filepath.Dir(dir), fmt.Sprint("backup", i)), to, Unlocking{Login: "anna", Passphrase: passphrase}, options())
		ok(t, err)
		if r.Encounters != m.Encounters || r.Seconds != m.Seconds || r.Seconds*Rate < float64(least[i]) {
			t.Errorf("restored %+v, backed up %+v, %d samples were told of before", r, m, least[i])
		}
	}
}

const plantedWord = "Quillfeather"

// planted puts a word into every place of a record that takes a patient's words.
func planted(x *Session) review.Note {
	must := func(err error) {
		if err != nil {
			panic(err)
		}
	}
	d := details()
	d.Patient[0].Value, d.Bed, d.Consent.From = plantedWord+" 1", plantedWord, plantedWord
	e, err := x.NewEncounter(bg, d)
	must(err)
	w, err := x.StartRecording(bg, e.ID, Confirmed{plantedWord + " 1", "1900-02-30"})
	must(err)
	must(w.Append(bg, tone(1)))
	dr := draft()
	for i := range dr.Transcript.Words {
		dr.Transcript.Words[i].Text = plantedWord
	}
	n, err := x.SaveDraft(bg, e.ID, "", dr)
	must(err)
	h, err := x.PutHold(bg, e.ID, plantedWord)
	must(err)
	_, err = x.LiftHold(bg, h.ID, plantedWord)
	must(err)
	note, err := x.Decide(bg, n.ID, 0, review.Decision{Kind: review.Comment, Text: plantedWord, Why: plantedWord})
	must(err)
	x.s.opt.Attention = func(transcript.Transcript, finding.Finding) []finding.Attention {
		return []finding.Attention{{ID: "neck.trachea", Why: plantedWord, Urgency: finding.Now, Source: plantedWord}}
	}
	f := draft().Findings()[0]
	f.Qualifiers = map[string]string{"onset": plantedWord}
	note, err = x.Decide(bg, n.ID, note.Len(), review.Decision{Kind: review.Add, Finding: f, Text: plantedWord, Why: plantedWord})
	must(err)
	closing := review.Closing{Handling: review.Told, To: plantedWord, At: x.s.opt.Now(), Answer: plantedWord}
	note, err = x.Decide(bg, n.ID, note.Len(), review.Decision{Kind: review.Close, Index: 0, Closing: closing})
	must(err)
	return note
}

// Words of a patient, passphrases and keys are searched for, byte by byte, in
// every file of the record while it is open and after it is closed, in a
// backup, and in what a crash prints.
func TestNothingReadableIsLeft(t *testing.T) {
	x, key := fresh(t)
	planted(x)
	backup := filepath.Join(filepath.Dir(x.s.dir), "backup")
	_, err := x.Backup(bg, backup)
	ok(t, err)
	var spoken []byte
	for _, s := range tone(1)[:64] {
		spoken = append(spoken, byte(s), byte(uint16(s)>>8))
	}
	secrets := map[string][]byte{
		"a patient's word": []byte(plantedWord), "a passphrase": []byte(passphrase), "the recovery key": []byte(key), "sound": spoken,
		"a patient's word in two bytes a letter": utf16(plantedWord), "the data key": slices.Clone(x.s.keys.data), "the file's key": slices.Clone(x.s.keys.file),
		"SQLite's header": []byte("SQLite format 3"), "a bed": []byte(`"bed"`),
	}
	search := func(when string, more ...[]byte) {
		t.Helper()
		files := 0
		texts := more
		err := filepath.WalkDir(filepath.Dir(x.s.dir), func(p string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			data, err := os.ReadFile(p)
			files++
			texts = append(texts, data)
			return err
		})
		ok(t, err)
		if files < 5 {
			t.Errorf("%s: %d files searched", when, files)
		}
		for what, secret := range secrets {
			for _, data := range texts {
				if bytes.Contains(data, secret) {
					t.Errorf("%s: %s is readable", when, what)
				}
			}
		}
	}
	search("open")
	dir := x.s.dir
	ok(t, x.Close())
	if !bytes.Equal(x.s.keys.data, make([]byte, keySize)) || !bytes.Equal(x.s.keys.seal, make([]byte, keySize)) {
		t.Error("closing did not wipe the keys")
	}
	search("closed")

	c := process(t, "panic", dir)
	c.Env = append(c.Env, "GOTRACEBACK=all")
	out, err := c.CombinedOutput()
	if err == nil || !bytes.Contains(out, []byte("goroutine ")) {
		t.Fatalf("the process did not crash: %v", err)
	}
	search("after a crash", out)
	// The same word in a database that is not encrypted is found.
	plain := filepath.Join(t.TempDir(), "plain.db")
	db, err := openDatabase(plain, "os", true)
	ok(t, err)
	_, err = db.Exec("CREATE TABLE t AS SELECT ? AS x", plantedWord)
	ok(t, err)
	ok(t, db.Close())
	data, err := os.ReadFile(plain)
	ok(t, err)
	if !bytes.Contains(data, secrets["a patient's word"]) || !bytes.Contains(data, secrets["SQLite's header"]) {
		t.Error("the search finds nothing where the word is readable")
	}
}

func utf16(s string) []byte {
	var out []byte
	for _, r := range s {
		out = append(out, byte(r), 0)
	}
	return out
}
