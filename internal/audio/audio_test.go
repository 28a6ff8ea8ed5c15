package audio

import (
	"bytes"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	goaudio "github.com/go-audio/audio"
	"github.com/go-audio/wav"

	"bedsaid/internal/audio/audiotest"
)

func read(t *testing.T, b []byte) *Clip {
	t.Helper()
	c, err := Read(t.Context(), bytes.NewReader(b), int64(len(b)), nil)
	if err != nil {
		t.Fatalf("read: %v", err)
	}
	return c
}

// fit finds the sine of the frequency in samples at Rate by least squares: its
// amplitude, and the RMS of all that is left without it.
func fit(samples []float32, hz float64) (amplitude, rest float64) {
	var cc, ss, cs, xc, xs float64
	for i, x := range samples {
		s, c := math.Sincos(2 * math.Pi * hz * float64(i) / Rate)
		cc, ss, cs = cc+c*c, ss+s*s, cs+c*s
		xc, xs = xc+float64(x)*c, xs+float64(x)*s
	}
	det := cc*ss - cs*cs
	a, b := (xc*ss-xs*cs)/det, (xs*cc-xc*cs)/det
	var left float64
	for i, x := range samples {
		s, c := math.Sincos(2 * math.Pi * hz * float64(i) / Rate)
		d := float64(x) - a*c - b*s
		left += d * d
	}
	return math.Hypot(a, b), math.Sqrt(left / float64(len(samples)))
}

func level(samples []float32, hz float64) float64 {
	a, _ := fit(samples, hz)
	return a
}

func rms(samples []float32) float64 {
	var sum float64
	for _, s := range samples {
		sum += float64(s) * float64(s)
	}
	return math.Sqrt(sum / float64(max(1, len(samples))))
}

func dB(x float64) float64 { return 20 * math.Log10(max(x, 1e-12)) }

// TestFormats reads the same sine in every format and asks for its level, its
// frequency, its length, and little else.
func TestFormats(t *testing.T) {
	var formats []audiotest.Format
	for _, rate := range []int{8000, 11025, 12000, 16000, 22050, 24000, 32000, 37800, 44100, 47999, 48000, 88200, 96000, 191999, 192000} {
		formats = append(formats, audiotest.Format{Rate: rate, Channels: 1, Bits: 16})
	}
	for _, bits := range []int{8, 16, 24, 32} {
		for _, channels := range []int{1, 2, 6} {
			for _, ext := range []bool{false, true} {
				formats = append(formats, audiotest.Format{Rate: 48000, Channels: channels, Bits: bits, Extensible: ext})
			}
		}
	}
	for _, bits := range []int{32, 64} {
		for _, ext := range []bool{false, true} {
			formats = append(formats, audiotest.Format{Rate: 44100, Channels: 2, Bits: bits, Float: true, Extensible: ext})
		}
	}
	const hz, amplitude, seconds = 997.0, 0.5, 1.5
	for _, f := range formats {
		t.Run(f.String(), func(t *testing.T) {
			frames := int(seconds * float64(f.Rate))
			c := read(t, audiotest.Encode(f, frames, audiotest.Tone(f.Rate, hz, amplitude)))
			if d := math.Abs(c.Seconds() - seconds); d > 0.001 {
				t.Errorf("length %v s, want %v", c.Seconds(), seconds)
			}
			if n := c.Notes(); len(n) != 0 {
				t.Errorf("notes %v, want none", n)
			}
			inner := c.Samples(Rate/10, c.Len()-Rate/10)
			got, rest := fit(inner, hz)
			if d := math.Abs(dB(got / amplitude)); d > 0.1 {
				t.Errorf("level off by %.3f dB", d)
			}
			// Everything that is not the sine: distortion, images, noise.
			limit := -70.0
			if f.Bits == 8 {
				limit = -40 // 8 bits carry no more
			}
			if d := dB(rest / (got / math.Sqrt2)); d > limit {
				t.Errorf("residue %.1f dB, want below %.0f", d, limit)
			}
		})
	}
}

