package store

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/review"
)

// full is a record with something in every table.
func full(t *testing.T) (*Session, NoteInfo, Recording) {
	t.Helper()
	x, _ := fresh(t)
	sam, err := x.AddUser(bg, NewUser{Login: "sam", Name: "Sam Sample", Role: review.Student}, second)
	ok(t, err)
	ok(t, x.RetireUser(bg, sam.ID))
	ok(t, x.SetSite(bg, Site{Identifiers: [2]string{"record number", "full name"}, KeepSound: time.Hour}))
	e := encounter(t, x)
	_, err = x.UpdateEncounter(bg, e.ID, 1, details(), "nothing")
	ok(t, err)
	w, err := x.StartRecording(bg, e.ID, wristband)
	ok(t, err)
	ok(t, w.Append(bg, tone(2.2)))
	ok(t, w.Finish(bg))
	n := signed(t, x, e)
	encounter(t, x)
	_, err = x.SaveDraft(bg, e.ID, w.Recording().ID, draft())
	ok(t, err)
	return x, n, w.Recording()
}

func problems(t *testing.T, x *Session) []Problem {
	t.Helper()
	r, err := x.Verify(bg)
	ok(t, err)
	return r.Problems
}

func TestVerifyWholeRecord(t *testing.T) {
	x, _, _ := full(t)
	r, err := x.Verify(bg)
	ok(t, err)
	want := Report{Users: 2, Encounters: 2, Recordings: 1, Notes: 2, Signed: 1, Decisions: 3, Events: r.Events, Seconds: 2.2}
	if !reflect.DeepEqual(r, want) || r.Events < 12 {
		t.Errorf("%+v", r)
	}
}

// Any value of any column of any row that is changed behind the record's back,
// and any row that is taken away, is found by the verification.
func TestEveryColumnIsSealed(t *testing.T) {
	x, _, _ := full(t)
	list, err := x.Encounters(bg, Page{})
	ok(t, err)
	h, err := x.PutHold(bg, list[0].ID, "a claim")
	ok(t, err)
	_, err = x.LiftHold(bg, h.ID, "settled")
	ok(t, err)
	_, err = x.PutHold(bg, list[0].ID, "another claim")
	ok(t, err)
	tables := rowsOf(t, x, "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
	if len(tables) < 12 {
		t.Fatalf("tables: %v", tables)
	}
	tried := 0
	// Each harm is done and undone by putting the file back.
	try := func(what, change string) {
		t.Helper()
		q, err := x.s.db.Begin()
		ok(t, err)
		defer q.Rollback()
		_, err = q.Exec("PRAGMA defer_foreign_keys = on")
		ok(t, err)
		res, err := q.Exec(change)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if n, _ := res.RowsAffected(); n == 0 {
			t.Errorf("%s: nothing was changed", what)
		}
		tried++
		v := newVerifier()
		v.t = &tx{bg, q, x.s}
		err = v.all()
		if err == nil && len(v.r.Problems) == 0 {
			t.Errorf("%s was not found", what)
		}
		for _, p := range v.r.Problems {
			if strings.Contains(p.String(), "QX-4471") || strings.Contains(p.String(), "midline") {
				t.Errorf("%s: the problem tells what was said: %s", what, p)
			}
		}
	}
	for _, table := range tables {
		columns := rowsOf(t, x, fmt.Sprintf("SELECT name || ' ' || type FROM pragma_table_info('%s')", table))
		for _, c := range columns {
			name, kind, _ := strings.Cut(c, " ")
			to := map[string]string{"TEXT": name + " || 'x'", "BLOB": "CAST(" + name + " || x'00' AS BLOB)", "INTEGER": name + " + 77"}[kind]
			if table == "sound" && name == "seq" {
				to = name + " + 99999"
			}
			// One row alone, the last, and a change of what identifies it too.
			pick := rowPick(table)
			try(table+"."+name, fmt.Sprintf("UPDATE %s SET %s = %s WHERE %s", table, name, to, pick))
		}
		try("a row of "+table, fmt.Sprintf("DELETE FROM %s WHERE %s", table, rowPick(table)))
	}
	// What was the truth once: an older row in the place of a newer one.
	try("the site's rules", "DELETE FROM meta WHERE name = 'site'")
	for _, end := range []string{"min", "max"} {
		try("a user, "+end, "DELETE FROM users WHERE id = (SELECT "+end+"(id) FROM users)")
	}
	try("that a user was retired", "DELETE FROM users WHERE version = 2")
	try("the last decision, with the note set back", "DELETE FROM decisions WHERE seq = 3")
	try("what lifts a hold", "DELETE FROM holds WHERE lifts <> ''")
	try("a hold that stands", "DELETE FROM holds WHERE place = (SELECT max(place) FROM holds)")
	try("two pieces of sound swapped", "UPDATE sound SET body = (SELECT body FROM sound WHERE seq = 1) WHERE seq = 2")
	if tried < 60 {
		t.Errorf("%d harms tried", tried)
	}
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("after all was put back: %v", p)
	}
}

