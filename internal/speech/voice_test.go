package speech

import (
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"bedsaid/internal/audio"
	"bedsaid/internal/audio/audiotest"
	"bedsaid/internal/transcript"
)

// findVoice gives the voice in a whole recording.
func findVoice(t *testing.T, samples []float32) voice {
	t.Helper()
	f := newFinder()
	f.add(samples)
	f.end(float64(len(samples)) / audio.Rate)
	v := f.voice
	last := 0.0
	for _, iv := range v.intervals {
		if iv.Start < last || iv.End <= iv.Start || iv.End > float64(len(samples))/audio.Rate {
			t.Fatalf("interval %v after %v", iv, last)
		}
		last = iv.End
	}
	return v
}

func overlap(a, b transcript.Interval) float64 {
	return max(0, min(a.End, b.End)-max(a.Start, b.Start))
}

// TestVoiceInNoise: talk in all kinds of noise is found almost wholly, and
// pauses of a second and more are mostly left out.
func TestVoiceInNoise(t *testing.T) {
	const n, rms = 60 * audio.Rate, 0.05
	snr := func(dB float64) float64 { return rms / math.Pow(10, dB/20) }
	for name, c := range map[string]struct {
		noise []float32
		gain  float32
	}{
		"none":                {nil, 1},
		"quiet speaker":       {nil, 0.01},
		"hiss at 20 dB":       {audiotest.White(1, n, snr(20)), 1},
		"pink noise at 10 dB": {audiotest.Pink(2, n, snr(10)), 1},
		"pink, quiet speaker": {audiotest.Pink(3, n, snr(10)), 0.02},
		"50 Hz hum at 0 dB":   {audiotest.Hum(50, n, snr(0)), 1},
		"60 Hz hum at 0 dB":   {audiotest.Hum(60, n, snr(0)), 1},
		"tone at 0 dB":        {audiotest.Sine(880, n, snr(0)), 1},
	} {
		t.Run(name, func(t *testing.T) {
			talk, turns := audiotest.Talk(11, 60, rms)
			if len(turns) < 8 {
				t.Fatalf("%d turns of talk", len(turns))
			}
			sound := audiotest.Add(talk, c.noise)
			for i := range sound {
				sound[i] *= c.gain
			}
			v := findVoice(t, sound)
			var said, found, pauses, wrong float64
			at := 0.0
			for _, turn := range append(turns, audiotest.Turn{Start: 60, End: 60}) {
				quiet := transcript.Interval{Start: at + 0.3, End: turn.Start - 0.3}
				for _, iv := range v.intervals {
					found += overlap(iv, transcript.Interval(turn))
					if quiet.End-quiet.Start > 0.4 {
						wrong += overlap(iv, quiet)
					}
				}
				said += turn.End - turn.Start
				pauses += max(0, quiet.End-quiet.Start)
				at = turn.End
			}
			t.Logf("%.1f of %.1f s of talk found; %.1f of %.1f s of pauses taken for voice", found, said, wrong, pauses)
			if found < 0.97*said {
				t.Errorf("only %.1f of %.1f s of talk found", found, said)
			}
			if wrong > 0.1*pauses {
				t.Errorf("%.1f of %.1f s of pauses taken for voice", wrong, pauses)
			}
		})
	}
}

// noises are three minutes each of sound that holds no voice.
func noises() map[string][]float32 {
	const n = 180 * audio.Rate
	return map[string][]float32{
		"digital silence":  make([]float32, n),
		"hiss":             audiotest.White(5, n, 0.01),
		"loud hiss":        audiotest.White(6, n, 0.2),
		"pink noise":       audiotest.Pink(7, n, 0.02),
		"50 Hz hum":        audiotest.Hum(50, n, 0.05),
		"60 Hz hum":        audiotest.Hum(60, n, 0.05),
		"hum and hiss":     audiotest.Add(audiotest.Hum(60, n, 0.05), audiotest.White(8, n, 0.003)),
		"tone":             audiotest.Sine(440, n, 0.1),
		"beeps":            beeps(n),
		"two tones, noise": audiotest.Add(audiotest.Sine(1000, n, 0.05), audiotest.Sine(2500, n, 0.05), audiotest.Pink(9, n, 0.01)),
	}
}

