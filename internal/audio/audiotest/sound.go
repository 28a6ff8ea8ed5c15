package audiotest

import (
	"math"
	"math/rand/v2"
)

// Rate is the sample rate of the sounds made here.
const Rate = 16000

// White makes noise of the given RMS, always the same for a seed.
func White(seed uint64, n int, rms float64) []float32 {
	rng := rand.New(rand.NewPCG(seed, 1))
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(rms * rng.NormFloat64())
	}
	return out
}

// Pink makes noise whose power falls by 3 dB an octave, as the sum of white
// noises that are held for 1, 2, 4, … samples (the Voss-McCartney way).
func Pink(seed uint64, n int, rms float64) []float32 {
	rng := rand.New(rand.NewPCG(seed, 2))
	var rows [14]float64
	for i := range rows {
		rows[i] = rng.NormFloat64()
	}
	out := make([]float32, n)
	scale := rms / math.Sqrt(float64(len(rows)+1))
	for i := range out {
		row := 0
		for k := i; k&1 == 1 && row < len(rows)-1; k >>= 1 {
			row++
		}
		rows[row] = rng.NormFloat64()
		sum := rng.NormFloat64()
		for _, r := range rows {
			sum += r
		}
		out[i] = float32(sum * scale)
	}
	return out
}

// Hum makes mains hum of the RMS with ten harmonics.
func Hum(hz float64, n int, rms float64) []float32 {
	out := make([]float32, n)
	for i := range out {
		var s float64
		for h := 1.0; h <= 10; h++ {
			s += math.Sin(2*math.Pi*hz*h*float64(i)/Rate+h*h) / h
		}
		out[i] = float32(rms * s / math.Sqrt(0.775)) // half of the sum of 1/h²
	}
	return out
}

// Sine makes a steady tone of the RMS.
func Sine(hz float64, n int, rms float64) []float32 {
	out := make([]float32, n)
	for i := range out {
		out[i] = float32(rms * math.Sqrt2 * math.Sin(2*math.Pi*hz*float64(i)/Rate))
	}
	return out
}

// Babbled makes something with the rhythm, pitch and formants of a voice but no
// words: n samples of the given RMS, syllable after syllable.
func Babbled(seed uint64, n int, rms float64) []float32 {
	rng := rand.New(rand.NewPCG(seed, 3))
	out := make([]float32, n)
	phase, pitch := 0.0, 110+90*rng.Float64()
	for start := 0; start < n; {
		length := int((0.12 + 0.14*rng.Float64()) * Rate)
		f1, f2, f3 := 300+500*rng.Float64(), 900+1300*rng.Float64(), 2300+600*rng.Float64()
		hiss := int((0.02 + 0.05*rng.Float64()) * Rate)
		for k := 0; k < length && start+k < n; k++ {
			x := float64(k) / float64(length)
			env := math.Pow(math.Sin(math.Pi*x), 0.7)
			if k < hiss { // a consonant
				out[start+k] = float32(0.25 * rng.NormFloat64() * math.Sin(math.Pi*float64(k)/float64(hiss)))
				continue
			}
			p := pitch * (1 + 0.1*math.Sin(2*math.Pi*0.7*float64(start+k)/Rate))
			phase += 2 * math.Pi * p / Rate
			var s float64
			for h := 1.0; h*p < 5000; h++ {
				f := h * p
				g := 1/(1+sq((f-f1)/80)) + 0.5/(1+sq((f-f2)/110)) + 0.25/(1+sq((f-f3)/160)) + 0.02
				s += g / math.Sqrt(h) * math.Sin(h*phase)
			}
			out[start+k] += float32(env * s)
		}
		start += length
	}
	var power float64
	for _, s := range out {
		power += float64(s) * float64(s)
	}
	g := float32(rms / math.Sqrt(power/float64(max(1, n))))
	for i := range out {
		out[i] *= g
	}
	return out
}

func sq(x float64) float64 { return x * x }

// Add gives the sum of sounds, as long as the longest.
func Add(sounds ...[]float32) []float32 {
	var out []float32
	for _, s := range sounds {
		if len(s) > len(out) {
			out = append(out, make([]float32, len(s)-len(out))...)
		}
		for i, x := range s {
			out[i] += x
		}
	}
	return out
}

// Turn is a stretch of talk, in seconds.
type Turn struct{ Start, End float64 }

// Talk makes seconds of talk of the RMS with pauses, and says where the talk is.
func Talk(seed uint64, seconds, rms float64) ([]float32, []Turn) {
	rng := rand.New(rand.NewPCG(seed, 4))
	out := make([]float32, int(seconds*Rate))
	var turns []Turn
	for at := 0.5; ; {
		length := 0.4 + 3.5*rng.Float64()
		if at+length > seconds-0.3 {
			return out, turns
		}
		turns = append(turns, Turn{at, at + length})
		copy(out[int(at*Rate):], Babbled(seed+uint64(len(turns)), int(length*Rate), rms))
		at += length + 0.4
		switch rng.IntN(6) {
		case 0:
			at += 6 * rng.Float64()
		case 1, 2:
			at += rng.Float64()
		}
	}
}