// rowPick chooses one row. Of the log that is not the last: a log that is cut
// at its end is found by the count of writes alone, and by printed seals.
func rowPick(table string) string {
	switch table {
	case "events":
		return "seq = 3"
	case "meta":
		return "name = 'record'"
	case "users":
		return "id = (SELECT min(id) FROM users)"
	case "sound", "decisions":
		return "seq = 2"
	case "signed", "encounters_before":
		return "true"
	}
	return "id = (SELECT min(id) FROM " + table + ")"
}

func rowsOf(t *testing.T, x *Session, query string) []string {
	t.Helper()
	var out []string
	rows, err := x.s.db.Query(query)
	ok(t, err)
	defer rows.Close()
	for rows.Next() {
		var s string
		ok(t, rows.Scan(&s))
		out = append(out, s)
	}
	ok(t, rows.Err())
	return out
}

// Decisions dropped from the end together with all that speaks of them: only
// the seal on the export tells.
func TestSealOnExport(t *testing.T) {
	x, n, _ := full(t)
	dir := x.s.dir
	ok(t, x.s.run(bg, "PRAGMA wal_checkpoint(TRUNCATE)"))
	old := filepath.Join(t.TempDir(), "old")
	copyFolder(t, dir, old)
	_, err := x.Sign(bg, n.ID, 3, review.Decision{Kind: review.Addendum, Text: "late words"}, Signing{passphrase, wristband})
	ok(t, err)
	_, _, err = x.Export(bg, n.ID, "text", Confirmed{"QX-4471", "x"})
	is(t, err, ErrIdentity)
	_, seal, err := x.Export(bg, n.ID, "text", wristband)
	ok(t, err)
	list, err := x.Encounters(bg, Page{})
	ok(t, err)
	sound := list[1].Recordings[0].ID
	var wav strings.Builder
	is(t, x.ExportSound(bg, sound, "a file", Confirmed{"", ""}, &wav), ErrIdentity)
	if wav.Len() > 0 {
		t.Error("sound was handed on for another patient")
	}
	ok(t, x.ExportSound(bg, sound, "a file", wristband, &wav))
	if wav.Len() != 44+2*int(2.2*Rate) {
		t.Errorf("%d bytes of sound", wav.Len())
	}
	printed := "SIGNED NOTE\nsomething\n" + seal.String() + "\n"
	got := ParseSeals(printed)
	if len(got) != 1 || !reflect.DeepEqual(got[0], seal) {
		t.Fatalf("%v", got)
	}
	p, _, err := x.VerifyAgainst(bg, got)
	ok(t, err)
	if len(p) > 0 {
		t.Errorf("%v", p)
	}
	ok(t, x.Close())

	// Somebody puts the older copy in its place, its count of writes included.
	x = reopen(t, old)
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("an older whole record: %v", p)
	}
	p, _, err = x.VerifyAgainst(bg, got)
	ok(t, err)
	if len(p) != 1 || !strings.Contains(p[0].What, "dropped") {
		t.Errorf("%v", p)
	}
	p, _, err = x.VerifyAgainst(bg, []Seal{{Note: newID("n"), Length: 1, Head: make([]byte, 32)}, {Note: n.ID, Length: 2, Head: make([]byte, 32)}})
	ok(t, err)
	if len(p) != 2 {
		t.Errorf("%v", p)
	}
	// Without the count it is told at once.
	ok(t, x.Close())
	data, err := os.ReadFile(filepath.Join(dir, anchorName))
	ok(t, err)
	ok(t, os.WriteFile(filepath.Join(old, anchorName), data, 0o600))
	_, err = Open(bg, old, "anna", passphrase, options())
	is(t, err, ErrShortened)
}

