package speech

import (
	"math"

	"bedsaid/internal/transcript"
)

// Pieces are what the decoder hears at a time. They end at pauses wherever there
// is one; the lengths come from measurement (docs/speech.md).
const (
	longestPiece = 28.0 // seconds, padding included; a decoder's window is 30 s
	aimPiece     = 22.0 // seconds: the length that costs nothing
	piecePad     = 0.3  // seconds of what is around the voice, where there is room
	quietBetween = 5.0  // a pause this long is not decoded
	seamOverlap  = 0.6  // seconds heard twice on each side of a cut within speech
	goodPause    = 0.8  // seconds: a longer one makes no better cut
	soonEnough   = 0.8  // of the wished length: a piece that long ends at the next good pause
	longestUnit  = longestPiece / 3
	leastRest    = 0.5 // seconds: a unit is not cut nearer to its end
)

// piece is a stretch to decode, in seconds.
type piece struct {
	transcript.Interval
	// cutStart and cutEnd are the cuts inside speech, where the piece overlaps its
	// neighbour by seamOverlap on each side; NaN where it begins or ends in a pause.
	cutStart, cutEnd float64
}

// cutter groups units, as they are found, into pieces. It knows nothing of what
// comes after, so that sound that is still being made is cut as a recording is.
type cutter struct {
	aim   float64 // the wished length of a piece
	open  []unit  // of the piece that may still grow
	since float64 // where the voice before it ended; -1 at the beginning
	done  []piece // since take
}

// take gives the pieces that were closed since it was last asked.
func (c *cutter) take() []piece {
	p := c.done
	c.done = nil
	return p
}

// add takes the next unit.
func (c *cutter) add(u unit) {
	for len(c.open) > 0 {
		n := len(c.open)
		switch {
		case u.Start-c.open[n-1].End >= quietBetween:
			c.close(n, nil)
		case u.End-c.open[0].Start+2*max(piecePad, seamOverlap) > longestPiece:
			c.close(c.bestCut(u), &u)
		default:
			c.open = append(c.open, u)
			return
		}
	}
	c.open = append(c.open, u)
}

// pause takes the time up to which nobody has spoken since the last unit.
func (c *cutter) pause(now float64) {
	n := len(c.open)
	if n == 0 {
		return
	}
	gap := now - c.open[n-1].End
	if gap >= quietBetween || gap >= goodPause && c.length(n) >= soonEnough*c.aim {
		c.close(n, nil)
	}
}

// end closes what is open.
func (c *cutter) end() {
	if len(c.open) > 0 {
		c.close(len(c.open), nil)
	}
}

// length is that of a piece of the first n open units.
func (c *cutter) length(n int) float64 {
	return c.open[n-1].End - c.open[0].Start + 2*max(piecePad, seamOverlap)
}

// bestCut says how many of the open units make the piece that costs least, where
// u comes after them: short pieces cost, cuts in short pauses cost, cuts within
// speech cost most.
func (c *cutter) bestCut(u unit) int {
	best, at := math.Inf(1), len(c.open)
	for n := 1; n <= len(c.open); n++ {
		next := u
		if n < len(c.open) {
			next = c.open[n]
		}
		d := (c.aim - c.length(n)) / c.aim
		cost := 4 * d * d
		if next.bare {
			cost += 5
		} else {
			cost += 1.5 * max(0, 1-(next.Start-c.open[n-1].End)/goodPause)
		}
		if cost <= best {
			best, at = cost, n
		}
	}
	return at
}

// close makes a piece of the first n open units.
func (c *cutter) close(n int, next *unit) {
	if n < len(c.open) {
		next = &c.open[n]
	}
	c.done = append(c.done, c.piece(n, next))
	c.since = c.open[n-1].End
	c.open = append([]unit(nil), c.open[n:]...)
}

// piece is that of the first n open units; next is what follows them, nil where
// it is far or not known.
func (c *cutter) piece(n int, next *unit) piece {
	p := piece{transcript.Interval{Start: c.open[0].Start, End: c.open[n-1].End}, math.NaN(), math.NaN()}
	switch {
	case c.open[0].bare:
		p.cutStart = p.Start
		p.Start -= seamOverlap
	case c.since >= 0:
		p.Start -= min(piecePad, (p.Start-c.since)/2)
	default:
		p.Start -= piecePad
	}
	switch {
	case next != nil && next.bare:
		p.cutEnd = p.End
		p.End += seamOverlap
	case next != nil:
		p.End += min(piecePad, (next.Start-p.End)/2)
	default:
		p.End += piecePad
	}
	p.Start = max(0, p.Start)
	return p
}

// halves splits a piece in two at its best pause near the middle.
func (p piece) halves(v voice) (piece, piece) {
	length := p.End - p.Start
	from, to := p.Start+0.3*length, p.End-0.3*length
	// The widest gap between intervals that lies in the middle.
	cut, width := math.NaN(), 0.0
	for i := 1; i < len(v.intervals); i++ {
		a, b := v.intervals[i-1].End, v.intervals[i].Start
		if mid := (a + b) / 2; mid > from && mid < to && b-a > width {
			cut, width = mid, b-a
		}
	}
	a, b := p, p
	if !math.IsNaN(cut) {
		a.End, a.cutEnd = cut, math.NaN()
		b.Start, b.cutStart = cut, math.NaN()
		return a, b
	}
	cut = v.quietest(from, to)
	a.End, a.cutEnd = min(p.End, cut+seamOverlap), cut
	b.Start, b.cutStart = max(p.Start, cut-seamOverlap), cut
	return a, b
}
