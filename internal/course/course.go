// Package course says how an examination went, for the preceptor of a student:
// which regions were covered, in what order, how long each took, what nobody
// mentioned, and what was said of technique. It reads a note and changes nothing.
// It gives no mark, and what was not stated is never said to be not done.
package course

import (
	"cmp"
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Course is how an examination went.
type Course struct {
	// Timed says that words carry times; without them Stretches have places alone.
	Timed bool
	// Seconds is how long the recording is.
	Seconds   float64
	Stretches []Stretch
	Regions   []Region
	Technique []Technique
}

// Stretch is talk about one region, up to that about another.
type Stretch struct {
	Region     string // its id
	Span       transcript.Span
	Start, End float64 // seconds; zero where words carry no times
	Lines      int     // findings that begin in it
}

// Region is what became of one region.
type Region struct {
	ID, Title string
	// Charted counts lines that stand, Skipped those said to be not assessed.
	Charted, Skipped int
	Missing          []finding.Missing
	// Seconds is the time of its stretches together; Visits is how often it was
	// come to.
	Seconds float64
	Visits  int
}

// Technique is what was said of one way of examining.
type Technique struct {
	lexicon.Technique
	// Said are the words that speak of it, Lines the ids of lines that state it.
	Said  []transcript.Span
	Lines []string
}

// Stated says that something was said of it. It does not say that it was done.
func (t Technique) Stated() bool { return len(t.Said)+len(t.Lines) > 0 }

// Of reads the course of an examination off its note. What a person added in
// review is charted and has no place in the talk.
func Of(n review.Note, lex *lexicon.Lexicon) Course {
	d := n.Draft()
	c := Course{Timed: d.Transcript.Timed}
	if d.Transcript.Recording != nil {
		c.Seconds = d.Transcript.Recording.Seconds
	}
	c.Stretches = stretches(n, lex)
	by := map[string]*Region{}
	region := func(id string) *Region {
		if by[id] == nil {
			by[id] = &Region{ID: id}
		}
		return by[id]
	}
	for _, l := range n.Lines() {
		switch r := region(d.Item(l.Finding.ID).Region); {
		case l.State == review.Rejected:
		case l.Finding.Status == finding.NotAssessed:
			r.Skipped++
		default:
			r.Charted++
		}
	}
	for _, s := range c.Stretches {
		r := region(s.Region)
		r.Seconds += s.End - s.Start
		r.Visits++
	}
	for _, m := range n.Unmentioned() {
		r := region(d.Item(m.ID).Region)
		r.Missing = append(r.Missing, m)
	}
	for _, r := range d.Regions() {
		if v := by[r.ID]; v != nil && v.Charted+v.Skipped+v.Visits+len(v.Missing) > 0 {
			v.Title = r.Title
			c.Regions = append(c.Regions, *v)
		}
	}
	c.Technique = technique(n, lex, by)
	return c
}

// stretches follows the words on which drafted lines rest, in the order of speech.
func stretches(n review.Note, lex *lexicon.Lexicon) []Stretch {
	d := n.Draft()
	type piece struct {
		span   transcript.Span
		region string
	}
	var all []piece
	how := map[string]bool{} // says how something was examined, and is no place of its own
	for _, t := range lex.Techniques() {
		for _, id := range t.Findings {
			how[id] = true
		}
	}
	for _, l := range n.Lines() {
		if l.State == review.Added || len(l.Drafted.Evidence) == 0 || how[l.Drafted.ID] {
			continue
		}
		// The last words are those that say it; earlier ones name what they belong to.
		spans := slices.Clone(l.Drafted.Evidence)
		slices.SortFunc(spans, func(a, b transcript.Span) int { return cmp.Compare(a.Start, b.Start) })
		all = append(all, piece{spans[len(spans)-1], d.Item(l.Drafted.ID).Region})
	}
	slices.SortStableFunc(all, func(a, b piece) int {
		return cmp.Or(cmp.Compare(a.span.Start, b.span.Start), cmp.Compare(a.span.End, b.span.End))
	})
	t := d.Transcript
	var out []Stretch
	for _, p := range all {
		k := len(out) - 1
		if k < 0 || out[k].Region != p.region {
			out = append(out, Stretch{Region: p.region, Span: p.span})
			k++
		}
		out[k].Span.End = max(out[k].Span.End, p.span.End)
		out[k].Lines++
	}
	for i := range out {
		out[i].Start, out[i].End, _ = t.Times(out[i].Span)
	}
	return out
}

// technique looks for what was said of each way of examining that belongs to what
// was examined.
func technique(n review.Note, lex *lexicon.Lexicon, by map[string]*Region) []Technique {
	h := hear(n.Draft().Transcript)
	charted := map[string][]string{}
	for _, l := range n.Lines() {
		if l.State != review.Rejected {
			charted[l.Finding.ID] = append(charted[l.Finding.ID], l.ID)
		}
	}
	var out []Technique
	for _, t := range lex.Techniques() {
		r := by[t.Region]
		asked := t.Region == "" || r != nil && r.Charted+r.Skipped > 0
		if t.With != "" {
			asked = len(charted[t.With]) > 0
		}
		v := Technique{Technique: t, Said: h.find(t.Said)}
		for _, id := range t.Findings {
			v.Lines = append(v.Lines, charted[id]...)
		}
		if asked || v.Stated() {
			out = append(out, v)
		}
	}
	return out
}
