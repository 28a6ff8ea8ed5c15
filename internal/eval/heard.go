package eval

import (
	"hash/fnv"
	"maps"
	"slices"
	"strconv"
	"strings"

	"bedsaid/internal/corpus"
)

// Heard writes a case as a recognizer gives it, by one of the Ways; the findings
// stay the same.
func Heard(way string, c corpus.Case) (corpus.Case, bool) {
	rewrite, ok := ways[way]
	if ok {
		c.Text = rewrite(c.ID, strings.Fields(c.Text))
	}
	return c, ok
}

// Ways names the ways of writing that Heard knows.
func Ways() []string { return slices.Sorted(maps.Keys(ways)) }

var ways = map[string]func(id string, words []string) string{
	// no punctuation and no capitals; every second case without apostrophes
	"bare": func(id string, words []string) string {
		var out []string
		for _, w := range words {
			if core, _ := bareWord(w); core != "" {
				out = append(out, strings.ToLower(core))
			}
		}
		text := strings.Join(out, " ")
		if chance(id, 0) < 0.5 {
			text = strings.NewReplacer("'", "", "’", "").Replace(text)
		}
		return text
	},
	// a sentence a line, and nothing else
	"lines": func(_ string, words []string) string {
		var b strings.Builder
		for _, w := range words {
			core, mark := bareWord(w)
			b.WriteString(strings.ToLower(core))
			if strings.ContainsAny(mark, ".!?") {
				b.WriteString("\n\n")
			} else if core != "" {
				b.WriteByte(' ')
			}
		}
		return b.String()
	},
	// full stops and commas lost, added and taken for one another
	"guessed": func(id string, words []string) string {
		var out []string
		for i, w := range words {
			core, mark := bareWord(w)
			if core == "" {
				continue
			}
			x := chance(id, i)
			stop, comma := 0.02, 0.05 // shares of a full stop, and of that or a comma
			switch {
			case strings.ContainsAny(mark, ".!?"):
				stop, comma = 0.55, 0.8
			case mark != "":
				stop, comma = 0.3, 0.65
			}
			switch {
			case x < stop:
				core += "."
			case x < comma:
				core += ","
			}
			out = append(out, core)
		}
		return strings.Join(out, " ")
	},
}

// bareWord parts a word from the punctuation around it.
func bareWord(w string) (core, mark string) {
	w = strings.TrimLeft(w, "\"'(“‘[")
	core = strings.TrimRight(w, ".,;:!?…—–-\"')”’]")
	return core, w[len(core):]
}

// chance is a number from 0 to 1 that is always the same for a place of a case.
func chance(id string, i int) float64 {
	h := fnv.New32a()
	h.Write([]byte(id + "/" + strconv.Itoa(i))) // writing to a hash does not fail
	return float64(h.Sum32()%10007) / 10007
}
