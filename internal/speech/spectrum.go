package speech

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"bedsaid/internal/audio"
)

// bands holds the power in each band at one moment.
type bands [voiceBands]float32

// moment is the sound at one hop: its power, smoothed, and whether all of it is
// one frequency.
type moment struct {
	power bands
	tonal bool
}

// spectrum turns samples, as they come, into moments. A moment is known 40 ms
// after its middle: half a frame and two hops of smoothing.
type spectrum struct {
	fft    *fourier.FFT
	window [voiceFrame]float64
	norm   float64
	band   [voiceFrame/2 + 1]int // of each bin; -1 outside of all
	buf    []float64
	coeff  []complex128
	tail   []float32 // samples that frames to come still need
	taken  int       // samples so far
	frames int       // frames so far
	last   []moment  // at most the last five frames, not smoothed
}

func newSpectrum() *spectrum {
	s := &spectrum{
		fft: fourier.NewFFT(voiceFrame), buf: make([]float64, voiceFrame), coeff: make([]complex128, voiceFrame/2+1),
		// Frame i is centred on hop i: the first begins before the sound.
		tail: make([]float32, (voiceFrame-voiceHop)/2),
	}
	for i := range s.window {
		s.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/voiceFrame)
		s.norm += s.window[i] * s.window[i]
	}
	// Band edges evenly spaced on the mel scale.
	mel := func(hz float64) float64 { return 2595 * math.Log10(1+hz/700) }
	for k := range s.band {
		hz := float64(k) * audio.Rate / voiceFrame
		s.band[k] = -1
		if hz >= lowestHz && hz < highestHz {
			s.band[k] = int((mel(hz) - mel(lowestHz)) / (mel(highestHz) - mel(lowestHz)) * voiceBands)
		}
	}
	return s
}

// add takes samples and tells each moment that has become known.
func (s *spectrum) add(samples []float32, tell func(moment)) {
	s.tail = append(s.tail, samples...)
	s.taken += len(samples)
	at := 0
	for ; at+voiceFrame <= len(s.tail); at += voiceHop {
		s.frame(s.tail[at:at+voiceFrame], tell)
	}
	s.tail = s.tail[:copy(s.tail, s.tail[at:])]
}

// end tells the moments that were still waiting for sound.
func (s *spectrum) end(tell func(moment)) {
	for missing := (s.taken+voiceHop-1)/voiceHop - s.frames; missing > 0; missing-- {
		frame := make([]float32, voiceFrame)
		copy(frame, s.tail)
		s.tail = s.tail[min(len(s.tail), voiceHop):]
		s.frame(frame, tell)
	}
	// The last two have less after them to be smoothed with.
	for i := max(0, len(s.last)-2); i < len(s.last); i++ {
		tell(s.smooth(i))
	}
}

// frame takes the power of one frame, and tells the moment two frames before.
func (s *spectrum) frame(samples []float32, tell func(moment)) {
	for k, x := range samples {
		s.buf[k] = float64(x) * s.window[k]
	}
	s.coeff = s.fft.Coefficients(s.coeff, s.buf)
	var m moment
	var sum, most float64
	var five [5]float64 // the last five bins: a window's main lobe
	for k, c := range s.coeff {
		p := (real(c)*real(c) + imag(c)*imag(c)) / s.norm / voiceFrame * 2
		if s.band[k] >= 0 {
			m.power[s.band[k]] += float32(p)
			sum += p
		}
		five[k%5] = p
		if float64(k-4)*audio.Rate/voiceFrame > toneAbove {
			most = max(most, five[0]+five[1]+five[2]+five[3]+five[4])
		}
	}
	m.tonal = sum > 0 && most > pureTone*sum
	s.frames++
	if len(s.last) == 5 {
		s.last = s.last[:copy(s.last, s.last[1:])]
	}
	s.last = append(s.last, m)
	if len(s.last) >= 3 {
		tell(s.smooth(len(s.last) - 3))
	}
}

// smooth takes the mean of up to five frames around one, so that noise strays
// less from its mean.
func (s *spectrum) smooth(i int) moment {
	m := moment{tonal: s.last[i].tonal}
	from, to := max(0, i-2), min(len(s.last), i+3)
	for b := range voiceBands {
		var sum float32
		for _, f := range s.last[from:to] {
			sum += f.power[b]
		}
		m.power[b] = sum / float32(to-from)
	}
	return m
}
