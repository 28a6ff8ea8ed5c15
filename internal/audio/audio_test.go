package audio

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

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

// endless gives an hour of sound without ever holding it.
type endless struct {
	head  []byte
	frame []byte
	left  int64
}

func (e *endless) Read(p []byte) (int, error) {
	if len(e.head) > 0 {
		n := copy(p, e.head)
		e.head = e.head[n:]
		return n, nil
	}
	if e.left == 0 {
		return 0, io.EOF
	}
	n := int(min(int64(len(p)), e.left))
	for i := range p[:n] {
		p[i] = e.frame[(e.left-int64(i))%int64(len(e.frame))]
	}
	e.left -= int64(n)
	return n, nil
}

func TestTooLong(t *testing.T) {
	f := audiotest.Format{Rate: 16000, Channels: 1, Bits: 8}
	head := audiotest.Encode(f, 0, nil)
	// A header that does not tell the length, so that only reading can.
	e := &endless{head: head, frame: []byte{128, 140, 100}, left: 1 << 40}
	_, err := Read(t.Context(), e, 0, nil)
	wantError(t, err, ErrTooLong)
	if e.left == 0 {
		t.Error("read to the end all the same")
	}
}

func wantError(t *testing.T, err error, kind ErrorKind) *Error {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("error is %v, want an *Error of kind %d", err, kind)
	}
	if e.Kind != kind {
		t.Errorf("kind %d (%v), want %d", e.Kind, err, kind)
	}
	if e.Hint == "" || !strings.HasPrefix(e.Error(), "read recording: ") {
		t.Errorf("error %q with hint %q", e.Error(), e.Hint)
	}
	return e
}

func hasNote(c *Clip, kind NoteKind) bool {
	for _, n := range c.Notes() {
		if n.Kind == kind && n.Text != "" {
			return true
		}
	}
	return false
}

func TestProblems(t *testing.T) {
	f := audiotest.Format{Rate: 16000, Channels: 1, Bits: 16}
	tone := audiotest.Encode(f, 32000, audiotest.Tone(16000, 440, 0.3))
	silent := func(int, int) float64 { return 0 }
	rate0 := bytes.Clone(tone)
	rate0[24], rate0[25] = 0, 0
	mulaw := bytes.Clone(tone)
	mulaw[20] = 7
	for name, c := range map[string]struct {
		data []byte
		kind ErrorKind
	}{
		"nothing":      {nil, ErrEmpty},
		"three bytes":  {[]byte("RIF"), ErrEmpty},
		"header alone": {tone[:44], ErrEmpty},
		"half header":  {tone[:30], ErrEmpty},
		"text":         {[]byte("The pupils are equal and round and react to light."), ErrFormat},
		"silence":      {audiotest.Encode(f, 32000, silent), ErrSilent},
		"offset":       {audiotest.Encode(f, 32000, func(int, int) float64 { return 0.25 }), ErrSilent},
		"short":        {audiotest.Encode(f, 1600, audiotest.Tone(16000, 440, 0.3)), ErrTooShort},
		"rate 0":       {rate0, ErrHeader},
		"compressed":   {mulaw, ErrFormat},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Read(t.Context(), bytes.NewReader(c.data), int64(len(c.data)), nil)
			wantError(t, err, c.kind)
		})
	}
}

func TestOpenProblems(t *testing.T) {
	dir := t.TempDir()
	_, err := Open(t.Context(), filepath.Join(dir, "absent.wav"), nil)
	if e := wantError(t, err, ErrUnreadable); strings.Contains(e.Error(), dir) || !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v", err)
	}
	_, err = Open(t.Context(), dir, nil)
	wantError(t, err, ErrUnreadable)
	path := filepath.Join(dir, "note.wav")
	for text, kind := range map[string]ErrorKind{"": ErrEmpty, "plain text, renamed": ErrNotSound, "#EXTM3U\nfile:///etc/hostname\n": ErrNotSound} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err = Open(t.Context(), path, nil)
		wantError(t, err, kind)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := os.WriteFile(path, audiotest.Encode(audiotest.Format{Rate: 16000, Channels: 1, Bits: 16}, 32000, audiotest.Tone(16000, 440, 0.3)), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = Open(ctx, path, nil)
	wantError(t, err, ErrInterrupted)
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v does not carry the context's", err)
	}
}

