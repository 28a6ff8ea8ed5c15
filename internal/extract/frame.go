package extract

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// predKind is what a predicate is made of.
type predKind uint8

const (
	predSays    predKind = iota // a value word
	predNamed                   // a presence finding that was named: "bruit"
	predAlone                   // finding and value in one
	predNumber                  // a number
	predGeneric                 // "normal", "present", "absent"
)

// pred is something said of a subject.
type pred struct {
	at       int // index of the item
	it       *item
	kind     predKind
	neg      bool
	side     finding.Side
	cue      lexicon.CueKind // of predGeneric
	affirmed bool            // "present" or "absent" was said of it
	used     bool
}

// detail is a qualifier not yet tied to a finding.
type detail struct {
	at         int
	key, value string
	it         *item
	neg        bool
	used       bool
}

// frame is one chunk taken apart.
type frame struct {
	c        *chunk
	subs     []subject
	subAt    []int
	preds    []pred
	details  []detail
	places   []placeSaid
	hedged   bool
	unable   bool
	unableAt int // item of the cue
	because  int // token where the reason begins, -1
	same     bool
	noneSame bool

	view    bool
	base    string
	says    bool // "denies": reported
	lead    finding.Side
	sides   int
	negated bool // holds a denial that opens a list
	there   bool
	exists  bool // "there is", "I feel", "has"
	general bool
	// listNot is true where the "not" of an earlier chunk holds: "not red, swollen or
	// draining".
	listNot bool
	sideTok [2]int
	last    finding.Side
	// small are the items that say nothing by themselves.
	small   map[int]bool
	waits   bool // names that wait for their value
	unknown int  // words that no pack knows, beyond small words
}

type placeSaid struct {
	at   int
	text string
	site *lexicon.Site
	side finding.Side
}

// frame takes a chunk apart: subjects, predicates, sides, details, cues.
func (p *parser) frame(c *chunk) *frame {
	f := &frame{c: c, because: -1}
	not, away := false, false
	neg := p.listNeg && p.goesOn(c)
	if neg {
		f.negated = true
	}
	if p.pendNot && (c.joint == jointOr || p.notList(c)) {
		not, f.listNot = true, true
	}
	for i := range c.items {
		it := &c.items[i]
		if it.right != "" && !p.near(it) {
			it.senses, it.right = nil, "" // "that printer is a brute"
		}
		if it.again() {
			it.senses = p.inTalk(it.senses) // a cheek that is no sinus stays a cheek
		}
		if w := p.ts[it.a].Text; (w == "with" || w == "for") && i > 0 && c.items[i-1].cue(lexicon.CueNot) || it.plain() && (it.definite || it.article) && !smallWords[p.ts[it.a].Text] {
			away = away || not // "not with fresh sutures", "not the budgie"
			not = false
		}
		if it.plain() && i > 0 && c.items[i-1].cue(lexicon.CueNot) && p.ts[it.a-1].Text == "not" && !smallWords[p.ts[it.a].Text] && !strings.HasSuffix(p.ts[it.a].Text, "ly") && !lexicon.Article(p.ts[it.a].Text) {
			not = false // "that's not mine, neck: ..."
		}
		if away && it.content() || p.isNot(c, i) {
			continue
		}
		if p.seemsNot(c, i) {
			not = !not
			continue
		}
		denied := neg || not
		p.cues(f, it, i, &neg, &not)
		switch {
		case it.num != nil:
			if !it.locator {
				f.preds = append(f.preds, pred{at: i, it: it, kind: predNumber})
			}
			continue
		case it.has(lexicon.AloneSense):
			f.preds = append(f.preds, pred{at: i, it: it, kind: predAlone, neg: neg || not})
			not = false
			continue
		}
		if s, ok := it.sense(lexicon.PlaceSense); ok && !it.has(lexicon.SaysSense) && !(it.has(lexicon.SiteSense) && p.siteFits(f, it)) {
			f.places = append(f.places, placeSaid{at: i, text: p.placeText(it), site: s.Site, side: it.side})
			continue
		}
		if it.names() {
			p.subject(f, it, i, neg, not)
			continue
		}
		if it.has(lexicon.NounSense) && !((adjective(it) || adjectival(it) && i+1 < len(c.items) && c.items[i+1].has(lexicon.SiteSense)) && !(i > 0 && c.items[i-1].cue(lexicon.CueNegate))) {
			f.preds = append(f.preds, pred{at: i, it: it, kind: predNamed, neg: neg != not})
			not = false
			continue
		}
		if it.has(lexicon.SaysSense) && !p.attributive(c, i) {
			if !it.cue(lexicon.CueNegate) { // "do not see the drum" is a value itself
				denied = neg || not
			}
			f.preds = append(f.preds, pred{at: i, it: it, kind: predSays, neg: denied})
			not = false
			continue
		}
		if it.has(lexicon.DetailSense) {
			not = false
		}
	}
	p.postposed(f)
	if c.joint == jointStart && p.ts[c.items[0].a].Text == "for" && !c.valued() {
		for k := range f.preds { // "for the bruits I want that television off"
			f.preds[k].used = f.preds[k].used || f.preds[k].kind == predNamed
		}
	}
	p.soughtOnly(f)
	if p.speaks(c, "much") {
		for k := range f.preds { // "she isn't bleeding much" denies no bleeding
			f.preds[k].used = f.preds[k].used || f.preds[k].neg
		}
	}
	if len(f.preds)+len(f.subs) == 0 && p.bareDenial(c) { // "tenderness, neither"
		f.preds = append(f.preds, pred{at: 0, it: &c.items[0], kind: predGeneric, cue: lexicon.CueAbsent})
	}
	f.small = map[int]bool{}
	for i := range c.items {
		if it := &c.items[i]; it.plain() {
			w := p.ts[it.a].Text
			if f.small[i] = smallWords[w] || lexicon.Article(w) || strings.HasSuffix(w, "ly"); !f.small[i] {
				f.unknown++
			}
		}
	}
	p.takeDetails(f)
	p.takeSides(f)
	p.unseen(f)
	p.notFelt(f)
	return f
}

