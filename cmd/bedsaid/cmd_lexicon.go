package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"bedsaid/internal/extract"
	"bedsaid/internal/finding"
	"bedsaid/internal/packcheck"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

func (m *Main) lexiconCommand() *cobra.Command {
	c := group(&cobra.Command{
		Use:   "lexicon",
		Short: "Check packs of words, and see how a sentence is understood",
		Long: `What the program understands stands in packs: files of sites, findings, words
and rules. Packs of your own add to the built-in ones, or take the place of one.
docs/understanding.md shows how to write them.`,
		Example: `  bedsaid lexicon check our-packs/
  bedsaid lexicon try "Carotids two plus." --lexicon our-packs/
  bedsaid lexicon explain "No redness or swelling of the lids."`,
	})
	check := &cobra.Command{
		Use: "check [FILE|DIR]", Short: "Check packs: every complaint at once, with file and line",
		Long: `Check reads the built-in packs and, over them, the pack FILE or all packs of
DIR, runs every example, and prints every complaint with file, line and a hint.
The exit code is 3 where there is any.`,
		Example: `  bedsaid lexicon check
  bedsaid lexicon check our-packs/
  bedsaid lexicon check our-packs/wounds.toml`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage("%s takes one file or folder", cmd.CommandPath()).hint("put the packs that belong together into one folder")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return m.lexiconCheck(strings.Join(args, "")) },
	}
	var dir string
	try := &cobra.Command{
		Use: "try SENTENCE...", Short: "Show what would be charted of a sentence",
		Long: `Try prints what would be charted of a sentence, what would be left out of it,
and the same as an example for a pack.`,
		Example: `  bedsaid lexicon try "Right pupil four, left three."
  bedsaid lexicon try "Carotids two plus." --lexicon our-packs/`,
		Args: aSentence,
		RunE: func(_ *cobra.Command, args []string) error { return m.lexiconTry(dir, args) },
	}
	explain := &cobra.Command{
		Use: "explain SENTENCE...", Short: "Show why a sentence is understood as it is",
		Long: `Explain prints the stages that a sentence goes through: the terms that the packs
know in it, the statements that it is cut into, what each says of which finding,
and what came of it.`,
		Example: `  bedsaid lexicon explain "No redness or swelling of the lids."
  bedsaid lexicon explain "Pulse 72 regular." --lexicon our-packs/`,
		Args: aSentence,
		RunE: func(_ *cobra.Command, args []string) error { return m.lexiconExplain(dir, args) },
	}
	for _, sub := range []*cobra.Command{try, explain} {
		lexiconFlag(sub, &dir)
	}
	c.AddCommand(check, try, explain)
	return c
}

func aSentence(cmd *cobra.Command, args []string) error {
	if strings.TrimSpace(strings.Join(args, "")) == "" {
		return usage("no sentence given").hint("%s \"Trachea is midline.\"", cmd.CommandPath())
	}
	return nil
}

func (m *Main) lexiconCheck(path string) error {
	files, err := packFiles(path)
	if err != nil {
		return err
	}
	problems := packcheck.Check(files...)
	for _, p := range problems {
		where := p.File
		if p.Line > 0 {
			where += ":" + strconv.Itoa(p.Line)
		}
		fmt.Fprintf(m.Stdout, "%s: %s\n", where, p.What)
		if p.Hint != "" {
			fmt.Fprintf(m.Stdout, "  hint: %s\n", p.Hint)
		}
	}
	if n := len(problems); n > 0 {
		return &failure{code: exitBadInput, err: errors.New("the packs have complaints"), silent: true}
	}
	lex, err := lexicon.With(files...)
	if err != nil {
		return err
	}
	fmt.Fprintf(m.Stdout, "No complaints. %d findings, %d terms and %d examples in:\n", len(lex.Findings()), len(lex.Terms()), len(lex.Examples()))
	for _, p := range lex.Packs() {
		fmt.Fprintf(m.Stdout, "  %s %s (sha256 %s)\n", p.Name, p.Version, p.SHA256)
	}
	return nil
}

