package extract

import (
	"math"
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// reading is a finding that a run of words gives whole: the parts of a score, a
// time of day, words as they were said.
type reading struct {
	value finding.Value
	quals map[string]string
	marks []finding.Mark
}

// compose reads what is measured of the whole body. There a number decides what
// a noun names ("pulse 72"), hundreds are said short ("one twenty over eighty"),
// and some values are more than one word or number.
func (x *Extractor) compose(t transcript.Transcript, ts []token, items []item) []item {
	if len(x.body) == 0 {
		return items
	}
	c := composer{x: x, t: t, ts: ts, items: slices.Clone(items)}
	for lo := 0; lo < len(items); lo = c.hi {
		c.hi = lo + 1
		for c.hi < len(items) && ts[items[c.hi-1].b-1].after < stop {
			c.hi++
		}
		c.sentence(lo)
	}
	return c.out
}

// composer goes through the items sentence by sentence.
type composer struct {
	x     *Extractor
	t     transcript.Transcript
	ts    []token
	items []item
	hi    int // where the sentence ends
	out   []item
	// about is the body finding that is spoken of; age counts the sentences since.
	about *lexicon.Finding
	age   int
}

// longestWait is the number of sentences for which a name waits for its number:
// "Blood pressure. Cuff slipped, again. One twenty over eighty."
const longestWait = 2

func (c *composer) sentence(lo int) {
	if c.age++; c.age > longestWait || c.about != nil && c.about.Kind != lexicon.Quantity && c.about.Kind != lexicon.Pair {
		c.about = nil
	}
	end := c.items[c.hi-1].b
	for i := lo; i < c.hi; {
		it := &c.items[i]
		if f := bodyNamed(it); f != nil {
			c.about, c.age = f, 0
			if f.Bare != "" && c.ts[end-1].after != asking && !timeFollows(c.ts, it.b, end, f) {
				*it = whole(f, it.a, it.b, reading{value: finding.Word(f.Bare), marks: []finding.Mark{{Kind: finding.UnsureValue, Why: f.Bare}}})
			}
		} else if f := c.noun(lo, i); f != nil {
			c.about, c.age = f, 0
			it.senses = []lexicon.Sense{{Kind: lexicon.NameSense, Finding: f}}
		} else if made, ok := c.x.composed(c.t, c.ts, it.a, end, c.about); ok {
			c.out = append(c.out, made)
			for i < len(c.items) && c.items[i].a < made.b {
				i++
			}
			continue
		} else if d := detailOf(it, c.about); d != nil && c.age == 0 {
			it.senses = d
		}
		if c.age > 0 && ofBody(it) {
			c.about = nil // the sentence is about something else
		}
		if slices.ContainsFunc(it.senses, bodySense) { // an everyday word after all
			it.senses = slices.DeleteFunc(slices.Clone(it.senses), bodySense)
		}
		c.out = append(c.out, *it)
		i++
	}
}

// ofBody reports a name of a part of the body, or of what is found there.
func ofBody(it *item) bool {
	for _, s := range it.senses {
		if s.Kind == lexicon.SiteSense && s.Site.Region != "" || s.Kind == lexicon.NameSense && !s.Finding.Body {
			return true
		}
	}
	return false
}

// timeFollows reports a time of day after token i.
func timeFollows(ts []token, i, end int, f *lexicon.Finding) bool {
	for ; i < end; i++ {
		if _, ok := readTime(ts, i, f); ok {
			return true
		}
	}
	return false
}

// bodyNamed is the body finding that an item names whatever stands beside it.
func bodyNamed(it *item) *lexicon.Finding {
	if s, ok := it.sense(lexicon.NameSense); ok && s.Finding.Body {
		return s.Finding
	}
	return nil
}

// bodySense reports a noun of a body finding.
func bodySense(s lexicon.Sense) bool { return s.Kind == lexicon.NounSense && s.Finding.Body }

// detailOf gives the senses of a word that qualifies what is spoken of: "oral"
// beside a temperature is no mouth. nil where it is no such word.
func detailOf(it *item, about *lexicon.Finding) []lexicon.Sense {
	var out []lexicon.Sense
	for _, s := range it.senses {
		if s.Kind == lexicon.DetailSense && about != nil && about.Details[s.Key] {
			out = append(out, s)
		}
	}
	return out
}

// noun is the body finding that a noun names because a number follows that can
// be its value, in its sentence or right after one that ends with it ("Pulse?
// Seventy two."). A noun that may be of a part of the body ("carotid pulse",
// "pain in the jaw") names none where such a part is spoken of.
func (c *composer) noun(lo, i int) *lexicon.Finding {
	if slices.ContainsFunc(c.items[i].senses, func(s lexicon.Sense) bool { return s.Kind == lexicon.NounSense && !s.Finding.Body }) {
		for k := lo; k < c.hi; k++ {
			if k != i && ofBody(&c.items[k]) || c.items[k].has(lexicon.SiteSense) && ofBody(&c.items[k]) {
				return nil
			}
		}
	}
	for _, s := range c.items[i].senses {
		if bodySense(s) && c.numberFollows(i, s.Finding) {
			return s.Finding
		}
	}
	return nil
}

// numberFollows reports that the next number can be a value of the finding, and
// that nothing of weight stands before it.
func (c *composer) numberFollows(i int, f *lexicon.Finding) bool {
	for k, last := i+1, i+4; k < len(c.items) && k <= last; k++ {
		it := &c.items[k]
		if it.filler() {
			last++ // "pain is, um, four out of ten"
			continue
		}
		n, unit := it.num, it.unit
		if made, ok := c.x.bodyNumber(c.ts, it.a, f); ok {
			n, unit = made.num, made.unit
		}
		switch {
		case n == nil && len(it.senses) > 0 && !it.cue(lexicon.CuePrep, lexicon.CueThere, lexicon.CueHedge):
			return false
		case n == nil:
			continue
		case unit == nil && f.Kind == lexicon.Grade && !n.hasOf:
			return false // "pain four" may be of anything; "four out of ten" is not
		}
		// no grade goes beyond ten: "pulse three hundred" is a rate, and marked
		return bodyFits(f, n, unit) && (plausible(f, n, unit) || f.Kind == lexicon.Quantity && n.value > 10)
	}
	return false
}

// composed reads a run of tokens from i as one item: a score's parts, or what
// the finding that is spoken of takes.
func (x *Extractor) composed(t transcript.Transcript, ts []token, i, end int, about *lexicon.Finding) (item, bool) {
	for _, f := range x.body {
		if f.Kind == lexicon.Score {
			if made, ok := readParts(ts, i, end, f, f == about); ok {
				return made, true
			}
		}
	}
	if about == nil {
		return item{}, false
	}
	switch about.Kind {
	case lexicon.Score:
		return readTotal(ts, i, about)
	case lexicon.Quantity, lexicon.Pair:
		return x.bodyNumber(ts, i, about)
	case lexicon.Time:
		return readTime(ts, i, about)
	case lexicon.Text, lexicon.List:
		return readText(t, ts, i, end, about)
	}
	return item{}, false
}

// whole makes an item that is finding and value in one.
func whole(f *lexicon.Finding, a, b int, r reading) item {
	return item{a: a, b: b, said: &r, senses: []lexicon.Sense{{Kind: lexicon.AloneSense, Finding: f, Chart: []lexicon.Charted{{Finding: f}}}}}
}

// bodyNumber reads a number that was said short, or a height of feet and inches;
// any other number has been read already.
func (x *Extractor) bodyNumber(ts []token, i int, f *lexicon.Finding) (item, bool) {
	if made, ok := x.feet(ts, i, f); ok {
		return made, true
	}
	v, j, short := hundreds(ts, i)
	large := false
	if !short {
		v, j, large = aHundred(ts, i)
		short = large
	}
	if j == i {
		return item{}, false
	}
	n := number{value: v}
	if d, e := cardinal(ts, j); f.Tenths && e == j+1 && d < 10 && ts[j-1].after == noPause && v == math.Trunc(v) {
		n.value, n.tenths, j, short = v+d/10, true, e, true
	}
	if f.Kind == lexicon.Pair {
		if k := over(ts, j); k > j {
			w, e, alsoShort := hundreds(ts, k)
			if !alsoShort {
				w, e, alsoShort = aHundred(ts, k)
			}
			if e > k {
				n.of, n.hasOf, j, short = w, true, e, short || alsoShort
			}
		}
	}
	if !short {
		return item{}, false
	}
	made := item{a: i, b: j, num: &n}
	if u, e := x.unitAfter(ts, j); u != nil {
		made.unit, made.b = u, e
	}
	return made, large || plausible(f, &n, made.unit)
}

// unitAfter reads the unit that follows token i-1 and gives the index after it.
func (x *Extractor) unitAfter(ts []token, i int) (*lexicon.Unit, int) {
	near := ts[i-1 : min(i+6, len(ts))]
	forms := make([]lexicon.Form, len(near))
	for k := range near {
		forms[k] = near[k].Form
	}
	u, end := x.unitAt(forms, near, 1)
	return u, i - 1 + end
}

// over gives the index after the word between the numbers of a pair.
func over(ts []token, i int) int {
	if ts[i-1].after == noPause && (at(ts, i, "over") || at(ts, i, "slash") || at(ts, i, "on")) && ts[i].after == noPause {
		return i + 1
	}
	return i
}

// hundreds reads "one twenty", "one oh five" and "one oh one point two" as they
// are said of large values: 120, 105, 101.2.
func hundreds(ts []token, i int) (v float64, end int, ok bool) {
	h, is := small[text(ts, i)]
	if !is || h < 1 || h > 9 || ts[i].after != noPause || i+1 >= len(ts) {
		return 0, i, false
	}
	rest, j := 0.0, i+1
	if at(ts, j, "oh") || at(ts, j, "o") {
		d, is := small[text(ts, j+1)]
		if !is || d < 1 || d > 9 || ts[j].after != noPause {
			return 0, i, false
		}
		rest, j = d, j+2
	} else if r, e := cardinal(ts, j); e > j && r >= 10 && r < 100 && !hasDigits(ts[j].Text) {
		rest, j = r, e
	} else {
		return 0, i, false
	}
	v = h*100 + rest
	if ts[j-1].after == noPause && (at(ts, j, "point") || at(ts, j, "decimal")) {
		if f, e := digits(ts, j+1); e > j+1 {
			return v + f, e, true
		}
	}
	return v, j, true
}

// aHundred reads a number that may begin with "a hundred".
func aHundred(ts []token, i int) (v float64, end int, short bool) {
	if !at(ts, i, "a", "hundred") {
		v, end = cardinal(ts, i)
		return v, end, false
	}
	v, end = 100, i+2
	if ts[i+1].after != noPause {
		return v, end, true
	}
	k := end
	if at(ts, k, "and") {
		k++
	}
	if rest, e := cardinal(ts, k); e > k && rest < 100 {
		v, end = v+rest, e
	}
	return v, end, true
}

// feet reads "five foot six" as inches where the finding is measured in them.
func (x *Extractor) feet(ts []token, i int, f *lexicon.Finding) (item, bool) {
	const foot, inch = "[ft_i]", "[in_i]"
	if !slices.ContainsFunc(f.Measures, func(m lexicon.Measure) bool { return m.Unit == inch }) {
		return item{}, false
	}
	ft, j := cardinal(ts, i)
	u, k := (*lexicon.Unit)(nil), j
	if j > i {
		u, k = x.unitAfter(ts, j)
	}
	if u == nil && j == i+1 && ft >= 3 && ft <= 7 && ts[i].after == noPause {
		if in, e := cardinal(ts, j); e > j && in < 12 { // "five eleven"
			if w, _ := x.unitAfter(ts, e); w == nil {
				return item{a: i, b: e, num: &number{value: ft*12 + in, guessed: true}, unit: &lexicon.Unit{Code: inch, Base: "length"}}, true
			}
		}
	}
	if u == nil || u.Code != foot {
		return item{}, false
	}
	n := number{value: ft * 12}
	made := item{a: i, b: k, num: &n, unit: &lexicon.Unit{Code: inch, Base: u.Base, Scale: u.Scale / 12}}
	if ts[k-1].after == noPause {
		if at(ts, k, "and") {
			k++
		}
		if in, e, _ := decimal(ts, k); e > k && in < 12 {
			n.value += in
			made.b = e
			if w, e2 := x.unitAfter(ts, e); w != nil && w.Code == inch {
				made.b = e2
			}
		}
	}
	return made, true
}