// unseen reads "the uvula I can't see": what can only be seen was not examined.
// Of what may be absent ("no lice that I can see") it says nothing.
func (p *parser) unseen(f *frame) {
	for i := range f.c.items {
		it := &f.c.items[i]
		own, ok := it.sense(lexicon.SaysSense)
		if !ok || p.seemsNot(f.c, i) || !slices.ContainsFunc(p.ts[it.a:it.b], func(t token) bool { return t.Text == "not" }) {
			continue
		}
		subs := f.subs
		if len(subs) == 0 {
			subs = p.pend
		}
		for _, s := range subs {
			if s.fnd == nil && s.site != nil && s.site.Finding != nil && fit(own.Finding, s) < leastOwn {
				s.fnd = s.site.Finding
			}
			if s.fnd != nil && s.fnd.Kind != lexicon.Presence && s.fnd != own.Finding && fit(own.Finding, s) < leastOwn {
				f.unable, f.unableAt = true, i
			}
		}
	}
}

// seemsNot reports "does not feel" before a value: "the thyroid doesn't feel big" denies
// the size and says nothing of feeling.
func (p *parser) seemsNot(c *chunk, i int) bool {
	it := &c.items[i]
	if i+1 >= len(c.items) || !it.has(lexicon.SaysSense) || it.b-it.a < 3 || p.ts[it.b-2].Text != "not" || p.ts[it.b-1].after != noPause {
		return false
	}
	if w := p.ts[it.b-1].Text; w != "feel" && w != "look" && w != "seem" {
		return false
	}
	next := &c.items[i+1]
	return next.has(lexicon.SaysSense) || next.cue(lexicon.CueNormal) || next.has(lexicon.DetailSense)
}

// notFelt reads "nodes not felt because of the collar": with its reason it was not
// examined.
func (p *parser) notFelt(f *frame) {
	if f.because < 0 && p.s != nil && p.si+1 < len(p.s.chunks) && f.c == &p.s.chunks[p.si] {
		if first, _ := p.s.chunks[p.si+1].opener(); first.cue(lexicon.CueBecause) && p.s.chunks[p.si+1].joint == jointPlain {
			_, f.because = f.c.span()
		}
	}
	if f.because < 0 || f.unable || f.there {
		return
	}
	for k := range f.preds {
		g := &f.preds[k]
		w := p.ts[g.it.b-1].Text
		if g.kind == predGeneric && g.cue == lexicon.CueAbsent && g.it.b-g.it.a == 2 && p.ts[g.it.a].Text == "not" && (w == "felt" || w == "seen" || w == "heard") && g.it.b <= f.because {
			f.unable, f.unableAt = true, g.at
		}
	}
}

// bareDenial reports a chunk that says only "neither", or a "no" to what was just
// named and waits.
func (p *parser) bareDenial(c *chunk) bool {
	denied := false
	for i := range c.items {
		it := &c.items[i]
		s, ok := it.sense(lexicon.SideSense)
		switch {
		case ok && s.Value == "neither", p.ts[it.a].Text == "no" && it.b-it.a == 1 && len(p.pend) > 0 && c.joint == jointComma && p.pend[0].fnd != nil:
			denied = true
		case it.cue(lexicon.CueFiller) && !it.content():
		default:
			return false
		}
	}
	return denied
}

