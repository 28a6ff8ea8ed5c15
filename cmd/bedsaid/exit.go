package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"bedsaid/internal/audio"
	"bedsaid/internal/export"
	"bedsaid/internal/pipeline"
)

// Exit codes, as --help lists them.
const (
	exitOK            = 0
	exitFailed        = 1
	exitUsage         = 2
	exitBadInput      = 3
	exitMissing       = 4
	exitUntranscribed = 5
	exitRecord        = 6
	exitInterrupted   = 130
)

// failure is an error with its exit code and a hint. Where silent is true it
// has been reported already, and only the code is left to give.
type failure struct {
	code   int
	err    error
	advice string
	silent bool
}

func (f *failure) Error() string { return f.err.Error() }
func (f *failure) Unwrap() error { return f.err }
func (f *failure) Hint() string  { return f.advice }

func (f *failure) hint(format string, args ...any) *failure {
	f.advice = fmt.Sprintf(format, args...)
	return f
}

func usage(format string, args ...any) *failure {
	return &failure{code: exitUsage, err: fmt.Errorf(format, args...)}
}

func failed(code int, err error) *failure { return &failure{code: code, err: err} }

// report prints an error with its hint, and gives the exit code.
func (m *Main) report(ctx context.Context, err error) int {
	if err == nil {
		return exitOK
	}
	code := codeOf(err)
	var f *failure
	if errors.As(err, &f) && f.silent {
		return code
	}
	// Whatever fails after Ctrl-C fails because of it.
	if ctx.Err() != nil {
		fmt.Fprintln(m.Stderr, "bedsaid: stopped; no file is half-written")
		return exitInterrupted
	}
	m.complain(err)
	return code
}

// codeOf gives the exit code of an error.
func codeOf(err error) int {
	var f *failure
	var sound *audio.Error
	var words *pipeline.InputError
	var own *export.FormatError
	switch {
	case errors.As(err, &f):
		return f.code
	case errors.As(err, &sound), errors.As(err, &words), errors.As(err, &own):
		return exitBadInput
	}
	return exitFailed
}

// complain prints one error and its hint. Errors hold no words of a patient by
// construction; control characters, which a file's name may hold, are cut.
func (m *Main) complain(err error) {
	fmt.Fprintf(m.Stderr, "bedsaid: %s\n", plainLine(err.Error()))
	if h := hintOf(err); h != "" {
		fmt.Fprintf(m.Stderr, "  hint: %s\n", plainLine(h))
	}
}

func plainLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == 0x7f {
			return '?'
		}
		return r
	}, s)
}

// hintOf finds the hint of the innermost error that has one.
func hintOf(err error) string {
	hint := ""
	for ; err != nil; err = errors.Unwrap(err) {
		switch e := err.(type) {
		case interface{ Hint() string }:
			if h := e.Hint(); h != "" {
				hint = h
			}
		case *audio.Error:
			hint = e.Hint
		}
	}
	return hint
}
