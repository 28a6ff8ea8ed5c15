package eval

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bedsaid/internal/corpus"
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

// ours are the cases of this repository; exam.json is the demo's.
var ours = []string{"../../testdata/cases", "../../testdata/spoken", "../../testdata/demo/exam.json"}

func evaluate(t *testing.T, paths ...string) []Result {
	t.Helper()
	cases, err := corpus.Load(paths...)
	if err != nil {
		t.Fatal(err)
	}
	lex := builtin(t)
	results, err := Cases(context.Background(), lex, cases, Judged(lex, cases))
	if err != nil {
		t.Fatal(err)
	}
	return results
}

// The floor only rises: testdata/floor.json holds for each phenomenon what was
// once reached (scripts/eval-cases --raise).
func TestFloor(t *testing.T) {
	floor, err := ReadFloor("../../testdata/floor.json")
	if err != nil {
		t.Fatal(err)
	}
	groups := ByPhenomenon(evaluate(t, ours...))
	for _, below := range floor.Broken(groups) {
		t.Error(below)
	}
	if n := Sum(groups).Misplaced; n > 0 {
		t.Errorf("%d words lie nowhere or twice", n)
	}
}

// The worked cases that come with the contract are all right.
func TestPracticeCases(t *testing.T) {
	const practice = "../../../shared/cases/practice.json"
	if _, err := os.Stat(practice); err != nil {
		t.Skip("skipped: the contract's practice cases are not beside this checkout")
	}
	for _, r := range evaluate(t, practice) {
		if c := r.Counts; c.Right != c.Expected || c.Right != c.Charted || c.NeverHit+c.Misplaced+c.WrongSource > 0 {
			t.Errorf("%s: %d of %d right, %d charted: %s", r.Case.ID, c.Right, c.Expected, c.Charted, strings.Join(r.Notes, "; "))
		}
	}
}

// The contract's own scorer, score.py, counts the same on our cases.
func TestAgreesWithTheContract(t *testing.T) {
	const scorer, table = "../../../shared/contract/score.py", "../../../shared/contract/findings.tsv"
	if _, err := os.Stat(scorer); err != nil {
		t.Skip("skipped: the contract's scorer is not beside this checkout")
	}
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("skipped: python3 is not installed")
	}
	// A process a case is slow: every fifth case shows a difference as well.
	var files []string
	for _, pattern := range []string{"cases/*/*.json", "spoken/*.json", "demo/exam.json"} {
		more, err := filepath.Glob("../../testdata/" + pattern)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, more...)
	}
	for i := range files {
		if i%5 == 0 {
			files[i/5] = files[i]
		}
	}
	files = files[:(len(files)+4)/5]
	cases, err := corpus.Load(files...)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := os.ReadFile(table)
	if err != nil {
		t.Fatal(err)
	}
	inTable := map[string]bool{}
	for _, line := range strings.Split(string(rows), "\n") {
		id, _, _ := strings.Cut(line, "\t")
		inTable[id] = true
	}
	lex := builtin(t)
	results, err := Cases(context.Background(), lex, cases, func(_ corpus.Case, id string) (*lexicon.Finding, bool) {
		f, ok := lex.Finding(id)
		return f, ok && inTable[id]
	})
	if err != nil {
		t.Fatal(err)
	}
	got := Sum(ByPhenomenon(results))

	program := filepath.Join(t.TempDir(), "bedsaid")
	build := exec.Command("go", "build", "-o", program, "bedsaid/cmd/bedsaid")
	build.Env = append(os.Environ(), "CGO_ENABLED=0", "GOFLAGS=-mod=readonly")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	printed, err := exec.Command(python, append([]string{scorer, "--bin", program}, files...)...).Output()
	if err != nil {
		t.Fatalf("score: %v", err)
	}
	var want map[string]float64
	if err := json.Unmarshal(printed, &want); err != nil {
		t.Fatalf("score printed no JSON object: %v", err)
	}
	for key, have := range map[string]int{
		"cases": got.Cases, "gold": got.Expected, "got": got.Charted, "tp": got.Right, "missed": got.Missed, "invented": got.Invented,
		"wrong_value": got.WrongValue, "wrong_value_unmarked": got.WrongValueUnmarked, "wrong_side": got.WrongSide,
		"wrong_side_unmarked": got.WrongSideUnmarked, "wrong_source": got.WrongSource, "false_expected": got.FalseExpected,
		"false_expected_unmarked": got.FalseExpectedUnmarked, "missed_unexpected": got.MissedUnexpected, "never_hit": got.NeverHit,
		"wrong": got.Wrong, "wrong_marked": got.WrongMarked, "right_marked": got.RightMarked, "qual_gold": got.QualifiersExpected,
		"qual_hit": got.Qualifiers, "qual_extra": got.QualifiersMore, "words_lost": got.Misplaced, "failed": 0,
	} {
		if w, ok := want[key]; !ok || int(w) != have {
			t.Errorf("%s: %d here, %g there", key, have, w)
		}
	}
}

