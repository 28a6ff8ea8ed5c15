package store

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/review"
)

// inYears lets a record's clock stand that many years on.
func inYears(x *Session, years int) {
	now := x.s.opt.Now
	x.s.opt.Now = func() time.Time { return now().AddDate(years, 0, 0) }
}

// keepYears sets the rule for whole encounters.
func keepYears(x *Session, years int) error {
	s, err := x.Site(bg)
	if err != nil {
		return err
	}
	s.KeepYears = years
	return x.SetSite(bg, s)
}

func purged(t *testing.T, x *Session) []string {
	t.Helper()
	list, err := x.PurgeableEncounters(bg)
	ok(t, err)
	done, err := x.PurgeEncounters(bg)
	ok(t, err)
	var would, ids []string
	for _, e := range list {
		would = append(would, e.ID)
	}
	for _, e := range done {
		ids = append(ids, e.ID)
	}
	if !slices.Equal(would, ids) {
		t.Errorf("%v were listed, %v deleted", would, ids)
	}
	return ids
}

func TestHoldStopsEveryPurge(t *testing.T) {
	x, _ := fresh(t)
	ok(t, keepYears(x, 1))
	e := encounter(t, x)
	w, err := x.StartRecording(bg, e.ID, wristband)
	ok(t, err)
	ok(t, w.Append(bg, tone(1)))
	ok(t, w.Finish(bg))
	signed(t, x, e)
	_, err = x.WithdrawConsent(bg, e.ID)
	ok(t, err)
	_, err = x.AddUser(bg, NewUser{Login: "rev", Name: "Rev Sample", Role: review.Reviewer}, second)
	ok(t, err)
	rev, err := x.s.SignIn(bg, "rev", second)
	ok(t, err)

	_, err = x.PutHold(bg, e.ID, " ")
	is(t, err, errNoReason)
	_, err = x.PutHold(bg, "e0000000000000000", "a claim")
	is(t, err, ErrNotFound)
	h, err := rev.PutHold(bg, e.ID, "a claim") // every user may
	ok(t, err)
	twice, err := x.PutHold(bg, e.ID, "a complaint")
	ok(t, err)
	inYears(x, 30)
	all := Retention{Withdrawn: true}
	nothing := func(when string) {
		t.Helper()
		if got, err := x.PurgeSound(bg, all); err != nil || len(got) > 0 {
			t.Errorf("%s: %d recordings deleted, %v", when, len(got), err)
		}
		if got := purged(t, x); len(got) > 0 {
			t.Errorf("%s: %v deleted", when, got)
		}
	}
	nothing("held twice")
	_, err = x.EraseWithdrawn(bg, e.ID)
	is(t, err, ErrHeld)
	_, err = rev.LiftHold(bg, h.ID, "settled")
	is(t, err, ErrRole)
	_, err = x.LiftHold(bg, h.ID, "")
	is(t, err, errNoReason)
	_, err = x.LiftHold(bg, "h0000000000000000", "settled")
	is(t, err, ErrNotFound)
	lifted, err := x.LiftHold(bg, h.ID, "settled")
	ok(t, err)
	if lifted.Why != "a claim" || lifted.By.Name != "Rev Sample" || lifted.LiftedBy.Name != "Anna Example" || lifted.LiftWhy != "settled" || lifted.Stands() {
		t.Errorf("%+v", lifted.Why)
	}
	_, err = x.LiftHold(bg, h.ID, "settled")
	is(t, err, errLifted)
	nothing("held once")

	dir := x.s.dir
	ok(t, x.Close())
	x = reopen(t, dir)
	inYears(x, 30)
	list, err := x.Holds(bg, e.ID)
	ok(t, err)
	if len(list) != 2 || list[0].Stands() || !list[1].Stands() || list[1].ID != twice.ID {
		t.Errorf("%v", list)
	}
	if s, err := x.Encounters(bg, Page{}); err != nil || !s[0].Held {
		t.Errorf("the list does not tell of the hold: %v", err)
	}
	nothing("after it was opened again")
	_, err = x.LiftHold(bg, twice.ID, "withdrawn")
	ok(t, err)
	// A hold that is put after the list was made stops what is on it.
	due, err := x.Purgeable(bg, all)
	ok(t, err)
	if len(due) != 1 {
		t.Errorf("%v", due)
	}
	again, err := x.PutHold(bg, e.ID, "a new claim")
	ok(t, err)
	nothing("held anew")
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
	_, err = x.LiftHold(bg, again.ID, "settled")
	ok(t, err)
	if got, err := x.PurgeSound(bg, all); err != nil || len(got) != 1 {
		t.Errorf("%v %v", got, err)
	}
	if got := purged(t, x); !slices.Equal(got, []string{e.ID}) {
		t.Errorf("%v", got)
	}
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
	acts := map[Act]int{}
	ok(t, x.Log(bg, func(e Event) error {
		acts[e.Act]++
		if strings.Contains(e.Detail, "claim") || strings.Contains(e.Detail, "settled") {
			t.Errorf("the log tells the reason: %s", e.Detail)
		}
		return nil
	}))
	if acts[ActHeld] != 3 || acts[ActHoldLifted] != 3 || acts[ActEncounterPurged] != 1 {
		t.Errorf("%v", acts)
	}
}

