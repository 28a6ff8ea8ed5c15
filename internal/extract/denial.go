package extract

import (
	"slices"
	"strings"

	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Denied reports whether the words of a span, a noun phrase that no pack needs
// to know, are said not to be. The cues, the joints and the reach of a denial
// are those of charting: the same chunks, the same frames, the same lists.
func (x *Extractor) Denied(t transcript.Transcript, phrase transcript.Span) bool {
	p := &parser{x: x, t: t, ts: tokenize(t.Words)}
	denied := false
	for _, s := range p.split(p.phraseItems(phrase)) {
		s.coordinate()
		p.listNeg, p.pendNot = false, false
		for i := range s.chunks {
			f := p.frame(&s.chunks[i])
			p.keepDenial(f)
			for k := range f.preds {
				if pr := &f.preds[k]; pr.kind == predNamed && pr.it.is(thePhrase) {
					denied = denied || pr.neg || f.turned(pr)
				}
			}
		}
	}
	return denied
}

// thePhrase is the finding that a phrase of Denied stands for.
var thePhrase = &lexicon.Finding{Kind: lexicon.Presence, Named: "present"}

// phraseItems itemizes a text in which a phrase is one named thing. Words of
// denial that it opens with ("no acute distress") keep their own meaning; what
// it denies further on is a part of what it states ("mild pain, no guarding").
func (p *parser) phraseItems(phrase transcript.Span) []item {
	a, b := 0, len(p.ts)
	for a < b && p.ts[a].word < phrase.Start {
		a++
	}
	for b > a && p.ts[b-1].word >= phrase.End {
		b--
	}
	out := make([]item, 0, len(p.ts))
	add := func(from, to int) {
		for _, it := range p.x.itemize(p.ts[from:to]) {
			it.a, it.b = it.a+from, it.b+from
			out = append(out, it)
		}
	}
	add(0, a)
	start := len(out)
	add(a, b)
	for i, it := range out[start:] {
		whole := it.b == b || it.b < len(p.ts) && p.ts[it.b].word != p.ts[it.b-1].word // "non" of "nontender" is no word
		if !(it.cue(lexicon.CueNegate, lexicon.CueNot) && whole) {
			out = append(out[:start+i], item{a: it.a, b: b, senses: []lexicon.Sense{{Kind: lexicon.NounSense, Finding: thePhrase}}})
			break
		}
	}
	add(b, len(p.ts))
	return out
}

// is reports an item that names the finding.
func (it *item) is(f *lexicon.Finding) bool {
	s, ok := it.sense(lexicon.NounSense)
	return ok && s.Finding == f
}

// keepDenial carries a chunk's denial to the next one.
func (p *parser) keepDenial(f *frame) {
	p.listNeg = f.negated && !f.c.cue(lexicon.CueGone) && !p.onlyNo(f.c)
	p.pendNot = f.c.cue(lexicon.CueNot) || f.listNot
	last := &f.c.items[len(f.c.items)-1]
	p.listOpen = last.cue(lexicon.CueNegate) || last.cue(lexicon.CuePatientSays) && deniesCue(p.ts, last)
}

// notList reports the middle of a denied list of values that "or" ends: "not red,
// swollen or draining". Without the "or" the list may be another.
func (p *parser) notList(c *chunk) bool {
	if p.s == nil {
		return false
	}
	value := func(c *chunk) bool {
		return !c.any(func(it *item) bool {
			return it.num != nil || it.has(lexicon.SiteSense) && !it.has(lexicon.SaysSense) || it.has(lexicon.SideSense) || it.plain() || it.cue(lexicon.CueNegate, lexicon.CueNot, lexicon.CueBut)
		})
	}
	for j := p.si; j < len(p.s.chunks); j++ {
		switch next := &p.s.chunks[j]; {
		case j > p.si && next.joint == jointOr:
			return value(c)
		case next.joint != jointComma || !value(next):
			return false
		}
	}
	return false
}

// turns reports "absent" and "not present", said of what stands before.
func (g *pred) turns() bool {
	return g.kind == predGeneric && (g.cue == lexicon.CueAbsent || g.cue == lexicon.CuePresent && g.neg)
}

// turned reports that a later word of the chunk denies what was named.
func (f *frame) turned(pr *pred) bool {
	for i := range f.preds {
		if g := &f.preds[i]; g.at > pr.at && (g.turns() || g.kind == predSays && g.it.cue(lexicon.CueAbsent)) {
			return true
		}
	}
	return false
}

// denial reads what one item does to the denial that stands at it: neg holds
// for all that follows in the chunk, not for the next word alone.
func (p *parser) denial(f *frame, it *item, neg, not *bool) {
	switch {
	case it.cue(lexicon.CueNever):
	case p.noneOf(f, it):
		*neg, f.negated = true, true
	case it.cue(lexicon.CueNegate):
		*neg = !*not || it.cue(lexicon.CueOr) // "not without tenderness", but "not red nor swollen"
		*not = false
		f.negated = f.negated || *neg
	case it.cue(lexicon.CueNot) && !it.cue(lexicon.CueGone):
		*not = !*not
	}
	if s, ok := it.sense(lexicon.SideSense); ok && s.Value == "neither" {
		*neg, f.negated = true, true
	}
	if it.cue(lexicon.CueGone) {
		if *not && !it.cue(lexicon.CueNot) {
			*not = false // "has not resolved"
		} else if len(f.preds) > 0 {
			for k := range f.preds {
				f.preds[k].neg = !f.preds[k].neg
			}
		} else {
			*neg = true
		}
	}
	if it.cue(lexicon.CueThere) && !it.cue(lexicon.CueNegate) && it.b-it.a > 1 && len(f.preds) > 0 {
		*neg = false
	}
	if it.cue(lexicon.CueClaim) && f.c.deniedBefore(it) || it.cue(lexicon.CueBecause) || p.presupposes(f.c, it) {
		*neg, *not = false, false
	}
	if it.cue(lexicon.CuePatientSays) && deniesCue(p.ts, it) {
		*neg = true
		f.negated = true
	}
}

// noneOf reports the "none" of "teeth, none missing": it denies what follows.
func (p *parser) noneOf(f *frame, it *item) bool {
	return it.b-it.a == 1 && it == &f.c.items[0] && len(f.c.items) == 2 && text(p.ts, it.a) == "none" && f.c.items[1].has(lexicon.SaysSense) && !f.c.items[1].has(lexicon.SiteSense)
}

// deniedBefore reports that something stands between the denial and a verb: the
// verb of "no fever developed" ends it, that of "never had fever" does not.
func (c *chunk) deniedBefore(verb *item) bool {
	other := true
	for i := range c.items {
		it := &c.items[i]
		if it.a >= verb.a {
			break
		}
		other = !it.cue(lexicon.CueNegate, lexicon.CueNot)
	}
	return other && !verb.content()
}

// presupposes reports the "for" of "no cause for the hoarse voice": what is
// denied is a thing that no pack knows, and what follows is taken to be there.
func (p *parser) presupposes(c *chunk, it *item) bool {
	w := p.ts[it.a].Text
	if it.b-it.a > 1 || it.b >= len(p.ts) || w != "for" && !(w == "from" && lexicon.Article(p.ts[it.b].Text)) {
		return false
	}
	other := false
	for i := range c.items {
		switch o := &c.items[i]; {
		case o.a >= it.a:
			return other
		case o.content():
			return false
		case o.cue(lexicon.CueNegate, lexicon.CueNot):
			other = false
		case o.plain():
			other = true
		}
	}
	return false
}

// coordinate joins what is named together before one denial: "redness and
// drainage absent" denies both.
func (s *sentence) coordinate() {
	for i := len(s.chunks) - 1; i > 0; i-- {
		a, b := &s.chunks[i-1], &s.chunks[i]
		joins := b.joint == jointAnd || b.joint == jointOr
		switch {
		case !a.bare() || !b.closes():
		case (b.any(namesPresent) || b.any((*item).plain)) != joins || !joins && (b.joint != jointComma || i < len(s.chunks)-1 || b.any(func(it *item) bool { return it.has(lexicon.SideSense) })):
			// "polyps on the right, none on the left" are two statements
		default:
			a.items = append(a.items[:len(a.items):len(a.items)], b.items...)
			a.last = b.last
			s.chunks = append(s.chunks[:i], s.chunks[i+1:]...)
		}
	}
}

// bare reports a chunk that names what may be there and says nothing of it.
func (c *chunk) bare() bool {
	return c.any(namesPresent) && !c.any(func(it *item) bool {
		return it.num != nil || it.has(lexicon.SaysSense) || it.has(lexicon.AloneSense) || it.cue(lexicon.CueNegate, lexicon.CueNot, lexicon.CueAbsent,
			lexicon.CuePresent, lexicon.CueNormal, lexicon.CueGone, lexicon.CueThere, lexicon.CueClaim, lexicon.CueHedge, lexicon.CuePatientSays, lexicon.CueUnable)
	})
}

// closes reports a chunk that names nothing but what may be there, and ends in
// a denial of it.
func (c *chunk) closes() bool {
	for i := range c.items {
		it := &c.items[i]
		switch {
		case it.cue(lexicon.CueAbsent, lexicon.CueGone) && !it.names():
			return i == len(c.items)-1 || !(&chunk{items: c.items[i+1:]}).content()
		case it.num != nil || it.has(lexicon.AloneSense) || it.content() && !namesPresent(it) && !it.has(lexicon.SiteSense) || it.cue(lexicon.CueNegate, lexicon.CueNot, lexicon.CueThere):
			return false
		}
	}
	return false
}

// postposed turns a denial that stands after what it denies: "lice I don't see".
func (p *parser) postposed(f *frame) {
	for i := len(f.c.items) - 1; i > 0; i-- {
		it := &f.c.items[i]
		if s, ok := it.sense(lexicon.SideSense); ok && s.Value == "neither" { // "crepitus neither side"
			for k := range f.preds {
				if pr := &f.preds[k]; pr.kind == predNamed && pr.at < i {
					pr.neg = true
				}
			}
			return
		}
		if (it.content() || it.has(lexicon.DetailSense)) && !it.cue(lexicon.CueNegate) {
			return
		}
		if !it.cue(lexicon.CueNegate) || it.b-it.a < 2 && !(i == len(f.c.items)-1 && p.ts[it.a].Text == "no") {
			continue
		}
		for k := range f.preds {
			if pr := &f.preds[k]; pr.kind == predNamed && pr.at < i {
				pr.neg = true
			}
		}
		return
	}
}

// goesOn reports that a denied list goes on into this chunk: bare nouns, with
// no new subject, number or statement of their own.
func (p *parser) goesOn(c *chunk) bool {
	if c.joint == jointBut || c.joint == jointExcept || c.joint == jointStart || c.joint == jointPlain {
		return false
	}
	if at := c.items[0].a; at > 0 && !p.listOpen && strings.ContainsAny(p.t.Words[p.ts[at-1].end].Text, ":;") {
		return false // a heading or a new statement, but not "denies: cough, fever"
	}
	if first, _ := c.opener(); c.joint != jointOr && opensStatement(p.ts, first.a) {
		return false // "no rash, and that's a scab"
	}
	if c.joint != jointOr && (p.opensNew(c) || p.liesElsewhere(c)) {
		return false
	}
	noun, plain := false, 0
	for i := range c.items {
		it := &c.items[i]
		if it.cue(lexicon.CueClaim) && c.joint != jointOr {
			return false // "no pain, her cough has gone on"
		}
		if (noun || plain > 0) && c.joint != jointOr && i+1 < len(c.items) && linking(p.ts[it.a].Text) && !c.items[i+1].cue(lexicon.CuePresent, lexicon.CueAbsent) {
			return false // "no cyanosis, and the ankles were swollen"
		}
		if w := p.ts[it.a].Text; it.plain() && !lexicon.Article(w) || it.b-it.a == 1 && it.cue(lexicon.CueCommand) && !it.content() {
			plain++ // "no fever, cough, chills"
		}
		switch {
		case it.cue(lexicon.CueNot) && c.joint != jointOr:
			return false // "no click, not sore"
		case it.cue(lexicon.CueOr, lexicon.CueAnd):
		case it.cue(lexicon.CuePresent, lexicon.CueThere, lexicon.CueAbsent) && !it.content() && !it.cue(lexicon.CuePrep):
			// "no redness or swelling noted" still is a list; "swelling present" is not.
			if it.cue(lexicon.CueThere) && it.b-it.a > 1 || it.cue(lexicon.CuePresent) && c.joint != jointOr && i > 0 && !c.items[i].cue(lexicon.CueThere) && len(c.items) == i+1 && p.ts[it.b-1].after == noPause {
				return false
			}
		case it.num != nil && !it.locator:
			return false
		case it.has(lexicon.AloneSense):
			if !adverse(it) {
				return false // "no masses, normocephalic"
			}
			noun = true
		case it.has(lexicon.NounSense) && !namesPresent(it):
			if i > 0 && noun && c.items[i-1].has(lexicon.SaysSense) && wrong(&c.items[i-1]) {
				continue // "no ptosis or limited movement"
			}
			return false // "motion full" is no part of the list
		case it.has(lexicon.NounSense), it.has(lexicon.NameSense) && presenceName(it):
			noun = true
		case it.has(lexicon.SiteSense):
			if s, _ := it.sense(lexicon.SiteSense); len(c.items) == 1 && s.Site.Region == "" {
				noun = true // "no cough, sputum or fever"
				continue
			}
			if !noun && !siteAdjective(it) && !laterNoun(c, i) && (c.joint == jointComma && !(onlySites(c) && p.nounFollows()) || saysLater(c, i)) {
				return false
			}
			noun = true
		case it.has(lexicon.NameSense):
			return false
		case it.has(lexicon.SaysSense) && !it.has(lexicon.DetailSense):
			if wrong(it) && (c.joint == jointOr || c.joint == jointComma && p.notList(c)) {
				noun = true // "no droop, weakness or numbness"
				continue
			}
			if c.joint != jointOr && !noun || c.joint == jointAnd && noun && !it.cue(lexicon.CuePresent) {
				return false
			}
			noun = true
		case it.has(lexicon.DetailSense):
			if c.joint == jointComma && !noun && !laterNoun(c, i) {
				return false
			}
			if s, _ := it.sense(lexicon.DetailSense); (s.Key == "severity" || s.Key == "amount") && c.joint != jointOr {
				return false
			}
		}
	}
	return noun || c.joint == jointOr || plain > 0
}

// opensNew reports a chunk that opens with one thing of its own: "no drainage from
// the left, and a trickle on the right", "no grating, the left one clicks".
func (p *parser) opensNew(c *chunk) bool {
	first, i := c.opener()
	if c.joint == jointAnd && (text(p.ts, first.a) == "a" || text(p.ts, first.a) == "an") {
		return true
	}
	if lexicon.Article(text(p.ts, first.a)) && first.plain() && i+1 < len(c.items) {
		first, i = &c.items[i+1], i+1
	}
	last := first.b - 1
	if text(p.ts, last) != "one" && i+1 < len(c.items) {
		last = c.items[i+1].a
	}
	return first.has(lexicon.SideSense) && text(p.ts, last) == "one"
}

// liesElsewhere reports a chunk that ends a denied list because it tells where
// something lies: "no lumps, a scab at the crown". It is a thing of the skin, that
// is named by its own word, or the list said "no" of each: "no lumps, no
// tenderness, swelling over the ear". A list that goes on to its "or" is one list.
func (p *parser) liesElsewhere(c *chunk) bool {
	if c.joint != jointComma || p.s == nil || p.si+1 < len(p.s.chunks) && p.s.chunks[p.si+1].joint == jointOr {
		return false
	}
	each := 0
	for j := p.si - 1; j >= 0 && p.s.chunks[j].cue(lexicon.CueNegate); j-- {
		each++
	}
	thing := false
	for i := range c.items {
		it := &c.items[i]
		if s, ok := it.sense(lexicon.NounSense); ok && namesPresent(it) {
			thing = thing || each > 1 || s.Finding.NamedKey != ""
			continue
		}
		if thing && (it.cue(lexicon.CuePrep) && i+1 < len(c.items) || it.b-it.a > 1 && (it.has(lexicon.SiteSense) || it.has(lexicon.PlaceSense) || it.has(lexicon.SideSense))) {
			return true // "over the ear", "behind the ears", "on the right"
		}
	}
	return false
}

// opensStatement reports "that is", "there is" and the like at i.
func opensStatement(ts []token, i int) bool {
	switch text(ts, i) {
	case "that", "this", "it", "there", "he", "she", "they":
		return linking(text(ts, i+1))
	}
	return false
}

// plain reports a word that no pack knows.
func (it *item) plain() bool { return len(it.senses) == 0 && it.num == nil }

func linking(w string) bool { return w == "is" || w == "are" || w == "was" || w == "were" }

// adverse reports a term that charts one finding as it should not be: "goiter".
func adverse(it *item) bool {
	s, _ := it.sense(lexicon.AloneSense)
	if len(s.Chart) != 1 {
		return false
	}
	expected := s.Chart[0].Finding.Expected
	for _, values := range expected {
		if slices.Contains(values, s.Chart[0].Value) {
			return false
		}
	}
	return len(expected) > 0
}

// wrong reports a value that is as expected of nothing: "weakness".
func wrong(it *item) bool {
	return !slices.ContainsFunc(it.senses, func(s lexicon.Sense) bool {
		return s.Kind == lexicon.SaysSense && slices.Contains(s.Finding.Expected["any"], s.Value)
	})
}

// onlySites reports "posterior auricular" in "no preauricular, posterior
// auricular or occipital nodes".
func onlySites(c *chunk) bool {
	return !c.any(func(it *item) bool { return !it.has(lexicon.SiteSense) })
}

func laterNoun(c *chunk, i int) bool {
	for _, it := range c.items[i+1:] {
		if it.has(lexicon.NounSense) && !adjectival(&it) || it.has(lexicon.NameSense) {
			return true
		}
	}
	return false
}

func saysLater(c *chunk, i int) bool {
	for _, it := range c.items[i+1:] {
		if it.has(lexicon.SaysSense) || it.num != nil || it.cue(lexicon.CueNormal, lexicon.CuePresent) {
			return true
		}
	}
	return false
}

func deniesCue(ts []token, it *item) bool {
	for i := it.a; i < it.b; i++ {
		switch ts[i].Text {
		case "denies", "denied", "deny", "denying", "no":
			return true
		}
	}
	return false
}

// unseenThings makes a denial of "can't see" before a thing that may be there: "can't see
// a hole in it" says nothing of the view of the drum.
func unseenThings(ts []token, items []item) {
	for i := range items {
		it := &items[i]
		if !it.has(lexicon.SaysSense) || it.b-it.a < 3 || ts[it.b-1].Text != "see" || ts[it.b-2].Text != "not" || ts[it.b-1].after != noPause {
			continue
		}
		k := i + 1
		if k < len(items) && lexicon.Article(ts[items[k].a].Text) && items[k].plain() {
			k++
		}
		for k < len(items) && items[k].has(lexicon.DetailSense) && !items[k].content() {
			k++
		}
		if k < len(items) && namesPresent(&items[k]) && (k == i+1 && items[k].plural || items[i+1].plain() && ts[items[i+1].a].Text != "the") {
			it.senses = []lexicon.Sense{{Kind: lexicon.CueSense, Cue: lexicon.CueNegate}}
		}
	}
}
