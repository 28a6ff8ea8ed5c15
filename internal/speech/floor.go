package speech

import "math"

// floors follows the quiet of each band: a low percentile of what the last
// seconds held. It looks back only, so that what it says of a moment does not
// depend on what comes after it.
type floors struct {
	recent []bands // the last floorReach, at most
	loud   [voiceBands]levels
	column []float32
}

// add takes the power at the next moment.
func (f *floors) add(p bands) {
	if len(f.recent) == floorHops {
		f.recent = f.recent[:copy(f.recent, f.recent[voiceBlock:])]
	}
	f.recent = append(f.recent, p)
	for b, x := range p {
		f.loud[b].add(x)
	}
}

// now gives the floor of every band after what was added.
func (f *floors) now() bands {
	var out bands
	for b := range voiceBands {
		f.column = f.column[:0]
		for i := 0; i < len(f.recent); i += 2 {
			f.column = append(f.column, f.recent[i][b])
		}
		out[b] = max(smallest(f.column, int(floorShare*float64(len(f.column)-1))), f.loud[b].high()*floorBelow, floorLeast)
	}
	return out
}

// levels counts powers by half decibels, from -130 to +20 dB of full scale.
type levels struct {
	count [300]uint32
	sum   uint32
}

func (l *levels) add(power float32) {
	at := 0
	if power > 1e-13 {
		at = min(max(int(2*(10*math.Log10(float64(power))+130)), 0), len(l.count)-1)
	}
	l.count[at]++
	l.sum++
}

// high is the power that five moments in a hundred exceed.
func (l *levels) high() float32 {
	rest := l.sum / 20
	for at := len(l.count) - 1; at > 0; at-- {
		if l.count[at] > rest {
			return float32(math.Pow(10, (float64(at)/2-130)/10))
		}
		rest -= l.count[at]
	}
	return 0
}

// smallest gives the element that would stand at k if x were sorted; it moves the
// elements of x (C. A. R. Hoare, "Algorithm 65: find", 1961).
func smallest(x []float32, k int) float32 {
	for lo, hi := 0, len(x)-1; lo < hi; {
		mid, i, j := x[k], lo, hi
		for i <= j {
			for x[i] < mid {
				i++
			}
			for mid < x[j] {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		if j < k {
			lo = i
		}
		if k < i {
			hi = j
		}
	}
	return x[k]
}
