package lexicon

import "fmt"

// Exam is a focused examination: the regions that name it, or findings of its
// own, and how a recording says that it is one.
type Exam struct {
	ID string
	// Findings are what it covers beside its regions.
	Findings map[string]bool
	// All covers every region.
	All bool
	// Parts are what "only" or "just" is said of ("ears only"); Said are wordings
	// that announce it alone ("neuro check").
	Parts, Said []Phrase
}

type examDef struct {
	ID       string   `toml:"id"`
	Findings []string `toml:"findings"`
	All      bool     `toml:"all"`
	Parts    []string `toml:"parts"`
	Said     []string `toml:"said"`
}

func (b *builder) exam(d examDef) {
	for _, e := range b.lex.exams {
		if e.ID == d.ID {
			b.complain(d.ID, fmt.Sprintf("exam %q is there twice", d.ID), "rename or remove one")
			return
		}
	}
	e := &Exam{ID: d.ID, All: d.All, Findings: map[string]bool{}, Parts: b.phrases(d.Parts), Said: b.phrases(d.Said)}
	for _, id := range d.Findings {
		if b.want(id, id) != nil {
			e.Findings[id] = true
		}
	}
	known := d.All || len(d.Findings) > 0
	for _, r := range b.lex.regions {
		for _, name := range r.Exams {
			known = known || name == d.ID
		}
	}
	if !known {
		b.complain(d.ID, fmt.Sprintf("exam %q covers nothing", d.ID), "name it in the exams of a region, or list findings, or say all = true")
	}
	b.lex.exams = append(b.lex.exams, e)
}

// Covers reports that an examination asks for a finding.
func (l *Lexicon) Covers(exam string, f *Finding) bool {
	for _, e := range l.exams {
		if e.ID == exam && (e.All || e.Findings[f.ID]) {
			return true
		}
	}
	if r := l.region(f.Region); r != nil {
		for _, name := range r.Exams {
			if name == exam {
				return true
			}
		}
	}
	return false
}

// Spoken are the examinations that a recording can say it is.
func (l *Lexicon) Spoken() []*Exam { return l.exams }

// Exams are the names that --exam takes, in order.
func (l *Lexicon) Exams() []string {
	var out []string
	seen := map[string]bool{}
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			out = append(out, name)
		}
	}
	for _, r := range l.regions {
		for _, e := range r.Exams {
			add(e)
		}
	}
	for _, e := range l.exams {
		add(e.ID)
	}
	return out
}