// Every statement of danger that a case holds is quoted, and none that it says is
// no danger: here nothing less than all will do.
func TestDangerIsQuoted(t *testing.T) {
	for _, r := range evaluate(t, "../../testdata/cases/danger") {
		if c := r.Counts; c.Quotes < c.QuotesExpected || c.QuotesMore > 0 {
			t.Errorf("%s: %d of %d quoted, %d without cause", r.Case.ID, c.Quotes, c.QuotesExpected, c.QuotesMore)
		}
	}
}

// An examination cries no wolf: what a nurse says while she examines is not quoted as
// danger. Of the narrations some hold words of danger, and what is quoted there was
// read: it does not grow.
func TestExaminationsAreNoDanger(t *testing.T) {
	for path, most := range map[string]int{"../../testdata/demo/exam.json": 0, "../../testdata/spoken": 0, "../../testdata/cases/narration": 22} {
		cases, err := corpus.Load(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := range cases {
			cases[i].Quotes = []string{} // none is a danger
		}
		lex := builtin(t)
		results, err := Cases(context.Background(), lex, cases, Judged(lex, cases))
		if err != nil {
			t.Fatal(err)
		}
		if g := Sum(ByPhenomenon(results)); g.QuotesMore > most {
			t.Errorf("%s: %d quoted as danger, at most %d", path, g.QuotesMore, most)
		}
	}
}

// What a floor holds, in figures of our own.
func TestFloorOnlyRises(t *testing.T) {
	group := func(right, expected, unseen int) Group {
		return Group{Name: "zone", Cases: expected / 10, Counts: Counts{Right: right, Charted: expected, Expected: expected, WrongSideUnmarked: unseen}}
	}
	floor := Floor{}
	floor.Raise([]Group{group(80, 100, 3)})
	for _, c := range []struct {
		what   string
		group  Group
		broken int
	}{
		{"the same", group(80, 100, 3), 0},
		{"a lower F1", group(79, 100, 3), 1},
		{"one more that nobody sees", group(80, 100, 4), 1},
		{"ten cases more, all wrong", group(80, 200, 100), 0},
		{"ten cases more, and the old ones fell", group(79, 200, 3), 1},
	} {
		if got := floor.Broken([]Group{c.group, {Name: "new"}}); len(got) != c.broken {
			t.Errorf("%s: %v", c.what, got)
		}
	}
	floor.Raise([]Group{group(70, 100, 2)})
	if l := floor["zone"]; l.F1 != 0.8 || l.Unseen != 3 {
		t.Errorf("a broken floor became %+v", l)
	}
	floor.Raise([]Group{group(90, 100, 3)})
	if l := floor["zone"]; l.F1 != 0.9 || l.Unseen != 3 {
		t.Errorf("raised to %+v", l)
	}
	floor.Raise([]Group{group(150, 200, 1)})
	if l := floor["zone"]; l.F1 != 0.75 || l.Cases != 20 {
		t.Errorf("with more cases %+v", l)
	}
}
