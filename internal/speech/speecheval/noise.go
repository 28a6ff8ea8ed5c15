//go:build cgo && engine

package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"bedsaid/internal/pipeline"
	"bedsaid/internal/speech"
	"bedsaid/internal/speech/speechtest"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// hearNoise drafts recordings in which nobody examines anybody, as if each of
// the regions was being examined: every finding is invented.
func hearNoise(ctx context.Context, engine speech.Decoder, lex *lexicon.Lexicon, regions string, paths []string) error {
	terms := speechtest.Terms(lex)
	findings := 0
	fmt.Println("sound\tprompt of\tseconds\tvoiced\twords\tterms\tuntranscribed s\tdecoded again\tfindings")
	for _, r := range lex.Regions() {
		if regions != "all" && !strings.Contains(","+regions+",", ","+r.ID+",") {
			continue
		}
		said := transcript.FromText(strings.Join(lex.Vocabulary(r.ID), " ")).Words
		prompt := pipeline.Vocabulary(lex)(said)
		for _, path := range paths {
			again := 0
			d := &pipeline.Drafter{
				Now: time.Now, Lexicon: func() (*lexicon.Lexicon, error) { return lex, nil },
				Hearing:    func(context.Context) (pipeline.Hearing, error) { return pipeline.Hearing{Decoder: engine}, nil },
				Vocabulary: func([]transcript.Word) []string { return prompt },
				Speech:     speech.Options{Observe: func(speech.Event) { again++ }},
			}
			n, err := d.Draft(ctx, pipeline.Input{Path: path})
			if err != nil {
				return err
			}
			inserted := 0
			for _, w := range strings.Fields(speechtest.Plain(n.Transcript.Text())) {
				if terms[w] {
					inserted++
				}
			}
			lost := transcript.Seconds(n.Untranscribed())
			rec := n.Transcript.Recording
			fmt.Printf("%s\t%s\t%.0f\t%.0f\t%d\t%d\t%.0f\t%d\t%d\n", strings.TrimSuffix(filepath.Base(path), ".wav"), r.ID,
				rec.Seconds, rec.VoicedSeconds, len(n.Transcript.Words), inserted, lost, again, len(n.Findings()))
			for _, f := range n.Findings() {
				for _, e := range f.Evidence {
					fmt.Printf("\t%s %s %s: %q\n", f.ID, f.Side, f.Value, n.Transcript.Quote(e))
				}
			}
			findings += len(n.Findings())
		}
	}
	if findings > 0 {
		return fmt.Errorf("%d findings were invented", findings)
	}
	return nil
}
