package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"bedsaid/internal/export"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/lexicon"
)

const draftLong = `Draft prints the draft note of each INPUT: a recording (.wav; m4a, ogg, mp3 and
others where ffmpeg is installed), typed words (.txt), a draft that this program
wrote with --json (its words are drafted anew, without listening again), a
folder of recordings and .txt files, or - for words from standard input. Several
inputs give one draft after the other, also with --json.

With --out each draft is written to DIR as NAME.draft.txt for people and
NAME.draft.json for programs (--json: the latter alone). These files hold a
patient's words: only you can read them. A file that is there is not replaced,
except with --force.

A recording with speech that gave no words is drafted, says so at the top of the
draft, and ends with exit code 5.`

type draftFlags struct {
	json, force      bool
	out, exam, model string
	models           string
	lexicon          string
}

func (m *Main) draftCommand() *cobra.Command {
	var f draftFlags
	c := &cobra.Command{
		Use:   "draft INPUT...",
		Short: "Draft a note from a recording or from typed words",
		Long:  draftLong + "\n\n" + exitCodes,
		Example: `  bedsaid draft exam.wav
  bedsaid draft exam.txt --exam eyes
  bedsaid draft exam.wav --json > exam.draft.json
  bedsaid draft exam.draft.json
  bedsaid draft recordings/ --out drafts/`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage("no input named").hint("bedsaid draft exam.wav drafts a recording; --help has more examples")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return m.draft(cmd.Context(), args, f) },
	}
	c.Flags().BoolVar(&f.json, "json", false, "print the draft as JSON, for other programs")
	c.Flags().StringVar(&f.out, "out", "", "write the drafts to `DIR`, readable by you only")
	c.Flags().BoolVar(&f.force, "force", false, "with --out: write over drafts that are there")
	c.Flags().StringVar(&f.exam, "exam", "", "what was examined, as a `SCOPE` such as eyes; it narrows what is listed as not mentioned (default: what the words say; a wrong name lists the right ones)")
	lexiconFlag(c, &f.lexicon)
	m.modelFlags(c, &f.model, &f.models)
	must(c.RegisterFlagCompletionFunc("exam", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		lex, err := m.lexicon(f.lexicon)
		if err != nil {
			return nil, cobra.ShellCompDirectiveError
		}
		return lex.Exams(), cobra.ShellCompDirectiveNoFileComp
	}))
	must(c.MarkFlagDirname("out"))
	return c
}

// must is for wiring that can fail only by a mistake in this package.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

func (m *Main) draft(ctx context.Context, args []string, f draftFlags) error {
	if f.force && f.out == "" {
		return usage("--force is for --out").hint("name a folder with --out")
	}
	lex, err := m.lexicon(f.lexicon)
	if err != nil {
		return err
	}
	if err := checkExam(lex, f.exam); err != nil {
		return err
	}
	ins, err := m.inputs(args)
	if err != nil {
		return err
	}
	endings := []string{textEnding, jsonEnding}
	if f.json {
		endings = []string{jsonEnding}
	}
	to := target{f.out, f.force}
	if f.out != "" {
		if err := to.ready(ins, endings); err != nil {
			return err
		}
	}
	bar := m.progress()
	engine := m.hearing(f.model, f.models)
	defer engine.close()
	d := m.drafter(lex, f.exam, bar, engine)
	return m.draftAll(ctx, d, bar, ins, func(i int, in pipeline.Input, n note.Draft) error {
		if f.out != "" {
			return m.save(to, outBase(in), endings, n)
		}
		return m.print(i, n, f.json)
	})
}

func (m *Main) drafter(lex *lexicon.Lexicon, exam string, bar *progress, e *engine) *pipeline.Drafter {
	return &pipeline.Drafter{
		Program: program(), Exam: exam, Now: m.Now, Progress: bar.at, Hearing: e.open,
		Lexicon: func() (*lexicon.Lexicon, error) { return lex, nil },
	}
}

func checkExam(lex *lexicon.Lexicon, exam string) error {
	if exam == "" || slices.Contains(lex.Exams(), exam) {
		return nil
	}
	list := "there is " + strings.Join(lex.Exams(), ", ")
	h := list
	if near := suggest(exam, lex.Exams()); len(near) > 0 {
		h = "did you mean " + strings.Join(near, " or ") + "? " + list
	}
	return usage("unknown examination %q", exam).hint("%s", h)
}

// draftAll drafts every input, tells of each that fails and goes on to the
// next: one bad file of a night's recordings must not cost the others. The
// worst outcome gives the exit code.
func (m *Main) draftAll(ctx context.Context, d *pipeline.Drafter, bar *progress, ins []pipeline.Input, done func(int, pipeline.Input, note.Draft) error) error {
	printed, code := 0, exitOK
	for _, in := range ins {
		bar.of(filepath.Base(in.Path))
		n, err := d.Draft(ctx, in)
		bar.clear()
		if ctx.Err() != nil {
			return ctx.Err()
		}
		switch {
		case err == nil:
			if err := done(printed, in, n); err != nil {
				return err // there is no room, or nobody listens: so for all others
			}
			printed++
			if m.warnUntranscribed(in, n) && code == exitOK {
				code = exitUntranscribed
			}
		case codeOf(err) == exitMissing:
			return err // no recording can be drafted
		default:
			m.complain(fmt.Errorf("%s: %w", in.Path, err))
			if code != exitFailed {
				code = codeOf(err)
			}
		}
	}
	if code == exitOK {
		return nil
	}
	return &failure{code: code, err: errors.New("not every input gave a whole draft"), silent: true}
}

// warnUntranscribed says on stderr what the draft says at its top.
func (m *Main) warnUntranscribed(in pipeline.Input, n note.Draft) bool {
	lost := n.UntranscribedSeconds()
	if lost == 0 {
		return false
	}
	fmt.Fprintf(m.Stderr, "bedsaid: %s: %.0f s of speech gave no words; the draft lacks what was said there\n", plainLine(in.Path), lost)
	fmt.Fprintf(m.Stderr, "  hint: the draft lists the times; listen, and chart what they hold yourself\n")
	return true
}

func (m *Main) print(i int, n note.Draft, asJSON bool) error {
	var b bytes.Buffer
	var err error
	if asJSON {
		err = export.JSON(&b, n)
	} else {
		width, colour := m.layout()
		if i > 0 {
			b.WriteString("\n" + strings.Repeat("=", width) + "\n\n")
		}
		err = export.Text(&b, n, width, colour)
	}
	if err == nil {
		_, err = io.Copy(m.Stdout, &b)
	}
	if err != nil {
		return failed(exitFailed, fmt.Errorf("print draft: %w", cause(err)))
	}
	return nil
}

func (m *Main) save(to target, base string, endings []string, n note.Draft) error {
	for _, e := range endings {
		var b bytes.Buffer
		err := export.JSON(&b, n)
		if e == textEnding {
			b.Reset()
			err = export.Text(&b, n, 80, false)
		}
		if err != nil {
			return failed(exitFailed, err)
		}
		if err := to.write(base+e, b.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(m.Stderr, "wrote %s: it holds a patient's words; readable by you only\n",
			plainLine(to.dir+string(os.PathSeparator)+base+e))
	}
	return nil
}
