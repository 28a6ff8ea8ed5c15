package lexicon

import (
	"fmt"
	"sort"
	"strings"
)

func newBuilder() *builder {
	return &builder{falling: map[string]string{}, forms: make(map[string][]Form, 4096), lex: &Lexicon{
		heardSmall: map[string]SmallWord{},
		sites:      map[string]*Site{}, byID: map[string]*Finding{}, root: &node{}, words: make(map[string]bool, 4096), terms: make([]Term, 0, 9000), wordings: map[string]Wording{},
	}}
}

// normalize is Normalize, once for each word that the packs hold.
func (b *builder) normalize(word string) []Form {
	forms, ok := b.forms[word]
	if !ok {
		forms = Normalize(word)
		b.forms[word] = forms
	}
	return forms
}

// builder gathers packs and complaints.
type builder struct {
	lex      *Lexicon
	problems []Problem
	heard    []heardAt
	forms    map[string][]Form
	// at is the table being read, of the tables of the file.
	at     place
	tables map[string][]place
	order  []string
	// extending is true while words are added to what another pack has.
	extending bool
	// falling waits until all findings are known.
	falling map[string]string
}

// enter makes the n-th table of a name the one that complaints point into.
func (b *builder) enter(table string, n int) {
	b.at.start, b.at.end = 0, 0
	if all := b.tables[table]; n < len(all) {
		b.at = all[n]
	}
}

// complain points at a word of the table being read.
func (b *builder) complain(at, what, hint string) { b.note(at, what, hint, false) }

// advise is a complaint that leaves the pack usable.
func (b *builder) advise(at, what, hint string) { b.note(at, what, hint, true) }

func (b *builder) note(at, what, hint string, minor bool) {
	b.problems = append(b.problems, Problem{File: b.at.file.Name, Line: b.at.line(at), What: what, Hint: hint, Minor: minor})
}

// term adds one sense under a term.
func (b *builder) term(term string, s Sense) {
	n := b.lex.root
	count := 0
	words := strings.Fields(term)
	for k, w := range words {
		for _, f := range b.normalize(w) {
			if count > 0 && Article(f.Text) && k < len(words)-1 {
				continue // articles are passed over in speech too
			}
			count++
			b.lex.words[f.Text] = true
			n = n.grow(f.Text)
		}
	}
	if count == 0 {
		b.complain(term, fmt.Sprintf("empty term %q", term), "write the words as they are spoken")
		return
	}
	b.lex.terms = append(b.lex.terms, Term{Text: term, Sense: s, at: b.at})
	for i := range n.senses {
		have := &n.senses[i]
		if have.Kind == s.Kind && have.Finding == s.Finding && have.Site == s.Site && have.Value == s.Value && have.Cue == s.Cue && have.Key == s.Key {
			if s.Kind == CueSense || s.Kind == SiteSense || b.extending {
				b.advise(term, fmt.Sprintf("term %q is there already", term), "keep one")
			}
			return
		}
	}
	n.senses = append(n.senses, s)
}

func (b *builder) add(file File, pf *packFile) {
	b.at, b.tables = place{file: &file}, tables(&file)
	l := b.lex
	if pf.Name == "" || pf.Version == "" {
		b.complain("", "pack has no name or no version", "put name and version on top")
	}
	l.packs = append(l.packs, PackInfo{pf.Name, pf.Version, sum(file.Data)})
	for _, w := range pf.Hard {
		h := hardWord{word: w}
		for _, part := range strings.Fields(w) {
			h.code += Sound(part)
		}
		h.sounds = soundsOf(h.code)
		for _, f := range strings.Fields(w) {
			h.forms = append(h.forms, Normalize(f)...)
		}
		l.hard = append(l.hard, h)
	}
	b.order = append(b.order, pf.Order...)
	for i, r := range pf.Regions {
		b.enter("region", i)
		b.region(r)
	}
	for i, d := range pf.Sites {
		b.enter("site", i)
		b.site(d)
	}
	for i, d := range pf.Findings {
		b.enter("finding", i)
		b.finding(d)
	}
	for i, d := range pf.Sites { // now that findings are known
		b.enter("site", i)
		if d.Finding != "" {
			if f := b.want(d.Finding, d.ID); f != nil {
				l.sites[d.ID].Finding = f
			}
		}
		if d.Unable != "" {
			l.sites[d.ID].Unable = b.want(d.Unable, d.ID)
		}
	}
	for i, d := range pf.Extends {
		b.enter("extend", i)
		b.extending = true
		b.extend(d)
		b.extending = false
	}
	for i, d := range pf.Exams {
		b.enter("exam", i)
		b.exam(d)
	}
	b.shared(pf)
	for i, d := range pf.Examples {
		b.enter("example", i)
		if d.Say == "" {
			b.complain("", "example without a sentence", `write say = "..."`)
			continue
		}
		l.examples = append(l.examples, Example{Pack: pf.Name, Say: d.Say, Expect: d.Expect, LeftOut: d.LeftOut, at: b.at})
	}
	b.documents(pf)
	for i, d := range pf.Heard {
		b.enter("heard", i)
		b.heard = append(b.heard, heardAt{d, b.at, false})
	}
	for i, d := range pf.Aliases {
		b.enter("alias", i)
		b.heard = append(b.heard, heardAt{heardDef{For: d.For, Terms: d.Terms}, b.at, true})
	}
	for i, d := range pf.Techniques {
		b.enter("technique", i)
		b.technique(d)
	}
}