func copyFolder(t *testing.T, from, to string) {
	t.Helper()
	ok(t, os.CopyFS(to, os.DirFS(from)))
}

func TestBackupAndRestore(t *testing.T) {
	x, n, r := full(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "backup")
	made, err := x.Backup(bg, file)
	ok(t, err)
	if made.Notes != 2 || made.Seconds != 2.2 {
		t.Errorf("%+v", made)
	}
	_, err = x.Backup(bg, file)
	is(t, err, ErrExists)
	with := Unlocking{Login: "anna", Passphrase: passphrase}
	_, err = Restore(bg, file, filepath.Join(dir, "new"), Unlocking{Login: "anna", Passphrase: second}, options())
	is(t, err, ErrWrongPassphrase)
	_, err = Restore(bg, file, filepath.Join(dir, "new"), Unlocking{Recovery: newRecoveryKey()}, options())
	is(t, err, ErrRecoveryKey)

	// A restore never touches a folder that holds something.
	before := tree(t, x.s.dir)
	_, err = Restore(bg, file, x.s.dir, with, options())
	is(t, err, ErrExists)
	if after := tree(t, x.s.dir); !reflect.DeepEqual(before, after) {
		t.Error("the existing record was touched")
	}
	got, err := Restore(bg, file, filepath.Join(dir, "new"), with, options())
	ok(t, err)
	if got.Notes != made.Notes || got.Decisions != made.Decisions {
		t.Errorf("%+v, want %+v", got, made)
	}
	y := reopen(t, filepath.Join(dir, "new"))
	if note, err := y.Note(bg, n.ID); err != nil || note.Status() != review.Final {
		t.Errorf("%v %v", note, err)
	}
	if s, err := y.Sound(bg, r.ID, 0, math.MaxInt64); err != nil || !slices.Equal(s, tone(2.2)) {
		t.Errorf("%d samples, %v", len(s), err)
	}
	left, err := os.ReadDir(dir)
	ok(t, err)
	if len(left) != 2 {
		t.Errorf("left behind: %v", left)
	}
}

func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	entries, err := os.ReadDir(dir)
	ok(t, err)
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		ok(t, err)
		out[e.Name()] = string(data)
	}
	return out
}

// A backup that was cut short or in which a bit was turned is refused, whatever
// the place; nothing is left in the folder.
func TestDamagedBackup(t *testing.T) {
	x, _, _ := full(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "backup")
	_, err := x.Backup(bg, file)
	ok(t, err)
	whole, err := os.ReadFile(file)
	ok(t, err)
	bad := filepath.Join(dir, "bad")
	tried := 0
	for _, at := range spread(len(whole), 60) {
		flipped := slices.Clone(whole)
		flipped[at] ^= 1 << (at % 8)
		for _, data := range [][]byte{flipped, whole[:at]} {
			ok(t, os.WriteFile(bad, data, 0o600))
			tried++
			_, err := Restore(bg, bad, filepath.Join(dir, "new"), Unlocking{Login: "anna", Passphrase: passphrase}, options())
			var p *problem
			if !errors.As(err, &p) || p.Hint() == "" {
				t.Fatalf("byte %d of %d: %v", at, len(whole), err)
			}
			if _, err := os.Stat(filepath.Join(dir, "new")); err == nil {
				t.Fatalf("byte %d: something was restored", at)
			}
		}
	}
	if tried < 100 {
		t.Errorf("%d damages tried", tried)
	}
	ok(t, os.WriteFile(bad, append(slices.Clone(whole), 0), 0o600))
	_, err = Restore(bg, bad, filepath.Join(dir, "new"), Unlocking{Login: "anna", Passphrase: passphrase}, options())
	is(t, err, ErrBackup)
}