// beeps are a monitor's: a fifth of each second a tone, faint hiss below.
func beeps(n int) []float32 {
	out := audiotest.White(10, n, 0.002)
	for i, s := range audiotest.Sine(1000, n, 0.1) {
		if i%audio.Rate < audio.Rate/5 {
			out[i] += s
		}
	}
	return out
}

func TestNoVoiceInNoise(t *testing.T) {
	for name, samples := range noises() {
		if v := findVoice(t, samples); lengthOf(v.intervals) > 0 {
			t.Errorf("%s: %.2f s taken for voice: %v", name, lengthOf(v.intervals), v.intervals)
		}
	}
}

// TestVoiceOfFlite takes an independent synthetic voice, where it is installed:
// what is loud in the clean sound must be voice, also in pink noise at 10 dB.
func TestVoiceOfFlite(t *testing.T) {
	flite, err := exec.LookPath("flite")
	if err != nil {
		t.Skip("flite is not installed: voice activity is not tried on its voices (Debian: apt-get install flite)")
	}
	for _, voice := range []string{"slt", "rms"} {
		path := filepath.Join(t.TempDir(), "a.wav")
		text := "The trachea is midline. No masses, no tenderness. Yes. Carotid pulses are two plus on both sides, and I hear no bruits. Now turn your head to the left for me please."
		if out, err := exec.Command(flite, "-voice", voice, "-t", text, "-o", path).CombinedOutput(); err != nil {
			t.Fatalf("flite: %v: %s", err, out)
		}
		clip, err := audio.Open(t.Context(), path, nil)
		if err != nil {
			t.Fatal(err)
		}
		_ = os.Remove(path)
		clean := clip.Samples(0, clip.Len())
		var power float64
		for _, s := range clean {
			power += float64(s) * float64(s)
		}
		level := math.Sqrt(power / float64(len(clean)))
		for name, noise := range map[string][]float32{"clean": nil, "pink 10 dB": audiotest.Pink(4, len(clean), level/math.Sqrt(10))} {
			v := findVoice(t, audiotest.Add(clean, noise))
			loud, lost := 0, 0
			for at := 0; at+320 < len(clean); at += 320 {
				var p float64
				for _, s := range clean[at : at+320] {
					p += float64(s) * float64(s)
				}
				if math.Sqrt(p/320) < level/8 {
					continue
				}
				loud++
				mid := (float64(at) + 160) / audio.Rate
				in := false
				for _, iv := range v.intervals {
					in = in || iv.Start <= mid && mid <= iv.End
				}
				if !in {
					lost++
				}
			}
			t.Logf("%s, %s: %d of %d loud moments lost; %.1f of %.1f s voiced", voice, name, lost, loud, lengthOf(v.intervals), clip.Seconds())
			if loud < 100 || float64(lost) > 0.01*float64(loud) {
				t.Errorf("%s, %s: %d of %d loud moments lost", voice, name, lost, loud)
			}
		}
	}
}

func TestVoiceInNothing(t *testing.T) {
	for _, n := range []int{0, 1, voiceHop, 1000} {
		if v := findVoice(t, make([]float32, n)); len(v.intervals) != 0 {
			t.Errorf("voice in %d samples of nothing: %v", n, v.intervals)
		}
	}
}

func TestSmallest(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 6))
	for range 500 {
		x := make([]float32, 1+rnd.IntN(40))
		for i := range x {
			x[i] = float32(rnd.IntN(12))
		}
		k, sorted := rnd.IntN(len(x)), slices.Sorted(slices.Values(x))
		if got := smallest(x, k); got != sorted[k] {
			t.Fatalf("%v at %d of %v", got, k, sorted)
		}
	}
}
