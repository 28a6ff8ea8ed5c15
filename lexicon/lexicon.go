// Package lexicon holds what the program knows: body sites, findings, the words
// that name them, and the cues that turn a sentence into a finding, a question
// or talk. All of it is data in packs, one file for a body system
// (packs/*.toml); this package loads, checks and indexes them. It depends on no
// other package of the program.
package lexicon

import (
	"errors"
	"fmt"
	"sort"
	"strings"
)

// Region is a part of the examination, in the order of examining.
type Region struct {
	ID, Title string
	// Exams are the focused examinations it belongs to ("eyes").
	Exams []string
}

// Site is a place of the body that findings belong to.
type Site struct {
	ID     string
	Parent *Site
	Region string
	Paired bool
	// Finding is the one finding that "normal" speaks of here; nil where there
	// are several.
	Finding *Finding
	// General sites speak of both sides in the singular ("submental").
	General bool
	// Term is its usual name, normalized.
	Term string
	// Unable is what "could not examine it" leaves unassessed; nil where that
	// says too little.
	Unable *Finding
	depth  int
}

// Within gives the number of steps from s up to other, and whether other is s
// or an ancestor of s.
func (s *Site) Within(other *Site) (steps int, ok bool) {
	for p := s; p != nil; p = p.Parent {
		if p == other {
			return steps, true
		}
		steps++
	}
	return 0, false
}

// Kind is what a finding's value is.
type Kind uint8

// Kinds of findings.
const (
	KindUnknown Kind = iota
	Presence
	Choice
	Grade
	Quantity
	Clock
)

var kinds = map[string]Kind{"presence": Presence, "choice": Choice, "grade": Grade, "quantity": Quantity, "clock": Clock}

// Sides says how a finding is placed on the body.
type Sides uint8

// How findings are placed.
const (
	SidesUnknown Sides = iota
	Paired             // right, left or both
	NoSides            // none; a direction goes into the side all the same
	Zone               // a named place
)

var sidesOf = map[string]Sides{"paired": Paired, "none": NoSides, "zone": Zone}

// Asked says when a finding belongs to an examination.
type Asked uint8

// When a finding is asked for.
const (
	AskedUnknown Asked = iota
	Always
	IfIndicated
	Summary
)

var askedOf = map[string]Asked{"always": Always, "if_indicated": IfIndicated, "summary": Summary}

// Finding is one row of a pack: what can be charted.
type Finding struct {
	ID, Name, Region, Meaning string
	Sides                     Sides
	Kind                      Kind
	Asked                     Asked
	// Values are the values allowed; empty for a quantity or clock.
	Values []string
	// Unit is the UCUM code of a quantity.
	Unit string
	// Expected holds the expected values by side ("right", "left", or "" for any).
	Expected map[string][]string
	// At are the sites whose ambiguous words speak of this finding.
	At []*Site
	// Not maps a value to what its denial means.
	Not map[string]string
	// Yes and No are what an answer to a question about it means.
	Yes, No string
	// Normal is what a bare "normal" or "intact" said of it means; empty where
	// that says too little.
	Normal string
	// EndsSide findings speak of the pair, so a held side ends ("equal").
	EndsSide bool
	// NamedOnly values count only where the finding itself was named.
	NamedOnly bool
	// Strict values count only beside their site, never carried over.
	Strict bool
	// Named is the value that naming it alone charts ("wax" is present); empty
	// where naming says nothing.
	Named string
	// NamedKey is the qualifier that keeps the very word it was named by
	// ("scab"); Plain are names that are no such word.
	NamedKey string
	Plain    map[string]bool
	// Details are the qualifiers that may go with it.
	Details map[string]bool
	// Plausible is the least and the largest value that is not marked.
	Plausible [2]float64
	// AgeBound findings read differently in a child or in pregnancy.
	AgeBound bool
	// Together are values that can be true at once.
	Together map[string]bool
	// Covers are the findings that this one stands for, for what is unmentioned.
	Covers []string
}

// Allows reports whether v is one of the finding's values.
func (f *Finding) Allows(v string) bool {
	for _, x := range f.Values {
		if x == v {
			return true
		}
	}
	return false
}

// SenseKind says what a term does in a sentence.
type SenseKind uint8

// Kinds of senses.
const (
	SenseUnknown SenseKind = iota
	SiteSense              // names a site
	NameSense              // names a finding, whatever the site
	NounSense              // names a finding if the site fits
	SaysSense              // a value, said of a site or a finding
	AloneSense             // finding and value in one
	CueSense               // a cue: negation, plan, question ...
	SideSense              // right, left, both
	DetailSense            // a qualifier
	UnitSense              // a unit
	PlaceSense             // a zone
)

// Charted is a finding with the value that a term gives it.
type Charted struct {
	Finding *Finding
	Value   string
	Side    string
}

// Sense is one meaning of a term.
type Sense struct {
	Kind    SenseKind
	Site    *Site
	Finding *Finding
	Value   string // of SaysSense; the side of SideSense; the value of DetailSense
	Cue     CueKind
	Key     string    // of DetailSense
	Chart   []Charted // of AloneSense
	Mark    string    // a summary that always carries a doubt
	Unit    Unit
	// Plural is true where the term itself was listed in the plural.
	Plural bool
	// Respelled is the right wording where the term is a known mishearing.
	Respelled string
	// Near are the site ids one of which must be in talk for a mishearing.
	Near []string
}

// Unit is a unit as spoken.
type Unit struct {
	// Code is the UCUM code; Scale turns the spoken number into Base.
	Code, Base string
	Scale      float64
}

