package pipeline

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// illHeard is the probability below which a word of the evidence is taken for
// ill heard where no pack knows it. Words of the packs are spared: the recognizer
// is unsure of many and right all the same. Chosen on synthetic voices
// (docs/speech.md).
const illHeard = 0.5

// doubt marks the findings that rest on words which the sound leaves in doubt:
// words that were first heard otherwise, and words that were heard ill. It adds
// marks and changes nothing else.
func doubt(lex *lexicon.Lexicon, set finding.Set, t transcript.Transcript) finding.Set {
	if !t.Timed {
		return set
	}
	set.Findings = slices.Clone(set.Findings)
	for i := range set.Findings {
		f := &set.Findings[i]
		if first := firstWordings(f.Evidence, t); len(first) > 0 {
			f.Marks = append(slices.Clone(f.Marks), finding.Mark{
				Kind:         finding.Respelled,
				Why:          "heard twice, and the first time as: " + quoted(first),
				Alternatives: first,
			})
		}
		if ill := illHeardWords(lex, f.Evidence, t); len(ill) > 0 {
			f.Marks = append(slices.Clone(f.Marks), finding.Mark{
				Kind: finding.UnclearAudio,
				Why:  "hard to hear: " + quoted(ill),
			})
		}
	}
	return set
}

func quoted(texts []string) string { return "\"" + strings.Join(texts, "\", \"") + "\"" }

// firstWordings is what was first heard in the place of evidence.
func firstWordings(evidence []transcript.Span, t transcript.Transcript) []string {
	var out []string
	for _, e := range evidence {
		for _, w := range t.Words[e.Start:e.End] {
			if w.Heard != "" && !slices.Contains(out, w.Heard) {
				out = append(out, w.Heard)
			}
		}
	}
	return out
}

// illHeardWords are the words of the evidence that no pack knows and that the
// sound leaves in doubt.
func illHeardWords(lex *lexicon.Lexicon, evidence []transcript.Span, t transcript.Transcript) []string {
	var out []string
	for _, e := range evidence {
		for _, w := range t.Words[e.Start:e.End] {
			if w.P < illHeard && strange(lex, w.Text) && !slices.Contains(out, w.Text) {
				out = append(out, w.Text)
			}
		}
	}
	return out
}

// strange reports a word with a part that stands in no term of the packs.
func strange(lex *lexicon.Lexicon, word string) bool {
	return slices.ContainsFunc(lexicon.Normalize(word), func(f lexicon.Form) bool {
		return !lex.Knows(f.Text) && strings.ContainsAny(f.Text, "abcdefghijklmnopqrstuvwxyz")
	})
}
