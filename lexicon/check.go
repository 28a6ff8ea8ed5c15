package lexicon

import (
	"fmt"
	"slices"
	"sort"
	"strings"
)

var (
	sideWords    = []string{"right", "left", "both", "same", "other", "neither"}
	urgencyWords = []string{"now", "prompt", "routine", "recheck"}
)

func sortedKeys[T any](m map[string]T) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// oneOf complains of a word that is none of those a key takes.
func (b *builder) oneOf(key, word string, words []string) {
	if !slices.Contains(words, word) {
		b.complain(word, fmt.Sprintf("unknown %s %q", key, word), "one of "+strings.Join(words, ", "))
	}
}

// allowed complains of a value that a finding cannot have.
func (b *builder) allowed(f *Finding, v string) {
	if len(f.Values) > 0 && !f.Allows(v) {
		b.complain(v, fmt.Sprintf("finding %q has no value %q", f.ID, v), "allowed: "+strings.Join(f.Values, ", "))
	}
}

// checkValues complains of values and bounds that a finding cannot have.
func (b *builder) checkValues(f *Finding, d findingDef) {
	for _, v := range sortedKeys(d.Not) {
		b.allowed(f, v)
		b.allowed(f, d.Not[v])
	}
	for _, v := range [...]string{d.Yes, d.No, d.Normal, d.Named} {
		if v != "" {
			b.allowed(f, v)
		}
	}
	for _, side := range sortedKeys(d.Expected) {
		b.oneOf("side in expected", side, []string{"any", "right", "left"})
		for _, v := range d.Expected[side] {
			b.allowed(f, v)
		}
	}
	for _, v := range append(d.Together, d.Directed...) {
		b.allowed(f, v)
	}
	if f.Kind == Choice && len(f.Values) == 0 {
		b.complain(d.ID, fmt.Sprintf("finding %q has no values", d.ID), "list the values it may have")
	}
	if (f.Kind == Quantity || f.Kind == Pair) && f.Unit == "" {
		b.complain(d.ID, fmt.Sprintf("finding %q is a quantity without a unit", d.ID), "write its UCUM code as unit")
	}
	b.bounds(d.ID, d.Range)
}

// measures takes over in what a body finding is measured, and its parts.
func (b *builder) measures(f *Finding, d findingDef) {
	f.UnitDetails, f.Tenths = d.UnitKeys, d.Tenths
	if len(d.Second) == 2 {
		f.Second = [2]float64{d.Second[0], d.Second[1]}
	}
	f.Measures = d.Measures
	if len(f.Measures) > 0 {
		if f.Unit != "" || d.Range != nil {
			b.complain("measures", fmt.Sprintf("finding %q has measures beside unit or plausible", f.ID), "keep the measures")
		}
		f.Unit = f.Measures[0].Unit
	}
	bounded := d.Range != nil
	for _, m := range f.Measures {
		b.bounds(f.ID, m.Plausible)
		b.bounds(f.ID, m.Expected)
		bounded = bounded || m.Plausible != nil
	}
	if f.Body && bounded && d.Source == "" {
		b.complain(f.ID, fmt.Sprintf("finding %q has bounds without a source", f.ID), "name the source, or write: common practice, no source")
	}
	if f.Kind == Score {
		f.Untestable = map[string]bool{}
		for _, w := range d.Untested {
			f.Untestable[strings.Join(normalWords(w), " ")] = true
		}
		for _, p := range d.Parts {
			if b.bounds(f.ID, p.Range); len(p.Range) != 2 || p.Key == "" {
				b.complain("parts", fmt.Sprintf("finding %q has a part without key or range", f.ID), "")
				continue
			}
			for _, t := range p.Terms {
				p.forms = append(p.forms, normalWords(t))
			}
			f.Parts = append(f.Parts, p)
		}
	}
}

// comparison complains of one that cannot be made.
func (b *builder) comparison(f *Finding) {
	c := f.Compares
	if c == nil {
		return
	}
	b.allowed(f, c.Value)
	if b.want(c.Finding, c.Finding) != nil && (c.Within <= 0 || c.Source == "") {
		b.complain("compares", fmt.Sprintf("finding %q: compares needs a difference and its source", f.ID), "write within, and the source or: common practice, no source")
	}
}

// bounds complains of a range that is none.
func (b *builder) bounds(id string, r []float64) {
	if r != nil && (len(r) != 2 || r[0] >= r[1]) {
		b.complain("plausible", fmt.Sprintf("finding %q: plausible is no range", id), "write the least and the largest value: [1, 9]")
	}
}

// extend adds words to what another pack has.
func (b *builder) extend(d extendDef) {
	switch {
	case (d.Finding == "") == (d.Site == ""):
		b.complain("", "extend names no finding and no site, or both", "name one of them")
	case d.Site != "":
		s := b.lex.sites[d.Site]
		if s == nil {
			b.complain(d.Site, fmt.Sprintf("no site %q to extend", d.Site), "check the id")
			return
		}
		b.siteTerms(s, d.Terms, d.Adjs)
	default:
		f := b.want(d.Finding, d.Finding)
		if f == nil {
			return
		}
		b.words(f, d.wordsDef)
		f.Name = orWord(d.Name, f.Name)
		for _, k := range d.Details {
			f.Details[k] = true
		}
		if d.Asked != "" {
			b.oneOf("asked", d.Asked, sortedKeys(askedOf))
			f.Asked = askedOf[d.Asked]
		}
		if d.Range == nil {
			return
		}
		b.bounds(d.Finding, d.Range)
		if d.Source == "" {
			b.complain(d.Finding, "plausible bounds without a source", "name the source, or write: common practice, no source")
		}
		if len(d.Range) == 2 {
			f.Plausible = [2]float64{d.Range[0], d.Range[1]}
		}
	}
}