// AttentionRule says when a finding wants a person's action.
type AttentionRule struct {
	Finding *Finding
	Values  []string
	// Detail and Equals narrow the rule to a qualifier; Above to a size in cm.
	Detail      string
	Equals      []string
	Above       float64
	Urgency     string
	Why, Source string
	Quote       [][]string // normalized phrases of danger, quoted verbatim
}

// Example is a sentence of a pack with the findings it must give.
type Example struct {
	Pack, Say string
	// Expect are findings as "id@side=value" or "id=value".
	Expect []string
}

// Lexicon is all packs merged, read-only and safe for concurrent use.
type Lexicon struct {
	packs    []PackInfo
	regions  []Region
	sites    map[string]*Site
	findings []*Finding
	byID     map[string]*Finding
	root     *node
	rules    []AttentionRule
	examples []Example
	vocab    []vocabTerm
	words    map[string]bool
	hard     []hardWord
}

type vocabTerm struct{ region, term string }

type node struct {
	next   map[string]*node
	senses []Sense
}

// Findings are all findings in the order of an examination.
func (l *Lexicon) Findings() []*Finding { return l.findings }

// Finding looks a finding up by its id.
func (l *Lexicon) Finding(id string) (*Finding, bool) { f, ok := l.byID[id]; return f, ok }

// Site looks a site up by its id.
func (l *Lexicon) Site(id string) (*Site, bool) { s, ok := l.sites[id]; return s, ok }

// Regions are the parts of the examination in order.
func (l *Lexicon) Regions() []Region { return l.regions }

// Packs names the packs in use.
func (l *Lexicon) Packs() []PackInfo { return l.packs }

// Attention are the rules for what wants action.
func (l *Lexicon) Attention() []AttentionRule { return l.rules }

// Examples are the packs' own sentences, which are their tests.
func (l *Lexicon) Examples() []Example { return l.examples }

// Exams are the names that --exam takes, in order.
func (l *Lexicon) Exams() []string {
	var out []string
	seen := map[string]bool{}
	for _, r := range l.regions {
		for _, e := range r.Exams {
			if !seen[e] {
				seen[e] = true
				out = append(out, e)
			}
		}
	}
	return out
}

// Knows reports whether a normalized word stands in any term.
func (l *Lexicon) Knows(word string) bool { return l.words[word] }

// Vocabulary gives the bare terms of a region ("" for all) that a recognizer
// may be primed with: sites and names only, never a side, a number, a negation
// or a value, so that a prompt cannot speak for the patient.
func (l *Lexicon) Vocabulary(region string) []string {
	var out []string
	seen := map[string]bool{}
	for _, v := range l.vocab {
		if (region == "" || v.region == region) && !seen[v.term] {
			seen[v.term] = true
			out = append(out, v.term)
		}
	}
	return out
}

// Match finds the longest term that begins at forms[i]. Articles may stand
// inside any term, and side words inside a site term. It returns the senses, the index after the term, and the indices
// of side words passed over.
func (l *Lexicon) Match(forms []Form, i int, side func(int) bool) (senses []Sense, end int, sides []int) {
	n := l.root
	var passed []int
	for j := i; j < len(forms); j++ {
		if j > i && Article(forms[j].Text) && (n.next[forms[j].Text] == nil || len(n.next[forms[j].Text].senses) == 0) {
			continue
		}
		next := n.next[forms[j].Text]
		if next == nil && j > i {
			switch {
			case side(j):
				passed = append(passed, j)
				continue
			}
		}
		if next == nil {
			break
		}
		n = next
		if len(n.senses) > 0 {
			senses, end, sides = n.senses, j+1, append([]int(nil), passed...)
		}
	}
	if len(sides) > 0 { // only sites may hold a side word inside
		var only []Sense
		for _, s := range senses {
			if s.Kind == SiteSense || s.Kind == PlaceSense || s.Kind == NameSense {
				only = append(only, s)
			}
		}
		if only == nil {
			return l.Match(forms, i, func(int) bool { return false })
		}
		senses = only
	}
	return senses, end, sides
}

// builder gathers packs and complaints.
type builder struct {
	lex      *Lexicon
	problems []Problem
	file     string
	data     []byte
	heard    []heardDef
}

func newBuilder() *builder {
	return &builder{lex: &Lexicon{
		sites: map[string]*Site{}, byID: map[string]*Finding{}, root: &node{}, words: map[string]bool{},
	}}
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
		for _, f := range Normalize(w) {
			if count > 0 && Article(f.Text) && k < len(words)-1 {
				continue // articles are passed over in speech too
			}
			count++
			b.lex.words[f.Text] = true
			if n.next == nil {
				n.next = map[string]*node{}
			}
			if n.next[f.Text] == nil {
				n.next[f.Text] = &node{}
			}
			n = n.next[f.Text]
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
		Expected: d.Expected, Not: d.Not, Yes: d.Yes, No: d.No, Normal: d.Normal, Named: d.Named, Strict: d.Strict, NamedOnly: d.NamedOnly, EndsSide: d.EndsSide, NamedKey: d.NamedKey, Plain: map[string]bool{}, AgeBound: d.AgeBound, Covers: d.Covers,
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
			r.Quote = append(r.Quote, normalWords(q))
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
			if n = n.next[w]; n == nil {
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

// Cue reports whether a single normalized word is a cue of a kind.
func (l *Lexicon) Cue(word string, k CueKind) bool {
	n := l.root.next[word]
	if n == nil {
		return false
	}
	for _, s := range n.senses {
		if s.Kind == CueSense && s.Cue == k {
			return true
		}
	}
	return false
}
