package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/audio"
	"bedsaid/internal/pipeline"
)

func testMain(stdin string) (m *Main, out, errs *bytes.Buffer) {
	out, errs = new(bytes.Buffer), new(bytes.Buffer)
	return &Main{
		Stdin: strings.NewReader(stdin), Stdout: out, Stderr: errs,
		Env: func(string) string { return "" }, Now: func() time.Time { return time.Unix(0, 0) },
		Width: func(io.Writer) (int, bool) { return 0, false },
	}, out, errs
}

func TestInterruptLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	m, out, errs := testMain("Trachea is midline.")
	if code := m.Run(ctx, []string{"draft", "-", "--out", dir}); code != exitInterrupted {
		t.Errorf("exit code %d, want %d", code, exitInterrupted)
	}
	if !strings.Contains(errs.String(), "stopped") || out.Len() > 0 {
		t.Errorf("stdout %q, stderr %q", out, errs)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

// failAfter is an output that breaks, as a full disk or a closed pipe does.
type failAfter struct{ n int }

func (f *failAfter) Write(p []byte) (int, error) {
	if f.n -= len(p); f.n < 0 {
		return 0, errors.New("no room")
	}
	return len(p), nil
}

func TestBrokenOutputIsTold(t *testing.T) {
	m, _, errs := testMain("Trachea is midline.")
	m.Stdout = &failAfter{10}
	if code := m.Run(context.Background(), []string{"draft", "-"}); code != exitFailed {
		t.Errorf("exit code %d, want %d", code, exitFailed)
	}
	if !strings.Contains(errs.String(), "print draft: ") || strings.Contains(errs.String(), "rachea") {
		t.Errorf("stderr %q", errs)
	}
}

func TestTargetWrite(t *testing.T) {
	dir := t.TempDir()
	read := func() string {
		b, err := os.ReadFile(filepath.Join(dir, "a"))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	if err := (target{dir, false}).write("a", []byte("one")); err != nil {
		t.Fatal(err)
	}
	err := (target{dir, false}).write("a", []byte("two"))
	if codeOf(err) != exitUsage || read() != "one" {
		t.Errorf("written over: %v, %s", err, read())
	}
	if err := (target{dir, true}).write("a", []byte("three")); err != nil || read() != "three" {
		t.Errorf("not written over with force: %v, %s", err, read())
	}
	if err := (target{filepath.Join(dir, "none"), false}).write("a", nil); codeOf(err) != exitFailed || hintOf(err) == "" {
		t.Errorf("a folder that is not there: %v", err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v %v", entries, err)
	}
	if info, err := os.Stat(filepath.Join(dir, "a")); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

func TestSuggest(t *testing.T) {
	names := []string{"draft", "doctor", "model", "version", "eyes", "nose", "head-and-neck"}
	for typed, want := range map[string]string{
		"drft": "draft", "drfat": "draft", "doc": "doctor", "modle": "model", "versoin": "version", "eyse": "eyes", "hedneck": "head-and-neck", "EYES": "eyes",
	} {
		if got := suggest(typed, names); len(got) == 0 || got[0] != want {
			t.Errorf("%q: %v, want %s first", typed, got, want)
		}
	}
	for _, typed := range []string{"", "zebra", "q", "\x00"} {
		if got := suggest(typed, names); len(got) > 0 {
			t.Errorf("%q: %v, want none", typed, got)
		}
	}
}

func TestHintAndCodeOfForeignErrors(t *testing.T) {
	inner := &audio.Error{Kind: audio.ErrEmpty, Problem: "p", Hint: "do this"}
	err := errors.Join(inner)
	if codeOf(err) != exitBadInput {
		t.Error("an audio error is a bad input")
	}
	wrapped := failed(exitMissing, inner).hint("do that")
	if hintOf(wrapped) != "do this" || codeOf(wrapped) != exitMissing {
		t.Errorf("hint %q, code %d", hintOf(wrapped), codeOf(wrapped))
	}
	if codeOf(errors.New("x")) != exitFailed {
		t.Error("an unknown error is a failure")
	}
}

func TestProgressLine(t *testing.T) {
	for _, c := range []struct {
		share float64
		spent time.Duration
		want  string
	}{
		{0, 0, "a.wav: listening"},
		{0.25, time.Second, "a.wav: listening, 25 % done"},
		{0.25, 30 * time.Second, "a.wav: listening, 25 % done, about 1:30 left"},
		{1, time.Minute, "a.wav: listening, 100 % done"},
	} {
		if got := progressLine("a.wav", pipeline.Listening, c.share, c.spent); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

func TestProgressOnlyOnTerminals(t *testing.T) {
	m, _, errs := testMain("")
	p := m.progress()
	p.of("a.wav")
	p.at(pipeline.Listening, 0.5)
	p.clear()
	if errs.Len() > 0 {
		t.Errorf("written to a file: %q", errs)
	}
	m.Width = func(io.Writer) (int, bool) { return 20, true }
	p = m.progress()
	p.of("a\x1b[2Jvery-long-name-of-a-recording.wav")
	p.at(pipeline.Listening, 0.5)
	p.clear()
	shown := errs.String()
	if !strings.HasPrefix(shown, "\r\x1b[Ka?[2J") || !strings.HasSuffix(shown, "\r\x1b[K") || len(shown) > 4+19+4 {
		t.Errorf("shown %q", shown)
	}
}

func TestWordsHeard(t *testing.T) {
	for heard, want := range map[string]float64{
		"The pupils, are EQUAL.": 1, "the pupils equal": 0.75, "": 0, "equal are pupils the": 0.25, "um the big pupils they are all equal": 1,
	} {
		if got := wordsHeard("The pupils are equal.", heard); got != want {
			t.Errorf("%q: %v, want %v", heard, got, want)
		}
	}
}

func TestEveryCommandHasAnExample(t *testing.T) {
	m, _, _ := testMain("")
	var lacking []string
	for _, c := range m.root().Commands() {
		for _, x := range append(c.Commands(), c) {
			if x.Name() != "completion" && x.Name() != "help" && x.Example == "" {
				lacking = append(lacking, x.CommandPath())
			}
		}
	}
	if slices.Sort(lacking); len(lacking) > 0 {
		t.Errorf("no example: %v", lacking)
	}
}

// What the page on understanding shows of its sentence is what explain prints.
func TestUnderstandingPageIsTrue(t *testing.T) {
	page, err := os.ReadFile("../../docs/understanding.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(page), "\n> ")
	sentence, _, _ := strings.Cut(rest, "\n")
	m, out, _ := testMain("")
	if code := m.Run(context.Background(), []string{"lexicon", "explain", sentence}); !ok || code != exitOK {
		t.Fatalf("exit code %d for %q", code, sentence)
	}
	shown, lines := strings.Split(rest, "```text\n")[1:], 0
	for _, block := range shown {
		block, _, _ = strings.Cut(block, "```")
		for _, line := range strings.Split(strings.TrimSpace(block), "\n") {
			lines++
			if !strings.Contains(out.String(), strings.TrimSpace(line)) {
				t.Errorf("the page shows %q, the program does not", strings.TrimSpace(line))
			}
		}
	}
	if lines < 10 {
		t.Errorf("%d lines shown, too few to have been read", lines)
	}
}