func TestMended(t *testing.T) {
	f := audiotest.Format{Rate: 16000, Channels: 1, Bits: 16}
	at := audiotest.Tone(16000, 440, 0.3)
	whole := audiotest.Encode(f, 32000, at)
	put := func(pos int, v uint32) []byte {
		b := bytes.Clone(whole)
		b[pos], b[pos+1], b[pos+2], b[pos+3] = byte(v), byte(v>>8), byte(v>>16), byte(v>>24)
		return b
	}
	tail := append(bytes.Clone(whole), audiotest.Chunk("LIST", bytes.Repeat([]byte("INFO"), 2000))...)
	ds64 := bytes.Clone(whole)
	copy(ds64, "RF64")
	extra := make([]byte, 28)
	extra[8], extra[9] = 0x00, 0xFA // 64000 bytes
	ds64 = append(append(append([]byte(nil), ds64[:12]...), audiotest.Chunk("ds64", extra)...), ds64[12:]...)
	for i := 0; i < 4; i++ {
		ds64[36+40+i] = 0xFF
	}
	ds64 = append(ds64, audiotest.Chunk("LIST", bytes.Repeat([]byte("INFO"), 2000))...)
	for name, c := range map[string]struct {
		data    []byte
		seconds float64
		kind    NoteKind // NoteUnknown: no note
	}{
		"cut":                  {whole[:44+32000], 1, NoteTruncated},
		"promises 4 GB":        {put(40, 0xFFFFFF00), 2, NoteTruncated},
		"length never filled":  {put(40, 0), 2, NoteUnknown},
		"length of a pipe":     {put(40, 0xFFFFFFFF), 2, NoteUnknown},
		"says half":            {put(40, 32000), 2, NoteHeader},
		"wrong byte rate":      {put(28, 12345), 2, NoteHeader},
		"names after the end":  {tail, 2, NoteUnknown},
		"64-bit, names behind": {ds64, 2, NoteUnknown},
		"overdriven": {audiotest.Encode(f, 32000, func(i, c int) float64 {
			return min(max(10*at(i, c), -1), 1)
		}), 2, NoteClipped},
		"quiet": {audiotest.Encode(f, 32000, audiotest.Tone(16000, 440, 0.002)), 2, NoteQuiet},
		"damaged floats": {audiotest.Encode(audiotest.Format{Rate: 16000, Channels: 1, Bits: 32, Float: true}, 32000, func(i, c int) float64 {
			if i%1000 == 7 {
				return math.NaN()
			}
			if i%1000 == 8 {
				return 1e30
			}
			return at(i, c)
		}), 2, NoteDamaged},
	} {
		t.Run(name, func(t *testing.T) {
			clip := read(t, c.data)
			if math.Abs(clip.Seconds()-c.seconds) > 0.02 {
				t.Errorf("%.3f s, want %.3f", clip.Seconds(), c.seconds)
			}
			if c.kind != NoteUnknown && !hasNote(clip, c.kind) || c.kind == NoteUnknown && len(clip.Notes()) > 0 {
				t.Errorf("notes %v, want kind %d", clip.Notes(), c.kind)
			}
			for _, s := range clip.Samples(0, clip.Len()) {
				if !(s >= -1.001 && s <= 1.001) {
					t.Fatalf("sample %v", s)
				}
			}
		})
	}
}