func TestPurgeOfWholeEncounters(t *testing.T) {
	x, sealed, r := full(t)
	list, err := x.Encounters(bg, Page{})
	ok(t, err)
	signedOne, empty := list[1].Encounter, list[0].Encounter
	_, err = x.Sign(bg, sealed.ID, 3, review.Decision{Kind: review.Addendum, Text: "told the next shift"}, Signing{passphrase, wristband})
	ok(t, err)
	_, seal, err := x.Export(bg, sealed.ID, "text", wristband)
	ok(t, err)
	unsigned := encounter(t, x)
	_, err = x.SaveDraft(bg, unsigned.ID, "", draft())
	ok(t, err)
	open := encounter(t, x)
	amending := signed(t, x, open)
	_, err = x.Decide(bg, amending.ID, 3, review.Decision{Kind: review.Amend, Why: "a slip"})
	ok(t, err)

	inYears(x, 2)
	if got := purged(t, x); len(got) > 0 {
		t.Errorf("without a rule %v were deleted", got)
	}
	ok(t, keepYears(x, 3))
	if got := purged(t, x); len(got) > 0 {
		t.Errorf("too early %v were deleted", got)
	}
	ok(t, keepYears(x, 1))
	_, err = x.AddUser(bg, NewUser{Login: "kim", Name: "Kim Sample", Credentials: "RN", Role: review.Examiner}, second)
	ok(t, err)
	kim, err := x.s.SignIn(bg, "kim", second)
	ok(t, err)
	_, err = kim.PurgeEncounters(bg)
	is(t, err, ErrRole)
	// Some rows, to be put back.
	q := x.s.db
	_, err = q.Exec("CREATE TEMP TABLE kept AS SELECT * FROM encounters_before; CREATE TEMP TABLE kept2 AS SELECT * FROM sound; CREATE TEMP TABLE kept3 AS SELECT * FROM encounters")
	ok(t, err)
	ok(t, x.s.run(bg, "PRAGMA wal_checkpoint(TRUNCATE)"))
	before, err := os.Stat(filepath.Join(x.s.dir, recordName))
	ok(t, err)
	if got := purged(t, x); !slices.Equal(got, []string{signedOne.ID}) {
		t.Fatalf("deleted %v, want the one that is signed and left alone", got)
	}

	for _, id := range []string{empty.ID, unsigned.ID, open.ID} {
		_, err := x.Encounter(bg, id)
		ok(t, err)
	}
	_, err = x.Encounter(bg, signedOne.ID)
	is(t, err, ErrNotFound)
	_, err = x.Note(bg, sealed.ID)
	is(t, err, ErrNotFound)
	_, err = x.Sound(bg, r.ID, 0, 1)
	is(t, err, ErrNotFound)
	for _, table := range []string{"encounters_before", "recordings", "sound"} {
		if rows := rowsOf(t, x, "SELECT count(*) FROM "+table); rows[0] != "0" {
			t.Errorf("%s rows are left in %s", rows[0], table)
		}
	}
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
	after, err := os.Stat(filepath.Join(x.s.dir, recordName))
	ok(t, err)
	if after.Size() >= before.Size() {
		t.Errorf("the file has %d bytes, and had %d", after.Size(), before.Size())
	}

	// The seal of the export is still known: by the log.
	p, gone, err := x.VerifyAgainst(bg, []Seal{seal})
	ok(t, err)
	if len(p) != 0 || !slices.Equal(gone, []string{sealed.ID}) {
		t.Errorf("%v %v", p, gone)
	}
	forged := seal
	forged.Head = make([]byte, 32)
	if p, _, err := x.VerifyAgainst(bg, []Seal{forged}); err != nil || len(p) != 1 {
		t.Errorf("%v %v", p, err)
	}

	// What was deleted and is put back, in part or whole, is found.
	for _, put := range []string{"INSERT INTO encounters_before SELECT * FROM kept", "INSERT INTO sound SELECT * FROM kept2",
		"INSERT INTO encounters SELECT * FROM kept3 WHERE id = '" + signedOne.ID + "'"} {
		tx1, err := q.Begin()
		ok(t, err)
		_, err = tx1.Exec("PRAGMA defer_foreign_keys = on; " + put)
		ok(t, err)
		v := newVerifier()
		v.t = &tx{bg, tx1, x.s}
		if err := v.all(); err != nil || len(v.r.Problems) == 0 {
			t.Errorf("%s: %v, %v", put, v.r.Problems, err)
		}
		ok(t, tx1.Rollback())
	}

	// A backup of before still has it; a new encounter does not get in its way.
	n := signed(t, x, encounter(t, x))
	if got, err := x.Note(bg, n.ID); err != nil || got.Status() != review.Final {
		t.Errorf("%v %v", got, err)
	}
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
}

// A record of the first form is brought up to date and holds all it held.
func TestMigrationFromTheFirstForm(t *testing.T) {
	x, n, r := full(t)
	_, err := x.s.db.Exec("DROP TABLE holds; PRAGMA user_version = 1")
	ok(t, err)
	dir := x.s.dir
	ok(t, x.Close())
	x = reopen(t, dir)
	if got, err := x.Note(bg, n.ID); err != nil || got.Status() != review.Final {
		t.Errorf("%v %v", got, err)
	}
	if s, err := x.Sound(bg, r.ID, 0, math.MaxInt64); err != nil || !slices.Equal(s, tone(2.2)) {
		t.Errorf("%d samples, %v", len(s), err)
	}
	list, err := x.Encounters(bg, Page{})
	ok(t, err)
	_, err = x.PutHold(bg, list[0].ID, "a claim")
	ok(t, err)
	if p := problems(t, x); len(p) > 0 {
		t.Errorf("%v", p)
	}
	var form int
	ok(t, x.s.db.QueryRow("PRAGMA user_version").Scan(&form))
	if form != formVersion {
		t.Errorf("form %d", form)
	}
}
