package lexicon

import "fmt"

// Technique is a way of examining that a preceptor looks for in what was said. It
// charts nothing: what was said of it is quoted, and what nobody spoke of was not
// stated, which does not mean that it was not done.
type Technique struct {
	ID, Name string
	// Region is that of the examination to which it belongs; empty for all.
	Region string
	// Said are wordings that speak of it; Findings those that state it where they
	// are charted.
	Said     []Phrase
	Findings []string
	// With is the finding beside which it is asked for; empty where the region
	// asks for it.
	With   string
	Source string
}

type techniqueDef struct {
	ID       string   `toml:"id"`
	Name     string   `toml:"name"`
	Region   string   `toml:"region"`
	Said     []string `toml:"said"`
	Findings []string `toml:"findings"`
	With     string   `toml:"with"`
	Source   string   `toml:"source"`
}

// Techniques are the ways of examining that packs name, in their order.
func (l *Lexicon) Techniques() []Technique { return l.techniques }

func (b *builder) technique(d techniqueDef) {
	if d.ID == "" || d.Name == "" || len(d.Said)+len(d.Findings) == 0 {
		b.complain(d.ID, "technique without id, name, or anything that states it", "write id, name, and said or findings")
		return
	}
	if d.Source == "" {
		b.complain(d.ID, fmt.Sprintf("technique %q has no source", d.ID), "name the source, or write: common practice, no source")
	}
	if d.Region != "" && b.lex.region(d.Region) == nil {
		b.complain(d.Region, fmt.Sprintf("technique %q is of unknown region %q", d.ID, d.Region), "check the id")
	}
	for _, id := range append([]string{d.With}, d.Findings...) {
		if id != "" {
			b.want(id, d.ID)
		}
	}
	b.lex.techniques = append(b.lex.techniques, Technique{ID: d.ID, Name: d.Name, Region: d.Region, Said: b.phrases(d.Said), Findings: d.Findings, With: d.With, Source: d.Source})
}
