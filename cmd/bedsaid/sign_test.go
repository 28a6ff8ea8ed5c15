package main

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/lexicon"
)

// desk is a record that commands of several people work in.
type desk struct {
	t    *testing.T
	dir  string
	ring keyring
	at   time.Time
}

const (
	hers = "four words nobody guesses"
	his  = "another set of four words"
)

// run runs a command line with answers, demands its exit code, and gives what it
// printed. No word of the patient may stand in what it complains of.
func (d *desk) run(want int, user string, args []string, answers ...string) string {
	d.t.Helper()
	d.at = d.at.Add(time.Minute)
	m, out, errs := testMain(strings.Join(answers, "\n") + "\n")
	m.Now, m.Keyring = func() time.Time { return d.at }, d.ring
	if code := m.Run(context.Background(), append(args, "--data", d.dir, "--user", user)); code != want {
		d.t.Fatalf("%v: exit code %d, want %d: %s", args, code, want, errs)
	}
	for _, word := range []string{"Quillfeather", "deviated", "trachea", hers, his} {
		if strings.Contains(errs.String(), word) {
			d.t.Errorf("%v: %q stands in %s", args, word, errs)
		}
	}
	return out.String() + errs.String()
}

// decide does on the page's behalf what no command does: the decisions that the
// note, as it stands, asks for.
func (d *desk) decide(user, passphrase, id string, ask func(review.Note) []review.Decision) {
	d.t.Helper()
	lex, err := lexicon.With()
	if err != nil {
		d.t.Fatal(err)
	}
	x, err := store.Open(d.t.Context(), d.dir, user, passphrase, store.Options{Now: func() time.Time { return d.at }, Outline: note.OutlineOf(lex)})
	if err != nil {
		d.t.Fatal(err)
	}
	defer x.Close()
	n, err := x.Note(d.t.Context(), id)
	if err != nil {
		d.t.Fatal(err)
	}
	for _, one := range ask(n) {
		if n, err = x.Decide(d.t.Context(), id, n.Len(), one); err != nil {
			d.t.Fatal(err)
		}
	}
}

// all accepts every line, settles every mark, and closes what is open.
func all(n review.Note) []review.Decision {
	var ds []review.Decision
	for _, l := range n.Lines() {
		one := review.Decision{Kind: review.Accept, Line: l.ID}
		for _, m := range l.Finding.Marks {
			one.Resolves = append(one.Resolves, m.Kind)
		}
		ds = append(ds, one)
	}
	for i := range n.Talk() {
		ds = append(ds, review.Decision{Kind: review.Read, Index: i})
	}
	for i := range n.Actions() {
		ds = append(ds, review.Decision{Kind: review.Close, Index: i, Why: "known for years", Closing: review.Closing{Handling: review.AlreadyKnown}})
	}
	return ds
}

func (d *desk) holds(text string, all ...string) {
	d.t.Helper()
	for _, want := range all {
		if !strings.Contains(text, want) {
			d.t.Errorf("%q is not in:\n%s", want, text)
		}
	}
}

