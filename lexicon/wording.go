package lexicon

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"text/template"
)

// Parts is what a wording may say of one finding, each part already in words;
// a part that does not apply is empty.
type Parts struct {
	// Where is the place with its side: "right eye", "occiput".
	Where string
	// Value is the word or the number found, with its direction; High the upper
	// end of a range; Unit the unit in words ("mm", "o'clock").
	Value, High, Unit string
	// Sign stands after a grade ("+"), Of is the top of the scale as spoken.
	Sign, Of string
	// Details are the qualifiers and who reported it, joined with commas.
	Details string
	// Skipped says that it was not assessed; Reason is why, in the words said.
	Skipped bool
	Reason  string
}

// Wording is how findings of one kind are said in a note. The zero value says
// place, value and details in a row: what no pack knows is said so.
type Wording struct{ says *template.Template }

// NotAssessed is the kind of wording for whatever was said to be not assessed.
const NotAssessed = "not_assessed"

const plainWording = `{{with .Where}}{{.}}: {{end}}` +
	`{{if .Skipped}}not assessed{{with .Reason}}: "{{.}}"{{else}}, no reason said{{end}}` +
	`{{else}}{{.Value}}{{with .High}} to {{.}}{{end}}{{.Sign}}{{with .Of}} of {{.}}{{end}}{{with .Unit}} {{.}}{{end}}{{end}}` +
	`{{with .Details}}, {{.}}{{end}}`

// Say words one finding. What the kind's wording has no place for (a unit
// beside a word, say) is not lost: such a phrase is said in the plain form.
func (w Wording) Say(p Parts) string {
	if w.says != nil {
		if text, err := p.in(w.says); err == nil && p.lost(text) == "" {
			return text
		}
	}
	text, err := p.in(template.Must(template.New("plain").Parse(plainWording)))
	if err != nil {
		panic(err) // it is a constant, and a strings.Builder does not fail
	}
	return text
}

func (p Parts) in(t *template.Template) (string, error) {
	var b strings.Builder
	err := t.Execute(&b, p)
	return b.String(), err
}

// lost gives the first part of the phrase that a text does not hold.
func (p Parts) lost(text string) string {
	for _, part := range []string{p.Where, p.Value, p.High, p.Unit, p.Sign, p.Of, p.Details, p.Reason} {
		if !strings.Contains(text, part) {
			return part
		}
	}
	return ""
}

type wordingDef struct {
	Kind string `toml:"kind"`
	Says string `toml:"says"`
}

// probe is a phrase whose every part is a word of its own: a wording that leaves
// one out would lose a side or a value in every note.
func probe(kind string) Parts {
	p := Parts{Where: "(where)", Details: "(details)"}
	if kind == NotAssessed {
		p.Reason, p.Skipped = "(reason)", true
		return p
	}
	p.Value = "(value)"
	switch kind {
	case "quantity":
		p.High, p.Unit = "(high)", "(unit)"
	case "grade":
		p.High, p.Sign, p.Of = "(high)", "(sign)", "(of)"
	case "clock", "pair":
		p.Unit = "(unit)"
	case "score":
		p.High, p.Of = "(high)", "(of)"
	}
	return p
}

func parseWording(d wordingDef) (Wording, error) {
	if _, ok := kinds[d.Kind]; !ok && d.Kind != NotAssessed {
		known := append(slices.Sorted(maps.Keys(kinds)), NotAssessed)
		return Wording{}, fmt.Errorf("wording of unknown kind %q (one of %s)", d.Kind, strings.Join(known, ", "))
	}
	t, err := template.New(d.Kind).Option("missingkey=error").Parse(d.Says)
	if err != nil {
		return Wording{}, fmt.Errorf("wording of %s cannot be read (%w)", d.Kind, err)
	}
	p := probe(d.Kind)
	text, err := p.in(t)
	if err != nil {
		return Wording{}, fmt.Errorf("wording of %s cannot be used (%w)", d.Kind, err)
	}
	if lost := p.lost(text); lost != "" {
		return Wording{}, fmt.Errorf("wording of %s loses the %s", d.Kind, strings.Trim(lost, "()"))
	}
	return Wording{t}, nil
}

