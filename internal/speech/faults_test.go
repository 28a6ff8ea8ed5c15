package speech

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"bedsaid/internal/audio"
	"bedsaid/internal/audio/audiotest"
	"bedsaid/internal/transcript"
)

func TestLoopOfPromptedDecoding(t *testing.T) {
	o := run(t, newWorld(80, 8, 0.6), func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		if req.Prompt == "" {
			return false, nil
		}
		loopTokens(d)
		return true, nil
	})
	o.wantWords(t, 0, 0)
	if o.count(EventAgain) == 0 {
		t.Error("no event")
	}
}

// TestLoopOfOneSentence: what loops however it is decoded is cut out as closely
// as possible, never written, and reported.
func TestLoopOfOneSentence(t *testing.T) {
	w := newWorld(80, 8, 0.6)
	from := w.words[5*8].Start
	o := run(t, w, func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		if p.Start > from+0.5 || p.End < from+2.5 {
			return false, nil
		}
		loopTokens(d)
		return true, nil
	})
	for _, word := range o.Words {
		if strings.Contains(word.Text, "clavicle") || word.Text == "no" {
			t.Fatalf("looped text came out: %q", word.Text)
		}
	}
	if o.count(EventSplit) == 0 || o.count(EventRejected) == 0 {
		t.Errorf("events %v", o.events)
	}
	missing := len(w.words) - len(o.Words)
	if missing == 0 || missing > 5*8 {
		t.Errorf("%d words given up, of a sentence of 8", missing)
	}
	var reported float64
	for _, iv := range o.Recording.Untranscribed {
		reported += iv.End - iv.Start
		if overlap(iv, transcript.Interval{Start: from, End: from + 3}) == 0 {
			t.Errorf("reported %v, the loop is at %.1f", iv, from)
		}
	}
	if reported < 0.35*float64(missing) {
		t.Errorf("%d words given up, %.1f s reported", missing, reported)
	}
}

func TestDropOfPromptedDecoding(t *testing.T) {
	w := newWorld(60, 8, 0.6)
	o := run(t, w, func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		return req.Beam < 5 && dropTokens(d, p, 20, 27), nil
	})
	o.wantWords(t, 0, 0)
}

// TestDropInLongPieces: a passage that only a piece of its own brings forth.
func TestDropInLongPieces(t *testing.T) {
	w := newWorld(60, 8, 0.6)
	o := run(t, w, func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		return p.End-p.Start > 10 && dropTokens(d, p, 20, 27), nil
	})
	o.wantWords(t, 0, 0)
	if o.count(EventRefill) == 0 {
		t.Errorf("events %v", o.events)
	}
}

func TestDropForGood(t *testing.T) {
	w := newWorld(60, 8, 0.6)
	for _, lost := range []transcript.Interval{{Start: 20, End: 22.8}, {Start: 20, End: 27}, {Start: 0, End: 60}, {Start: 52, End: 60}, {Start: 0, End: 4}} {
		o := run(t, w, func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
			return dropTokens(d, p, lost.Start, lost.End), nil
		})
		o.wantWords(t, lost.Start, lost.End)
	}
}

// TestStretchedWord: the word before a dropped passage is stretched over it; that
// must not hide the loss.
func TestStretchedWord(t *testing.T) {
	w := newWorld(60, 8, 0.6)
	o := run(t, w, func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		if !dropTokens(d, p, 20, 27) {
			return false, nil
		}
		for i := range d.Tokens {
			if i+1 < len(d.Tokens) {
				d.Tokens[i].End = d.Tokens[i+1].Start
			} else {
				d.Tokens[i].End = p.End - p.Start
			}
		}
		return true, nil
	})
	o.wantWords(t, 20, 27)
}

func TestSenselessTimes(t *testing.T) {
	for name, spoil := range map[string]func(*Token, int){
		"over-long":  func(k *Token, i int) { k.End += 60 },
		"all at end": func(k *Token, i int) { k.Start, k.End = 100, 100 },
		"backwards":  func(k *Token, i int) { k.Start, k.End = k.End, k.Start },
		"not a number": func(k *Token, i int) {
			if i%3 == 0 {
				k.Start, k.End, k.P = math.NaN(), math.Inf(1), math.NaN()
			}
		},
		"negative": func(k *Token, i int) { k.Start, k.End, k.P = -5, -3, 7 },
	} {
		w := newWorld(40, 8, 0.6)
		o := run(t, w, func(_ transcript.Interval, _ Request, d *Decoded) (bool, error) {
			for i := range d.Tokens {
				spoil(&d.Tokens[i], i)
			}
			return true, nil
		})
		// run checks the times; the words must all be there, once or, where times
		// hid them from the check of coverage, reported and heard again.
		text := " " + o.Text() + " "
		for _, word := range w.words {
			if !strings.Contains(text, " "+word.Text+" ") {
				t.Errorf("%s: %s is lost", name, word.Text)
			}
		}
	}
}

