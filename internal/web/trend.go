package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// surveyed is how many of the newest examinations are counted over.
const surveyed = 500

// drafted is what is counted of one draft; no word of it.
type drafted struct {
	at time.Time
	// marks are doubts in its lines; missing is what nobody spoke of.
	marks, missing int
	// mended are lines that were changed, struck or added; it counts where the note
	// is signed.
	mended int
	signed bool
}

// trendView is a plot over time of a ward's drafts.
type trendView struct {
	Notes, Signed int
	Plots         []trendPlot
	Weeks         []weekRow
}

type trendPlot struct {
	Title, Means string
	Chart        *chart
}

// weekRow is the middle of a week's drafts: half of them have more, half less.
type weekRow struct {
	Week                   string
	Drafts, Signed         int
	Marks, Mended, Missing string
}

func (s *Server) trend(w http.ResponseWriter, r *http.Request, p *person) {
	var all []drafted
	err := p.x.Survey(r.Context(), surveyed, func(i store.NoteInfo, n review.Note) error {
		d := drafted{at: i.DraftedAt.Local(), signed: i.Status.Signed(), missing: len(n.Draft().Unmentioned())}
		for _, l := range n.Lines() {
			if l.State == review.Added {
				d.mended++
				continue
			}
			d.marks += len(l.Drafted.Marks)
			if l.State == review.Changed || l.State == review.Rejected {
				d.mended++
			}
		}
		all = append(all, d)
		return nil
	})
	if err != nil {
		s.fail(w, r, err)
		return
	}
	slices.SortStableFunc(all, func(a, b drafted) int { return a.at.Compare(b.at) })
	s.show(w, r, http.StatusOK, "trend", "Drafts over time", trendOf(all))
}

func trendOf(all []drafted) trendView {
	v := trendView{Notes: len(all)}
	var signed []drafted
	for _, d := range all {
		if d.signed {
			signed = append(signed, d)
		}
	}
	v.Signed = len(signed)
	if len(all) == 0 {
		return v
	}
	marks := func(d drafted) int { return d.marks }
	mended := func(d drafted) int { return d.mended }
	missing := func(d drafted) int { return d.missing }
	v.Plots = []trendPlot{
		{"Marks", "doubts that a draft carried", plotOf("Marks", all, marks)},
		{"Corrections", "lines that were changed, struck or added, of drafts that were signed", plotOf("Corrections", signed, mended)},
		{"Omissions", "findings of the examination that nobody mentioned", plotOf("Omissions", all, missing)},
	}
	for _, week := range byWeek(all) {
		done := slices.DeleteFunc(slices.Clone(week), func(d drafted) bool { return !d.signed })
		v.Weeks = append(v.Weeks, weekRow{weekOf(week[0].at).Format("2 Jan 2006"), len(week), len(done), middle(week, marks), middle(done, mended), middle(week, missing)})
	}
	return v
}

// byWeek parts drafts in the order of time into their weeks.
func byWeek(all []drafted) [][]drafted {
	var out [][]drafted
	for len(all) > 0 {
		begin, k := weekOf(all[0].at), 1
		for k < len(all) && weekOf(all[k].at).Equal(begin) {
			k++
		}
		out, all = append(out, all[:k]), all[k:]
	}
	return out
}

// weekOf is the Monday on which a week begins (ISO 8601).
func weekOf(t time.Time) time.Time {
	day := time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
	return day.AddDate(0, 0, -(int(day.Weekday())+6)%7)
}

// middle is the median, or a dash where there is nothing to count.
func middle(ds []drafted, of func(drafted) int) string {
	if len(ds) == 0 {
		return "–"
	}
	return halves(median(ds, of))
}

// halves writes a number that is whole or ends in a half.
func halves(n float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", n), ".0") }

func median(ds []drafted, of func(drafted) int) float64 {
	var ns []int
	for _, d := range ds {
		ns = append(ns, of(d))
	}
	slices.Sort(ns)
	return float64(ns[(len(ns)-1)/2]+ns[len(ns)/2]) / 2
}

// plotOf draws a point for each draft, and a line through the middle of each week.
func plotOf(title string, ds []drafted, of func(drafted) int) *chart {
	if len(ds) == 0 {
		return nil
	}
	const left, right, top, bottom = 44, 700, 12, 150
	v := &chart{Width: 720, Height: 180, Title: title + ", a point for each draft; the line joins the middle of each week"}
	most := 0
	for _, d := range ds {
		most = max(most, of(d))
	}
	scale := float64(max(most, 4))
	first, last := ds[0].at, ds[len(ds)-1].at
	x := func(t time.Time) float64 {
		if !last.After(first) {
			return (left + right) / 2
		}
		return round(left + (right-left)*float64(t.Sub(first))/float64(last.Sub(first)))
	}
	y := func(n float64) float64 { return round(bottom - (bottom-top)*n/scale) }
	for _, n := range []float64{0, scale / 2, scale} {
		v.Lines = append(v.Lines, chartLine{left, y(n), right, y(n)})
		v.Texts = append(v.Texts, chartText{left - 8, y(n) + 5, "end", halves(n)})
	}
	var path []string
	for _, week := range byWeek(ds) {
		for _, d := range week {
			v.Points = append(v.Points, chartPoint{X: x(d.at), Y: y(float64(of(d)))})
		}
		path = append(path, fmt.Sprintf("%g,%g", x(week[len(week)/2].at), y(median(week, of))))
	}
	v.Paths = []string{strings.Join(path, " ")}
	v.Texts = append(v.Texts, chartText{left, 172, "start", first.Format("2 Jan 2006")})
	if to := last.Format("2 Jan 2006"); to != first.Format("2 Jan 2006") {
		v.Texts = append(v.Texts, chartText{right, 172, "end", to})
	}
	return v
}
