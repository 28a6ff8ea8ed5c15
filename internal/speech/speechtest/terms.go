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
	a := strings.Fields(Plain(spoken))
	at := match(a, strings.Fields(Plain(heard)))
	for i, w := range a {
		if terms[w] || terms[strings.TrimSuffix(w, "s")] {
			all++
			if at[i] < 0 {
				missed++
			}
		}
	}
	return all, missed
}

// Opposite gives, for each heard word, what was spoken in its place, as Plain
// writes it: itself where it was heard right, else the spoken words between its
// matched neighbours; "?" where those cannot be shared out one to one, nothing
// where it was inserted.
func Opposite(spoken string, heard []string) []string {
	a := strings.Fields(Plain(spoken))
	var b []string
	var owner []int // which heard word each of b is of
	for i, w := range heard {
		for _, x := range strings.Fields(Plain(w)) {
			b, owner = append(b, x), append(owner, i)
		}
	}
	out := make([]string, len(heard))
	add := func(i int, w string) { out[i] = strings.TrimSpace(out[i] + " " + w) }
	at := match(a, b)
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		toI, toJ := i, len(b)
		for toI < len(a) && at[toI] < 0 {
			toI++
		}
		if toI < len(a) {
			toJ = at[toI]
		}
		for k := j; k < toJ; k++ {
			switch {
			case toJ-j == toI-i:
				add(owner[k], a[i+k-j])
			case owner[j] == owner[toJ-1]:
				if k == j {
					add(owner[k], strings.Join(a[i:toI], " "))
				}
			case toI > i:
				add(owner[k], "?")
			}
		}
		if toI < len(a) {
			add(owner[toJ], a[toI])
		}
		i, j = toI+1, toJ+1
	}
	return out
}

// match aligns two texts by their longest common subsequence and gives for each
// word of a its place in b, or -1.
func match(a, b []string) []int {
	long := make([][]int, len(a)+1) // of a[i:] and b[j:]
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
	at := make([]int, len(a))
	j := 0
	for i := range a {
		at[i] = -1
		for j < len(b) && a[i] != b[j] && long[i][j+1] == long[i][j] {
			j++
		}
		if j < len(b) && a[i] == b[j] && long[i][j] == long[i+1][j+1]+1 {
			at[i] = j
			j++
		}
	}
	return at
}

// Misheard is a term with what was heard in its place, as Plain writes both; heard
// is empty where nothing was.
type Misheard struct{ Term, Heard string }

// MisheardTerms lists the terms of a text that were heard as something else, where
// the words around tell what stands for them: alone between words heard right, or
// word for word.
func MisheardTerms(terms map[string]bool, spoken, heard string) (all int, out []Misheard) {
	a, b := strings.Fields(Plain(spoken)), strings.Fields(Plain(heard))
	at := match(a, b)
	is := func(w string) bool { return terms[w] || terms[strings.TrimSuffix(w, "s")] }
	for i, j := 0, 0; i < len(a); i++ {
		if is(a[i]) {
			all++
		}
		if at[i] >= 0 {
			j = at[i] + 1
			continue
		}
		from := i
		for i+1 < len(a) && at[i+1] < 0 {
			i++
			if is(a[i]) {
				all++
			}
		}
		to := len(b)
		if i+1 < len(a) {
			to = at[i+1]
		}
		switch run := a[from : i+1]; {
		case len(run) == 1 && is(run[0]):
			out = append(out, Misheard{run[0], strings.Join(b[j:to], " ")})
		case len(run) == to-j:
			for k, w := range run {
				if is(w) {
					out = append(out, Misheard{w, b[j+k]})
				}
			}
		}
	}
	return all, out
}
