package web

import "math"

// chart is a drawing of bars, lines and points, with its words. What it shows
// stands in a table beside it as well.
type chart struct {
	Width, Height int
	Title         string
	Bars          []chartBar
	Lines         []chartLine
	Points        []chartPoint
	// Paths join points, "x,y x,y"; Texts label them.
	Paths []string
	Texts []chartText
}

type chartBar struct{ X, Y, W, H float64 }

type chartLine struct{ X1, Y1, X2, Y2 float64 }

type chartPoint struct{ X, Y float64 }

type chartText struct {
	X, Y   float64
	Anchor string
	Text   string
}

func round(x float64) float64 { return math.Round(10*x) / 10 }