// A student's note from the recording to the second amendment, by commands: each
// signature asks for the wristband and the passphrase, and none is given while
// something is open.
func TestSigningByCommands(t *testing.T) {
	t.Parallel()
	d := &desk{t: t, dir: filepath.Join(t.TempDir(), "record"), ring: fileKeyring(""), at: time.Date(2031, 2, 3, 4, 0, 0, 0, time.UTC)}
	cmd := func(s string) []string { return strings.Fields(s) }
	d.run(exitOK, "pat", append(cmd("record init --role preceptor --credentials RN"), "--name", "Pat Example"), hers, hers)
	d.run(exitOK, "pat", append(cmd("record user add sam --role student"), "--name", "Sam Sample"), hers, his, his)
	text := filepath.Join(t.TempDir(), "exam.txt")
	if err := os.WriteFile(text, []byte("Trachea is deviated to the left. Purple blorft noted on the flange."), 0o600); err != nil {
		t.Fatal(err)
	}
	wristband := []string{"QX-Quillfeather", "1900-02-30"}
	kept := d.run(exitOK, "sam", []string{"record", "keep", text}, append([]string{his}, append(wristband, "7B")...)...)
	id := regexp.MustCompile(`note (n\w+), not signed`).FindStringSubmatch(kept)[1]
	sign := func(verb string) []string { return []string{"record", verb, id} }
	answers := func(passphrase string, read ...string) []string {
		return append(append([]string{passphrase}, read...), passphrase)
	}

	out := d.run(exitRecord, "sam", sign("sign"), his)
	d.holds(out, "Not signed.", "undecided: trachea: deviated to the left", `not understood, to be read: "Purple blorft noted on the flange."`, "the note is not finished", "hint:")
	d.decide("sam", his, id, all)

	// The wrong wristband, the wrong passphrase and the wrong person sign nothing.
	d.holds(d.run(exitRecord, "sam", sign("sign"), answers(his, "QX-Quillfeather", "1900-02-28")...), "the two identifiers are not those of this encounter")
	d.holds(d.run(exitRecord, "sam", sign("sign"), his, wristband[0], wristband[1], "another set of five words"), "passphrase is wrong")
	d.holds(d.run(exitRecord, "pat", sign("sign"), hers), "only the nurse who wrote the note")
	d.holds(d.run(exitRecord, "pat", sign("cosign"), hers), "not signed yet")

	out = d.run(exitOK, "sam", sign("sign"), answers(his, wristband...)...)
	d.holds(out, "Neck", "trachea: deviated to the left", "signed by Sam Sample (student)", "waits for the preceptor", "bedsaid-seal/1 "+id+" ")
	if strings.Contains(out, "Quillfeather") {
		t.Error("the identifiers were shown before they were read off the wristband")
	}
	d.holds(d.run(exitOK, "pat", sign("return"), hers, "look again"), "given back by Pat Example, RN (preceptor)", "not signed")
	d.run(exitOK, "sam", sign("sign"), answers(his, wristband...)...)
	d.holds(d.run(exitOK, "pat", sign("cosign"), answers(hers, wristband...)...), "co-signed by Pat Example, RN (preceptor), 2031-02-03", ": signed\n")

	// What was signed is corrected and added to; the original stays.
	d.holds(d.run(exitRecord, "sam", sign("amend"), his, ""), "a reason is needed")
	d.run(exitOK, "sam", sign("amend"), his, "wrong finding")
	d.holds(d.run(exitRecord, "sam", sign("sign"), answers(his, wristband...)...), "nothing was changed")
	d.decide("sam", his, id, func(review.Note) []review.Decision {
		return []review.Decision{{Kind: review.Reject, Line: "f1", Why: "it was a shadow"}}
	})
	d.run(exitOK, "sam", sign("sign"), answers(his, wristband...)...)
	d.run(exitOK, "pat", sign("cosign"), answers(hers, wristband...)...)
	d.holds(d.run(exitRecord, "sam", sign("addendum"), his), "this role does not do that")
	d.holds(d.run(exitRecord, "pat", append(sign("addendum"), "--observed", "2040-01-01 10:00"), append([]string{hers, "told the ward"}, answers(hers, wristband...)[1:]...)...), "the time of the finding lies after the time of entry")
	late := append(sign("addendum"), "--observed", "2031-02-03 03:00")
	d.holds(d.run(exitOK, "pat", late, append([]string{hers, "told the ward"}, answers(hers, wristband...)[1:]...)...), "added to by Pat Example", "signed, amended")
	shown := d.run(exitOK, "pat", sign("show"), hers)
	d.holds(shown, "version 1 signed by Sam Sample (student)", "version 1 co-signed by Pat Example, RN", "version 2 signed by Sam Sample", "1 addenda")
	exported := d.run(exitOK, "pat", append(sign("export"), "--to", "text"), append([]string{hers}, wristband...)...)
	d.holds(exported, "Status: amended", "Late entry, observed 2031-02-03 03:00", "told the ward", "Sam Sample", "Pat Example, RN")
	if strings.Contains(exported, "PRELIMINARY") {
		t.Error("a signed note says that it is not signed")
	}
	d.holds(d.run(exitOK, "pat", []string{"verify"}, hers), "All is as it was written", "1 notes (1 signed)")

	// Holds keep their reason to themselves; nothing of all this is readable on the disk.
	encounter := regexp.MustCompile(`encounter (e\w+)`).FindStringSubmatch(kept)[1]
	held := d.run(exitOK, "sam", []string{"record", "hold", "put", encounter}, his, "a claim about the shadow")
	d.run(exitRecord, "sam", []string{"record", "hold", "lift", regexp.MustCompile(`hold (h\w+):`).FindStringSubmatch(held)[1]}, his, "settled")
	for _, command := range [][]string{{"record", "log"}, {"purge"}, {"purge", "--encounters", "--yes"}} {
		if out := d.run(exitOK, "pat", command, hers); strings.Contains(out, "shadow") || strings.Contains(out, "Quillfeather") {
			t.Errorf("%v tells what is a patient's: %s", command, out)
		}
	}
	files := 0
	err := filepath.WalkDir(filepath.Dir(d.dir), func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		files++
		data, err := os.ReadFile(path)
		for _, word := range []string{"Quillfeather", "deviated", "blorft", "shadow", "told the ward", "look again", hers, his} {
			if strings.Contains(string(data), word) {
				t.Errorf("%q is readable in %s", word, filepath.Base(path))
			}
		}
		return err
	})
	if err != nil || files < 4 {
		t.Errorf("%d files searched, %v", files, err)
	}
}
