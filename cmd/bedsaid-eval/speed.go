package main

import (
	"flag"
	"fmt"
	"io"
	"strings"
	"time"

	"bedsaid/internal/corpus"
	"bedsaid/internal/extract"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// lengths are the texts to understand, in words; the last is about twenty hours
// of talk.
var lengths = []int{1500, 12500, 25000, 50000, 100000, 200000}

// speed prints how much of a processor's time texts of growing length take to be
// understood: the narrations that the arguments name, one after the other until the length is
// reached, each length five times, the fastest counting.
func speed(args []string, out io.Writer) error {
	paths, err := parse(flag.NewFlagSet("speed", flag.ContinueOnError), args)
	if err != nil {
		return err
	}
	if len(paths) == 0 {
		return fmt.Errorf("%w: speed takes files or folders of cases", errUsage)
	}
	cases, err := corpus.Load(paths...)
	if err != nil {
		return err
	}
	lex, err := lexicon.Builtin()
	if err != nil {
		return err
	}
	x := extract.New(lex)
	var words []string
	for i := 0; len(words) < lengths[len(lengths)-1]; i++ {
		words = append(words, strings.Fields(cases[i%len(cases)].Text)...)
	}
	var perWord []float64
	for _, n := range lengths {
		t := transcript.FromText(strings.Join(words[:n], " "))
		best := time.Duration(0)
		findings := 0
		for range 5 {
			begin := processorTime()
			findings = len(x.Extract(t, extract.Options{}).Findings)
			if took := processorTime() - begin; best == 0 || took < best {
				best = took
			}
		}
		each := float64(best.Nanoseconds()) / float64(n)
		perWord = append(perWord, each)
		if _, err := fmt.Fprintf(out, "%7d words  %8.1f ms  %5.0f ns a word  %6d findings\n", n, float64(best.Microseconds())/1000, each, findings); err != nil {
			return err
		}
	}
	grown := perWord[len(perWord)-1] / perWord[1]
	if _, err := fmt.Fprintf(out, "a word of %d costs %.2f times one of %d\n", lengths[len(lengths)-1], grown, lengths[1]); err != nil {
		return err
	}
	if grown > 2 {
		return fmt.Errorf("time grows faster than the text")
	}
	return nil
}
