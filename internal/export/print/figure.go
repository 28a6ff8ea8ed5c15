package print

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
)

// The outline of head and neck, seen from the front: the patient's right is at
// the reader's left. Our own drawing, in a box of figureWidth by figureHeight.
const (
	figureWidth  = 100.0
	figureHeight = 104.0
)

type point struct{ x, y float64 }

type ellipse struct{ x, y, rx, ry float64 }

// curve is a cubic Bézier curve.
type curve [4]point

var outlineEllipses = []ellipse{
	{50, 45, 24, 33},
	{25, 47, 3.2, 7}, {75, 47, 3.2, 7}, // ears
	{40.5, 41, 5, 2.6}, {59.5, 41, 5, 2.6}, {40.5, 41, 1.6, 1.6}, {59.5, 41, 1.6, 1.6}, // eyes, pupils
}

var outlineCurves = []curve{
	{{50, 43}, {49, 50}, {45, 55}, {46.5, 57}}, {{46.5, 57}, {48, 58.5}, {52, 58.5}, {53.5, 57}}, // nose
	{{42, 65}, {46, 63}, {54, 63}, {58, 65}}, {{42, 65}, {46, 69}, {54, 69}, {58, 65}}, // mouth
	{{39, 75}, {39, 84}, {39, 88}, {37, 91}}, {{61, 75}, {61, 84}, {61, 88}, {63, 91}}, // neck
	{{37, 91}, {31, 95}, {20, 96}, {12, 102}}, {{63, 91}, {69, 95}, {80, 96}, {88, 102}}, // shoulders
}

// anchors say where on the outline a finding lies: on the right, on the left,
// and without a side. What is not here is not drawn.
var anchors = []struct {
	ids                 string
	right, left, middle point
}{
	{"eye.", point{40.5, 41}, point{59.5, 41}, point{50, 41}},
	{"ear.", point{25, 47}, point{75, 47}, point{75, 47}},
	{"nose.", point{47, 56}, point{53, 56}, point{50, 55}},
	{"sinus.frontal", point{43, 33}, point{57, 33}, point{50, 33}},
	{"sinus.maxillary", point{39, 52}, point{61, 52}, point{50, 52}},
	{"mouth.", point{45, 65}, point{55, 65}, point{50, 65}},
	{"throat.", point{46, 67}, point{54, 67}, point{50, 67}},
	{"tmj.", point{28.5, 57}, point{71.5, 57}, point{50, 75}},
	{"jaw.", point{30, 62}, point{70, 62}, point{50, 75}},
	{"face.", point{35, 58}, point{65, 58}, point{50, 72}},
	{"scalp.", point{41, 17}, point{59, 17}, point{50, 15}},
	{"head.", point{40, 24}, point{60, 24}, point{50, 22}},
	{"temporal_artery.", point{30, 33}, point{70, 33}, point{50, 30}},
	{"carotid.", point{43, 84}, point{57, 84}, point{50, 84}},
	{"neck.", point{44, 88}, point{56, 88}, point{50, 88}},
	{"node.", point{39, 80}, point{61, 80}, point{50, 79}},
}

// pointer is a line from a place on the outline to the number of a finding.
type pointer struct {
	at, label point
	text      string
	end       bool // the label stands at the right edge
}

// figure points at what is not as expected; numbers gives the number of each
// line that has one, by its part and place in the sheet.
func figure(s export.Sheet) (pointers []pointer, numbers map[[2]int]int) {
	numbers = map[[2]int]int{}
	at := map[point][]int{}
	for i, p := range s.Parts {
		for k, l := range p.Lines {
			if !l.Unexpected && l.Changed == "" {
				continue
			}
			places := placesOf(l.Entry.ID, l.Entry.Side)
			if len(places) == 0 {
				continue
			}
			n := len(numbers) + 1
			numbers[[2]int{i, k}] = n
			for _, where := range places {
				at[where] = append(at[where], n)
			}
		}
	}
	for where, ns := range at {
		pointers = append(pointers, pointer{at: where, text: ranges(ns), end: where.x >= figureWidth/2})
	}
	slices.SortFunc(pointers, func(a, b pointer) int { return cmp.Or(cmp.Compare(a.at.y, b.at.y), cmp.Compare(a.at.x, b.at.x)) })
	next := map[bool]float64{false: 10, true: 10}
	for i := range pointers {
		p := &pointers[i]
		p.label = point{14, max(next[p.end], p.at.y)}
		if p.end {
			p.label.x = figureWidth - 14
		}
		next[p.end] = p.label.y + 6.5
	}
	return pointers, numbers
}

// ranges writes rising numbers shortly: "1, 4-6".
func ranges(ns []int) string {
	var out []string
	for i := 0; i < len(ns); {
		k := i
		for k+1 < len(ns) && ns[k+1] == ns[k]+1 {
			k++
		}
		text := fmt.Sprint(ns[i])
		if k > i {
			text += fmt.Sprintf("-%d", ns[k])
		}
		out, i = append(out, text), k+1
	}
	return strings.Join(out, ", ")
}

func placesOf(id string, side finding.Side) []point {
	for _, a := range anchors {
		if !strings.HasPrefix(id, a.ids) {
			continue
		}
		switch side {
		case finding.Right:
			return []point{a.right}
		case finding.Left:
			return []point{a.left}
		case finding.Both:
			return []point{a.right, a.left}
		}
		return []point{a.middle}
	}
	return nil
}

// caption says in words what the figure shows.
const caption = "Outline of head and neck from the front, the patient's right at the reader's left; numbers point at findings that are not as expected or changed, and stand beside them in the text."
