package main

import (
	"flag"
	"fmt"
	"io"
	"os"

	"bedsaid/internal/eval"
	"bedsaid/internal/extract"
	"bedsaid/lexicon"
)

// negation prints precision, recall and F1 of the denials read in a file.
func negation(args []string, out io.Writer) error {
	flags := flag.NewFlagSet("negation", flag.ContinueOnError)
	each := flags.Bool("v", false, "name each row that was read otherwise than it is labelled")
	repeat := flags.Int("repeat", 1, "read the file so many times, to be timed from outside")
	files, err := parse(flags, args)
	if err != nil {
		return err
	}
	if len(files) != 1 {
		return fmt.Errorf("%w: negation takes one file", errUsage)
	}
	lex, err := lexicon.Builtin()
	if err != nil {
		return err
	}
	f, err := os.Open(files[0])
	if err != nil {
		return err
	}
	defer f.Close()
	rows, err := eval.ReadNegations(f)
	if err != nil {
		return err
	}
	// The sentences are from patients' reports: rows go by their number.
	x := extract.New(lex)
	for range *repeat - 1 {
		eval.Negations(x, rows, nil)
	}
	a := eval.Negations(x, rows, func(n eval.Negation) {
		if *each {
			fmt.Fprintf(out, "row %s: labelled denied: %t, read denied: %t\n", n.Row, n.Denied, !n.Denied)
		}
	})
	_, err = fmt.Fprintf(out, "rows %d, true positive %d, false positive %d, false negative %d, true negative %d\nprecision %.4f\nrecall    %.4f\nF1        %.4f\n",
		len(rows), a.TruePositive, a.FalsePositive, a.FalseNegative, a.TrueNegative, a.Precision(), a.Recall(), a.F1())
	return err
}
