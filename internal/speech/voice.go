package speech

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"bedsaid/internal/audio"
	"bedsaid/internal/transcript"
)

// Voice activity: the power in 16 bands is compared with a floor that follows
// each band (a low percentile over the seconds around), so that hum, fans and
// hiss are floor and what rises and falls above it is voice. It prefers to call
// a noise voice over calling a voice noise. The numbers below are our own,
// tried on synthetic voices in noise (docs/speech.md).
const (
	voiceFrame  = 512 // samples: 32 ms
	voiceHop    = 256 // samples: 16 ms
	hopSeconds  = float64(voiceHop) / audio.Rate
	voiceBands  = 16
	lowestHz    = 120.0
	highestHz   = 5500.0
	floorReach  = 10.0  // seconds on each side that the floor is taken from
	floorShare  = 0.10  // the percentile that is the floor
	floorBelow  = 1e-6  // a floor is never more than 60 dB below the loud of the clip
	floorLeast  = 1e-11 // nor below this power (full scale 1)
	bandOverDB  = 6.0   // a band this far above its floor has something in it
	bandsNeeded = 3     // and so many bands make a voice; a pure tone fills fewer
	scoreStart  = 4.0   // dB, mean over the bands, at which a voice begins
	scoreKeep   = 2.4   // dB at which it goes on
	bridgeGap   = 0.25  // seconds of quiet within a word or between words
	shortest    = 0.064 // seconds: shorter is a click
	pureTone    = 0.97  // share of one frequency in the power; a voice has overtones
	toneAbove   = 400.0 // Hz: below, the fundamental of a voice can look like a tone
	voicePad    = 0.1   // seconds added on both sides
)

// Voice is where somebody speaks in a recording.
type Voice struct {
	// Intervals are in order and do not touch; seconds.
	Intervals []transcript.Interval
	// score is, for each hop, how far the sound is above its floor, in dB.
	score []float32
}

// Seconds is the length of all intervals.
func (v Voice) Seconds() float64 {
	var sum float64
	for _, iv := range v.Intervals {
		sum += iv.End - iv.Start
	}
	return sum
}

// FindVoice finds where somebody speaks. The only error is the context's.
func FindVoice(ctx context.Context, clip *audio.Clip) (Voice, error) {
	powers, tonal, err := bandPowers(ctx, clip)
	if err != nil || len(powers) == 0 {
		return Voice{}, err
	}
	floors := bandFloors(powers)
	score := make([]float32, len(powers))
	filled := make([]uint8, len(powers))
	perSecond := 1 / hopSeconds
	for i, p := range powers {
		at := float64(i) / perSecond
		s := min(int(at), len(floors)-1)
		next := min(s+1, len(floors)-1)
		w := float32(at - float64(s))
		var sum float64
		for b, x := range p {
			floor := floors[s][b]*(1-w) + floors[next][b]*w
			over := min(max(10*math.Log10(float64(x/floor)), 0), 25)
			sum += over
			if over > bandOverDB {
				filled[i]++
			}
		}
		score[i] = float32(sum / voiceBands)
	}
	return Voice{Intervals: intervals(score, filled, tonal, clip.Seconds()), score: score}, nil
}

// bands holds the power in each band at one moment.
type bands [voiceBands]float32

