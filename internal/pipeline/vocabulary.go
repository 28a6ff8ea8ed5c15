package pipeline

import (
	"slices"
	"strings"
	"unicode/utf8"

	"bedsaid/internal/speech"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Vocabulary primes the recognizer with the terms of the region that is being
// examined, and then of those that come after it: an examination goes from head
// to neck, and the prompt has room for a region or two. It holds the packs'
// bare terms and nothing else, so it cannot speak for the patient.
func Vocabulary(lex *lexicon.Lexicon) speech.Vocabulary {
	var regions []vocabRegion
	owners := map[string]int{} // in how many regions a word stands
	for _, r := range lex.Regions() {
		v := vocabRegion{terms: hardFirst(lex.Vocabulary(r.ID)), words: map[string]bool{}}
		for _, t := range v.terms {
			for _, w := range strings.Fields(t) {
				if !v.words[w] {
					v.words[w] = true
					owners[w]++
				}
			}
		}
		regions = append(regions, v)
	}
	return func(heard []transcript.Word) []string {
		at := regionAt(regions, owners, heard)
		var out []string
		for i := range regions {
			out = append(out, regions[(at+i)%len(regions)].terms...)
		}
		return out
	}
}

type vocabRegion struct {
	terms []string
	words map[string]bool
}

// recent is how many of the last words tell the region.
const recent = 40

// regionAt is the region that the last words speak of most, the first of all
// where they speak of none. A word that stands in many regions tells little.
func regionAt(regions []vocabRegion, owners map[string]int, heard []transcript.Word) int {
	best, most := 0, 0.0
	for i, r := range regions {
		score := 0.0
		for k, w := range heard[max(0, len(heard)-recent):] {
			word := strings.ToLower(strings.Trim(w.Text, ".,;:?!"))
			if !r.words[word] {
				word = strings.TrimSuffix(word, "s")
			}
			if r.words[word] {
				score += float64(k+1) / float64(owners[word]) // the latest count most
			}
		}
		if score > most {
			best, most = i, score
		}
	}
	return best
}

// hardFirst puts the terms with the longest words first: those are the ones
// that a recognizer trained on everyday talk spells wrong. A term all of whose
// words stand in terms before it teaches nothing and is left out.
func hardFirst(terms []string) []string {
	longest := func(t string) int {
		n := 0
		for _, w := range strings.Fields(t) {
			n = max(n, utf8.RuneCountInString(w))
		}
		return n
	}
	sorted := slices.Clone(terms)
	slices.SortStableFunc(sorted, func(a, b string) int { return longest(b) - longest(a) })
	seen := map[string]bool{}
	return slices.DeleteFunc(sorted, func(t string) bool {
		isNew := false
		for _, w := range strings.Fields(t) {
			isNew = isNew || !seen[w]
			seen[w] = true
		}
		return !isNew
	})
}
