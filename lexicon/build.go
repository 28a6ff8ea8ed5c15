package lexicon

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

func newBuilder() *builder {
	return &builder{forms: make(map[string][]Form, 4096), lex: &Lexicon{
		sites: map[string]*Site{}, byID: map[string]*Finding{}, root: &node{}, words: make(map[string]bool, 4096),
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

func (b *builder) complain(at, what, hint string) {
	b.problems = append(b.problems, Problem{b.file, lineOf(b.data, at), what, hint})
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
	for _, have := range n.senses {
		if have.Kind == s.Kind && have.Finding == s.Finding && have.Site == s.Site && have.Value == s.Value && have.Cue == s.Cue && have.Key == s.Key {
			if s.Kind == CueSense || s.Kind == SiteSense && have.Site == s.Site {
				b.complain(term, fmt.Sprintf("term %q is listed twice", term), "keep one")
			}
			return
		}
	}
	n.senses = append(n.senses, s)
}

func (b *builder) add(file string, data []byte, pf *packFile) {
	b.file, b.data = file, data
	l := b.lex
	if pf.Name == "" || pf.Version == "" {
		b.complain("", "pack has no name or no version", "put name and version on top")
	}
	l.packs = append(l.packs, PackInfo{pf.Name, pf.Version, sum(data)})
	for _, w := range pf.Hard {
		h := hardWord{word: w, code: Sound(strings.ReplaceAll(w, " ", ""))}
		h.sounds = soundsOf(h.code)
		for _, f := range strings.Fields(w) {
			h.forms = append(h.forms, Normalize(f)...)
		}
		l.hard = append(l.hard, h)
	}
	for _, r := range pf.Regions {
		l.regions = append(l.regions, Region{r.ID, r.Title, r.Exams})
	}
	for _, d := range pf.Sites {
		b.site(d)
	}
	for _, d := range pf.Findings {
		b.finding(d)
	}
	for _, d := range pf.Sites { // now that findings are known
		if d.Finding != "" {
			if f := b.want(d.Finding, d.ID); f != nil {
				l.sites[d.ID].Finding = f
			}
		}
		if d.Unable != "" {
			l.sites[d.ID].Unable = b.want(d.Unable, d.ID)
		}
	}
	b.shared(pf)
	for _, d := range pf.Examples {
		l.examples = append(l.examples, Example{pf.Name, d.Say, d.Expect})
	}
	b.heard = append(b.heard, pf.Heard...)
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
	s := &Site{ID: d.ID, Region: d.Region, Paired: d.Paired, General: d.General}
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
	for i, t := range d.Terms {
		b.term(t, Sense{Kind: SiteSense, Site: s})
		if i < 3 {
			b.lex.vocab = append(b.lex.vocab, vocabTerm{d.Region, t})
		}
	}
	for _, t := range d.Adjs {
		b.term(t, Sense{Kind: SiteSense, Site: s, Value: "adjective"})
	}
}

func (b *builder) finding(d findingDef) {
	l := b.lex
	if l.byID[d.ID] != nil {
		b.complain(d.ID, fmt.Sprintf("finding %q is there twice", d.ID), "rename or remove one")
		return
	}
	f := &Finding{ID: d.ID, Name: d.Name, Region: d.Region, Meaning: d.Meaning, Values: d.Values, Unit: d.Unit,
		Expected: d.Expected, Not: d.Not, Yes: d.Yes, No: d.No, Normal: d.Normal, Named: d.Named, Strict: d.Strict, NamedOnly: d.NamedOnly, EndsSide: d.EndsSide, NamedKey: d.NamedKey, Plain: map[string]bool{}, AgeBound: d.AgeBound, Covers: d.Covers, Also: d.Also,
		Sides: sidesOf[d.Sides], Kind: kinds[d.Kind], Asked: askedOf[d.Asked], Details: map[string]bool{}, Together: map[string]bool{}}
	if f.Sides == SidesUnknown || f.Kind == KindUnknown || f.Asked == AskedUnknown {
		b.complain(d.ID, fmt.Sprintf("finding %q has unknown sides, kind or asked", d.ID), "sides: paired, none, zone; kind: presence, choice, grade, quantity, clock; asked: always, if_indicated, summary")
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
	for _, id := range d.At {
		if s := l.sites[id]; s != nil {
			f.At = append(f.At, s)
		} else {
			b.complain(id, fmt.Sprintf("finding %q is at unknown site %q", d.ID, id), "list the site in a pack")
		}
	}
	l.byID[d.ID] = f
	l.findings = append(l.findings, f)
	for i, t := range d.Names {
		b.term(t, Sense{Kind: NameSense, Finding: f})
		if i < 3 {
			l.vocab = append(l.vocab, vocabTerm{d.Region, t})
		}
	}
	for i, t := range d.Nouns {
		b.term(t, Sense{Kind: NounSense, Finding: f})
		if i < 2 {
			l.vocab = append(l.vocab, vocabTerm{d.Region, t})
		}
	}
	b.values(d, d.Says, func(v, t string) { b.term(t, Sense{Kind: SaysSense, Finding: f, Value: v}) })
	b.values(d, d.Alone, func(v, t string) {
		b.term(t, Sense{Kind: AloneSense, Finding: f, Value: v, Chart: []Charted{{f, v, ""}}})
	})
	for v, w := range d.Not {
		if !f.Allows(v) || !f.Allows(w) {
			b.complain(d.ID, fmt.Sprintf("finding %q: not %q = %q is no allowed value", d.ID, v, w), "use the values listed")
		}
	}
}

func (b *builder) values(d findingDef, m map[string][]string, add func(v, t string)) {
	vs := make([]string, 0, len(m))
	for v := range m {
		vs = append(vs, v)
	}
	sort.Strings(vs)
	for _, v := range vs {
		if f := b.lex.byID[d.ID]; len(f.Values) > 0 && !f.Allows(v) {
			b.complain(d.ID, fmt.Sprintf("finding %q has no value %q", d.ID, v), "allowed: "+strings.Join(f.Values, ", "))
		}
		for _, t := range m[v] {
			add(v, t)
		}
	}
}

// shared adds what is no site or finding.
func (b *builder) shared(pf *packFile) {
	for _, d := range pf.Summaries {
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
	for _, d := range pf.Cues {
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
	for _, d := range pf.Sides {
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: SideSense, Value: d.Side})
		}
	}
	for _, d := range pf.Details {
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: DetailSense, Key: d.Key, Value: orWord(d.Value, t)})
		}
	}
	for _, d := range pf.Units {
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: UnitSense, Unit: Unit{d.Unit, d.Kind, d.Scale}, Value: d.Unit})
		}
	}
	for _, d := range pf.Places {
		s := b.lex.sites[d.In]
		if s == nil {
			b.complain(d.In, fmt.Sprintf("place in unknown site %q", d.In), "list the site in a pack")
		}
		for _, t := range d.Terms {
			b.term(t, Sense{Kind: PlaceSense, Site: s, Value: t})
		}
	}
	for _, d := range pf.Attention {
		r := AttentionRule{Values: d.Values, Detail: d.Detail, Equals: d.Equals, Above: d.Above, Urgency: d.Urgency, Why: d.Why, Source: d.Source}
		if d.ID != "" {
			if r.Finding = b.want(d.ID, d.ID); r.Finding == nil {
				continue
			}
		}
		for _, q := range d.Quote {
			words := normalWords(q)
			if strings.HasSuffix(q, ".") {
				words = append(words, ".") // only where the chunk ends with it
			}
			r.Quote = append(r.Quote, words)
		}
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

// finish resolves mishearings, which may stand for a term of any pack.
func (b *builder) finish() (*Lexicon, error) {
	for _, h := range b.heard {
		n := b.lex.root
		for k, w := range normalWords(h.For) {
			if k > 0 && Article(w) {
				continue
			}
			if n = n.child(w); n == nil {
				break
			}
		}
		if n == nil || len(n.senses) == 0 {
			b.complain(h.For, fmt.Sprintf("mishearing of unknown term %q", h.For), "write a term of a pack")
			continue
		}
		senses := append([]Sense(nil), n.senses...)
		for _, t := range h.Terms {
			for _, s := range senses {
				s.Respelled, s.Near = h.For, h.Near
				b.term(t, s)
			}
		}
	}
	if len(b.problems) > 0 {
		errs := make([]error, len(b.problems))
		for i, p := range b.problems {
			errs[i] = p
		}
		return nil, errors.Join(errs...)
	}
	return b.lex, nil
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