// bandPowers also says, for each hop, whether all its power is one frequency.
func bandPowers(ctx context.Context, clip *audio.Clip) ([]bands, []bool, error) {
	frames := (clip.Len() + voiceHop - 1) / voiceHop
	out, tonal := make([]bands, frames), make([]bool, frames)
	fft := fourier.NewFFT(voiceFrame)
	window, buf := make([]float64, voiceFrame), make([]float64, voiceFrame)
	var norm float64
	for i := range window {
		window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/voiceFrame)
		norm += window[i] * window[i]
	}
	// Band edges evenly spaced on the mel scale.
	mel := func(hz float64) float64 { return 2595 * math.Log10(1+hz/700) }
	var band [voiceFrame/2 + 1]int
	for k := range band {
		hz := float64(k) * audio.Rate / voiceFrame
		band[k] = -1
		if hz >= lowestHz && hz < highestHz {
			band[k] = int((mel(hz) - mel(lowestHz)) / (mel(highestHz) - mel(lowestHz)) * voiceBands)
		}
	}
	coeff := make([]complex128, voiceFrame/2+1)
	var samples []float32
	var from int
	for i := range out {
		// Frame i is centred on hop i.
		start := i*voiceHop + voiceHop/2 - voiceFrame/2
		if i%64 == 0 {
			if err := ctx.Err(); err != nil {
				return nil, nil, err
			}
			from = max(0, start)
			samples = clip.Samples(from, start+65*voiceHop+voiceFrame)
		}
		for k := range buf {
			buf[k] = 0
			if j := start + k - from; start+k >= 0 && j < len(samples) {
				buf[k] = float64(samples[j]) * window[k]
			}
		}
		coeff = fft.Coefficients(coeff, buf)
		var sum, most float64
		var five [5]float64 // the last five bins: a window's main lobe
		for k, c := range coeff {
			p := (real(c)*real(c) + imag(c)*imag(c)) / norm / voiceFrame * 2
			if band[k] >= 0 {
				out[i][band[k]] += float32(p)
				sum += p
			}
			five[k%5] = p
			if float64(k-4)*audio.Rate/voiceFrame > toneAbove {
				most = max(most, five[0]+five[1]+five[2]+five[3]+five[4])
			}
		}
		tonal[i] = sum > 0 && most > pureTone*sum
	}
	return smooth(out), tonal, nil
}

// smooth takes the mean of five frames, so that noise strays less from its mean.
func smooth(in []bands) []bands {
	out := make([]bands, len(in))
	for i := range in {
		from, to := max(0, i-2), min(len(in), i+3)
		for b := range voiceBands {
			var sum float32
			for _, f := range in[from:to] {
				sum += f[b]
			}
			out[i][b] = sum / float32(to-from)
		}
	}
	return out
}

// bandFloors gives the floor of every band at each full second.
func bandFloors(powers []bands) []bands {
	perSecond := 1 / hopSeconds
	seconds := int(float64(len(powers))/perSecond) + 1
	out := make([]bands, seconds)
	var loud bands
	column := make([]float32, 0, len(powers))
	for b := range voiceBands {
		column = column[:0]
		for _, p := range powers {
			column = append(column, p[b])
		}
		slices.Sort(column)
		loud[b] = column[int(0.95*float64(len(column)-1))]
	}
	for s := range out {
		from := max(0, int((float64(s)-floorReach)*perSecond))
		to := min(len(powers), int((float64(s)+floorReach)*perSecond)+1)
		for b := range voiceBands {
			column = column[:0]
			for i := from; i < to; i += 2 {
				column = append(column, powers[i][b])
			}
			slices.Sort(column)
			floor := column[int(floorShare*float64(len(column)-1))]
			out[s][b] = max(floor, loud[b]*floorBelow, floorLeast)
		}
	}
	return out
}

// intervals joins voiced hops.
func intervals(score []float32, filled []uint8, tonal []bool, seconds float64) []transcript.Interval {
	var raw []transcript.Interval
	for i := 0; i < len(score); {
		if score[i] < scoreStart || filled[i] < bandsNeeded {
			i++
			continue
		}
		from, to := i, i
		for from > 0 && score[from-1] >= scoreKeep {
			from--
		}
		for to < len(score) && score[to] >= scoreKeep {
			to++
		}
		if !beep(tonal[from:to]) {
			raw = append(raw, transcript.Interval{Start: float64(from) * hopSeconds, End: float64(to) * hopSeconds})
		}
		i = to + 1
	}
	var out []transcript.Interval
	for _, iv := range raw {
		if n := len(out); n > 0 && iv.Start-out[n-1].End < bridgeGap {
			out[n-1].End = max(out[n-1].End, iv.End)
			continue
		}
		out = append(out, iv)
	}
	kept := out[:0]
	for _, iv := range out {
		if iv.End-iv.Start < shortest {
			continue
		}
		iv.Start, iv.End = max(0, iv.Start-voicePad), min(seconds, iv.End+voicePad)
		kept = append(kept, iv)
	}
	return kept
}

// beep says whether a stretch is one pure tone, but for its edges, which the
// smoothing draws out.
func beep(tonal []bool) bool {
	n := 0
	for _, t := range tonal {
		if t {
			n++
		}
	}
	return 3*n > len(tonal)
}
