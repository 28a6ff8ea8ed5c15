//go:build cgo && engine

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"bedsaid/internal/corpus"
	"bedsaid/internal/export"
	"bedsaid/internal/extract"
	"bedsaid/internal/speech/speechtest"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// amid is said before what was heard, so that anatomy is in talk.
const amid = "Head, eyes, ears, nose, mouth, throat and neck. "

// listMisheard prints, of drafts that an earlier run kept, each term that was heard
// as something else, and whether it is read as that term all the same.
func listMisheard(lex *lexicon.Lexicon, cases []corpus.Case, folders []string) error {
	terms := speechtest.Terms(lex)
	x := extract.New(lex)
	fmt.Println("case\tcondition\tterm\theard\tread as")
	for _, folder := range folders {
		spoken, missed, read := 0, 0, 0
		for _, c := range cases {
			f, err := os.Open(filepath.Join(folder, c.ID+".json"))
			if os.IsNotExist(err) {
				continue
			}
			if err != nil {
				return err
			}
			src, err := export.ReadTranscript(f)
			f.Close()
			if err != nil {
				return err
			}
			n, list := speechtest.MisheardTerms(terms, c.Text, src.Transcript.Text())
			spoken += n
			for _, m := range list {
				missed++
				as := readAs(x, m.Heard)
				if strings.HasSuffix(as, strings.TrimSuffix(m.Term, "s")) {
					read++
				}
				fmt.Printf("%s\t%s\t%s\t%s\t%s\n", c.ID, filepath.Base(folder), m.Term, m.Heard, as)
			}
		}
		if spoken > 0 {
			fmt.Printf("%s: of %d terms %d were heard as something else, and %d of these are read right\n", filepath.Base(folder), spoken, missed, read)
		}
	}
	return nil
}

// readAs gives the term that words are read as; empty where they are not.
func readAs(x *extract.Extractor, heard string) (as string) {
	x.Explain(transcript.FromText(amid+heard+", skin."), extract.Options{}, func(s extract.Step) {
		if _, rest, ok := strings.Cut(s.What, "read as "); ok && s.Stage == extract.Term {
			as, _, _ = strings.Cut(rest, ";")
		}
	})
	return as
}
