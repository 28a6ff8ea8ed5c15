// Command bedsaid turns a spoken bedside examination into a structured draft
// note, on the machine it runs on. This package is the outermost layer: it
// wires the stages together, reads arguments, prints, and turns errors into
// hints and exit codes. Nothing imports it.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"golang.org/x/term"
)

// patient and prompt are how far the heap may grow over what is in use before
// garbage is collected, in percent. A run on words ends before it has made 20 MB,
// and collecting would be a fifth of its time; a run on sound must stay small.
const (
	patient = 400
	prompt  = 100 // Go's own
)

func main() {
	debug.SetGCPercent(patient)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	m := Main{
		Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr,
		Env: os.Getenv, Now: time.Now, Width: terminalWidth, Keyring: systemKeyring{},
	}
	code := m.Run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

// Main is the program with everything it takes from the outside, so that a
// test can run it whole.
type Main struct {
	Stdin          io.Reader
	Stdout, Stderr io.Writer
	Env            func(string) string
	Now            func() time.Time
	// Keyring is the operating system's.
	Keyring keyring
	// Width gives the columns of a terminal, and false for anything else.
	Width func(io.Writer) (int, bool)
}

// Run runs one command line and gives the exit code.
func (m *Main) Run(ctx context.Context, args []string) int {
	root := m.root()
	root.SetArgs(args)
	root.SetIn(m.Stdin)
	root.SetOut(m.Stdout)
	root.SetErr(m.Stderr)
	return m.report(ctx, root.ExecuteContext(ctx))
}

// layout says how to print for a person: columns, and whether in colour.
func (m *Main) layout() (width int, colour bool) {
	cols, isTerminal := m.Width(m.Stdout)
	if !isTerminal {
		return 80, false
	}
	// Lines longer than about a hundred letters are hard to follow.
	return min(cols, 100), m.Env("NO_COLOR") == "" && m.Env("TERM") != "dumb"
}

func terminalWidth(w io.Writer) (int, bool) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return 0, false
	}
	cols, _, err := term.GetSize(int(f.Fd()))
	if err != nil || cols <= 0 {
		cols = 80
	}
	return cols, true
}
