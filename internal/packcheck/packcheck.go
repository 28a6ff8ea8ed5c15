// Package packcheck tells a pack's author what is wrong with a pack: all that
// the loader complains of, terms that no sentence can reach, and examples that do
// not give what they say. It reads packs by the same loader and sentences by the
// same engine as a draft does, and changes nothing.
package packcheck

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/extract"
	"bedsaid/lexicon"
)

// Check lays more packs over the built-in ones and gives every complaint, in
// the order of files and lines. An example is run with all packs together, since
// a word that one pack adds can change what another's example gives.
func Check(more ...lexicon.File) []lexicon.Problem {
	lex, problems := lexicon.Check(more...)
	if slices.ContainsFunc(problems, func(p lexicon.Problem) bool { return !p.Minor }) {
		return sorted(problems) // half a pack gives examples that fail for no reason of theirs
	}
	x := extract.New(lex)
	problems = append(problems, unreachable(x, lex)...)
	problems = append(problems, Examples(x, lex)...)
	return sorted(problems)
}

func sorted(ps []lexicon.Problem) []lexicon.Problem {
	slices.SortStableFunc(ps, func(a, b lexicon.Problem) int {
		return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line))
	})
	return slices.Compact(ps)
}

// unreachable finds terms that are never read as their pack means them.
func unreachable(x *extract.Extractor, lex *lexicon.Lexicon) []lexicon.Problem {
	var out []lexicon.Problem
	terms := lex.Terms()
	for i := range terms {
		t := &terms[i]
		if why := shadow(x.Whole(t.Text), t.Sense); why != "" {
			out = append(out, t.Complain(fmt.Sprintf("term %q cannot be reached: %s", t.Text, why), "remove it, or word it otherwise"))
		}
	}
	return out
}

// shadow says what stands before a sense; empty where nothing does.
func shadow(read []lexicon.Sense, want lexicon.Sense) string {
	i := slices.IndexFunc(read, func(s lexicon.Sense) bool { return same(s, want) })
	if i < 0 {
		return "it is read as a number, or as several terms"
	}
	for _, s := range read {
		if same(s, want) {
			return ""
		}
		// what is read first when two packs claim a wording
		if s.Kind == lexicon.AloneSense && want.Kind == lexicon.AloneSense {
			return "it already charts " + s.Chart[0].Finding.ID
		}
		if s.Kind == lexicon.NameSense && want.Kind == lexicon.NameSense && !apart(s.Finding, want.Finding) {
			return "it already names " + s.Finding.ID
		}
	}
	return ""
}

// apart reports that two findings lie at different sites, so that the site
// spoken of tells which is meant.
func apart(a, b *lexicon.Finding) bool {
	for _, x := range a.At {
		if slices.Contains(b.At, x) {
			return false
		}
	}
	return len(a.At) > 0 && len(b.At) > 0
}

func same(a, b lexicon.Sense) bool {
	return a.Kind == b.Kind && a.Finding == b.Finding && a.Site == b.Site && a.Value == b.Value && a.Cue == b.Cue && a.Key == b.Key
}
