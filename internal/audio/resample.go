package audio

import "math"

// The resampler is a polyphase windowed-sinc filter (Kaiser window; J. O.
// Smith, "Digital Audio Resampling"; the window's length by Kaiser's formula as
// in Oppenheim and Schafer, "Discrete-Time Signal Processing"). No kept pure-Go
// library could be had; the tests measure the stop-band and compare with sox.
const (
	stopBandDB = 90    // attenuation designed for
	passEdge   = 0.875 // of the lower of the two Nyquist frequencies
	maxPhases  = 1024  // rates that need more are interpolated between phases
)

// resampler turns a stream at any rate into one at Rate.
type resampler struct {
	taps   int
	phases int
	rows   [][]float32 // phases+1 filters of taps coefficients each
	exact  bool
	l, m   int // exact ratio: l output samples for m source samples

	hist  []float32
	first int64 // index, in the source, of hist[0]
	read  int64 // source samples fed so far
	next  int64 // index of the next output sample
}

func newResampler(rate int) *resampler {
	r := &resampler{}
	g := gcd(rate, Rate)
	r.l, r.m = Rate/g, rate/g
	r.exact = r.l <= maxPhases
	r.phases = maxPhases
	if r.exact {
		r.phases = r.l
	}
	if rate == Rate {
		r.taps, r.rows = 1, [][]float32{{1}, {1}}
		return r
	}
	nyquist := min(float64(rate), Rate) / 2 / float64(rate) // cycles per source sample
	width := nyquist * (1 - passEdge)
	cut := nyquist - width/2
	r.taps = int(math.Ceil((stopBandDB-8)/(2.285*2*math.Pi*width))) + 1
	r.taps += r.taps % 2
	beta := 0.1102 * (stopBandDB - 8.7)
	half := float64(r.taps) / 2
	r.rows = make([][]float32, r.phases+1)
	for p := range r.rows {
		row := make([]float64, r.taps)
		frac := float64(p) / float64(r.phases)
		var sum float64
		for k := range row {
			t := float64(k) - half + 1 - frac
			x := t / half
			if x <= -1 || x >= 1 {
				continue
			}
			row[k] = sinc(2*cut*t) * besselI0(beta*math.Sqrt(1-x*x))
			sum += row[k]
		}
		r.rows[p] = make([]float32, r.taps)
		for k := range row {
			r.rows[p][k] = float32(row[k] / sum)
		}
	}
	// The first output sample sees silence before the recording.
	lead := r.taps/2 - 1
	r.hist = make([]float32, lead, 4*r.taps+2*readFrames)
	r.first = -int64(lead)
	return r
}

// feed appends to out what can be computed now.
func (r *resampler) feed(out, in []float32) []float32 {
	r.read += int64(len(in))
	return r.run(out, in, math.MaxInt64)
}

// finish appends what is left, so that the output is as long as the input.
func (r *resampler) finish(out []float32) []float32 {
	total := (r.read*int64(r.l) + int64(r.m) - 1) / int64(r.m)
	return r.run(out, make([]float32, r.taps+1), total)
}

func (r *resampler) run(out, in []float32, limit int64) []float32 {
	if r.taps == 1 {
		if limit == math.MaxInt64 {
			out = append(out, in...)
		}
		return out
	}
	r.hist = append(r.hist, in...)
	lead := int64(r.taps/2 - 1)
	for r.next < limit {
		pos := r.next * int64(r.m)
		base, rest := pos/int64(r.l), pos%int64(r.l)
		at := base - lead - r.first
		if at+int64(r.taps) > int64(len(r.hist)) {
			break
		}
		win := r.hist[at : at+int64(r.taps)]
		if r.exact {
			out = append(out, dot(win, r.rows[rest]))
		} else {
			f := float64(rest) / float64(r.l) * float64(r.phases)
			p := int(f)
			w := float32(f - float64(p))
			out = append(out, dot(win, r.rows[p])*(1-w)+dot(win, r.rows[p+1])*w)
		}
		r.next++
	}
	// Forget what no later output needs.
	keep := r.next*int64(r.m)/int64(r.l) - lead - r.first
	keep = min(max(keep, 0), int64(len(r.hist)))
	n := copy(r.hist, r.hist[keep:])
	r.hist = r.hist[:n]
	r.first += keep
	return out
}

func dot(a, b []float32) float32 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float32
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// besselI0 is the modified Bessel function of order zero, by its power series.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*1e-12; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
