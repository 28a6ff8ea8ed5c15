package pipeline_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"bedsaid/internal/corpus"
	"bedsaid/internal/eval"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/speech/speechtest"
	"bedsaid/internal/speech/whisper"
	"bedsaid/lexicon"
)

// The tests of this file draft from real sound with the real engine, from end to
// end. They skip where engine or weights are not at hand, unless
// BEDSAID_REQUIRE_ENGINE=1 says that they must be.

// engine opens the weights that set-up left.
func engine(t *testing.T) *whisper.Engine {
	t.Helper()
	var e *whisper.Engine
	err := errors.New("the engine is not in this build")
	if whisper.Built {
		e, err = whisper.Open(filepath.Join(os.Getenv("BEDSAID_MODELS"), "ggml-base-q8_0.bin"), 0)
	}
	if err != nil && os.Getenv("BEDSAID_REQUIRE_ENGINE") == "1" {
		t.Fatal(err)
	}
	if err != nil {
		t.Skipf("skipped: %v; run scripts/setup and source scripts/env", err)
	}
	t.Cleanup(func() {
		if err := e.Close(); err != nil {
			t.Error(err)
		}
	})
	return e
}

// hearCase drafts the recording of a case and scores it.
func hearCase(t *testing.T, d *pipeline.Drafter, c corpus.Case, path string) (note.Draft, eval.Counts) {
	t.Helper()
	n, err := d.Draft(context.Background(), pipeline.Input{Path: path})
	if err != nil {
		t.Fatal(err)
	}
	lex, err := d.Lexicon()
	if err != nil {
		t.Fatal(err)
	}
	// Judged is what any case of the repository speaks of: more than these do.
	return n, eval.Draft(c, n, eval.Judged(lex, loadCases(t, "../../testdata/cases", "../../testdata/spoken", "../../testdata/demo/exam.json"))).Counts
}

// mustNotHarm holds for every recording, whatever else is missed in it.
func mustNotHarm(t *testing.T, of string, s eval.Counts) {
	t.Helper()
	if s.FalseExpectedUnmarked > 0 || s.WrongSideUnmarked > 0 || s.Misplaced > 0 {
		t.Errorf("%s: without a mark %d false expected, %d wrong sides; %d words misplaced",
			of, s.FalseExpectedUnmarked, s.WrongSideUnmarked, s.Misplaced)
	}
}

func soundDrafter(t *testing.T) *pipeline.Drafter {
	t.Helper()
	e := engine(t)
	return &pipeline.Drafter{
		Now: time.Now, Lexicon: lexicon.Builtin,
		Hearing: func(context.Context) (pipeline.Hearing, error) { return pipeline.Hearing{Decoder: e}, nil },
	}
}

func loadCases(t *testing.T, paths ...string) []corpus.Case {
	t.Helper()
	cases, err := corpus.Load(paths...)
	if err != nil {
		t.Fatal(err)
	}
	return cases
}

// The demo recording, word by word and finding by finding. The word error rate
// is by sclite. The floors stand a little below what docs/speech.md reports.
func TestDemoFromSound(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: it takes a minute")
	}
	d := soundDrafter(t)
	c := loadCases(t, "../../testdata/demo/exam.json")[0]
	n, s := hearCase(t, d, c, "../../testdata/demo/exam.wav")
	mustNotHarm(t, "demo", s)
	t.Logf("demo: precision %.2f, recall %.2f, %d of %d right ones marked", s.Precision(), s.Recall(), s.RightMarked, s.Right)
	if s.Precision() < 0.95 || s.Recall() < 0.90 || s.NeverHit > 0 {
		t.Errorf("demo: precision %.2f, recall %.2f, forbidden findings %d", s.Precision(), s.Recall(), s.NeverHit)
	}
	if gaps := n.Untranscribed(); len(gaps) > 0 {
		t.Errorf("demo: %d stretches of clean speech gave no words", len(gaps))
	}
	words, err := speechtest.CompareWords(context.Background(), c.Text, n.Transcript.Text())
	if errors.Is(err, speechtest.ErrNoSclite) {
		t.Skipf("skipped the word error rate: %v", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("demo: word error rate %.1f %%: %+v", 100*words.Rate(), words)
	if words.Rate() > 0.08 {
		t.Errorf("demo: word error rate %.1f %%", 100*words.Rate())
	}
}

// Three short examinations, spoken while the test runs by synthetic voices of
// three engines that are independent of each other and of the demo's.
func TestVoicesFromSound(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: it takes minutes")
	}
	d := soundDrafter(t)
	scripts, err := filepath.Glob("../../testdata/spoken/short/*.json")
	if err != nil {
		t.Fatal(err)
	}
	cases := loadCases(t, "../../testdata/spoken/short")
	for _, v := range []struct {
		voice, program    string
		precision, recall float64 // floors
	}{
		{"rms", "flite", 0.70, 0.55},
		{"espeak-ng", "espeak-ng", 0.80, 0.45},
		{"festival", "text2wave", 0.70, 0.50},
	} {
		t.Run(v.voice, func(t *testing.T) {
			for _, tool := range []string{"python3", v.program} {
				if _, err := exec.LookPath(tool); err != nil {
					t.Skipf("skipped: %s is not installed", tool)
				}
			}
			dir := t.TempDir()
			out, err := exec.Command("python3", append([]string{"../../scripts/speak-cases", v.voice, dir}, scripts...)...).CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			var all eval.Counts
			for _, c := range cases {
				n, s := hearCase(t, d, c, filepath.Join(dir, c.ID+".wav"))
				mustNotHarm(t, c.ID, s)
				if t.Failed() {
					t.Log(n.Transcript.Text()) // an invented patient
				}
				all.Add(s)
			}
			t.Logf("%s: precision %.2f, recall %.2f of %d, %d right ones marked", v.voice, all.Precision(), all.Recall(), all.Expected, all.RightMarked)
			if all.Precision() < v.precision || all.Recall() < v.recall {
				t.Errorf("%s: precision %.2f, recall %.2f", v.voice, all.Precision(), all.Recall())
			}
		})
	}
}