func (m *Main) lexiconTry(dir string, args []string) error {
	lex, err := m.lexicon(dir)
	if err != nil {
		return err
	}
	say := strings.Join(args, " ")
	t := transcript.FromText(say)
	set := extract.New(lex).Extract(t, extract.Options{})
	m.outcome(lex, t, set)
	findings, leftOut := packcheck.Spell(set)
	fmt.Fprintf(m.Stdout, "\nAs an example in a pack:\n[[example]]\nsay = %s\n", strconv.Quote(say))
	for _, l := range []struct {
		key  string
		list []string
	}{{"expect", findings}, {"left_out", leftOut}} {
		if len(l.list) > 0 {
			quoted := make([]string, len(l.list))
			for i, s := range l.list {
				quoted[i] = strconv.Quote(s)
			}
			fmt.Fprintf(m.Stdout, "%s = [%s]\n", l.key, strings.Join(quoted, ", "))
		}
	}
	return nil
}

// outcome prints what is charted and what is left out, with the words.
func (m *Main) outcome(lex *lexicon.Lexicon, t transcript.Transcript, set finding.Set) {
	fmt.Fprintln(m.Stdout, "Charted:")
	if len(set.Findings) == 0 {
		fmt.Fprintln(m.Stdout, "  nothing")
	}
	findings, _ := packcheck.Spell(set)
	for i, f := range set.Findings {
		name := f.ID
		if l, ok := lex.Finding(f.ID); ok && l.Name != "" {
			name = l.Name
		}
		fmt.Fprintf(m.Stdout, "  %s: %s\n", name, findings[i])
		for _, k := range f.Marks {
			why := k.Why
			if len(k.Alternatives) > 0 {
				why += ". Or: " + strings.Join(k.Alternatives, "; ")
			}
			fmt.Fprintf(m.Stdout, "    ? %s\n", why)
		}
		var words []string
		for _, e := range f.Evidence {
			words = append(words, t.Quote(e))
		}
		fmt.Fprintf(m.Stdout, "    words: %s\n", strings.Join(words, " ... "))
	}
	if len(set.LeftOut) > 0 {
		fmt.Fprintln(m.Stdout, "Left out:")
	}
	for _, l := range set.LeftOut {
		fmt.Fprintf(m.Stdout, "  %s: %s\n", strings.ReplaceAll(string(l.Why), "_", " "), t.Quote(l.Span))
	}
	if len(set.Attention) > 0 {
		fmt.Fprintln(m.Stdout, "Needs action:")
	}
	for _, a := range set.Attention {
		fmt.Fprintf(m.Stdout, "  %s: %s (rule: %s)\n", a.Urgency, a.Why, a.Source)
	}
}

func (m *Main) lexiconExplain(dir string, args []string) error {
	lex, err := m.lexicon(dir)
	if err != nil {
		return err
	}
	t := transcript.FromText(strings.Join(args, " "))
	var steps []extract.Step
	set := extract.New(lex).Explain(t, extract.Options{}, func(s extract.Step) { steps = append(steps, s) })
	wide := 0
	for _, s := range steps {
		if s.Stage == extract.Term {
			wide = max(wide, min(len(s.Words), 24))
		}
	}
	fmt.Fprintln(m.Stdout, "Terms that the packs know:")
	last := extract.Term
	for _, s := range steps {
		if s.Stage != last && last == extract.Term {
			fmt.Fprintln(m.Stdout, "\nStatements, and what each says:")
		}
		switch last = s.Stage; s.Stage {
		case extract.Term:
			fmt.Fprintf(m.Stdout, "  %-*s  %s\n", wide, s.Words, s.What)
		case extract.Statement:
			fmt.Fprintf(m.Stdout, "  [%s] %s\n", s.Words, s.What)
		case extract.Value:
			fmt.Fprintf(m.Stdout, "    %q gives %s\n", s.Words, s.What)
		case extract.Later:
			fmt.Fprintf(m.Stdout, "  later: %s\n", s.What)
		}
	}
	fmt.Fprintln(m.Stdout)
	m.outcome(lex, t, set)
	return nil
}
