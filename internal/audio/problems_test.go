package audio

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/audio/audiotest"
)

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
