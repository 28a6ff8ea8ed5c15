package speech

import (
	"math"

	"bedsaid/internal/audio"
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
)

// piece is a stretch to decode, in seconds.
type piece struct {
	transcript.Interval
	// cutStart and cutEnd are the cuts inside speech, where the piece overlaps its
	// neighbour by seamOverlap on each side; NaN where it begins or ends in a pause.
	cutStart, cutEnd float64
}

// unit is a stretch that is never cut: a voiced interval, or a part of one that
// is too long, in which case bare says that it touches the unit before.
type unit struct {
	transcript.Interval
	bare bool
}

// planPieces groups the voiced intervals into pieces. aim is the wished length.
func planPieces(v Voice, total, aim float64) []piece {
	return joinUnits(splitUnits(v), total, aim)
}

// splitUnits cuts intervals that are too long at their quietest moments.
func splitUnits(v Voice) []unit {
	var out []unit
	for _, iv := range v.Intervals {
		bare := false
		for iv.End-iv.Start > longestPiece/3 {
			// The quietest fifth of a second in the second half of what may be taken.
			cut := v.quietest(iv.Start+longestPiece/6, min(iv.Start+longestPiece/3, iv.End-0.5))
			out = append(out, unit{transcript.Interval{Start: iv.Start, End: cut}, bare})
			iv.Start, bare = cut, true
		}
		out = append(out, unit{iv, bare})
	}
	return out
}

// quietest is the moment between from and to where the sound is lowest.
func (v Voice) quietest(from, to float64) float64 {
	best, at := math.Inf(1), (from+to)/2
	const reach = 6
	for i := int(from / hopSeconds); i <= int(to/hopSeconds); i++ {
		var sum float64
		for k := max(0, i-reach); k <= min(len(v.score)-1, i+reach); k++ {
			sum += float64(v.score[k])
		}
		if sum < best {
			best, at = sum, (float64(i)+0.5)*hopSeconds
		}
	}
	return min(max(at, from), to)
}

// joinUnits chooses the cuts that cost least: short pieces cost, cuts in short
// pauses cost, cuts within speech cost most.
func joinUnits(units []unit, total, aim float64) []piece {
	n := len(units)
	best := make([]float64, n+1) // best[i]: cost of the first i units
	from := make([]int, n+1)
	for i := 1; i <= n; i++ {
		best[i] = math.Inf(1)
		for j := i - 1; j >= 0; j-- {
			// A piece of units j to i-1.
			if j < i-1 && units[j+1].Start-units[j].End >= quietBetween {
				break
			}
			length := units[i-1].End - units[j].Start + 2*max(piecePad, seamOverlap)
			if length > longestPiece && j < i-1 {
				break
			}
			cost := best[j] + 0.3
			if d := (aim - length) / aim; d > 0 {
				cost += 2 * d * d
			} else {
				cost += 4 * d * d
			}
			if j > 0 {
				cost += cutCost(units[j-1], units[j])
			}
			if cost < best[i] {
				best[i], from[i] = cost, j
			}
		}
	}
	var cuts []int
	for i := n; i > 0; i = from[i] {
		cuts = append(cuts, i)
	}
	var out []piece
	j := 0
	for k := len(cuts) - 1; k >= 0; k-- {
		i := cuts[k]
		p := piece{transcript.Interval{Start: units[j].Start, End: units[i-1].End}, math.NaN(), math.NaN()}
		switch {
		case units[j].bare:
			p.cutStart = p.Start
			p.Start -= seamOverlap
		case j > 0:
			p.Start -= min(piecePad, (p.Start-units[j-1].End)/2)
		default:
			p.Start -= piecePad
		}
		switch {
		case i < n && units[i].bare:
			p.cutEnd = p.End
			p.End += seamOverlap
		case i < n:
			p.End += min(piecePad, (units[i].Start-p.End)/2)
		default:
			p.End += piecePad
		}
		p.Start, p.End = max(0, p.Start), min(total, p.End)
		out = append(out, p)
		j = i
	}
	return out
}

func cutCost(a, b unit) float64 {
	if b.bare {
		return 5
	}
	return 1.5 * max(0, 1-(b.Start-a.End)/0.8)
}

// halves splits a piece in two at its best pause near the middle.
func (p piece) halves(v Voice) (piece, piece) {
	length := p.End - p.Start
	from, to := p.Start+0.3*length, p.End-0.3*length
	// The widest gap between intervals that lies in the middle.
	cut, width := math.NaN(), 0.0
	for i := 1; i < len(v.Intervals); i++ {
		a, b := v.Intervals[i-1].End, v.Intervals[i].Start
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

// samples gives the sound of a piece.
func (p piece) samples(clip *audio.Clip) []float32 {
	return clip.Samples(int(p.Start*audio.Rate), int(math.Ceil(p.End*audio.Rate)))
}

// within gives the parts of the voiced intervals that lie in [from, to].
func (v Voice) within(from, to float64) []transcript.Interval {
	var out []transcript.Interval
	for _, iv := range v.Intervals {
		iv.Start, iv.End = max(iv.Start, from), min(iv.End, to)
		if iv.End > iv.Start {
			out = append(out, iv)
		}
	}
	return out
}

func lengthOf(ivs []transcript.Interval) float64 {
	return Voice{Intervals: ivs}.Seconds()
}
