package print

import (
	"fmt"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// Measures in millimetres, sizes of type in points.
const (
	margin    = 15.0
	topMargin = 13.0
	footSpace = 2.0
	pointMM   = 25.4 / 72
	leading   = 1.25
)

// run is text in one face.
type run struct {
	text string
	bold bool
}

// block is a paragraph: what a reader's program takes as one element.
type block struct {
	role string // H1, H2, P: standard structure types of PDF (ISO 32000-1, 14.8.4)
	runs []run
	size float64
	// before is the space above; hang indents all lines but the first.
	before, hang float64
	boxed, ruled bool
	// keep wants the next block to begin on the same page.
	keep bool
}

// line is a laid out line: pieces at their places.
type line []piece

type piece struct {
	run
	x float64
}

// element is one node of the structure tree with its content, page by page.
type element struct {
	role, alt string
	marks     []mark
}

// mark is a piece of marked content: the page (from 0) and its number there.
type mark struct{ page, id int }

// typesetter flows blocks onto pages and records what belongs to which element.
type typesetter struct {
	f       *fpdf.Fpdf
	width   float64 // of the text
	height  float64 // of the page
	y       float64
	indent  float64 // taken off at the right, for a figure that stands there, above until
	until   float64
	onPage  int
	marks   []int // marked content used so far, by page
	tree    []element
	foot    func(page int)
	backing func()
}

const family = "sans"

func (t *typesetter) face(r run, size float64) {
	style := ""
	if r.bold {
		style = "B"
	}
	t.f.SetFont(family, style, size)
}

// newPage begins a page with what stands on every one, outside of the tree.
func (t *typesetter) newPage() {
	t.f.AddPage()
	t.onPage = t.f.PageNo() - 1
	t.marks = append(t.marks, 0)
	t.artifact(t.backing)
	t.artifact(func() { t.foot(t.onPage) })
	t.y, t.until = topMargin, 0
}

func (t *typesetter) artifact(draw func()) {
	t.f.RawWriteStr("/Artifact BMC")
	draw()
	t.f.RawWriteStr("EMC")
}

// tagged draws as content of an element.
func (t *typesetter) tagged(e *element, draw func()) {
	id := t.marks[t.onPage]
	t.marks[t.onPage]++
	e.marks = append(e.marks, mark{t.onPage, id})
	t.f.RawWriteStr(fmt.Sprintf("/%s <</MCID %d>> BDC", e.role, id))
	draw()
	t.f.RawWriteStr("EMC")
}

func (t *typesetter) room() float64 { return t.height - margin - footSpace - t.y }

// lines breaks a block at spaces; a word that is wider than the line is broken
// between letters.
func (t *typesetter) lines(b block, width float64) []line {
	var out []line
	var cur line
	x := 0.0
	flush := func() {
		if len(cur) > 0 {
			out = append(out, cur)
		}
		cur, x = nil, b.hang
	}
	for _, r := range b.runs {
		t.face(r, b.size)
		space := t.f.GetStringWidth(" ")
		// Non-breaking spaces hold a number to its unit.
		for i, word := range strings.Split(r.text, " ") {
			if i > 0 {
				x += space
			}
			for word != "" {
				fits := word
				for t.f.GetStringWidth(fits) > width-b.hang {
					runes := []rune(fits)
					fits = string(runes[:len(runes)-1])
				}
				w := t.f.GetStringWidth(fits)
				if x+w > width && len(cur) > 0 {
					flush()
				}
				cur = append(cur, piece{run{fits, r.bold}, x})
				x += w
				word = word[len(fits):]
			}
		}
	}
	if len(cur) > 0 {
		out = append(out, cur)
	}
	return out
}

// flow sets a block; its lines may go over to the next page.
func (t *typesetter) flow(b block) {
	step := b.size * pointMM * leading
	t.y += b.before
	width := t.width
	if t.y < t.until {
		width -= t.indent
	}
	pad := 0.0
	if b.boxed {
		pad = 1
		width -= 2 * 2 * pad
	}
	lines := t.lines(b, width)
	need := step*min(float64(len(lines)), 2) + 2*pad
	if b.keep {
		need += 3 * step
	}
	if b.boxed {
		need = step*float64(len(lines)) + 2*pad
	}
	if t.room() < need {
		t.newPage()
	}
	e := element{role: b.role}
	top := t.y
	t.y += pad
	for _, l := range lines {
		if t.room() < step {
			t.newPage()
		}
		t.tagged(&e, func() {
			for _, p := range joined(l, t, b.size) {
				t.face(p.run, b.size)
				t.f.Text(margin+2*pad+p.x, t.y+b.size*pointMM, p.text)
			}
		})
		t.y += step
	}
	t.y += pad
	t.artifact(func() {
		if b.boxed {
			t.f.SetLineWidth(0.5)
			t.f.Rect(margin, top, width+4*pad, t.y-top, "D")
		}
		if b.ruled {
			t.f.SetLineWidth(0.25)
			t.f.Line(margin, t.y+0.2, margin+width, t.y+0.2)
		}
	})
	if b.ruled {
		t.y += 0.8
	}
	t.tree = append(t.tree, e)
}

// joined puts neighbouring words of one face into one piece with their spaces,
// so that a program that reads the page finds words, not letters.
func joined(pieces []piece, t *typesetter, size float64) []piece {
	var out []piece
	for _, p := range pieces {
		n := len(out)
		if n > 0 && out[n-1].bold == p.bold {
			last := &out[n-1]
			t.face(last.run, size)
			gap := p.x - last.x - t.f.GetStringWidth(last.text)
			if gap > 0.1 {
				last.text += " "
			}
			last.text += p.text
			continue
		}
		out = append(out, p)
	}
	return out
}
