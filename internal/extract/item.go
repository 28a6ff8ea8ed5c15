package extract

import (
	"math"
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// item is the longest term at a place of the transcript, or a number, or a
// plain word that the lexicon does not know.
type item struct {
	senses []lexicon.Sense
	// a and b are the half-open token range.
	a, b int
	num  *number
	// side is a side word inside a site term ("above the left clavicle").
	side finding.Side
	// plural is true where the head word was spoken in the plural.
	plural bool
	// definite is true where "the", "his" or "her" stood before it.
	definite bool
	// article is true where "a" or "an" stood before it.
	article bool
	// heard is the wording where the term is a known mishearing of right.
	right   string
	unit    *lexicon.Unit // the unit that follows a number
	locator bool          // "bed seven": a number that names a place
	said    *reading      // a value that is more than a word or a number
	turns   bool          // with it a speaker turns to something else
}

func (it *item) cue(kinds ...lexicon.CueKind) bool {
	for _, s := range it.senses {
		if s.Kind == lexicon.CueSense {
			for _, k := range kinds {
				if s.Cue == k {
					return true
				}
			}
		}
	}
	return false
}

func (it *item) has(k lexicon.SenseKind) bool {
	for i := range it.senses {
		if it.senses[i].Kind == k {
			return true
		}
	}
	return false
}

func (it *item) sense(k lexicon.SenseKind) (lexicon.Sense, bool) {
	for i := range it.senses {
		if it.senses[i].Kind == k {
			return it.senses[i], true
		}
	}
	return lexicon.Sense{}, false
}

// content reports that the item speaks of an examination.
func (it *item) content() bool {
	return it.num != nil && !it.locator || it.has(lexicon.SiteSense) || it.has(lexicon.NameSense) || it.has(lexicon.NounSense) ||
		it.has(lexicon.SaysSense) || it.has(lexicon.AloneSense)
}

// names reports that the item can be what is spoken of.
func (it *item) names() bool {
	return it.has(lexicon.SiteSense) || it.has(lexicon.NameSense)
}

func sideOf(word string) finding.Side {
	switch word {
	case "right":
		return finding.Right
	case "left":
		return finding.Left
	case "both", "neither":
		return finding.Both
	}
	return finding.NoSide
}

// itemize cuts the tokens into items, longest term first.
func (x *Extractor) itemize(ts []token) []item {
	forms := make([]lexicon.Form, len(ts))
	for i := range ts {
		forms[i] = ts[i].Form
	}
	// A term never reaches over the end of a sentence; over a comma only where
	// the lexicon itself has the longer term, which is rare enough to forbid.
	limit := func(i int) int {
		for j := i; j < len(ts); j++ {
			if ts[j].after != noPause && !directions(ts, j) {
				return j + 1
			}
		}
		return len(ts)
	}
	side := func(j int) bool {
		return ts[j].Text == "right" || ts[j].Text == "left" || ts[j].Text == "both"
	}
	out := make([]item, 0, len(ts))
	definite, article := false, false
	for i := 0; i < len(ts); {
		end := limit(i)
		it := item{a: i, b: i + 1, definite: definite, article: article}
		wasArticle := article
		definite, article = false, false
		senses, mEnd, sides := x.lex.Match(forms[:end], i, side)
		for mEnd > i && ts[mEnd-1].after == noPause && mEnd < len(ts) && answersOnly(senses) && !answers[ts[mEnd-1].Text] {
			// "it is not" answers alone, and denies what follows elsewhere
			senses, mEnd, sides = x.lex.Match(forms[:mEnd-1], i, side)
		}
		for mEnd > i && mEnd < len(ts) && ts[mEnd].Text == "not" && planOnly(senses) {
			senses, mEnd, sides = x.lex.Match(forms[:mEnd-1], i, side) // "I will not do it" is no plan
		}
		if mEnd > i+1 && mEnd < end && ts[mEnd-1].Text == "not" && !lexicon.Article(ts[mEnd].Text) {
			// "is not" gives way to the longer "not certain"
			if then, longer, _ := x.lex.Match(forms[:end], mEnd-1, side); longer > mEnd && !(&item{senses: then}).cue(lexicon.CueUnable) {
				senses, mEnd, sides = x.lex.Match(forms[:mEnd-1], i, side)
			}
		}
		if mEnd > i+1 && mEnd < end && ts[mEnd-1].Text == "normal" {
			// "is normal" gives way to "normal size"
			if _, longer, _ := x.lex.Match(forms[:end], mEnd-1, side); longer > mEnd {
				senses, mEnd, sides = x.lex.Match(forms[:mEnd-1], i, side)
			}
		}
		if mEnd > i && ts[mEnd-1].Text == "to" && planOnly(senses) && sideNext(ts, mEnd) {
			// "it is going to the left" is no plan
			senses, mEnd, sides = x.lex.Match(goesTo, 0, side)
			if mEnd > 0 {
				mEnd = i + 2
			}
		}
		if mEnd-i >= 2 && ts[mEnd-1].Text == "one" && !namesNumbered(senses) {
			n, e := readNumber(ts, mEnd-1)
			u, _ := x.unitAt(forms, ts, mEnd)
			if u != nil || e > mEnd && (n.sign != "" || n.hasOf || n.isBy || n.decimal || n.isRange) {
				senses, mEnd, sides = x.lex.Match(forms[:mEnd-1], i, side)
			}
		}
		if mEnd > i+2 && ts[i+1].Text == "this" && x.lex.Cue(ts[i].Text, lexicon.CuePrep) && (&item{senses: senses}).has(lexicon.NameSense) {
			senses, mEnd, sides = x.lex.Match(forms[:i+1], i, side) // "in this light" names nothing
		}
		if mEnd == i+1 && goesAway(ts, i) && out[len(out)-1].plain() {
			if _, e, _ := x.lex.Match(forms[:end], i+1, side); e <= i+2 { // not "wanders left a bit"
				mEnd = i
			}
		}
		if leavesAlone(ts, i) {
			senses, _, sides = x.lex.Match(leaveAlone, 0, side)
			mEnd = i + 1
		}
		n, nEnd := readNumber(ts, i)
		switch {
		case nEnd > i && nEnd >= mEnd && !(nEnd == mEnd && ratio(senses)) && !x.notNumber(ts, forms, i, nEnd):
			it.num, it.b = &n, nEnd
			if u, uEnd := x.unitAt(forms, ts, nEnd); u != nil {
				it.unit, it.b = u, uEnd
			}
			if it.unit != nil && !n.isBy && !n.isRange && n.value == math.Trunc(n.value) && ts[it.b-1].after == noPause && at(ts, it.b, "and", "a", "half") {
				it.num.value, it.b = n.value+0.5, it.b+3 // "one centimeter and a half"
			}
			it.locator = isLocator(ts, i, it.b)
		case mEnd > i && wasArticle && isUnit(senses): // "a centimeter and a half"
			u, _ := (&item{senses: senses}).sense(lexicon.UnitSense)
			it.num, it.unit, it.b = &number{value: 1}, &u.Unit, mEnd
			if at(ts, mEnd, "and", "a", "half") && ts[mEnd-1].after == noPause {
				it.num.value, it.b = 1.5, mEnd+3
			}
		case mEnd > i:
			it.senses, it.b = unmeasured(ts, senses, out, i), mEnd
			if len(sides) > 0 {
				it.side = sideOf(ts[sides[0]].Text)
				if len(sides) > 1 {
					it.side = finding.Both
				}
			}
			it.plural = ts[mEnd-1].Plural || ts[i].Plural && mEnd-i <= 4
			for _, s := range senses {
				if s.Respelled != "" {
					it.right = s.Respelled
				}
			}
			for k := i; k < mEnd; k++ {
				if ts[k].right != "" {
					it.right = ts[k].right
				}
			}
		default:
			switch ts[i].Text {
			case "the", "his", "her", "their", "your", "my", "this", "that":
				definite = true
			case "a", "an":
				article = true
			}
		}
		out = append(out, it)
		i = it.b
	}
	shareNoun(ts, out)
	return out
}

// shareNoun makes the first of "frontal and maxillary sinuses" as plural as the
// second: one noun stands for both.
func shareNoun(ts []token, items []item) {
	for i := 0; i+2 < len(items); i++ {
		a, b := &items[i], &items[i+2]
		if !b.plural || a.plural || a.article || a.side != finding.NoSide || b.b-b.a < 2 || !items[i+1].cue(lexicon.CueAnd, lexicon.CueOr) || ts[a.b-1].after == stop {
			continue
		}
		x, ok := a.sense(lexicon.SiteSense)
		y, other := b.sense(lexicon.SiteSense)
		if ok && other && x.Site != y.Site && x.Site.Parent != nil && x.Site.Parent == y.Site.Parent && x.Site.Parent.Each {
			a.plural = true
		}
	}
}

// directions reports the comma of "up, down, out, in": such a run is one term.
func directions(ts []token, i int) bool {
	way := func(i int) bool {
		w := text(ts, i)
		return w == "up" || w == "down" || w == "in" || w == "out"
	}
	side := func(i int) bool {
		w := text(ts, i)
		return (w == "right" || w == "left") && (i > 0 && way(i-1) || i > 1 && way(i-2) || way(i+1))
	}
	next := i + 1
	if text(ts, next) == "and" {
		next++
	}
	return ts[i].after == comma && (way(i) || side(i)) && (way(next) || side(next))
}

// goesAway reports the verb "left" after its subject: "somebody left a bicycle in
// the corridor", but not "on the far left a node".
func goesAway(ts []token, i int) bool {
	return ts[i].Text == "left" && i > 0 && i+1 < len(ts) && ts[i-1].after == noPause && ts[i].after == noPause &&
		(i < 2 || ts[i-2].Text != "the") && !lexicon.Article(ts[i-1].Text) && lexicon.Article(ts[i+1].Text)
}

// unmeasured drops from a word that is also a value the measurement that it names,
// where it is said of a site or a side: "both sides open", not "she opens wide".
func unmeasured(ts []token, senses []lexicon.Sense, before []item, i int) []lexicon.Sense {
	if ts[i].Plural || !(&item{senses: senses}).has(lexicon.SaysSense) {
		return senses
	}
	if n := len(before); n > 0 && ts[i-1].after == noPause && !linking(ts[i-1].Text) && !before[n-1].has(lexicon.SiteSense) && !before[n-1].has(lexicon.SideSense) {
		return senses
	}
	return slices.DeleteFunc(slices.Clone(senses), func(s lexicon.Sense) bool {
		return s.Kind == lexicon.NameSense && s.Finding.Kind == lexicon.Quantity
	})
}

// leavesAlone reports the verb of "the nodes I left alone" and "left it alone"; the
// side of "on the left alone" stands with what it belongs to.
func leavesAlone(ts []token, i int) bool {
	if ts[i].Text != "left" || i > 0 && ts[i-1].after == noPause && (ts[i-1].Text == "the" || ts[i-1].Text == "on") {
		return false
	}
	for j := i; j < len(ts) && j <= i+4; j++ {
		if ts[j].Text == "alone" {
			return true
		}
		if ts[j].after != noPause {
			break
		}
	}
	return false
}

var leaveAlone = []lexicon.Form{{Text: "leave"}, {Text: "alone"}}

// ratio reports a value that is said as numbers: "twenty over forty".
func ratio(senses []lexicon.Sense) bool {
	for _, s := range senses {
		if s.Kind == lexicon.SaysSense && strings.Contains(s.Value, "/") {
			return true
		}
	}
	return false
}

var goesTo = []lexicon.Form{{Text: "goe"}, {Text: "to"}}

// namesNumbered reports "cranial nerve one".
func namesNumbered(senses []lexicon.Sense) bool {
	for _, s := range senses {
		if s.Kind == lexicon.NameSense {
			if stem, _ := numbered(s.Finding.ID); stem != "" {
				return true
			}
		}
	}
	return false
}

func planOnly(senses []lexicon.Sense) bool {
	for _, s := range senses {
		if s.Kind != lexicon.CueSense || s.Cue != lexicon.CuePlan {
			return false
		}
	}
	return true
}

func sideNext(ts []token, i int) bool {
	for i < len(ts) && lexicon.Article(ts[i].Text) {
		i++
	}
	return i < len(ts) && (ts[i].Text == "right" || ts[i].Text == "left")
}

func isUnit(senses []lexicon.Sense) bool {
	for _, s := range senses {
		if s.Kind != lexicon.UnitSense {
			return false
		}
	}
	return len(senses) > 0
}

// unitAt reads the unit that directly follows token i-1 and gives the index
// after it; nil where there is none.
func (x *Extractor) unitAt(forms []lexicon.Form, ts []token, i int) (*lexicon.Unit, int) {
	if i >= len(ts) || ts[i-1].after != noPause {
		return nil, i
	}
	senses, end, _ := x.lex.Match(forms, i, func(int) bool { return false })
	for _, s := range senses {
		if s.Kind == lexicon.UnitSense {
			return &s.Unit, end
		}
	}
	return nil, i
}

func answersOnly(senses []lexicon.Sense) bool {
	for _, s := range senses {
		if s.Kind != lexicon.CueSense || s.Cue != lexicon.CueYes && s.Cue != lexicon.CueNo {
			return false
		}
	}
	return len(senses) > 0
}

// smallCount are the numbers that say how many of something there are.
var smallCount = wordSet("two three four five six")

// notNumber tells words that look like numbers from numbers.
func (x *Extractor) notNumber(ts []token, forms []lexicon.Form, i, end int) bool {
	w := ts[i].Text
	if i > 0 && ts[i-1].Text == "all" && end == i+1 && ts[i-1].after == noPause {
		return true // "full in all six"
	}
	if someOf(ts, end) && end == i+1 && smallCount[w] {
		return true
	}
	if w == "oh" || denominators[ts[end-1].Text] > 0 && at(ts, end-1, ts[end-1].Text, "of") {
		return true // "half of the drum", "two thirds of it": a share, no measure
	}
	// "one" as a pronoun: "the left one", "no one", "one of", "this one"
	if w == "one" && end == i+1 && i > 0 {
		switch ts[i-1].Text {
		case "right", "left", "this", "that", "other", "no", "which", "each", "another", "any", "every", "last", "first", "big", "small", "bad", "good", "old", "new", "little":
			return true
		}
	}
	if w == "one" && end == i+1 {
		// a pronoun unless a unit follows, or "is one", "at one" and the like stand before
		if u, _ := x.unitAt(forms, ts, end); u != nil {
			return false
		}
		return !(i > 0 && (ts[i-1].Text == "is" || ts[i-1].Text == "grade" || ts[i-1].Text == "at" || ts[i-1].Text == "tonsil" || ts[i-1].Text == "pulse" || ts[i-1].Text == "to") && ts[i].after != noPause)
	}
	return w == "one" && (at(ts, i, "one", "of") || at(ts, i, "one", "more") || at(ts, i, "one", "second") || at(ts, i, "one", "moment") || at(ts, i, "one", "at"))
}

// isLocator tells bed numbers, ages, times and doses from findings.
func isLocator(ts []token, i, end int) bool {
	if i > 0 && ts[i-1].after == noPause {
		switch ts[i-1].Text {
		case "bed", "bay", "room", "ward", "number", "nerve", "floor", "unit", "page", "extension", "chapter", "line", "bin", "slot":
			return true
		}
	}
	if i > 1 && ts[i-1].Text == "number" {
		return true
	}
	// "fourteen twenty": a time
	if v, j := cardinal(ts, i); j == end && v >= 10 && ts[end-1].after == noPause {
		if w, k := cardinal(ts, end); k > end && w >= 10 && w < 60 {
			return true
		}
	}
	if i > 0 && ts[i-1].after == noPause {
		if v, _ := cardinal(ts, i); v >= 10 && v < 60 {
			for k := max(0, i-2); k < i; k++ {
				if w, j := cardinal(ts, k); j == i && w >= 10 && w < 24 {
					return true
				}
			}
		}
	}
	if end < len(ts) && ts[end-1].after == noPause {
		switch ts[end].Text {
		case "year", "month", "week", "day", "hour", "hourly", "minute", "second", "am", "pm", "a.m", "p.m", "weeks", "hundred", "oh", "time", "tablet", "pill", "mg", "nurse", "patient", "people", "am.", "thirty", "o":
			return true
		}
	}
	return false
}