func (b *builder) region(d regionDef) {
	if b.lex.region(d.ID) != nil {
		b.complain(d.ID, fmt.Sprintf("region %q is there twice", d.ID), "rename or remove one")
		return
	}
	r := Region{ID: d.ID, Title: d.Title, Exams: d.Exams, Organ: d.Organ, Body: d.Body}
	for _, t := range d.Named {
		r.Named = append(r.Named, normalWords(t))
	}
	b.lex.regions = append(b.lex.regions, r)
}

// want looks a finding up and complains where there is none.
func (b *builder) want(id, at string) *Finding {
	f := b.lex.byID[id]
	if f == nil {
		b.complain(at, fmt.Sprintf("no finding %q", id), "check the id")
	}
	return f
}

func (b *builder) site(d siteDef) {
	if b.lex.sites[d.ID] != nil {
		b.complain(d.ID, fmt.Sprintf("site %q is there twice", d.ID), "rename or remove one")
		return
	}
	if d.Region != "" && b.lex.region(d.Region) == nil {
		b.complain(d.Region, fmt.Sprintf("site %q lies in unknown region %q", d.ID, d.Region), "list the region in a pack")
	}
	s := &Site{ID: d.ID, Region: d.Region, Paired: d.Paired, General: d.General, Wide: d.Wide, Organs: d.Organs, Anywhere: d.Anywhere, Each: d.Each}
	if d.In != "" {
		if s.Parent = b.lex.sites[d.In]; s.Parent == nil {
			b.complain(d.In, fmt.Sprintf("site %q lies in unknown site %q", d.ID, d.In), "list the larger site first")
		} else {
			s.depth = s.Parent.depth + 1
		}
	}
	if len(d.Terms) > 0 {
		s.Term = strings.Join(normalWords(d.Terms[0]), " ")
	}
	b.lex.sites[d.ID] = s
	b.siteTerms(s, d.Terms, d.Adjs)
	for _, t := range d.Again {
		near := []string{d.ID}
		if s.Parent != nil {
			near = append(near, s.Parent.ID)
		}
		b.term(t, Sense{Kind: SiteSense, Site: s, Near: near})
	}
}

func (b *builder) siteTerms(s *Site, terms, adjectives []string) {
	for i, t := range terms {
		b.term(t, Sense{Kind: SiteSense, Site: s})
		if i < 3 {
			b.lex.vocab = append(b.lex.vocab, vocabTerm{s.Region, t})
		}
	}
	for _, t := range adjectives {
		b.term(t, Sense{Kind: SiteSense, Site: s, Value: "adjective"})
	}
}

