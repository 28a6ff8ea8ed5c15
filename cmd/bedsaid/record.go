package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"bedsaid/internal/extract"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/store"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// recordFlags say which record, who works in it, and with which packs. Where
// typed is true the passphrase is asked for, whatever a keyring keeps.
type recordFlags struct {
	data, user, lexicon string
	typed               bool
}

func (m *Main) recordFlags(c *cobra.Command, f *recordFlags) {
	m.dataFlag(c, f)
	c.Flags().StringVar(&f.user, "user", "", "login `NAME` (default: $BEDSAID_USER)")
}

func (m *Main) dataFlag(c *cobra.Command, f *recordFlags) {
	c.Flags().StringVar(&f.data, "data", "", "folder `DIR` of the record (default: $BEDSAID_DATA, else the user's data folder)")
	must(c.MarkFlagDirname("data"))
}

// folder is where the record lies: as named, or in the data folder of the XDG
// Base Directory Specification 0.8.
func (m *Main) folder(f recordFlags) (string, error) {
	if f.data != "" {
		return f.data, nil
	}
	if d := m.Env("BEDSAID_DATA"); d != "" {
		return d, nil
	}
	base := m.Env("XDG_DATA_HOME")
	if !filepath.IsAbs(base) { // the specification: a relative one is ignored
		home := m.Env("HOME")
		if home == "" {
			return "", usage("no home folder, so there is no usual place for the record").hint("name one with --data")
		}
		base = filepath.Join(home, ".local", "share")
		if runtime.GOOS == "darwin" {
			base = filepath.Join(home, "Library", "Application Support")
		}
	}
	return filepath.Join(base, "bedsaid", "record"), nil
}

// place is a record that is not open yet: its folder, who wants to work in it,
// and what the record takes from outside.
type place struct {
	dir, login string
	typed      bool
	lex        *lexicon.Lexicon
	opt        store.Options
}

// begin finds the record; from here on the program holds what must not leak.
func (m *Main) begin(f recordFlags) (place, error) {
	dir, err := m.folder(f)
	if err != nil {
		return place{}, err
	}
	if err := harden(); err != nil {
		return place{}, failed(exitFailed, fmt.Errorf("shut this program off from others: %w", err))
	}
	lex, err := m.lexicon(f.lexicon)
	if err != nil {
		return place{}, err
	}
	p := place{dir: dir, login: f.user, typed: f.typed, lex: lex, opt: store.Options{Now: m.Now, Outline: note.OutlineOf(lex)}}
	rules := sync.OnceValue(func() *extract.Extractor { return extract.New(lex) })
	p.opt.Attention = func(t transcript.Transcript, f finding.Finding) []finding.Attention { return rules().Attention(t, f) }
	if p.login == "" {
		p.login = m.Env("BEDSAID_USER")
	}
	return p, nil
}

// open signs the user in: her name from the flag or the environment, her
// passphrase typed, or the first line of standard input; or by her keyring, if
// she asked for that.
func (m *Main) open(ctx context.Context, p place, ask *asker) (*store.Session, error) {
	if p.login == "" {
		return nil, usage("who works is not said").hint("name yourself with --user, or in BEDSAID_USER")
	}
	var x *store.Session
	if !p.typed {
		x = m.byKeyring(ctx, p)
	}
	if x == nil {
		passphrase, err := ask.secret("Passphrase of " + p.login)
		if err != nil {
			return nil, err
		}
		if x, err = store.Open(ctx, p.dir, p.login, passphrase, p.opt); err != nil {
			return nil, refused(err)
		}
	}
	for _, n := range x.Store().Notices() {
		fmt.Fprintf(m.Stderr, "bedsaid: %s\n", n)
	}
	return x, nil
}

// withRecord runs f for a user who signs in, and closes the record.
func (m *Main) withRecord(ctx context.Context, flags recordFlags, f func(*store.Session, *asker) error) error {
	p, err := m.begin(flags)
	if err != nil {
		return err
	}
	return m.in(ctx, p, f)
}

// in does the same for a record that was found.
func (m *Main) in(ctx context.Context, p place, f func(*store.Session, *asker) error) error {
	ask := m.asker()
	x, err := m.open(ctx, p, ask)
	if err != nil {
		return err
	}
	err = f(x, ask)
	if cerr := x.Close(); err == nil && cerr != nil {
		err = cerr
	}
	return refused(err)
}

// refused gives an error of the record its exit code; hints come with it.
func refused(err error) error {
	var f *failure
	switch {
	case err == nil, errors.As(err, &f), errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, store.ErrFull), errors.Is(err, store.ErrDisk), errors.Is(err, store.ErrReadOnly), errors.Is(err, store.ErrBusy):
		return failed(exitFailed, err)
	case errors.Is(err, store.ErrExists):
		return failed(exitUsage, err)
	case codeOf(err) != exitFailed: // of drafting
		return err
	}
	return failed(exitRecord, err)
}

// asker asks a person at a terminal, or reads line by line what is piped in.
// What names a patient or opens the record is asked for: arguments can be read
// by every process of the machine.
type asker struct {
	m     *Main
	lines *bufio.Reader
	tty   *os.File
}

func (m *Main) asker() *asker {
	a := &asker{m: m, lines: bufio.NewReader(m.Stdin)}
	if f, ok := m.Stdin.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		a.tty = f
	}
	return a
}

// line asks for a line; an empty one is an answer.
func (a *asker) line(what string) (string, error) {
	if a.tty != nil {
		fmt.Fprintf(a.m.Stderr, "%s: ", what)
	}
	s, err := a.lines.ReadString('\n')
	if err != nil && (s == "" || !errors.Is(err, io.EOF)) {
		return "", usage("no answer to: %s", what).hint("type it, or pipe it in, one line for each question")
	}
	return strings.TrimRight(s, "\r\n"), nil
}

// identifiers asks for what stands on the wristband now, in the encounter's
// order.
func (a *asker) identifiers(e store.Encounter) (c store.Confirmed, err error) {
	for i, p := range e.Patient {
		if c[i], err = a.line(onWristband(p.Kind)); err != nil {
			break
		}
	}
	return c, err
}

// onWristband is the question for an identifier.
func onWristband(kind string) string { return kind + " on the wristband" }

// secret asks for something that is not shown while it is typed.
func (a *asker) secret(what string) (string, error) {
	if a.tty == nil {
		return a.line(what)
	}
	fmt.Fprintf(a.m.Stderr, "%s: ", what)
	b, err := term.ReadPassword(int(a.tty.Fd()))
	fmt.Fprintln(a.m.Stderr)
	if err != nil {
		return "", failed(exitFailed, fmt.Errorf("read passphrase: %w", err))
	}
	return string(b), nil
}

// newSecret asks for a new passphrase twice.
func (a *asker) newSecret(what string) (string, error) {
	first, err := a.secret(what)
	if err != nil {
		return "", err
	}
	second, err := a.secret("The same again")
	if err != nil {
		return "", err
	}
	if first != second {
		return "", usage("the two passphrases differ").hint("nothing was changed; try again")
	}
	return first, nil
}
