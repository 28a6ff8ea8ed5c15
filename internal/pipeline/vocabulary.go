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
// to neck. A prompt has room for some forty words, so those that recognizers are
// known to mishear come first, of this region and its neighbours, and only then
// what else they have. Words of regions far off are kept out: a prompt bends what
// is heard towards itself ("crepitus" where carotid was said). It holds the packs'
// bare terms and nothing else, so it cannot speak for the patient.
func Vocabulary(lex *lexicon.Lexicon) speech.Vocabulary {
	var regions []vocabRegion
	hard := lex.Hard()
	owners := map[string]int{} // in how many regions a word stands
	for _, r := range wholeBodyLast(lex.Regions()) {
		v := vocabRegion{terms: hardFirst(lex.Vocabulary(r.ID)), words: map[string]bool{}}
		for _, t := range v.terms {
			for _, w := range strings.Fields(t) {
				if !v.words[w] {
					v.words[w] = true
					owners[w]++
				}
			}
		}
		for _, h := range hard {
			if !slices.ContainsFunc(strings.Fields(h), func(w string) bool { return !v.words[w] }) {
				v.hard = append(v.hard, h)
			}
		}
		regions = append(regions, v)
	}
	return func(heard []transcript.Word) []string {
		at := regionAt(regions, owners, heard)
		var out []string
		for _, step := range [...]int{0, 1, 2, -1} { // the neighbours that are worth their room
			if i := at + step; i >= 0 && i < len(regions) {
				out = append(out, regions[i].hard...)
			}
		}
		for i := range regions {
			out = append(out, regions[(at+i)%len(regions)].terms...)
		}
		return unrepeated(out)
	}
}

// wholeBodyLast keeps what is measured rather than examined from taking the room
// of the first region's terms: its words are everyday ones.
func wholeBodyLast(regions []lexicon.Region) []lexicon.Region {
	out := slices.Clone(regions)
	slices.SortStableFunc(out, func(a, b lexicon.Region) int {
		switch {
		case a.Body == b.Body:
			return 0
		case a.Body:
			return 1
		}
		return -1
	})
	return out
}

type vocabRegion struct {
	terms []string
	hard  []string // of the words that are often misheard, those of its terms
	words map[string]bool
}

// unrepeated keeps the first of each.
func unrepeated(terms []string) []string {
	seen := map[string]bool{}
	return slices.DeleteFunc(terms, func(t string) bool {
		had := seen[t]
		seen[t] = true
		return had
	})
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
