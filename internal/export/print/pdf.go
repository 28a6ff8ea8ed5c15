package print

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"golang.org/x/image/font/sfnt"

	"bedsaid/internal/export"
	"bedsaid/internal/note"
)

// Sizes of type in points.
const (
	titleSize = 14.0
	headSize  = 8.5
	textSize  = 9.0
	smallSize = 7.0
)

// GlyphError says that the print font lacks characters of the note. It does not
// hold them: they may be part of a name.
type GlyphError struct{ Count int }

func (e *GlyphError) Error() string {
	return fmt.Sprintf("write pdf: the print font lacks %d of the note's characters", e.Count)
}

// Hint says what the user can do.
func (e *GlyphError) Hint() string {
	return "export to html and print it with a browser, which has more fonts"
}

// PDF writes the note for paper: tagged for readers, fonts embedded (DejaVu Sans
// Condensed: Latin, Greek, Cyrillic and more), the same bytes for the same
// document. A note with a character that the font lacks is a GlyphError, since
// an empty box in a name would go unseen.
func PDF(w io.Writer, doc note.Document, paper Paper) error {
	s := export.SheetOf(doc)
	pointers, numbers := figure(s)
	blocks := blocksOf(s, numbers)
	if n := missingGlyphs(blocks, s); n > 0 {
		return &GlyphError{n}
	}
	pages := 0
	t := set(doc, s, blocks, pointers, paper, 0)
	if pages = t.f.PageNo(); t.f.Error() == nil {
		t = set(doc, s, blocks, pointers, paper, pages) // now that "page 1 of 2" is known
	}
	var raw bytes.Buffer
	if err := t.f.Output(&raw); err != nil {
		return fmt.Errorf("write pdf: %w", err)
	}
	out, err := tag(raw.Bytes(), t.tree, pages)
	if err != nil {
		return fmt.Errorf("write pdf: %w", err)
	}
	if _, err := w.Write(out); err != nil {
		return fmt.Errorf("write pdf: %w", err)
	}
	return nil
}

func set(doc note.Document, s export.Sheet, blocks []block, pointers []pointer, paper Paper, pages int) *typesetter {
	f := fpdf.New("P", "mm", paper.String(), "")
	f.SetAutoPageBreak(false, 0)
	f.SetCatalogSort(true)
	f.SetCreationDate(doc.Head.EnteredAt)
	f.SetModificationDate(doc.Head.EnteredAt)
	f.SetTitle(strings.TrimSpace(s.Title+" "+s.Watermark), true)
	f.SetLang("en")
	f.AddUTF8FontFromBytes(family, "", dejavusanscondensed.TTF)
	f.AddUTF8FontFromBytes(family, "B", dejavusanscondensedbold.TTF)
	width, height := f.GetPageSize()
	t := &typesetter{f: f, width: width - 2*margin, height: height}
	t.foot = func(page int) {
		f.SetFont(family, "", smallSize)
		y := height - margin + 3
		f.Text(margin, y, footText(s))
		right := fmt.Sprintf("page %d of %d", page+1, pages)
		f.Text(width-margin-f.GetStringWidth(right), y, right)
	}
	t.backing = func() {
		if s.Watermark == "" {
			return
		}
		f.SetFont(family, "B", 40)
		f.SetTextColor(236, 236, 236)
		f.TransformBegin()
		f.TransformRotate(50, width/2, height/2)
		f.Text(width/2-f.GetStringWidth(s.Watermark)/2, height/2, s.Watermark)
		f.TransformEnd()
		f.SetTextColor(0, 0, 0)
	}
	t.newPage()
	beside := figureAfter(blocks)
	for i, b := range blocks {
		if i == beside && len(pointers) > 0 {
			t.figure(pointers)
		}
		t.flow(b)
	}
	return t
}

// footText says on every page whose note it is and how far it has come.
func footText(s export.Sheet) string {
	return clip(strings.Join([]string{s.Head[0].Text, s.Head[1].Text, "examined " + s.Head[2].Text, s.Head[5].Text}, "; "), 120)
}

