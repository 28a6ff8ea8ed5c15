package main

import (
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
	"github.com/sahilm/fuzzy"
)

// didYouMean words a suggestion, or gives the fallback where nothing is near.
func didYouMean(typed string, names []string, fallback string) string {
	near := suggest(typed, names)
	if len(near) == 0 {
		return fallback
	}
	return "did you mean " + strings.Join(near, " or ") + "?"
}

// suggest gives up to two names near to what was typed: those that hold its
// letters in order (an unfinished or shortened name), or else those at most two
// slips away (swapped or wrong letters).
func suggest(typed string, names []string) []string {
	typed = strings.ToLower(typed)
	var near []string
	if typed == "" {
		return nil
	}
	if len(typed) > 1 {
		for _, m := range fuzzy.Find(typed, names) {
			near = append(near, m.Str)
		}
	}
	if len(near) == 0 {
		// A slip in the first letter is rarer than one further on.
		slips := func(name string) int {
			d := 2 * levenshtein.ComputeDistance(typed, strings.ToLower(name))
			if name[0] != typed[0] {
				d++
			}
			return d
		}
		for _, n := range names {
			if d := slips(n); d <= 5 && d < 2*len(n)-2 {
				near = append(near, n)
			}
		}
		slices.SortStableFunc(near, func(a, b string) int { return slips(a) - slips(b) })
	}
	return near[:min(len(near), 2)]
}
