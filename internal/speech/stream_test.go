package speech

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"bedsaid/internal/audio"
	"bedsaid/internal/audio/audiotest"
	"bedsaid/internal/transcript"
)

// pcm is the world's sound in 16 bits; the world is changed to match.
func (w *world) pcm() []int16 {
	out := make([]int16, len(w.samples))
	for i, x := range w.samples {
		out[i] = int16(math.Round(float64(x) * 32768))
		w.samples[i] = float32(out[i]) / 32768
	}
	w.clip()
	return out
}

// chunks hands sound over in parts of so many samples; 0 is all at once, -1 parts
// of any length.
func chunks(pcm []int16, size int, write func([]int16)) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for len(pcm) > 0 {
		n := size
		switch size {
		case 0:
			n = len(pcm)
		case -1:
			n = rnd.IntN(30000)
		}
		n = min(n, len(pcm))
		write(pcm[:n])
		pcm = pcm[n:]
	}
}

// worlds are recordings of several kinds; the long talk has no pause.
func worlds() map[string]*world {
	return map[string]*world{
		"pauses":        newWorld(80, 8, 0.5, 0.5, 0.9, 0.4, 12),
		"long talk":     newWorld(40, 1, 0),
		"a long breath": newWorld(60, 30, 2.5),
		"one word":      newWorld(2, 1, 60),
		"nothing":       {samples: audiotest.White(3, 5*audio.Rate, 1e-4)},
		"no sound":      {},
	}
}

// TestStreamHearsWhatRecognizeHears: word for word, time for time, however the
// sound is handed over, and with guesses in between or without.
func TestStreamHearsWhatRecognizeHears(t *testing.T) {
	for name, w := range worlds() {
		pcm := w.pcm()
		f := &fake{t: t, w: w}
		whole, err := New(f, Options{}).Recognize(t.Context(), audio.FromPCM(pcm), vocabulary, nil)
		if err != nil {
			t.Fatal(err)
		}
		var heard []string
		for _, word := range whole.Words {
			heard = append(heard, word.Text)
		}
		if want := strings.Fields(transcript.Transcript{Words: w.words}.Text()); !slices.Equal(heard, want) {
			t.Fatalf("%s: %v, want %v", name, heard, want)
		}
		for _, size := range []int{1, 320, audio.Rate, 0, -1} {
			if size == 1 && name != "one word" && name != "nothing" {
				continue // sample by sample takes long
			}
			s := NewStream(Options{})
			chunks(pcm, size, s.Write)
			s.End()
			got, err := s.Hear(t.Context(), f, vocabulary, nil)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, whole) {
				t.Errorf("%s in chunks of %d: %d words, %+v; want %d, %+v", name, size, len(got.Words), got.Recording, len(whole.Words), whole.Recording)
			}
		}
		// In step with the decoder: every pause is guessed at.
		s := NewStream(Options{})
		guesses := 0
		told := make(chan Heard)
		done := make(chan struct{})
		var got transcript.Transcript
		go func() {
			defer close(done)
			got, err = s.Hear(t.Context(), f, vocabulary, func(h Heard) { told <- h })
		}()
		last := Heard{}
		chunks(pcm, 4000, func(part []int16) {
			s.Write(part)
			for !s.idle() {
				select {
				case last = <-told:
					guesses++
					s.check(t, last, w)
				case <-time.After(time.Millisecond):
				}
			}
			if s.idlePause() {
				said := 0
				for said < len(w.words) && w.words[said].End < s.Seconds()-0.5 { // the ear lags a little
					said++
				}
				if len(last.Transcript.Words) != said {
					t.Errorf("%s: %d words told in the pause at %.1f s, %d were said", name, len(last.Transcript.Words), s.Seconds(), said)
				}
			}
		})
		s.End()
		for open := true; open; {
			select {
			case <-told:
			case <-done:
				open = false
			}
		}
		if err != nil || !reflect.DeepEqual(got, whole) {
			t.Errorf("%s with guesses: %d words, %+v; want %d, %+v; %v", name, len(got.Words), got.Recording, len(whole.Words), whole.Recording, err)
		}
		if len(w.words) > 8 && name != "long talk" && guesses < 3 {
			t.Errorf("%s: told %d times", name, guesses)
		}
	}
}

// idlePause says whether the speaker pauses and all of it was looked at.
func (s *Stream) idlePause() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, yes := s.ear.pausing()
	return yes && s.pause.asked == 2
}

// idle says whether the hearing goroutine has nothing left to do.
func (s *Stream) idle() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, pausing := s.ear.pausing()
	return len(s.wake) == 0 && len(s.tasks) == 0 && s.now == nil && (!s.pause.on || s.pause.asked == 2 || s.pause.asked == 1 && !pausing)
}

