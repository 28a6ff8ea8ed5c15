package audio

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bedsaid/internal/audio/audiotest"
)

// TestConvert reads other formats by way of ffmpeg, names with spaces and a
// leading dash among them.
func TestConvert(t *testing.T) {
	ffmpeg, err := exec.LookPath("ffmpeg")
	if err != nil {
		t.Skip("ffmpeg is not installed: other sound formats are not tried (Debian: apt-get install ffmpeg)")
	}
	dir := t.TempDir()
	src := filepath.Join(dir, "src.wav")
	f := audiotest.Format{Rate: 48000, Channels: 2, Bits: 16}
	if err := os.WriteFile(src, audiotest.Encode(f, 3*48000, audiotest.Tone(48000, 440, 0.3)), 0o600); err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, name := range []string{"a b.m4a", "-c.ogg", "d'e.mp3", "f.flac", "g.aiff", "h.mkv", "mulaw.wav"} {
		path := filepath.Join(dir, name)
		args := []string{"-nostdin", "-v", "error", "-i", src}
		if name == "mulaw.wav" {
			args = append(args, "-c:a", "pcm_mulaw")
		}
		if out, err := exec.Command(ffmpeg, append(args, path)...).CombinedOutput(); err != nil {
			t.Logf("skipping %s, which this ffmpeg cannot make: %v %.200s", name, err, out)
			continue
		}
		tried++
		c, err := Open(t.Context(), path, nil)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		got := level(c.Samples(Rate/2, 5*Rate/2), 440)
		if math.Abs(c.Seconds()-3) > 0.1 || math.Abs(dB(got/0.3)) > 1 || !hasNote(c, NoteConverted) || hasNote(c, NoteTruncated) {
			t.Errorf("%s: %.2f s, level %.3f, notes %v", name, c.Seconds(), got, c.Notes())
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		// Half the file: sound with a note, or an error with a hint.
		if err := os.WriteFile(path, b[:len(b)/2], 0o600); err != nil {
			t.Fatal(err)
		}
		c, err = Open(t.Context(), path, nil)
		if err == nil && c.Seconds() > 2.5 {
			t.Errorf("%s cut in half: %.1f s", name, c.Seconds())
		}
		if err != nil {
			wantError(t, err, ErrConversion)
		}
	}
	if tried == 0 {
		t.Error("no format could be tried")
	}
}

// TestWithoutConverter: without ffmpeg the message holds the line that converts.
func TestWithoutConverter(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	path := filepath.Join(t.TempDir(), "bed side.m4a")
	if err := os.WriteFile(path, append([]byte("\x00\x00\x00\x20ftypM4A "), bytes.Repeat([]byte{0}, 100)...), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Open(t.Context(), path, nil)
	e := wantError(t, err, ErrFormat)
	want := "ffmpeg -i '" + path + "' -ac 1 -ar 16000 -c:a pcm_s16le '" + strings.TrimSuffix(path, ".m4a") + ".wav'"
	if !strings.Contains(e.Hint, want) {
		t.Errorf("hint %q lacks %q", e.Hint, want)
	}
}
