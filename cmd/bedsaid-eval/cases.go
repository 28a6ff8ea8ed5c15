package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"bedsaid/internal/corpus"
	"bedsaid/internal/eval"
	"bedsaid/lexicon"
)

// cases drafts every case and prints how the drafts compare, the worst figures
// first.
func cases(args []string, out io.Writer) error {
	flags := flag.NewFlagSet("cases", flag.ContinueOnError)
	each := flags.Bool("v", false, "name every mistake, by its finding")
	floorFile := flags.String("floor", "", "fail where a figure falls below this file's")
	raise := flags.Bool("raise", false, "lift the floor where figures are better")
	way := flags.String("as", "", "rewrite the cases as a recognizer gives them: "+strings.Join(eval.Ways(), ", "))
	paths, err := parse(flags, args)
	if err != nil {
		return err
	}
	if len(paths) == 0 || *raise && *floorFile == "" {
		return fmt.Errorf("%w: cases takes files or folders, and -raise takes a -floor", errUsage)
	}
	set, err := corpus.Load(paths...)
	if err != nil {
		return err
	}
	for i := range set {
		var ok bool
		if *way != "" {
			if set[i], ok = eval.Heard(*way, set[i]); !ok {
				return fmt.Errorf("%w: -as takes %s", errUsage, strings.Join(eval.Ways(), ", "))
			}
		}
	}
	lex, err := lexicon.Builtin()
	if err != nil {
		return err
	}
	results, err := eval.Cases(context.Background(), lex, set, eval.Judged(lex, set))
	if err != nil {
		return err
	}
	groups := eval.ByPhenomenon(results)
	total := eval.Sum(groups)
	if *each {
		for _, r := range results {
			for _, n := range r.Notes {
				fmt.Fprintf(out, "%s: %s\n", r.Case.ID, n)
			}
		}
	}
	if err := worst(out, total); err != nil {
		return err
	}
	if err := table(out, append(groups, total)); err != nil {
		return err
	}
	if *floorFile == "" {
		return nil
	}
	return floor(out, *floorFile, *raise, groups)
}

// worst prints what a reviewer would not see, before anything else.
func worst(out io.Writer, g eval.Group) error {
	_, err := fmt.Fprintf(out, `without a mark, of %d expected:
  wrong side       %d
  wrong value      %d
  false expected   %d
with or without one:
  wrong side       %d
  wrong value      %d
  false expected   %d
  never hit        %d
  wrong source     %d
  missed, and it stands out %d
marks: on right findings %.3f, on wrong ones %.3f; of those that cases name %d of %d
quoted danger: %d of %d, without cause %d; listed for action: %d of %d, without cause %d
words out of place: %d

`, g.Expected, g.WrongSideUnmarked, g.WrongValueUnmarked, g.FalseExpectedUnmarked, g.WrongSide, g.WrongValue, g.FalseExpected, g.NeverHit, g.WrongSource,
		g.MissedUnexpected, g.RightMarkedShare(), g.WrongMarkedShare(), g.Marks, g.MarksExpected, g.Quotes, g.QuotesExpected, g.QuotesMore, g.Attention, g.AttentionExpected, g.AttentionMore, g.Misplaced)
	return err
}

func table(out io.Writer, groups []eval.Group) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "phenomenon\tcases\texpected\tprecision\trecall\tF1\twrong side (unmarked)\twrong value (unmarked)\tfalse expected (unmarked)\tnever\tmarked, right\tmarks\t")
	for _, g := range groups {
		fmt.Fprintf(w, "%s\t%d\t%d\t%.3f\t%.3f\t%.3f\t%d (%d)\t%d (%d)\t%d (%d)\t%d\t%.2f\t%d/%d\t\n", g.Name, g.Cases, g.Expected, g.Precision(), g.Recall(), g.F1(),
			g.WrongSide, g.WrongSideUnmarked, g.WrongValue, g.WrongValueUnmarked, g.FalseExpected, g.FalseExpectedUnmarked, g.NeverHit, g.RightMarkedShare(), g.Marks, g.MarksExpected)
	}
	return w.Flush()
}

func floor(out io.Writer, name string, raise bool, groups []eval.Group) error {
	f, err := eval.ReadFloor(name)
	if err != nil {
		return err
	}
	broken := f.Broken(groups)
	for _, b := range broken {
		fmt.Fprintln(out, b)
	}
	if raise {
		f.Raise(groups)
		if err := f.Write(name); err != nil {
			return err
		}
	}
	if len(broken) > 0 {
		return fmt.Errorf("%d figures fell below the floor in %s", len(broken), name)
	}
	return nil
}