// spread gives places of a file: its first bytes, its last, and some between.
func spread(n, count int) []int {
	var out []int
	for i := range count {
		out = append(out, i*(n-1)/(count-1))
	}
	return out
}

func TestSite(t *testing.T) {
	x, _ := fresh(t)
	got, err := x.Site(bg)
	ok(t, err)
	if got != DefaultSite() {
		t.Errorf("%+v", got)
	}
	want := Site{Identifiers: [2]string{"record number", "full name"}, KeepSound: 90 * 24 * time.Hour}
	for _, bad := range []Site{{}, {Identifiers: [2]string{"name", "Name "}}, {Identifiers: want.Identifiers, KeepSound: -1}} {
		if err := x.SetSite(bg, bad); err == nil {
			t.Errorf("%+v was taken", bad)
		}
	}
	ok(t, x.SetSite(bg, want))
	if got, err = x.Site(bg); err != nil || got != want {
		t.Errorf("%+v, %v", got, err)
	}
	_, err = x.AddUser(bg, NewUser{Login: "sam", Name: "Sam Sample", Role: review.Examiner}, second)
	ok(t, err)
	y, err := x.s.SignIn(bg, "sam", second)
	ok(t, err)
	is(t, y.SetSite(bg, want), ErrRole)
}

func TestPurgeFollowsTheRule(t *testing.T) {
	x, _ := fresh(t)
	e := encounter(t, x)
	record := func(e Encounter) Recording {
		w, err := x.StartRecording(bg, e.ID, wristband)
		ok(t, err)
		ok(t, w.Append(bg, tone(1)))
		ok(t, w.Finish(bg))
		return w.Recording()
	}
	old, undrafted, unsigned := record(e), record(e), record(e)
	n, err := x.SaveDraft(bg, e.ID, old.ID, draft())
	ok(t, err)
	_, err = x.SaveDraft(bg, e.ID, unsigned.ID, draft())
	ok(t, err)
	for i, d := range []review.Decision{{Kind: review.Accept, Line: "f1"}, {Kind: review.Reject, Line: "f2"}} {
		_, err := x.Decide(bg, n.ID, i, d)
		ok(t, err)
	}
	_, err = x.Sign(bg, n.ID, 2, review.Decision{Kind: review.Sign}, Signing{passphrase, wristband})
	ok(t, err)

	purge := func(rule Retention, want ...string) {
		t.Helper()
		got, err := x.PurgeSound(bg, rule)
		ok(t, err)
		var ids []string
		for _, r := range got {
			ids = append(ids, r.ID)
		}
		if !slices.Equal(ids, want) {
			t.Errorf("purged %v, want %v", ids, want)
		}
	}
	purge(Retention{KeepSound: time.Hour})
	purge(Retention{}, old.ID)
	purge(Retention{})
	_, err = x.Sound(bg, old.ID, 0, 1)
	is(t, err, ErrPurged)
	is(t, x.WriteWAV(bg, old.ID, &strings.Builder{}), ErrPurged)
	if s, err := x.Sound(bg, undrafted.ID, 0, math.MaxInt64); err != nil || len(s) != Rate {
		t.Errorf("%d samples, %v", len(s), err)
	}
	if got, err := x.Note(bg, n.ID); err != nil || got.Status() != review.Final {
		t.Errorf("the note went with its sound: %v %v", got, err)
	}
	_, err = x.WithdrawConsent(bg, e.ID)
	ok(t, err)
	purge(Retention{KeepSound: time.Hour})
	purge(Retention{KeepSound: time.Hour, Withdrawn: true}, undrafted.ID, unsigned.ID)
	if info, err := os.Stat(filepath.Join(x.s.dir, recordName+"-wal")); err == nil && info.Size() > 0 {
		t.Errorf("%d bytes of sound may be left in the log of writes", info.Size())
	}
	var empty int
	ok(t, x.s.db.QueryRow("PRAGMA freelist_count").Scan(&empty))
	if empty != 0 {
		t.Errorf("%d blocks are empty", empty)
	}
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
	count := 0
	ok(t, x.Log(bg, func(e Event) error {
		if e.Act == ActSoundPurged {
			count++
		}
		return nil
	}))
	if count != 3 {
		t.Errorf("%d deletions in the log", count)
	}
}
