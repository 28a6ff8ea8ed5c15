package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	oskeyring "github.com/zalando/go-keyring"

	"bedsaid/internal/speech/whisper"
)

// TestMain lets the scripts run the program as a command, with a clock that
// stands still.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"bedsaid": func() {
			p := Main{
				Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Env: os.Getenv,
				Now:     func() time.Time { return time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC) },
				Width:   func(io.Writer) (int, bool) { return 0, false },
				Keyring: fileKeyring(os.Getenv("TEST_KEYRING")),
			}
			// A width makes a script's program believe that it has a terminal.
			if w, err := strconv.Atoi(os.Getenv("TEST_WIDTH")); err == nil {
				p.Width = func(io.Writer) (int, bool) { return w, true }
			}
			os.Exit(p.Run(context.Background(), os.Args[1:]))
		},
	})
}

func TestScripts(t *testing.T) {
	selftest, err := filepath.Abs("selftest.wav")
	if err != nil {
		t.Fatal(err)
	}
	model := os.Getenv("BEDSAID_MODELS")
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", filepath.Join(e.WorkDir, "home"))
			e.Setenv("SELFTEST", selftest)
			e.Setenv("MODELS", model)
			return nil
		},
		Condition: func(cond string) (bool, error) {
			switch cond {
			case "engine": // the engine is built in and set-up has brought a model
				return whisper.Built && model != "", nil
			}
			return false, fmt.Errorf("unknown condition %q", cond)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"code": code, "mode": mode, "narrow": narrow, "capture": capture},
	})
}

// fileKeyring stands in for the keyring of a desktop: a folder with a file for
// each secret; "" is a system that has none.
type fileKeyring string

func (k fileKeyring) path(service, user string) string {
	return filepath.Join(string(k), service+" "+strings.ReplaceAll(user, "/", " "))
}

func (k fileKeyring) Get(service, user string) (string, error) {
	b, err := os.ReadFile(k.path(service, user))
	if errors.Is(err, os.ErrNotExist) {
		err = oskeyring.ErrNotFound
	}
	return string(b), err
}

func (k fileKeyring) Set(service, user, secret string) error {
	if k == "" {
		return errors.New("no such service")
	}
	return os.WriteFile(k.path(service, user), []byte(secret), 0o600)
}

func (k fileKeyring) Delete(service, user string) error { return os.Remove(k.path(service, user)) }

// code N ARGS...: run the program and demand its exit code.
func code(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: code N ARGS...")
	}
	err := ts.Exec("bedsaid", args[1:]...)
	got := 0
	if err != nil {
		x, ok := err.(interface{ ExitCode() int })
		if !ok {
			ts.Fatalf("run: %v", err)
		}
		got = x.ExitCode()
	}
	if strconv.Itoa(got) != args[0] {
		ts.Fatalf("exit code %d, want %s", got, args[0])
	}
}

// capture NAME FILE PATTERN: put what the pattern's group finds into the
// environment.
func capture(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: capture NAME FILE PATTERN")
	}
	m := regexp.MustCompile(args[2]).FindStringSubmatch(ts.ReadFile(args[1]))
	if len(m) != 2 {
		ts.Fatalf("%s does not hold %s", args[1], args[2])
	}
	ts.Setenv(args[0], m[1])
}

// mode PERM FILE: demand a file's permissions.
func mode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: mode PERM FILE")
	}
	info, err := os.Stat(ts.MkAbs(args[1]))
	ts.Check(err)
	if got := fmt.Sprintf("%#o", info.Mode().Perm()); got != args[0] {
		ts.Fatalf("%s has mode %s, want %s", args[1], got, args[0])
	}
}

// narrow FILE: demand that no line is wider than 80 columns.
func narrow(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: narrow FILE")
	}
	text := ts.ReadFile(args[0])
	if text == "" {
		ts.Fatalf("%s is empty", args[0])
	}
	n, line := 0, 1
	for _, r := range text {
		n++
		if r == '\n' {
			n, line = 0, line+1
		}
		if n > 80 {
			ts.Fatalf("%s: line %d is wider than 80 columns", args[0], line)
		}
	}
}
