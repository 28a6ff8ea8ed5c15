package web

import (
	"fmt"
	"net/http"

	"bedsaid/internal/course"
	"bedsaid/internal/export"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// courseView is how an examination went, for a preceptor and her student.
type courseView struct {
	placed
	Timed   bool
	Length  string
	Student bool
	Order   []stretchView
	Regions []courseRegion
	// Technique is what was said of how it was done.
	Technique []techniqueView
	Chart     *chart
	Comments  []remarkView
	After     int
}

type stretchView struct {
	Title, From, To, Took string
	Lines                 int
}

type courseRegion struct {
	Title            string
	Charted, Skipped int
	Missing          []string
	Took             string
	Visits           int
}

type techniqueView struct {
	Name, Source string
	Said         []quoteView
	Lines        []lineLink
}

type quoteView struct{ Text, When string }

type lineLink struct{ To, Says string }

// course shows what was covered, in what order, what nobody mentioned, how long it
// took, and what was said of technique.
func (s *Server) course(w http.ResponseWriter, r *http.Request, p *person) {
	o, err := s.openNote(r, p, "course")
	if err != nil {
		s.fail(w, r, err)
		return
	}
	c := course.Of(o.n, s.opt.Lexicon)
	d := o.n.Draft()
	v := courseView{placed: o.placed, Timed: c.Timed, Student: o.n.Author().Role == review.Student, Comments: remarks(o.n.Comments()), After: o.n.Len()}
	if c.Timed {
		v.Length = minutes(c.Seconds)
	}
	titles := map[string]string{}
	for _, reg := range c.Regions {
		titles[reg.ID] = reg.Title
		one := courseRegion{Title: reg.Title, Charted: reg.Charted, Skipped: reg.Skipped, Visits: reg.Visits, Took: minutes(reg.Seconds)}
		for _, m := range reg.Missing {
			one.Missing = append(one.Missing, export.MissingName(d, m))
		}
		v.Regions = append(v.Regions, one)
	}
	for _, st := range c.Stretches {
		v.Order = append(v.Order, stretchView{Title: titles[st.Region], From: export.ClockTime(st.Start), To: export.ClockTime(st.End), Took: minutes(st.End - st.Start), Lines: st.Lines})
	}
	for _, t := range c.Technique {
		one := techniqueView{Name: t.Name, Source: t.Source}
		for _, span := range t.Said {
			one.Said = append(one.Said, quoteView{d.Transcript.Quote(span), export.When(d.Transcript, []transcript.Span{span})})
		}
		for _, id := range t.Lines {
			if l, ok := o.n.Line(id); ok {
				e := entryOf(d, l.Finding)
				one.Lines = append(one.Lines, lineLink{"/notes/" + o.ID + "?at=" + id + "#item-" + id, e.Item.Name + ": " + export.Statement(e)})
			}
		}
		v.Technique = append(v.Technique, one)
	}
	if c.Timed && len(c.Stretches) > 0 {
		v.Chart = courseChart(c, titles)
	}
	s.show(w, r, http.StatusOK, "course", "How it was done", v)
}

// minutes is a length of time for a person.
func minutes(seconds float64) string {
	n := int(seconds + 0.5)
	if n < 60 {
		return fmt.Sprintf("%d s", n)
	}
	return fmt.Sprintf("%d min %d s", n/60, n%60)
}

// courseChart draws regions as rows and time from left to right.
func courseChart(c course.Course, titles map[string]string) *chart {
	var rows []string
	for _, r := range c.Regions {
		if r.Visits > 0 {
			rows = append(rows, r.ID)
		}
	}
	length := max(c.Seconds, c.Stretches[len(c.Stretches)-1].End, 1)
	v := &chart{Width: 720, Height: 30*len(rows) + 28, Title: "When each region was spoken of, from the start of the recording to its end"}
	const left, right = 170, 710
	x := func(seconds float64) float64 { return left + (right-left)*min(seconds/length, 1) }
	for i, id := range rows {
		y := float64(30*i + 8)
		v.Texts = append(v.Texts, chartText{0, y + 16, "start", titles[id]})
		v.Lines = append(v.Lines, chartLine{left, y + 11, right, y + 11})
		for _, s := range c.Stretches {
			if s.Region == id {
				v.Bars = append(v.Bars, chartBar{round(x(s.Start)), y + 2, round(max(x(s.End)-x(s.Start), 3)), 18})
			}
		}
	}
	bottom := float64(30*len(rows) + 22)
	v.Texts = append(v.Texts, chartText{left, bottom, "start", "0:00"}, chartText{right, bottom, "end", export.ClockTime(length)})
	return v
}

// Covered is how many regions have a charted line.
func (v courseView) Covered() int {
	n := 0
	for _, r := range v.Regions {
		if r.Charted > 0 {
			n++
		}
	}
	return n
}