// adjective reports a noun that is said of a site too: "sore".
func adjective(it *item) bool {
	return adjectival(it) && !it.article
}

func adjectival(it *item) bool {
	return it.has(lexicon.SaysSense) && it.has(lexicon.DetailSense) && !it.plural
}

// again reports a word that means its site only where that is in talk: "the
// joints", after the jaw joints.
func (it *item) again() bool {
	s, ok := it.sense(lexicon.SiteSense)
	return ok && len(s.Near) > 0 && s.Respelled == ""
}

// attributive reports the "red" of "a red area", the "chalky" of "a chalky one": it
// is said of a thing of its own, not of what is in talk.
func (p *parser) attributive(c *chunk, i int) bool {
	it := &c.items[i]
	if !it.article && !(it.definite && it.has(lexicon.DetailSense)) || it.b-it.a > 1 || i+1 >= len(c.items) || p.ts[it.b-1].after != noPause || it.cue(lexicon.CueNormal, lexicon.CueHedge) || it.plural {
		return false
	}
	next := &c.items[i+1]
	w := p.ts[next.a].Text
	return next.plain() && (w == "one" || !smallWords[w] && !lexicon.Article(w)) || p.oneOf(next)
}

// inTalk drops the senses that need their site in talk, where it is not.
func (p *parser) inTalk(senses []lexicon.Sense) []lexicon.Sense {
	var out []lexicon.Sense
	for _, s := range senses {
		if len(s.Near) == 0 || p.talkNear(s.Near) {
			out = append(out, s)
		}
	}
	return out
}

// isNot reports "that isn't a node": what was seen is something else, which says
// nothing of whether there is one.
func (p *parser) isNot(c *chunk, i int) bool {
	it := &c.items[i]
	if !it.article && !it.definite || it.a < 4 {
		return false
	}
	k := it.a - 1
	if p.ts[k].Text == "the" && at(p.ts, k-1, "is") && (p.ts[k-2].Text == "that" || p.ts[k-2].Text == "it") && !it.has(lexicon.SiteSense) && namesPresent(it) {
		return true // "that's the gland": what was felt is named, not found
	}
	if p.ts[k-1].Text == "not" && c.items[0].a == k-1 && p.ts[k].Text == "a" {
		return true // "that's a yes, not a tremor"
	}
	return at(p.ts, k-2, "is", "not") && (p.ts[k-3].Text == "that" || p.ts[k-3].Text == "this" || p.ts[k-3].Text == "it") && (p.ts[k].Text == "a" || p.ts[k].Text == "an" || p.ts[k].Text == "the")
}

// smallWords say nothing of a finding by themselves.
var smallWords = wordSet(`
is are was were be been being am has have had having does do did done can could will would may might must it
they he she i we you him her them me us his its their our my your this that these those who which what here
there both all each again now then about around at on in of to from for with by over under up down off out into
onto through past along across behind between near too very quite just only even still also yet ever really
pretty fairly rather almost nearly exactly roughly approximately today look looks looking appear appears feel
feels feeling sit sits lie lies lying seem seems measure measures measuring size go goes going come comes
coming nice nicely one two as so if than or and but not no any some much more most less other same either
anywhere everywhere somewhere nowhere side bit big little nasty good pair top bottom front middle part whole
rest o way time like let chain`)

func wordSet(words string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(words) {
		m[w] = true
	}
	return m
}

// near reports that a known mishearing stands where its right wording belongs.
func (p *parser) near(it *item) bool {
	for k := it.a; k < it.b; k++ {
		if p.ts[k].right != "" {
			return true
		}
	}
	for _, s := range it.senses {
		if len(s.Near) == 0 || p.talkNear(s.Near) {
			return true
		}
	}
	return false
}

// talkNear reports that one of the sites was spoken of in the last sentences.
func (p *parser) talkNear(ids []string) bool {
	for _, t := range append(append([]subject(nil), p.topic...), p.recent...) {
		if t.sent < p.sent-3 {
			continue
		}
		for _, x := range t.sites() {
			for _, id := range ids {
				if at, ok := p.x.lex.Site(id); ok {
					if _, in := x.Within(at); in {
						return true
					}
				}
			}
		}
	}
	return false
}

func presenceName(it *item) bool {
	s, ok := it.sense(lexicon.NameSense)
	return ok && s.Finding.Kind == lexicon.Presence
}

func siteAdjective(it *item) bool {
	s, ok := it.sense(lexicon.SiteSense)
	return ok && s.Value == "adjective"
}

