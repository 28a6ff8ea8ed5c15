package speechtest

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/lexicon"
)

func builtin(t *testing.T) *lexicon.Lexicon {
	t.Helper()
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return lex
}

func TestLoad(t *testing.T) {
	cases, err := Load("../../../testdata/spoken/*.json", "../../../testdata/demo/exam.json")
	if err != nil || len(cases) != 4 {
		t.Fatalf("%d cases, %v", len(cases), err)
	}
	if _, err := Load("../../../testdata/none/*.json"); err == nil {
		t.Error("no error where there is no case")
	}
	bad := filepath.Join(t.TempDir(), "a.json")
	for _, text := range []string{"{", `{"id": "x"}`, `[{"text": "x"}]`} {
		if err := os.WriteFile(bad, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Load(bad); err == nil {
			t.Errorf("no error for %s", text)
		}
	}
}

func TestScore(t *testing.T) {
	lex := builtin(t)
	f := func(id string, side finding.Side, v string, marks ...finding.Mark) finding.Finding {
		return finding.Finding{ID: id, Side: side, Status: finding.Assessed, Value: finding.Word(v), Marks: marks}
	}
	doubt := finding.Mark{Kind: finding.UnsureSide}
	c := Case{Findings: []Gold{
		{ID: "eye.sclera", Side: "both", Value: "white"},
		{ID: "ear.drainage", Side: "left", Value: "present"},
		{ID: "neck.trachea", Value: "midline"},
	}, Never: []string{"ear.redness", "ear.drainage@right"}}
	for name, k := range map[string]struct {
		got  []finding.Finding
		want Tally
	}{
		"all right":        {[]finding.Finding{f("eye.sclera", finding.Both, "white"), f("ear.drainage", finding.Left, "present"), f("neck.trachea", finding.NoSide, "midline")}, Tally{Gold: 4, Got: 4, Right: 4}},
		"nothing":          {nil, Tally{Gold: 4, Missed: 4, MissedUnexpected: 1}},
		"other side":       {[]finding.Finding{f("ear.drainage", finding.Right, "present")}, Tally{Gold: 4, Got: 1, Missed: 4, MissedUnexpected: 1, WrongSide: 1, WrongSideUnmarked: 1, NeverHit: 1}},
		"other side, mark": {[]finding.Finding{f("ear.drainage", finding.Right, "present", doubt)}, Tally{Gold: 4, Got: 1, Missed: 4, MissedUnexpected: 1, WrongSide: 1, NeverHit: 1}},
		"false expected":   {[]finding.Finding{f("ear.drainage", finding.Left, "absent")}, Tally{Gold: 4, Got: 1, Missed: 3, MissedUnexpected: 1, WrongValue: 1, WrongValueUnmarked: 1, FalseExpected: 1, FalseExpectedUnmarked: 1}},
		"forbidden":        {[]finding.Finding{f("ear.redness", finding.Left, "present")}, Tally{Gold: 4, Got: 1, Missed: 4, MissedUnexpected: 1, Invented: 1, NeverHit: 1}},
		"right and marked": {[]finding.Finding{f("neck.trachea", finding.NoSide, "midline", doubt)}, Tally{Gold: 4, Got: 1, Right: 1, RightMarked: 1, Missed: 3, MissedUnexpected: 1}},
	} {
		if got := Score(lex, c, k.got); got != k.want {
			t.Errorf("%s:\n got %+v\nwant %+v", name, got, k.want)
		}
	}
}

// drafted drafts a text, and gives the draft as the program prints it.
func drafted(t *testing.T, lex *lexicon.Lexicon, text string) (note.Draft, []byte) {
	t.Helper()
	d := pipeline.Drafter{Lexicon: func() (*lexicon.Lexicon, error) { return lex, nil }, Now: func() time.Time { return time.Unix(0, 0) }}
	n, err := d.Draft(context.Background(), pipeline.Input{Path: "a.txt", Text: strings.NewReader(text)})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := export.JSON(&b, n); err != nil {
		t.Fatal(err)
	}
	return n, b.Bytes()
}

// The counts are those of the contract's own scorer, on drafts of texts that
// were spoilt in several ways. It is read where it is present.
func TestScoreIsTheContracts(t *testing.T) {
	scorer, err := filepath.Abs("../../../../shared/contract/score.py")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(scorer); err != nil {
		t.Skip("skipped: the contract's scorer is not beside this checkout")
	}
	if _, err := exec.LookPath("python3"); err != nil {
		t.Skip("skipped: python3 is not installed")
	}
	cases, err := Load("../../../testdata/spoken/*.json", "../../../testdata/demo/exam.json", "../../../testdata/cases/zone/*.json", "../../../testdata/cases/conflict/*.json", "../../../testdata/cases/narration/narration-0?.json")
	if err != nil {
		t.Fatal(err)
	}
	spoil := map[string]func(string) string{
		"as it is": func(s string) string { return s },
		"mirrored": func(s string) string {
			return strings.NewReplacer("left", "right", "right", "left", "Left", "Right", "Right", "Left").Replace(s)
		},
		"affirmed": func(s string) string { return strings.NewReplacer(" no ", " ", "No ", "", " not ", " ").Replace(s) },
		"other numbers": func(s string) string {
			return strings.NewReplacer("three", "four", "two", "one", "five", "six").Replace(s)
		},
		"words left out": func(s string) string { return every(strings.Fields(s), 9) },
	}
	lex := builtin(t)
	for name, change := range spoil {
		dir := t.TempDir()
		var mine Tally
		var list []json.RawMessage
		for i := range cases {
			c := cases[i]
			c.ID = fmt.Sprintf("c%d", i)
			n, data := drafted(t, lex, change(c.Text))
			got := Score(lex, c, n.Findings())
			got.Misplaced = Misplaced(n.Transcript, n.Findings(), n.LeftOut)
			mine.Add(got)
			raw, err := json.Marshal(c)
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, raw)
			for path, b := range map[string][]byte{c.ID + ".json": data, c.ID + ".wav": nil} {
				if err := os.WriteFile(filepath.Join(dir, path), b, 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}
		raw, err := json.Marshal(list)
		if err != nil {
			t.Fatal(err)
		}
		program, all := filepath.Join(dir, "drafted"), filepath.Join(dir, "all")
		// Stands for the program: prints the draft that was made beforehand.
		if err := os.WriteFile(program, []byte("#!/bin/sh\ncat \"${2%.wav}.json\"\n"), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(all, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("python3", scorer, "--bin", program, "--audio", dir, all).CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		var theirs map[string]any
		if err := json.Unmarshal(out, &theirs); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		for key, v := range map[string]int{
			"gold": mine.Gold, "got": mine.Got, "tp": mine.Right, "right_marked": mine.RightMarked, "missed": mine.Missed, "invented": mine.Invented,
			"wrong_value": mine.WrongValue, "wrong_value_unmarked": mine.WrongValueUnmarked, "wrong_side": mine.WrongSide, "wrong_side_unmarked": mine.WrongSideUnmarked,
			"false_expected": mine.FalseExpected, "false_expected_unmarked": mine.FalseExpectedUnmarked, "missed_unexpected": mine.MissedUnexpected, "never_hit": mine.NeverHit,
		} {
			if theirs[key] != float64(v) {
				t.Errorf("%s: %s is %d, the contract's scorer says %v", name, key, v, theirs[key])
			}
		}
		if mine.Misplaced != 0 {
			t.Errorf("%s: %d words misplaced", name, mine.Misplaced)
		}
	}
}

// every leaves out each n-th word.
func every(words []string, n int) string {
	var kept []string
	for i, w := range words {
		if i%n != n-1 {
			kept = append(kept, w)
		}
	}
	return strings.Join(kept, " ")
}