func TestEchoOfPrompt(t *testing.T) {
	o := run(t, newWorld(40, 8, 0.6), func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		if req.Prompt == "" {
			return false, nil
		}
		d.Tokens = nil
		for i, word := range strings.Fields(req.Prompt) {
			d.Tokens = append(d.Tokens, Token{" " + word, float64(i) * 0.4, float64(i)*0.4 + 0.3, 0.9})
		}
		return true, nil
	})
	o.wantWords(t, 0, 0)
}

func TestEmptyForGood(t *testing.T) {
	o := run(t, newWorld(40, 8, 0.6), func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		d.Tokens = nil
		return true, nil
	})
	o.wantWords(t, 0, 40)
}

// TestPhraseOfSilence: a short noise that is taken for voice yields no thanks.
func TestPhraseOfSilence(t *testing.T) {
	w := newWorld(30, 8, 0.6)
	at := len(w.samples)
	w.samples = append(w.samples, audiotest.White(98, 20*audio.Rate, 1e-4)...)
	for i, s := range audiotest.Babbled(5, audio.Rate/3, 0.05) {
		w.samples[at+10*audio.Rate+i] += s
	}
	o := run(t, w, func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		if len(d.Tokens) > 0 {
			return false, nil
		}
		d.Tokens = []Token{{" Thank", 0, 0.2, 0.8}, {" you.", 0.2, 0.4, 0.8}}
		return true, nil
	})
	if len(o.Words) != len(w.words) || o.count(EventDropped) == 0 {
		t.Errorf("%d words, want %d; events %v", len(o.Words), len(w.words), o.events)
	}
	if n := len(o.Recording.Untranscribed); n != 1 {
		t.Errorf("the noise is not reported: %v", o.Recording.Untranscribed)
	}
}

// TestMadeUpInNoise: where the engine itself hears no speech, its guesses and its
// loops are not believed, and what sounded is reported. The figures are those of
// the engine on beeps and knocks (docs/speech.md).
func TestMadeUpInNoise(t *testing.T) {
	for name, spoil := range map[string]func(*Decoded){
		"guess": func(d *Decoded) { d.AvgLogProb = -1.24 },
		"loop":  func(d *Decoded) { loopTokens(d); d.AvgLogProb = -0.13 },
	} {
		o := run(t, newWorld(40, 8, 0.6), func(_ transcript.Interval, _ Request, d *Decoded) (bool, error) {
			d.NoSpeech = 0.46
			spoil(d)
			return true, nil
		})
		o.wantWords(t, 0, 40)
		if o.count(EventRejected) == 0 {
			t.Errorf("%s: events %v", name, o.events)
		}
	}
}

func TestDecoderFails(t *testing.T) {
	broken := errors.New("out of memory")
	w := newWorld(60, 8, 0.6)
	clip := w.clip()
	f := &fake{t: t, w: w}
	f.fault = func(p transcript.Interval, req Request, d *Decoded) (bool, error) {
		return true, map[bool]error{true: broken}[len(f.calls) > 1]
	}
	got, err := New(f, Options{}).Recognize(t.Context(), clip, nil, nil)
	if !errors.Is(err, broken) || len(got.Words) != 0 {
		t.Errorf("%d words, error %v", len(got.Words), err)
	}
	if f.spoilt == 0 {
		t.Error("no fault was injected")
	}
	ctx, cancel := context.WithCancel(t.Context())
	f = &fake{t: t, w: w, fault: func(transcript.Interval, Request, *Decoded) (bool, error) {
		cancel()
		return true, nil
	}}
	if _, err := New(f, Options{}).Recognize(ctx, clip, nil, nil); !errors.Is(err, context.Canceled) || len(f.calls) != 1 {
		t.Errorf("%d calls, error %v", len(f.calls), err)
	}
}

func TestNoiseIsNotDecoded(t *testing.T) {
	for name, samples := range noises() {
		w := &world{samples: samples}
		f := &fake{t: t, w: w}
		got, err := New(f, Options{}).Recognize(t.Context(), audio.FromSamples(samples), vocabulary, nil)
		if err != nil || len(f.calls) != 0 || len(got.Words) != 0 || len(got.Recording.Untranscribed) != 0 {
			t.Errorf("%s: %d calls, %d words, %v, %v", name, len(f.calls), len(got.Words), got.Recording, err)
		}
	}
}

func TestProgress(t *testing.T) {
	w := newWorld(60, 8, 0.6)
	var seen []Progress
	_, err := New(&fake{t: t, w: w}, Options{}).Recognize(t.Context(), w.clip(), nil, func(p Progress) { seen = append(seen, p) })
	if err != nil || len(seen) < 3 {
		t.Fatalf("%d reports, %v", len(seen), err)
	}
	for i := 1; i < len(seen); i++ {
		if seen[i].Done < seen[i-1].Done {
			t.Errorf("%+v after %+v", seen[i], seen[i-1])
		}
	}
	if last := seen[len(seen)-1]; last.Done != last.Total {
		t.Errorf("ends at %+v", last)
	}
}
