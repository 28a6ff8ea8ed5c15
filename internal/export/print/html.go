// Package print lays a note out on paper: HTML with rules for printing, and PDF
// with its structure tagged for readers, both A4 or Letter. Like every exporter
// it prints the worded sheet and changes nothing in it.
package print

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"

	"bedsaid/internal/export"
	"bedsaid/internal/note"
)

// Paper is the size of a sheet of paper.
type Paper uint8

// Sizes (ISO 216 and ANSI/ASME Y14.1).
const (
	PaperUnknown Paper = iota
	A4                 // 210 x 297 mm
	Letter             // 8.5 x 11 inches
)

// String gives the name that CSS and people use.
func (p Paper) String() string { return [...]string{"unknown", "A4", "letter"}[p] }

//go:embed note.html
var page string

// HTML writes the note as one page that needs nothing beside it: no script, no
// font, no picture is fetched, and the page itself forbids it. Whatever was said
// is escaped by html/template.
func HTML(w io.Writer, doc note.Document, paper Paper) error {
	t, err := template.New("note").Parse(page)
	if err != nil {
		return fmt.Errorf("write html: %w", err)
	}
	s := export.SheetOf(doc)
	v := view{Sheet: s, Paper: paper.String(), Caption: caption}
	pointers, numbers := pointersOf(s)
	v.Pointers = pointers
	for i, p := range s.Parts {
		part := viewPart{Title: p.Region.Title, Gaps: p.Gaps}
		for k, l := range p.Lines {
			line := viewLine{Line: l, Number: numbers[[2]int{i, k}]}
			if l.Unexpected || l.Changed != "" || l.Skipped || len(l.Checks) > 0 || l.Words != "" {
				part.Out = append(part.Out, line)
			} else {
				part.Plain = append(part.Plain, line)
			}
		}
		v.Parts = append(v.Parts, part)
	}
	for _, e := range outlineEllipses {
		v.Ellipses = append(v.Ellipses, [4]float64{e.x, e.y, e.rx, e.ry})
	}
	for _, c := range outlineCurves {
		v.Curves = append(v.Curves, template.HTMLAttr(fmt.Sprintf(`d="M%g %gC%g %g %g %g %g %g"`, c[0].x, c[0].y, c[1].x, c[1].y, c[2].x, c[2].y, c[3].x, c[3].y)))
	}
	if err := t.Execute(w, v); err != nil {
		return fmt.Errorf("write html: %w", err)
	}
	return nil
}

type view struct {
	export.Sheet
	Paper, Caption string
	Parts          []viewPart
	Pointers       []viewPointer
	Ellipses       [][4]float64
	Curves         []template.HTMLAttr
}

type viewPart struct {
	Title string
	// Out are lines that stand out, Plain run on in a paragraph.
	Out, Plain []viewLine
	Gaps       []string
}

type viewLine struct {
	export.Line
	Number int
}

type viewPointer struct {
	AtX, AtY, X, Y, TextX, TextY float64
	Text, Anchor                 string
}

func pointersOf(s export.Sheet) ([]viewPointer, map[[2]int]int) {
	ps, numbers := figure(s)
	var out []viewPointer
	for _, p := range ps {
		v := viewPointer{AtX: p.at.x, AtY: p.at.y, X: p.label.x, Y: p.label.y, TextX: p.label.x - 1, TextY: math.Round(10*(p.label.y+1.5)) / 10, Text: p.text, Anchor: "end"}
		if p.end {
			v.TextX, v.Anchor = p.label.x+1, "start"
		}
		out = append(out, v)
	}
	return out, numbers
}