func clip(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n]) + "..."
	}
	return s
}

// figureAfter is where the findings begin: the figure stands beside them.
func figureAfter(blocks []block) int {
	for i, b := range blocks {
		if b.role == "H2" && b.ruled {
			return i
		}
	}
	return 0
}

func bold(text string) run  { return run{text, true} }
func plain(text string) run { return run{text, false} }

func blocksOf(s export.Sheet, numbers map[[2]int]int) []block {
	out := []block{{role: "H1", runs: []run{bold(s.Title)}, size: titleSize}}
	add := func(role string, size, before float64, runs ...run) *block {
		out = append(out, block{role: role, runs: runs, size: size, before: before})
		return &out[len(out)-1]
	}
	heading := func(title string) {
		b := add("H2", textSize+0.5, 1.6, bold(title))
		b.ruled, b.keep = true, true
	}
	fields := func(size float64, fs []export.Field) {
		for _, f := range fs {
			add("P", size, 0.2, bold(f.Label+": "), plain(f.Text))
		}
	}
	if s.Watermark != "" {
		add("P", textSize, 0.5, bold(s.Watermark)).boxed = true
	}
	for i := 0; i < len(s.Head); i += 2 {
		runs := []run{bold(s.Head[i].Label + ": "), plain(s.Head[i].Text)}
		if i+1 < len(s.Head) {
			runs = append(runs, plain("; "), bold(s.Head[i+1].Label+": "), plain(s.Head[i+1].Text))
		}
		add("P", headSize, 0.3, runs...)
	}
	for _, a := range s.Alerts {
		add("P", textSize, 0.8, bold(a)).boxed = true
	}
	if len(s.Action) > 0 {
		add("H2", textSize+0.5, 1.6, bold("Needs action (advice; your local protocol comes first)")).keep = true
	}
	for _, a := range s.Action {
		add("P", headSize, 0.2, bold(a.Urgency+" "), plain(a.Text())).hang = 4
	}
	if len(s.Changes) > 0 {
		heading("Different from the earlier note")
	}
	for _, g := range s.Changes {
		for _, r := range g.Rows {
			add("P", headSize, 0.2, bold(g.Title+": "+r.What+": "), plain(r.After+" (before: "+r.Before+")")).hang = 4
		}
	}
	if len(s.Parts) == 0 {
		heading("Findings")
		add("P", textSize, 0.3, plain("No finding was understood."))
	}
	for i, p := range s.Parts {
		heading(p.Region.Title)
		out = append(out, partBlocks(p, i, numbers)...)
	}
	add("P", smallSize, 0.8, plain("! not as expected of a healthy adult; * changed; - said to be not assessed; ? a doubt, to be checked. A number stands in the drawing."))
	if len(s.Missing) > 0 {
		heading("Not mentioned (not charted, neither as normal nor as abnormal)")
		var runs []run
		for i, f := range s.Missing {
			if i > 0 {
				runs = append(runs, plain("; "))
			}
			runs = append(runs, bold(f.Label+": "), plain(f.Text))
		}
		add("P", smallSize, 0.3, runs...)
	}
	if len(s.Addenda) > 0 {
		heading("Addenda")
		fields(textSize, s.Addenda)
	}
	if len(s.Talk) > 0 {
		heading("Heard and left out of the findings")
		fields(smallSize, s.Talk)
	}
	if s.Transcript != "" {
		heading("All that was said")
		add("P", smallSize, 0.3, plain(s.Transcript))
	}
	heading("Before you use this")
	add("P", smallSize, 0.3, plain(strings.Join(s.Cautions, " ")))
	add("P", smallSize, 0.3, bold("Made by: "), plain(s.MadeBy))
	return out
}