func (b *builder) finding(d findingDef) {
	l := b.lex
	if l.byID[d.ID] != nil {
		b.complain(d.ID, fmt.Sprintf("finding %q is there twice", d.ID), "rename or remove one")
		return
	}
	region := l.region(d.Region)
	if region == nil {
		b.complain(d.Region, fmt.Sprintf("finding %q lies in unknown region %q", d.ID, d.Region), "list the region in a pack")
		region = &Region{}
	}
	f := &Finding{at: b.at, Body: region.Body, ID: d.ID, Name: d.Name, Region: d.Region, Meaning: d.Meaning, Values: d.Values, Unit: d.Unit,
		Expected: d.Expected, Not: d.Not, Yes: d.Yes, No: d.No, Normal: d.Normal, Named: d.Named, Strict: d.Strict, NamedOnly: d.NamedOnly, EndsSide: d.EndsSide, NamedKey: d.NamedKey, Plain: map[string]bool{}, AgeBound: d.AgeBound, Directed: d.Directed, Implied: d.Implied, Compares: d.Compares, Covers: d.Covers, Also: d.Also,
		Sides: sidesOf[d.Sides], Kind: kinds[d.Kind], Asked: askedOf[d.Asked], Details: map[string]bool{}, Together: map[string]bool{}}
	if f.Sides == SidesUnknown || f.Kind == KindUnknown || f.Asked == AskedUnknown {
		b.complain(d.ID, fmt.Sprintf("finding %q has unknown sides, kind or asked", d.ID), "sides: paired, none, zone; kind: "+strings.Join(sortedKeys(kinds), ", ")+"; asked: always, if_indicated, summary")
	}
	if f.Kind == Presence && f.Values == nil {
		f.Values = []string{"present", "absent"}
	}
	if f.Kind == Presence {
		f.Not = orMap(f.Not, map[string]string{"present": "absent", "absent": "present"})
		f.Yes, f.No = orWord(f.Yes, "present"), orWord(f.No, "absent")
	}
	if f.Kind == Presence {
		f.Named = "present"
	}
	if f.Kind == Time {
		f.Named, f.Bare = "", f.Named
	}
	for _, x := range d.Plain {
		f.Plain[strings.Join(normalWords(x), " ")] = true
	}
	for _, x := range d.Together {
		f.Together[x] = true
	}
	for _, x := range d.Details {
		f.Details[x] = true
	}
	if len(d.Range) == 2 {
		f.Plausible = [2]float64{d.Range[0], d.Range[1]}
	}
	b.measures(f, d)
	for _, id := range d.At {
		if s := l.sites[id]; s != nil {
			f.At = append(f.At, s)
		} else {
			b.complain(id, fmt.Sprintf("finding %q is at unknown site %q", d.ID, id), "list the site in a pack")
		}
	}
	l.byID[d.ID] = f
	l.findings = append(l.findings, f)
	b.falling[d.ID] = d.Falling
	b.words(f, d.wordsDef)
	b.checkValues(f, d)
}

// words adds what names a finding and what is said of it.
func (b *builder) words(f *Finding, d wordsDef) {
	l := b.lex
	for i, t := range either(d.Names) {
		b.term(t, Sense{Kind: NameSense, Finding: f})
		if i < 1 || i < 3 && f.Asked != IfIndicated { // a prompt has room for little
			l.vocab = append(l.vocab, vocabTerm{f.Region, t})
		}
	}
	for i, t := range d.Nouns {
		b.term(t, Sense{Kind: NounSense, Finding: f})
		if i < 2 && (f.Asked != IfIndicated || len(either(d.Names)) == 0) {
			l.vocab = append(l.vocab, vocabTerm{f.Region, t})
		}
	}
	b.values(f, d.Says, func(v, t string) { b.term(t, Sense{Kind: SaysSense, Finding: f, Value: v}) })
	b.values(f, d.Alone, func(v, t string) {
		b.term(t, Sense{Kind: AloneSense, Finding: f, Value: v, Chart: []Charted{{f, v, ""}}})
	})
}

func (b *builder) values(f *Finding, m map[string][]string, add func(v, t string)) {
	for _, v := range sortedKeys(m) {
		if len(f.Values) > 0 && !f.Allows(v) {
			b.complain(v, fmt.Sprintf("finding %q has no value %q", f.ID, v), "allowed: "+strings.Join(f.Values, ", "))
		}
		for _, t := range m[v] {
			add(v, t)
		}
	}
}

