package speech

import (
	"math"
	"math/rand/v2"
	"testing"

	"bedsaid/internal/transcript"
)

// TestCutter: whatever the pauses, each unit lies in one piece, wholly but where it
// is cut within speech; no piece is too long for the decoder; a piece ends at a long
// pause before anything is said after it.
func TestCutter(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	for round := range 300 {
		c := cutter{aim: aimPiece, since: -1}
		var units []unit
		var pieces []piece
		at := rnd.Float64() * 3
		for len(units) < 120 {
			bare := len(units) > 0 && rnd.IntN(4) == 0
			if !bare {
				gap := 0.06 + rnd.ExpFloat64()*0.4
				if rnd.IntN(20) == 0 {
					gap += 8 * rnd.Float64()
				}
				// Time goes by in the pause, as the ear tells it.
				for s := 0.0; s < gap && len(units) > 0; s += 0.25 {
					c.pause(at + s)
					if s > quietBetween && len(c.open) > 0 {
						t.Fatalf("round %d: a piece is open after %.1f s of quiet", round, s)
					}
				}
				at += gap
			}
			u := unit{transcript.Interval{Start: at, End: at + leastRest + rnd.Float64()*(longestUnit-leastRest)}, bare}
			c.add(u)
			units = append(units, u)
			pieces = append(pieces, c.take()...)
			at = u.End
		}
		c.end()
		pieces = append(pieces, c.take()...)
		k := 0
		for i, p := range pieces {
			if p.End-p.Start > longestPiece {
				t.Fatalf("round %d: piece of %.1f s", round, p.End-p.Start)
			}
			from, to := p.Start, p.End
			if !math.IsNaN(p.cutStart) {
				from = p.cutStart
			}
			if !math.IsNaN(p.cutEnd) {
				to = p.cutEnd
			}
			if i > 0 && math.IsNaN(p.cutStart) && from < pieces[i-1].End-1e-9 {
				t.Fatalf("round %d: piece %d begins before the one before it ends", round, i)
			}
			for k < len(units) && units[k].End <= to+1e-9 {
				if units[k].Start < from-1e-9 {
					t.Fatalf("round %d: unit %d is cut", round, k)
				}
				k++
			}
		}
		if k != len(units) {
			t.Fatalf("round %d: %d of %d units are in a piece", round, k, len(units))
		}
	}
}

// TestSince: what is looked at briefly is what is new, and a little before it.
func TestSince(t *testing.T) {
	v := voice{}
	for at := 1.0; at < 20; at += 2 {
		v.intervals = append(v.intervals, transcript.Interval{Start: at, End: at + 1.5})
	}
	whole := task{piece: piece{transcript.Interval{Start: 0.7, End: 20.8}, 0.9, math.NaN()}, voice: v}
	for upTo, want := range map[float64]float64{0: 0.7, 20.5: 12.75, 14.5: 12.75, 6.5: 6.75, 2.5: 2.75} {
		if p := whole.since(upTo); math.Abs(p.Start-want) > 1e-9 || p.End != whole.End {
			t.Errorf("after %v s: %v to %v, want from %v", upTo, p.Start, p.End, want)
		}
	}
}
