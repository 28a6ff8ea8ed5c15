// Package lexicon holds what the program knows: body sites, findings, the words
// that name them, and the cues that turn a sentence into a finding, a question
// or talk. All of it is data in packs, one file for a body system
// (packs/*.toml); this package loads, checks and indexes them. It depends on no
// other package of the program.
package lexicon

import "slices"

// Region is a part of the examination, in the order of examining.
type Region struct {
	ID, Title string
	// Exams are the focused examinations it belongs to ("eyes").
	Exams []string
	// Organ is the noun that a side goes with ("eye" makes "right eye"); empty where
	// a bare side is plain enough.
	Organ string
	// Named are the normalized words that announce it.
	Named [][]string
	// Body regions hold what is measured of the whole body: their nouns name a
	// finding where a number follows that can be its value ("pulse 72").
	Body bool
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
	// Anywhere sites may be of any part of the body ("skin"): in a conversation what
	// is said of one needs a nearer site.
	Anywhere bool
	// Each sites are no more than their parts ("sinuses"): what is said of one is
	// said of each part.
	Each bool
	// Wide sites are whole regions: too large for the place of a finding.
	Wide bool
	// Organs are the sites whose parts are organs of their own: a side said of one
	// holds for it alone.
	Organs bool
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
	Pair  // two numbers with one unit: a blood pressure
	Score // a total of parts
	Time  // a time of day
	Text  // words as they were said
	List  // several of them
)

var kinds = map[string]Kind{"presence": Presence, "choice": Choice, "grade": Grade, "quantity": Quantity, "clock": Clock,
	"pair": Pair, "score": Score, "time": Time, "text": Text, "list": List}

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
	at                        place
	ID, Name, Region, Meaning string
	// Body findings are measured of the whole body and have no site.
	Body  bool
	Sides Sides
	Kind  Kind
	Asked Asked
	// Values are the values allowed; empty for a quantity or clock.
	Values []string
	// Unit is the UCUM code of a quantity.
	Unit string
	// Expected holds the expected values by side ("right", "left" or "any").
	Expected map[string][]string
	// At are the sites whose ambiguous words speak of this finding.
	At []*Site
	// Also are other regions where a finding with a zone may lie.
	Also []string
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
	// Bare is charted where a time is not said with the name ("time not stated").
	Bare string
	// NamedKey is the qualifier that keeps the very word it was named by
	// ("scab"); Plain are names that are no such word.
	NamedKey string
	Plain    map[string]bool
	// Details are the qualifiers that may go with it.
	Details map[string]bool
	// Plausible is the least and the largest value that is not marked.
	Plausible [2]float64
	// Measures are the units that a body finding is measured in, the first where
	// none fits better.
	Measures []Measure
	// Tenths may be said without "point": "thirty seven two".
	Tenths bool
	// Second bounds the second number of a pair.
	Second [2]float64
	// Parts make up a score; Untestable are words said in place of a part's number.
	Parts      []Part
	Untestable map[string]bool
	// UnitDetails are units that make a number a qualifier: litres are the flow.
	UnitDetails map[string]string
	// AgeBound findings read differently in a child or in pregnancy.
	AgeBound bool
	// Together are values that can be true at once.
	Together map[string]bool
	// Directed are values with which a side is a direction ("deviated to the left").
	Directed []string
	// Implied findings are what is looked for where their site alone is named.
	Implied bool
	// Falling is the finding that the second number of a falling range gives: a
	// pupil of "three to one" is before and in light; FallsFrom is its reverse.
	Falling, FallsFrom *Finding
	// Compares says what the finding must agree with; nil where nothing.
	Compares *Comparison
	// Covers are the findings that this one stands for, for what is unmentioned.
	Covers []string
}

// Measure is one way to measure a finding.
type Measure struct {
	// Unit is a UCUM code.
	Unit string `toml:"unit"`
	// Plausible bounds what is not marked, Expected what is expected of an adult
	// without complaint; Expected is empty where no source says so.
	Plausible []float64 `toml:"plausible"`
	Expected  []float64 `toml:"expected"`
	// Unless are qualifiers that make the reading unclear: oxygen that is given.
	Unless []string `toml:"unless"`
	// Loose are unit words that may stand for it: degrees.
	Loose []string `toml:"loose"`
}

