package speechtest

import (
	"strings"

	"bedsaid/lexicon"
)

// Terms are the words of the lexicon's bare terms (sites and names of findings),
// as Plain writes them: the words whose loss costs a finding.
func Terms(lex *lexicon.Lexicon) map[string]bool {
	out := map[string]bool{}
	for _, term := range lex.Vocabulary("") {
		for _, w := range strings.Fields(Plain(term)) {
			if len(w) > 3 { // shorter ones are everyday words, or parts of terms that are
				out[w] = true
			}
		}
	}
	return out
}

// MissedTerms counts the words of a text that are terms, in the singular or the
// plural, and how many of them were not heard as they were spoken.
func MissedTerms(terms map[string]bool, spoken, heard string) (all, missed int) {
	a, b := strings.Fields(Plain(spoken)), strings.Fields(Plain(heard))
	// Longest common subsequence, from the end, so that it can be walked from the
	// start.
	long := make([][]int, len(a)+1)
	for i := range long {
		long[i] = make([]int, len(b)+1)
	}
	for i := len(a) - 1; i >= 0; i-- {
		for j := len(b) - 1; j >= 0; j-- {
			long[i][j] = max(long[i+1][j], long[i][j+1])
			if a[i] == b[j] {
				long[i][j] = long[i+1][j+1] + 1
			}
		}
	}
	j := 0
	for i, w := range a {
		for j < len(b) && a[i] != b[j] && long[i][j+1] == long[i][j] {
			j++
		}
		same := j < len(b) && a[i] == b[j] && long[i][j] == long[i+1][j+1]+1
		if same {
			j++
		}
		if terms[w] || terms[strings.TrimSuffix(w, "s")] {
			all++
			missed += count(!same)
		}
	}
	return all, missed
}