// TestChannels: an idle channel, and two of opposite phase, lose nothing.
func TestChannels(t *testing.T) {
	dir := t.TempDir()
	f := audiotest.Format{Rate: 16000, Channels: 2, Bits: 16}
	at := audiotest.Tone(16000, 440, 0.4)
	for name, c := range map[string]struct {
		gain [2]float64
		want float64
		note bool
	}{
		"one idle": {[2]float64{0, 1}, 0.2, false},
		"opposite": {[2]float64{1, -0.99}, 0.4, true},
	} {
		path := filepath.Join(dir, name+".wav")
		if err := os.WriteFile(path, audiotest.Encode(f, 32000, func(i, ch int) float64 { return c.gain[ch] * at(i, ch) }), 0o600); err != nil {
			t.Fatal(err)
		}
		clip, err := Open(t.Context(), path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := level(clip.Samples(0, clip.Len()), 440); math.Abs(got-c.want) > 0.01 || hasNote(clip, NoteChannels) != c.note {
			t.Errorf("%s: level %.3f, notes %v", name, got, clip.Notes())
		}
	}
}

// TestMalformed reads 200 broken files: each gives sound or a message.
func TestMalformed(t *testing.T) {
	files := audiotest.Malformed(20261125, 200)
	if len(files) != 200 {
		t.Fatalf("%d files", len(files))
	}
	dir := t.TempDir()
	kinds := map[string]int{}
	for _, f := range files {
		path := filepath.Join(dir, "x.wav")
		if err := os.WriteFile(path, f.Data, 0o600); err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		clip, err := Open(ctx, path, nil)
		if ctx.Err() != nil {
			t.Errorf("%s: hangs", f.Name)
		}
		cancel()
		var e *Error
		switch {
		case err == nil:
			kinds[fmt.Sprintf("read with %d notes", len(clip.Notes()))]++
			checkClip(t, clip, len(f.Data))
		case errors.As(err, &e) && e.Hint != "" && e.Problem != "" && e.Kind != ErrUnknown:
			kinds[fmt.Sprintf("error of kind %d", e.Kind)]++
		default:
			t.Errorf("%s: error without a hint: %v", f.Name, err)
		}
	}
	t.Logf("%v", kinds)
	if len(kinds) < 5 {
		t.Errorf("only %d kinds of outcome: the files are not broken in enough ways", len(kinds))
	}
}

func checkClip(t *testing.T, c *Clip, size int) {
	t.Helper()
	samples := c.Samples(0, c.Len())
	// A byte is at most one sample at 8 kHz, so two at 16 kHz.
	if len(samples) != c.Len() || c.Len() > 2*size+2 {
		t.Errorf("%d samples of %d bytes", c.Len(), size)
	}
	for _, s := range samples {
		if math.IsNaN(float64(s)) || math.IsInf(float64(s), 0) {
			t.Errorf("sample %v", s)
			return
		}
	}
}

func FuzzRead(f *testing.F) {
	seeds := 0
	add := func(b []byte) {
		// Short seeds: the fuzzer shortens what it keeps, at a price.
		b = b[:min(len(b), 700)]
		if len(b) > 0 {
			f.Add(b)
			seeds++
		}
	}
	for _, m := range audiotest.Malformed(7, 60) {
		add(m.Data)
	}
	for _, form := range []audiotest.Format{{Rate: 8000, Channels: 1, Bits: 8}, {Rate: 192000, Channels: 2, Bits: 16, Extensible: true}, {Rate: 44100, Channels: 1, Bits: 64, Float: true}} {
		add(audiotest.Encode(form, 3000, audiotest.Tone(form.Rate, 400, 0.3)))
	}
	if seeds < 20 {
		f.Fatalf("only %d seeds", seeds)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := Read(t.Context(), bytes.NewReader(b), int64(len(b)), nil)
		var e *Error
		switch {
		case err == nil:
			checkClip(t, c, len(b))
		case !errors.As(err, &e) || e.Hint == "" || e.Problem == "" || e.Kind == ErrUnknown:
			t.Errorf("error without kind, problem or hint: %v", err)
		}
	})
}