// Holds reports that v is no implausible value.
func (m *Measure) Holds(v float64) bool {
	return len(m.Plausible) != 2 || v >= m.Plausible[0] && v <= m.Plausible[1]
}

// Comparison holds a value against the two sides of another finding: "equal"
// against the sizes that were said.
type Comparison struct {
	Finding string `toml:"finding"`
	Value   string `toml:"value"`
	// Within is the least difference, in the finding's unit, that contradicts.
	Within float64 `toml:"within"`
	Source string  `toml:"source"`
}

// Part is one part of a score.
type Part struct {
	// Key is the qualifier that holds its number.
	Key string `toml:"key"`
	// Letter stands before the number in the short form: E4.
	Letter string `toml:"letter"`
	// Range is the least and the largest number.
	Range []float64 `toml:"range"`
	Terms []string  `toml:"terms"`

	forms [][]string
}

// At gives the number of words of the part's longest name that words begin with.
func (p *Part) At(words []string) int {
	best := 0
	for _, f := range p.forms {
		if len(f) > best && len(f) <= len(words) && slices.Equal(f, words[:len(f)]) {
			best = len(f)
		}
	}
	return best
}

// Allows reports whether v is one of the finding's values.
func (f *Finding) Allows(v string) bool { return slices.Contains(f.Values, v) }

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
	// Detail and Equals narrow the rule to a qualifier; Bounds to numbers of a unit
	// that lie outside.
	Detail      string
	Equals      []string
	Bounds      *Bounds
	Urgency     string
	Why, Source string
	// Quote are words of danger, quoted verbatim; Unless tells that they are none,
	// Answers what answers a question with them. Past are quoted even where they
	// were long ago, Others also where a relative is spoken of; Charted are not where a
	// finding that is listed rests on them already.
	Quote, Unless, Answers []Phrase
	Past, Others, Charted  bool
	// With narrows a rule of a finding to talk in which one of these stands.
	With []Phrase
	// Onset rules tell whether the finding is new; Well ones when the patient was
	// last without it.
	Onset, Well bool
}

// Bounds hold for numbers of one unit: the rule speaks of values at or below
// AtMost, and of those at or above AtLeast.
type Bounds struct {
	Unit    string   `toml:"unit"`
	AtMost  *float64 `toml:"at_most"`
	AtLeast *float64 `toml:"at_least"`
}

// Outside reports a value that the rule speaks of.
func (b *Bounds) Outside(v float64, unit string) bool {
	return unit == b.Unit && (b.AtMost != nil && v <= *b.AtMost || b.AtLeast != nil && v >= *b.AtLeast)
}

// Example is a sentence of a pack with what it must give, and nothing else.
type Example struct {
	Pack, Say string
	// Expect are findings in the form that docs/lexicon.md gives.
	Expect []string
	// LeftOut are the reasons for which words of it chart nothing; small talk
	// need not be listed.
	LeftOut []string
	at      place
}

// Term is one wording of a pack with what it means there.
type Term struct {
	Text  string
	Sense Sense
	at    place
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
	terms    []Term
	words    map[string]bool
	hard     []hardWord
	// heardSmall are sides and cues, by the words that they are heard as.
	heardSmall map[string]SmallWord
	voices     map[VoiceKind][]Phrase
	exams      []*Exam
	wordings   map[string]Wording
	sections   []Section
	panels     []Panel
	vitals     []Vital
	codes      []Code
	techniques []Technique
}

func (l *Lexicon) region(id string) *Region {
	for i := range l.regions {
		if l.regions[i].ID == id {
			return &l.regions[i]
		}
	}
	return nil
}

type vocabTerm struct{ region, term string }

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

// Terms are all wordings of all packs, in the order of the packs.
func (l *Lexicon) Terms() []Term { return l.terms }

// Complain makes a minor complaint at the place of the term.
func (t *Term) Complain(what, hint string) Problem { return t.at.problem(t.Text, what, hint) }

// Complain makes a minor complaint at the place of the example.
func (e *Example) Complain(what, hint string) Problem { return e.at.problem("", what, hint) }

// Complain makes a minor complaint at the place of the finding.
func (f *Finding) Complain(what, hint string) Problem { return f.at.problem(f.ID, what, hint) }

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

// Cue reports whether a single normalized word is a cue of a kind.
func (l *Lexicon) Cue(word string, k CueKind) bool {
	n := l.root.child(word)
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