// shared adds what is no site or finding.
func (b *builder) shared(pf *packFile) {
	for i, d := range pf.Summaries {
		b.enter("summary", i)
		if len(d.Terms) == 0 {
			b.complain("", "summary without terms", "list the terms that mean it")
			continue
		}
		var chart []Charted
		for _, c := range d.Chart {
			c, side, _ := strings.Cut(c, "@")
			id, v, _ := strings.Cut(c, "=")
			if f := b.want(id, d.Terms[0]); f != nil {
				if !f.Allows(v) {
					b.complain(d.Terms[0], fmt.Sprintf("finding %q has no value %q", id, v), "")
				}
				chart = append(chart, Charted{f, v, side})
			}
		}
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: AloneSense, Chart: chart, Mark: d.Mark, Value: strings.Join(d.Chart, ",")})
		}
	}
	for i, d := range pf.Cues {
		b.enter("cue", i)
		k, ok := cueKinds[d.Kind]
		if !ok {
			b.complain(d.Kind, fmt.Sprintf("unknown cue kind %q", d.Kind), "one of "+strings.Join(cueNames(), ", "))
			continue
		}
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: CueSense, Cue: k})
		}
		for _, first := range d.First {
			for _, then := range d.Then {
				b.term(first+" "+then, Sense{Kind: CueSense, Cue: k})
			}
		}
	}
	for i, d := range pf.Sides {
		b.enter("side", i)
		b.oneOf("side", d.Side, sideWords)
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: SideSense, Value: d.Side})
		}
	}
	for i, d := range pf.Details {
		b.enter("detail", i)
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: DetailSense, Key: d.Key, Value: orWord(d.Value, t)})
		}
	}
	for i, d := range pf.Units {
		b.enter("unit", i)
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: UnitSense, Unit: Unit{d.Unit, d.Kind, d.Scale}, Value: d.Unit})
		}
	}
	for i, d := range pf.Places {
		b.enter("place", i)
		s := b.lex.sites[d.In]
		if s == nil {
			b.complain(d.In, fmt.Sprintf("place in unknown site %q", d.In), "list the site in a pack")
		}
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: PlaceSense, Site: s, Value: t})
		}
	}
	for i, d := range pf.Voices {
		b.enter("voice", i)
		b.voice(d)
	}
	for i, d := range pf.Attention {
		b.enter("attention", i)
		b.oneOf("urgency", d.Urgency, urgencyWords)
		r := AttentionRule{Values: d.Values, Detail: d.Detail, Equals: d.Equals, Bounds: d.Bounds, Urgency: d.Urgency, Why: d.Why, Source: d.Source}
		if d.ID != "" {
			if r.Finding = b.want(d.ID, d.ID); r.Finding == nil {
				continue
			}
			for _, v := range d.Values {
				b.allowed(r.Finding, v)
			}
			if d.Detail != "" && !r.Finding.Details[d.Detail] {
				b.complain(d.Detail, fmt.Sprintf("finding %q takes no detail %q", d.ID, d.Detail), "list it in the finding's details")
			}
		}
		r.Quote, r.Unless, r.Answers, r.With = b.phrases(d.Quote), b.phrases(d.Unless), b.phrases(d.Answers), b.phrases(d.With)
		r.Past, r.Others, r.Charted, r.Onset, r.Well = d.Past, d.Others, d.Charted, d.Onset, d.Well
		if d.Source == "" || d.Why == "" {
			b.complain(d.ID, "attention rule without why or source", "name the source, or write: common practice, no source")
		}
		b.lex.rules = append(b.lex.rules, r)
	}
}

func normalWords(text string) []string {
	var out []string
	for _, w := range strings.Fields(text) {
		for _, f := range Normalize(w) {
			out = append(out, f.Text)
		}
	}
	return out
}

// finish resolves what may stand for a term of any pack, and puts
// regions and findings into the order that the packs ask for.
func (b *builder) finish() {
	b.mishearings()
	for _, f := range b.lex.findings {
		b.at = f.at
		for _, id := range f.Covers {
			b.want(id, id)
		}
		if id := b.falling[f.ID]; id != "" {
			if f.Falling = b.want(id, id); f.Falling != nil {
				f.Falling.FallsFrom = f
			}
		}
		b.comparison(f)
	}
	b.arrange()
}

// arrange puts what an order names first, in its order; the rest stays as it is.
func (b *builder) arrange() {
	place := map[string]int{}
	for i, id := range b.order {
		if b.lex.region(id) == nil && b.lex.byID[id] == nil {
			b.complain(id, fmt.Sprintf("order names unknown %q", id), "name regions or findings by their id")
		}
		if _, ok := place[id]; !ok {
			place[id] = i - len(b.order)
		}
	}
	sort.SliceStable(b.lex.regions, func(i, j int) bool { return place[b.lex.regions[i].ID] < place[b.lex.regions[j].ID] })
	sort.SliceStable(b.lex.findings, func(i, j int) bool { return place[b.lex.findings[i].ID] < place[b.lex.findings[j].ID] })
}

func orMap(a, b map[string]string) map[string]string {
	if a == nil {
		return b
	}
	return a
}

func orWord(a, b string) string {
	if a == "" {
		return b
	}
	return a
}