// check looks at what is told midway: in a world that is heard rightly, its words
// are those that were said before the last pause.
func (s *Stream) check(t *testing.T, h Heard, w *world) {
	t.Helper()
	if h.Settled > h.Transcript.Recording.Seconds {
		t.Errorf("settled up to %v of %v s", h.Settled, h.Transcript.Recording.Seconds)
	}
	for i, word := range h.Transcript.Words {
		if word.Text != w.words[i].Text {
			t.Errorf("word %d is %q, want %q", i, word.Text, w.words[i].Text)
			return
		}
	}
}

// TestSlowDecoder: where hearing is slower than speaking, pieces wait, and nothing
// is lost.
func TestSlowDecoder(t *testing.T) {
	w := newWorld(110, 8, 0.5, 0.9)
	pcm := w.pcm()
	s := NewStream(Options{})
	all := make(chan struct{})
	go func() {
		chunks(pcm, 1600, s.Write)
		s.End()
		close(all)
	}()
	most, last := 0, 0
	f := &fake{t: t, w: w, fault: func(transcript.Interval, Request, *Decoded) (bool, error) {
		<-all // the first decoding lasts until all is said
		return false, nil
	}}
	got, err := s.Hear(t.Context(), f, nil, func(h Heard) { most, last = max(most, h.Waiting), h.Waiting })
	if err != nil {
		t.Fatal(err)
	}
	if most < 2 || last != 0 {
		t.Errorf("%d pieces waited at most, %d at the end", most, last)
	}
	if len(got.Words) != len(w.words) || len(got.Recording.Untranscribed) > 0 {
		t.Errorf("%d words of %d, %v", len(got.Words), len(w.words), got.Recording.Untranscribed)
	}
}

// TestStreamKeepsLittle: three hours of talk with a decoder that keeps up leave a
// minute of sound behind, no more, and so little of what was found in it.
func TestStreamKeepsLittle(t *testing.T) {
	part := newWorld(60, 60, 2)
	pcm := part.pcm()
	hours := 3.0
	if testing.Short() {
		hours = 0.25
	}
	s := NewStream(Options{})
	dec := decoderFunc(func(samples []float32) Decoded {
		var d Decoded
		for at := 0.0; at < float64(len(samples))/audio.Rate; at += 2 {
			d.Tokens = append(d.Tokens, Token{" word" + string(rune('a'+int(at*7)%26)), at, at + 1.9, 0.9})
		}
		return d
	})
	done := make(chan error, 1)
	var calls atomic.Int64
	go func() {
		_, err := s.Hear(t.Context(), dec, nil, func(Heard) { calls.Add(1) })
		done <- err
	}()
	most, scores := 0, 0
	for at := 0.0; at < hours*3600; at += 60 {
		chunks(pcm, 16000, func(p []int16) {
			s.Write(p)
			for !s.idle() {
				time.Sleep(100 * time.Microsecond)
			}
		})
		s.mu.Lock()
		most = max(most, cap(s.ear.kept)+cap(s.pause.samples))
		for _, w := range s.tasks {
			most = max(most, cap(w.samples))
		}
		scores = max(scores, cap(s.ear.finder.voice.score)+cap(s.ear.finder.waiting)+cap(s.ear.finder.floors.recent))
		s.mu.Unlock()
	}
	s.End()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if most > 90*audio.Rate || scores > 120*1000/16 {
		t.Errorf("%d s of sound and %d moments were kept", most/audio.Rate, scores)
	}
	if calls.Load() < int64(hours*60) {
		t.Errorf("told %d times", calls.Load())
	}
}

type decoderFunc func([]float32) Decoded

func (f decoderFunc) Decode(ctx context.Context, samples []float32, _ Request) (Decoded, error) {
	return f(samples), ctx.Err()
}

// TestStreamFails: the decoder's error, and the context's end, come out of Hear
// once; sound is taken on and let go.
func TestStreamFails(t *testing.T) {
	w := newWorld(80, 8, 0.6)
	pcm := w.pcm()
	broken := errors.New("out of memory")
	for name, want := range map[string]error{"decoder": broken, "context": context.Canceled} {
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		f := &fake{t: t, w: w}
		f.fault = func(transcript.Interval, Request, *Decoded) (bool, error) {
			if len(f.calls) > 1 {
				if want == broken {
					return true, broken
				}
				cancel()
				return true, ctx.Err()
			}
			return false, nil
		}
		s := NewStream(Options{})
		chunks(pcm[:60*audio.Rate], 1000, s.Write)
		got, err := s.Hear(ctx, f, nil, nil)
		if !errors.Is(err, want) || len(got.Words) > 0 {
			t.Errorf("%s: %d words, %v", name, len(got.Words), err)
		}
		s.Write(pcm[60*audio.Rate:])
		s.End()
		s.Write(pcm)
		if s.Seconds() != 80 || len(s.ear.kept) > 0 || len(s.tasks) > 0 {
			t.Errorf("%s: %v s taken, %d samples and %d pieces kept", name, s.Seconds(), len(s.ear.kept), len(s.tasks))
		}
	}
}