// partBlocks gives what stands out a line of its own, in bold with its sign, and
// the rest as a paragraph.
func partBlocks(p export.Part, i int, numbers map[[2]int]int) []block {
	var out []block
	var rest []run
	for k, l := range p.Lines {
		sign := sign(l, numbers[[2]int{i, k}])
		if sign == "" && l.Words == "" {
			if len(rest) > 0 {
				rest = append(rest, plain("; "))
			}
			rest = append(rest, plain(l.Text()))
			continue
		}
		runs := []run{bold(sign), {l.Text(), l.Unexpected || l.Changed != ""}}
		if l.Changed != "" {
			runs = append(runs, plain(" ("+l.Changed+")"))
		}
		for _, c := range l.Checks {
			runs = append(runs, plain(" [check: "+c+"]"))
		}
		if l.Words != "" {
			runs = append(runs, plain(" [words: "+strings.TrimSpace(l.Words+" "+l.When)+"]"))
		}
		out = append(out, block{role: "P", runs: runs, size: textSize, before: 0.1, hang: 4})
	}
	if len(rest) > 0 {
		out = append(out, block{role: "P", runs: rest, size: textSize, before: 0.2})
	}
	for _, g := range p.Gaps {
		out = append(out, block{role: "P", runs: []run{bold(g)}, size: textSize, before: 0.4, boxed: true})
	}
	return out
}

func sign(l export.Line, number int) string {
	out := ""
	if l.Unexpected {
		out += "!"
	}
	if l.Changed != "" {
		out += "*"
	}
	if l.Skipped {
		out += "-"
	}
	if len(l.Checks) > 0 {
		out += "?"
	}
	if number > 0 {
		out += fmt.Sprintf(" (%d)", number)
	}
	if out != "" {
		out += " "
	}
	return out
}

// missingGlyphs counts the characters of the text that the font has no shape for.
func missingGlyphs(blocks []block, s export.Sheet) int {
	font, err := sfnt.Parse(dejavusanscondensed.TTF)
	if err != nil {
		return 0 // fpdf says what is wrong with the font
	}
	var buf sfnt.Buffer
	known := map[rune]bool{}
	n := 0
	count := func(text string) {
		for _, r := range text {
			has, seen := known[r]
			if !seen {
				g, err := font.GlyphIndex(&buf, r)
				has = err == nil && g != 0
				known[r] = has
			}
			if !has {
				n++
			}
		}
	}
	for _, b := range blocks {
		for _, r := range b.runs {
			count(r.text)
		}
	}
	count(footText(s))
	return n
}

// figure draws the outline at the right, beside the text that follows.
func (t *typesetter) figure(pointers []pointer) {
	const size, side = 46.0, 5.0 // mm of drawing, and of numbers beside it
	k := size / figureWidth
	left, top := margin+t.width-size-side, t.y+1
	if t.room() < figureHeight*k+4 {
		t.newPage()
		top = t.y
	}
	e := element{role: "Figure", alt: caption}
	t.tagged(&e, func() {
		f := t.f
		f.SetLineWidth(0.3)
		for _, x := range outlineEllipses {
			f.Ellipse(left+x.x*k, top+x.y*k, x.rx*k, x.ry*k, 0, "D")
		}
		for _, c := range outlineCurves {
			f.CurveBezierCubic(left+c[0].x*k, top+c[0].y*k, left+c[1].x*k, top+c[1].y*k, left+c[2].x*k, top+c[2].y*k, left+c[3].x*k, top+c[3].y*k, "D")
		}
		t.face(plain(""), smallSize)
		f.Text(left-side, top+4*k, "right")
		f.Text(left+size+side-f.GetStringWidth("left"), top+4*k, "left")
		t.face(bold(""), smallSize+0.5)
		f.SetLineWidth(0.15)
		for _, p := range pointers {
			f.Line(left+p.at.x*k, top+p.at.y*k, left+p.label.x*k, top+p.label.y*k)
			f.Circle(left+p.at.x*k, top+p.at.y*k, 0.45, "F")
			x := left + p.label.x*k + 0.6
			if !p.end {
				x = left + p.label.x*k - 0.6 - f.GetStringWidth(p.text)
			}
			f.Text(x, top+p.label.y*k+0.9, p.text)
		}
	})
	t.tree = append(t.tree, e)
	t.indent, t.until = size+2*side, top+figureHeight*k+1
}