// cues reads the cues of one item.
func (p *parser) cues(f *frame, it *item, i int, neg, not *bool) {
	p.denial(f, it, neg, not)
	if it.cue(lexicon.CueThere) && p.ts[it.a].Text == "i" {
		p.says = false // the nurse speaks for herself again
	}
	if it.cue(lexicon.CueHedge) {
		f.hedged = true
	}
	if it.cue(lexicon.CueUnable) {
		f.unable, f.unableAt = true, i
	}
	if it.cue(lexicon.CueBecause) && f.because < 0 {
		f.because = it.b
	}
	f.same = f.same || it.cue(lexicon.CueSame, lexicon.CueNoneSame)
	f.noneSame = f.noneSame || it.cue(lexicon.CueNoneSame)
	f.view = f.view || it.cue(lexicon.CueView)
	if it.cue(lexicon.CuePatientSays) {
		f.says, p.says, p.saysChunk = true, true, p.chunkN
		p.reporter = kin(p.ts, it)
	}
	if it.cue(lexicon.CueThere) {
		w := p.ts[it.a].Text
		f.there = true
		f.exists = f.exists || it.b-it.a > 1 || w == "has" || w == "have" || w == "got"
	}
	f.general = f.general || it.cue(lexicon.CueGeneral)
	if it.cue(lexicon.CueBaseline) {
		f.base = p.words(it.a, it.b)
	}
	if it.content() {
		return
	}
	switch {
	case it.cue(lexicon.CueAbsent):
		f.preds = append(f.preds, pred{at: i, it: it, kind: predGeneric, cue: lexicon.CueAbsent})
	case it.cue(lexicon.CuePresent):
		f.preds = append(f.preds, pred{at: i, it: it, kind: predGeneric, cue: lexicon.CuePresent, neg: *not})
		*not = false
	case it.cue(lexicon.CueNormal) && text(p.ts, it.b) == "one": // "the good one"
	case it.cue(lexicon.CueNormal):
		f.preds = append(f.preds, pred{at: i, it: it, kind: predGeneric, cue: lexicon.CueNormal, neg: *not})
		*not = false
	}
}

// kin gives who speaks where that is not the patient: "the son says".
func kin(ts []token, it *item) string {
	for i := max(0, it.a-1); i < it.b; i++ {
		switch w := ts[i].Text; w {
		case "son", "daughter", "wife", "husband", "mother", "father", "mom", "dad", "mum", "sister", "brother", "caregiver", "partner", "aide", "family":
			return w
		}
	}
	return ""
}

// subject adds a site or a named finding; a named presence is a predicate too.
func (p *parser) subject(f *frame, it *item, i int, neg, not bool) {
	if i+1 < len(f.c.items) && f.c.items[i+1].locator {
		return // "bed nine"
	}
	s := subject{side: it.side, plural: it.plural || at(p.ts, it.b, "one") && p.ts[it.b].Plural && p.ts[it.b-1].after == noPause, single: it.article || it.definite && !it.plural, tok: [2]int{it.a, it.b}, adjective: siteAdjective(it)}
	if n, ok := p.nameOf(f, it); ok {
		s.fnd = n.Finding
		if n.Finding.Named != "" {
			f.preds = append(f.preds, pred{at: i, it: it, kind: predNamed, neg: neg != not})
		} else if neg != not && n.Finding.No != "" { // "no cone of light"
			f.preds = append(f.preds, pred{at: i, it: it, kind: predGeneric, cue: lexicon.CueAbsent})
		}
	} else if n, ok := p.siteOf(f, it); ok {
		s.site = n.Site
		if it.has(lexicon.SaysSense) || it.has(lexicon.NounSense) {
			// "shoulder" and the like: a site that is also said of another
			f.preds = append(f.preds, pred{at: i, it: it, kind: predSays, neg: neg || not})
		}
	}
	f.subs = append(f.subs, s)
	f.subAt = append(f.subAt, i)
}

// words quotes tokens as spoken, without punctuation at the end.
func (p *parser) words(a, b int) string {
	if a >= b {
		return ""
	}
	return trimPunct(p.t.Quote(spanOf(p.ts, a, b)))
}

// takeDetails gathers qualifiers and decides between a detail and a value: a
// word that stands before or after a named finding that takes it is a detail.
func (p *parser) takeDetails(f *frame) {
	for i := range f.c.items {
		it := &f.c.items[i]
		if n, _ := cardinal(p.ts, it.a); it.plain() && n > 1 && !it.definite && someOf(p.ts, it.b) {
			f.details = append(f.details, detail{at: i, key: "count", value: num(n), it: it}) // "two of them"
		}
		if !it.has(lexicon.DetailSense) {
			continue
		}
		neg := f.listNot || i > 0 && f.c.items[i-1].cue(lexicon.CueNot)
		for _, s := range it.senses {
			if s.Kind == lexicon.DetailSense {
				f.details = append(f.details, detail{at: i, key: s.Key, value: s.Value, it: it, neg: neg})
			}
		}
	}
}