// Wording gives the wording of a kind of finding, or of NotAssessed. That of a
// later pack replaces that of an earlier one.
func (l *Lexicon) Wording(kind string) Wording { return l.wordings[kind] }

// String gives the word that packs use for the kind.
func (k Kind) String() string {
	for name, is := range kinds {
		if is == k {
			return name
		}
	}
	return "unknown"
}

// Section names the section of a document that a region's findings go to.
type Section struct {
	Region string `toml:"region"`
	// Code and Display are a LOINC code and its name.
	Code    string `toml:"loinc"`
	Display string `toml:"display"`
}

// Panel groups findings that are read together.
type Panel struct {
	// Code and Display are a LOINC code and its name.
	Code    string `toml:"loinc"`
	Display string `toml:"display"`
	// Findings are ids, or a prefix of ids ending in a dot.
	Findings []string `toml:"findings"`
}

// Vital names the LOINC codes of a vital sign.
type Vital struct {
	Finding string   `toml:"finding"`
	Codes   []string `toml:"loinc"`
	// First and Second are those of the numbers of a pair.
	First  string `toml:"first"`
	Second string `toml:"second"`
}

// Vital gives the codes of a finding that is a vital sign.
func (l *Lexicon) Vital(id string) (v Vital, ok bool) {
	for _, v := range l.vitals {
		if v.Finding == id {
			return v, true
		}
	}
	return Vital{}, false
}

// Code is a code that a site adds to a finding, or to its place, in FHIR: from a
// terminology that it holds a licence for. The built-in packs have none.
type Code struct {
	// Finding is the id; Side ("right", "left", "both") narrows it, Place says
	// that the code is of the place and not of the finding.
	Finding string `toml:"finding"`
	Side    string `toml:"side"`
	Place   bool   `toml:"place"`
	// System is the terminology's URI.
	System  string `toml:"system"`
	Code    string `toml:"code"`
	Display string `toml:"display"`
}

// Codes gives the site's codes of a finding on a side, or of its place.
func (l *Lexicon) Codes(id, side string, place bool) []Code {
	var out []Code
	for _, c := range l.codes {
		if c.Finding == id && c.Place == place && (c.Side == "" || c.Side == side) {
			out = append(out, c)
		}
	}
	return out
}

// Section gives a region's section; ok is false where no pack names a code.
func (l *Lexicon) Section(region string) (s Section, ok bool) {
	for _, s := range l.sections {
		if s.Region == region {
			return s, true
		}
	}
	return Section{}, false
}

// Panels are the groups of findings that are read together.
func (l *Lexicon) Panels() []Panel { return l.panels }

// Holds reports whether a finding belongs to the panel.
func (p Panel) Holds(id string) bool {
	return slices.ContainsFunc(p.Findings, func(x string) bool {
		return x == id || strings.HasSuffix(x, ".") && strings.HasPrefix(id, x)
	})
}

// documents adds what a pack says of how findings are worded and coded.
func (b *builder) documents(pf *packFile) {
	l := b.lex
	for i, d := range pf.Wordings {
		b.enter("wording", i)
		w, err := parseWording(d)
		if err != nil {
			b.complain(d.Kind, err.Error(), "docs/lexicon.md lists what a wording must hold")
			continue
		}
		l.wordings[d.Kind] = w
	}
	l.sections = append(l.sections, pf.Sections...)
	l.panels = append(l.panels, pf.Panels...)
	l.vitals = append(l.vitals, pf.Vitals...)
	for i, c := range pf.Codes {
		b.enter("code", i)
		if b.want(c.Finding, c.Finding) != nil && (c.System == "" || c.Code == "") {
			b.complain(c.Finding, "code without its system or without the code", `write system = "..." and code = "..."`)
		}
		l.codes = append(l.codes, c)
	}
}