// TestStopBand: what 16 kHz cannot carry must vanish, not fold into the voice.
func TestStopBand(t *testing.T) {
	for _, rate := range []int{22050, 24000, 32000, 44100, 47999, 48000, 96000, 192000} {
		worst := -200.0
		for hz := 8050.0; hz < float64(rate)/2; hz += float64(rate) / 31 {
			f := audiotest.Format{Rate: rate, Channels: 1, Bits: 32, Float: true}
			at := audiotest.Tone(rate, hz, 0.5)
			b := audiotest.Encode(f, rate/4, func(i, c int) float64 {
				// Faded in and out: a sine that starts at once is not one tone.
				return at(i, c) * math.Sin(math.Pi*float64(i)/float64(rate/4))
			})
			got, err := readSource(t.Context(), bytes.NewReader(b), 0, mixAll, nil)
			if err != nil {
				t.Fatal(err)
			}
			c := got.builder.clip(nil)
			worst = max(worst, dB(rms(c.Samples(Rate/20, c.Len()-Rate/20))/0.25))
		}
		t.Logf("%d Hz: strongest alias %.1f dB", rate, worst)
		if worst > -75 {
			t.Errorf("%d Hz: alias at %.1f dB, want below -75", rate, worst)
		}
	}
}

func TestAlias10k(t *testing.T) {
	f := audiotest.Format{Rate: 48000, Channels: 2, Bits: 16}
	high, low := audiotest.Tone(48000, 10000, 0.5), audiotest.Tone(48000, 500, 0.5)
	c := read(t, audiotest.Encode(f, 48000, func(i, ch int) float64 { return high(i, ch) + 0.9*low(i, ch) }))
	inner := c.Samples(1600, c.Len()-1600)
	if got := dB(level(inner, 6000) / 0.5); got > -60 {
		t.Errorf("10 kHz folds to 6 kHz at %.1f dB, want below -60", got)
	}
	if got := math.Abs(dB(level(inner, 500) / 0.45)); got > 0.1 {
		t.Errorf("500 Hz beside it is off by %.2f dB", got)
	}
}

// TestPassBand: the voice's own band must come through level.
func TestPassBand(t *testing.T) {
	for _, rate := range []int{8000, 44100, 48000} {
		top := 0.875 * float64(min(rate, Rate)) / 2
		for hz := 100.0; hz < top; hz += 787 {
			f := audiotest.Format{Rate: rate, Channels: 1, Bits: 24}
			c := read(t, audiotest.Encode(f, rate, audiotest.Tone(rate, hz, 0.5)))
			if got := dB(level(c.Samples(1600, c.Len()-1600), hz) / 0.5); math.Abs(got) > 0.1 {
				t.Errorf("%d Hz: %.0f Hz is off by %.2f dB", rate, hz, got)
			}
		}
	}
}

// TestExact16 checks that sound which is already 16 kHz, mono, 16 bit comes
// back bit for bit, also from our own writer.
func TestExact16(t *testing.T) {
	samples := make([]float32, 3*Rate+123)
	for i := range samples {
		samples[i] = float32(int16(i*7919)) / (1 << 15)
	}
	var b bytes.Buffer
	if err := Write(&b, samples); err != nil {
		t.Fatal(err)
	}
	got := read(t, b.Bytes()).Samples(0, len(samples)+5)
	if len(got) != len(samples) {
		t.Fatalf("%d samples, want %d", len(got), len(samples))
	}
	for i := range got {
		if got[i] != samples[i] {
			t.Fatalf("sample %d is %v, want %v", i, got[i], samples[i])
		}
	}
}

// TestAgainstGoAudio: github.com/go-audio/wav reads what we write, and we read
// what it writes (integer samples; it does no others).
func TestPCMThereAndBack(t *testing.T) {
	for _, peak := range []int{3, 1 << 14, math.MaxInt16, -math.MinInt16} {
		var pcm []int16
		for i := -peak; i <= min(peak, math.MaxInt16); i++ {
			pcm = append(pcm, int16(i))
		}
		c := FromPCM(pcm)
		if got := c.PCM(0, c.Len()); !slices.Equal(got, pcm) {
			t.Errorf("samples up to %d come back otherwise", peak)
		}
		// What is heard live and what was kept are one sound, to the last bit.
		for i, x := range c.Samples(0, c.Len()) {
			if x != float32(pcm[i])/32768 {
				t.Fatalf("%d of samples up to %d is %v of full scale", pcm[i], peak, x)
			}
		}
	}
}

