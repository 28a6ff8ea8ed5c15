package pipeline

import (
	"bytes"
	"context"
	"errors"
	"path/filepath"
	"reflect"
	"sync/atomic"
	"testing"

	"bedsaid/internal/audio"
	"bedsaid/internal/export"
	"bedsaid/internal/note"
	"bedsaid/internal/speech"
)

// sound gives the samples of a recording.
func sound(t *testing.T, path string) []int16 {
	t.Helper()
	clip, err := audio.Open(t.Context(), path, nil)
	if err != nil {
		t.Fatal(err)
	}
	return clip.PCM(0, clip.Len())
}

func asJSON(t *testing.T, n note.Draft) string {
	t.Helper()
	var b bytes.Buffer
	if err := export.JSON(&b, n); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What is heard live is what the recording gives at once, to the last letter of
// the draft; and the words were told while the sound came.
func TestLiveIsTheDraftOfTheRecording(t *testing.T) {
	path := voice(t)
	pcm := sound(t, path)
	d := drafter(&scripted{line: "The trachea is midline."})
	want, err := d.Draft(t.Context(), Input{Path: path})
	if err != nil {
		t.Fatal(err)
	}
	told := make(chan Update, 100)
	l, err := d.Live(t.Context(), func(u Update) { told <- u })
	if err != nil {
		t.Fatal(err)
	}
	for len(pcm) > 0 {
		n := min(320, len(pcm))
		if err := l.Write(pcm[:n]); err != nil {
			t.Fatal(err)
		}
		pcm = pcm[n:]
	}
	u := <-told // before Finish: somebody paused
	if len(u.Draft.Findings()) == 0 || len(u.Draft.Transcript.Words) != 4 || u.Settled != 0 || u.Received != 5 {
		t.Errorf("told %v, %d words, settled %v of %v s", u.Draft, len(u.Draft.Transcript.Words), u.Settled, u.Received)
	}
	if before := len(want.Unmentioned()); len(u.Draft.Unmentioned()) != before {
		t.Errorf("%d findings not mentioned, want %d", len(u.Draft.Unmentioned()), before)
	}
	got, err := l.Finish(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	got.Name = filepath.Base(path)
	if asJSON(t, got) != asJSON(t, want) {
		t.Errorf("live:\n%s\nat once:\n%s", asJSON(t, got), asJSON(t, want))
	}
	if again, err := l.Finish(t.Context()); err != nil || !reflect.DeepEqual(again.Transcript, got.Transcript) {
		t.Errorf("finished again: %v", err)
	}
	l.Close() // does nothing
}

func TestLiveWithoutSound(t *testing.T) {
	for name, pcm := range map[string][]int16{"none": nil, "silence": make([]int16, 5*audio.Rate)} {
		dec := &scripted{line: "The trachea is midline."}
		var told atomic.Int32
		l, err := drafter(dec).Live(t.Context(), func(Update) { told.Add(1) })
		if err != nil {
			t.Fatal(err)
		}
		if err := l.Write(pcm); err != nil {
			t.Fatal(err)
		}
		n, err := l.Finish(t.Context())
		if err != nil || len(n.Findings()) != 0 || len(n.Transcript.Words) != 0 || len(dec.prompts) != 0 || told.Load() != 0 {
			t.Errorf("%s: %v, %v, %d decoded, told %d times", name, n, err, len(dec.prompts), told.Load())
		}
		if n.Transcript.Recording == nil || n.Transcript.Recording.Seconds != float64(len(pcm))/audio.Rate {
			t.Errorf("%s: recording %+v", name, n.Transcript.Recording)
		}
	}
}

// failing is a decoder that never answers.
type failing struct{ err error }

func (f failing) Decode(ctx context.Context, _ []float32, _ speech.Request) (speech.Decoded, error) {
	if f.err == nil {
		<-ctx.Done()
		return speech.Decoded{}, ctx.Err()
	}
	return speech.Decoded{}, f.err
}

func TestLiveFails(t *testing.T) {
	pcm := sound(t, voice(t))
	broken := errors.New("out of memory")
	start := func(d *Drafter) *Live {
		l, err := d.Live(t.Context(), func(Update) { t.Error("told") })
		if err != nil {
			t.Fatal(err)
		}
		if err := l.Write(pcm); err != nil {
			t.Fatal(err)
		}
		return l
	}
	l := start(drafter(failing{broken}))
	<-l.done
	if err := l.Write(pcm); err != nil { // sound is still taken
		t.Error(err)
	}
	if n, err := l.Finish(t.Context()); !errors.Is(err, broken) || n.Name != "" || len(n.Transcript.Words) > 0 {
		t.Errorf("a decoder that fails: %v, %v", n, err)
	}

	l = start(drafter(nil))
	if _, err := l.Finish(t.Context()); err == nil {
		t.Error("a draft without an engine")
	}

	l = start(drafter(failing{}))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := l.Finish(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("finish with no time: %v", err)
	}

	l = start(drafter(failing{}))
	l.Close()
	if err := l.Write(pcm); !errors.Is(err, ErrClosed) {
		t.Errorf("write after close: %v", err)
	}
	if _, err := l.Finish(t.Context()); !errors.Is(err, ErrClosed) {
		t.Errorf("finish after close: %v", err)
	}
	l.Close()
}
