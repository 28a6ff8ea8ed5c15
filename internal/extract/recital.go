package extract

import (
	"slices"
	"strings"

	"bedsaid/lexicon"
)

// recital follows what is numbered where it is gone through by number alone: "One: smells
// on both sides. Two, intact. Three, four and six together: full."
type recital struct {
	stem string // of the ids that are numbered; empty where none was named
	last int
	end  int // the token behind the last number
}

// recitalReach is the number of words after which a number is no longer the next of a
// recital.
const recitalReach = 60

// named notes that the findings of a stem are spoken of, from number n on.
func (r *recital) named(stem string, n, end int) {
	if stem != "" {
		r.stem, r.last, r.end = stem, n, end
	}
}

// opens gives the number by which items[i] goes on with the recital, at the start of a
// sentence; 0 where it does not.
func (r *recital) opens(ts []token, items []item, i int) int {
	it := &items[i]
	if r.stem == "" || it.a > r.end+recitalReach || it.has(lexicon.NameSense) {
		return 0
	}
	n := bareOrdinal(ts, it)
	if n == 0 || !startsSentence(ts, items, i) || n < r.last-1 || n > r.last+2 {
		return 0
	}
	if n <= r.last && ts[it.b-1].after == noPause && !said2(items, i, r.stem) {
		return 0
	}
	if ts[it.b-1].after != noPause || i+1 < len(items) && (items[i+1].cue(lexicon.CueAnd) || !items[i+1].content() && items[i+1].plain()) {
		return n
	}
	return 0
}

// bareOrdinal is the whole number that an item is, without unit, sign or scale; else 0.
func bareOrdinal(ts []token, it *item) int {
	switch n := it.num; {
	case n == nil && it.plain() && ts[it.a].Text == "one":
		return 1
	case n == nil || it.unit != nil || it.locator || n.sign != "" || n.hasOf || n.clock || n.isBy || n.isRange || n.value < 1 || n.value > 12 || n.value != float64(int(n.value)):
		return 0
	default:
		return int(n.value)
	}
}

// whole reports that the numbered finding itself is what the sentence gives a value to:
// "two I did with the card, intact", not "five: light touch the same on both sides".
func (x *Extractor) whole(ts []token, items []item, i int, stem string, n int) bool {
	f, ok := x.lex.Finding(stem + num(float64(n)))
	for j := i + 1; ok && j < len(items); j++ {
		it := &items[j]
		if it.cue(lexicon.CueUnable) || f.Allows(text(ts, it.b-1)) && f.Allows(text(ts, it.a)) {
			return true // "eight, intact"; what else is normal may be a part: "three, four and six: full"
		}
		for _, s := range it.senses {
			if s.Kind == lexicon.SaysSense && strings.HasPrefix(s.Finding.ID, stem) && !it.cue(lexicon.CueNormal) {
				return true
			}
			if s.Kind == lexicon.SiteSense && s.Site.Region != "" || s.Kind == lexicon.NameSense || s.Kind == lexicon.SaysSense && slices.Contains(f.Covers, s.Finding.ID) {
				return false
			}
		}
		if it.cue(lexicon.CueNormal) && !it.cue(lexicon.CueFiller) {
			return true
		}
		if it.num != nil || it.has(lexicon.NounSense) || it.has(lexicon.AloneSense) || ts[it.b-1].after >= stop {
			return false
		}
	}
	return false
}

// recite reads the numbers at items[i] that go on with the recital, and gives how many
// items they take; 0 where there are none. Where the sentence says nothing of what is
// numbered as a whole, the number is a heading.
func (x *Extractor) recite(r *recital, ts []token, items []item, i int) (out []item, taken int) {
	n := r.opens(ts, items, i)
	if n == 0 {
		return nil, 0
	}
	end := i
	for k := i + 1; k < len(items) && ts[items[end].b-1].after <= comma; k++ {
		if items[k].cue(lexicon.CueAnd) {
			continue
		}
		if bareOrdinal(ts, &items[k]) <= r.last || k > end+2 {
			break
		}
		end = k
	}
	whole := x.whole(ts, items, end, r.stem, n)
	for k := i; k <= end; k++ {
		it := items[k]
		if m := bareOrdinal(ts, &it); m > 0 {
			made := fellows(x.lex, r.stem, m, m, it)
			if made == nil {
				return nil, 0
			}
			r.named(r.stem, m, it.b)
			if !whole {
				made = []item{{a: it.a, b: it.b, senses: []lexicon.Sense{{Kind: lexicon.CueSense, Cue: lexicon.CueHeading}}}}
			}
			out = append(out, made...)
			continue
		}
		out = append(out, it)
	}
	return out, end - i + 1
}