func TestAgainstGoAudio(t *testing.T) {
	var b bytes.Buffer
	want := make([]float32, Rate)
	for i := range want {
		want[i] = float32(int16(i*31-9000)) / (1 << 15)
	}
	if err := Write(&b, want); err != nil {
		t.Fatal(err)
	}
	d := wav.NewDecoder(bytes.NewReader(b.Bytes()))
	buf, err := d.FullPCMBuffer()
	if err != nil {
		t.Fatal(err)
	}
	if len(buf.Data) != len(want) || buf.Format.SampleRate != Rate || buf.Format.NumChannels != 1 {
		t.Fatalf("go-audio reads %d samples of %+v", len(buf.Data), buf.Format)
	}
	for i, v := range buf.Data {
		if float32(v)/(1<<15) != want[i] {
			t.Fatalf("go-audio reads sample %d as %d", i, v)
		}
	}
	for _, bits := range []int{16, 24, 32} {
		path := filepath.Join(t.TempDir(), "a.wav")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		e := wav.NewEncoder(f, Rate, bits, 1, 1)
		data := make([]int, Rate)
		for i := range data {
			data[i] = int(int16(i*31-9000)) << (bits - 16)
		}
		if err := e.Write(&goaudio.IntBuffer{Data: data, Format: &goaudio.Format{NumChannels: 1, SampleRate: Rate}, SourceBitDepth: bits}); err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(e.Close(), f.Close()); err != nil {
			t.Fatal(err)
		}
		c, err := Open(t.Context(), path, nil)
		if err != nil {
			t.Fatalf("%d bit: %v", bits, err)
		}
		for i, s := range c.Samples(0, c.Len()) {
			if s != want[i] {
				t.Fatalf("%d bit: sample %d is %v, want %v", bits, i, s, want[i])
			}
		}
	}
}

// TestAgainstSox compares with sox's resampler ("rate -h") where it is there.
func TestAgainstSox(t *testing.T) {
	sox, err := exec.LookPath("sox")
	if err != nil {
		t.Skip("sox is not installed: the resampler is not compared with it (Debian: apt-get install sox)")
	}
	for _, f := range []audiotest.Format{{Rate: 44100, Channels: 2, Bits: 24}, {Rate: 48000, Channels: 1, Bits: 16}, {Rate: 8000, Channels: 1, Bits: 16}, {Rate: 96000, Channels: 2, Bits: 32, Float: true, Extensible: true}} {
		dir := t.TempDir()
		in, out := filepath.Join(dir, "in.wav"), filepath.Join(dir, "out.wav")
		tones := []func(int, int) float64{audiotest.Tone(f.Rate, 220, .2), audiotest.Tone(f.Rate, 1330, .2), audiotest.Tone(f.Rate, 2900, .2)}
		b := audiotest.Encode(f, 2*f.Rate, func(i, c int) float64 {
			var s float64
			for _, tone := range tones {
				s += tone(i, c)
			}
			return s * math.Sin(math.Pi*float64(i)/float64(2*f.Rate))
		})
		if err := os.WriteFile(in, b, 0o600); err != nil {
			t.Fatal(err)
		}
		if msg, err := exec.Command(sox, "-D", in, "-e", "float", "-b", "32", out, "remix", "-", "rate", "-h", "16000").CombinedOutput(); err != nil {
			t.Fatalf("sox: %v: %s", err, msg)
		}
		ours, err := Open(t.Context(), in, nil)
		if err != nil {
			t.Fatal(err)
		}
		theirs, err := Open(t.Context(), out, nil)
		if err != nil {
			t.Fatal(err)
		}
		if d := ours.Len() - theirs.Len(); d < -2 || d > 2 {
			t.Errorf("%s: %d samples, sox makes %d", f, ours.Len(), theirs.Len())
		}
		n := min(ours.Len(), theirs.Len())
		a, s := ours.Samples(0, n), theirs.Samples(0, n)
		diff := make([]float32, n)
		for i := range diff {
			diff[i] = a[i] - s[i]
		}
		got := dB(rms(diff) / rms(s))
		t.Logf("%s: differs from sox by %.1f dB", f, got)
		if got > -60 {
			t.Errorf("%s: differs from sox by %.1f dB, want below -60", f, got)
		}
	}
}
