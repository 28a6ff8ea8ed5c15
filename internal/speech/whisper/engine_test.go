package whisper

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"

	"bedsaid/internal/speech"
)

// weightsFile is the default model's, as set-up leaves it.
const weightsFile = "ggml-base-q8_0.bin"

// absent skips a test, or fails it where the engine is required.
func absent(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("BEDSAID_REQUIRE_ENGINE") == "1" {
		t.Fatalf("%s; run scripts/setup and source scripts/env", what)
	}
	t.Skipf("skipped: %s; run scripts/setup and source scripts/env", what)
}

// open gives one engine to all tests of a run that ask for it.
func open(t testing.TB) *Engine {
	t.Helper()
	if !Built {
		absent(t, "the engine is not in this build")
	}
	path := filepath.Join(os.Getenv("BEDSAID_MODELS"), weightsFile)
	if _, err := os.Stat(path); err != nil {
		absent(t, "the weights are not at hand")
	}
	engine, err := Open(path, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := engine.Close(); err != nil {
			t.Error(err)
		}
	})
	return engine
}

// sample reads jfk.wav of whisper.cpp: 11 s, 16 kHz, mono, 16 bit.
func sample(t testing.TB) []float32 {
	t.Helper()
	b, err := os.ReadFile(os.Getenv("BEDSAID_SAMPLE"))
	if err != nil {
		absent(t, "the sample jfk.wav is not at hand")
	}
	for at := 12; at+8 <= len(b); {
		size := int(binary.LittleEndian.Uint32(b[at+4:]))
		if string(b[at:at+4]) == "data" {
			data := b[at+8 : min(at+8+size, len(b))]
			samples := make([]float32, len(data)/2)
			for i := range samples {
				samples[i] = float32(int16(binary.LittleEndian.Uint16(data[2*i:]))) / 32768
			}
			return samples
		}
		at += 8 + size + size%2
	}
	t.Fatal("jfk.wav holds no sound")
	return nil
}

func decode(t testing.TB, e *Engine, samples []float32, req speech.Request) speech.Decoded {
	t.Helper()
	d, err := e.Decode(context.Background(), samples, req)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func textOf(d speech.Decoded) string {
	var b strings.Builder
	for _, tok := range d.Tokens {
		b.WriteString(tok.Text)
	}
	return b.String()
}

// words folds case and drops punctuation.
func words(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '\''
	})
}

// The words are those of the inaugural address of 20 January 1961, as printed
// in README.md of whisper.cpp for this very file.
func TestRealSpeech(t *testing.T) {
	const published = "And so my fellow Americans, ask not what your country can do for you, ask what you can do for your country."
	e, samples := open(t), sample(t)
	for _, req := range []speech.Request{{}, {Beam: 5}, {Brief: true}} {
		d := decode(t, e, samples, req)
		if got := words(textOf(d)); !reflect.DeepEqual(got, words(published)) {
			t.Errorf("%+v: heard %q", req, textOf(d))
		}
		if d.HitLimit || d.AvgLogProb >= 0 || d.AvgLogProb < -1 || d.NoSpeech > 0.3 {
			t.Errorf("%+v: limit %v, mean log-probability %.2f, no speech %.2f", req, d.HitLimit, d.AvgLogProb, d.NoSpeech)
		}
		last := 0.0
		for _, tok := range d.Tokens {
			if tok.Start < last || tok.End < tok.Start || tok.End > 11 || tok.P < 0 || tok.P > 1 {
				t.Errorf("%+v: times or probability of token are wrong: %.2f to %.2f after %.2f, %.2f", req, tok.Start, tok.End, last, tok.P)
			}
			last = tok.Start
			if strings.HasPrefix(tok.Text, "[_") || strings.HasPrefix(tok.Text, "<|") {
				t.Errorf("%+v: a control token came through: %q", req, tok.Text)
			}
		}
		// By ear and by the waveform the words run from 0.3 s to 10.6 s and
		// pause between 2.3 s and 3.2 s. (A measurement of ours, no source.)
		first, end := d.Tokens[0], d.Tokens[len(d.Tokens)-1]
		if first.Start > 1 || end.End < 10 {
			t.Errorf("%+v: words from %.2f s to %.2f s", req, first.Start, end.End)
		}
	}
}

// What was said outweighs its rivals, in whatever order they are asked about and
// whatever was asked before; nothing heard outweighs by much in silence.
func TestWeigh(t *testing.T) {
	e, samples := open(t), sample(t)
	spots := []Spot{
		{Before: " And so my fellow Americans, ask", Readings: []string{" not", " now", " what"}, After: " what your country"},
		{Before: " And so my fellow Americans, ask not what your", Readings: []string{" country", " company", " county"}, After: " can do for you"},
		{Before: " And so my fellow Americans, ask not what your", Readings: []string{" company", " country"}, After: " can do for you"},
	}
	got, err := e.Weigh(context.Background(), samples, "", spots)
	if err != nil {
		t.Fatal(err)
	}
	for i, best := range []int{0, 0, 1} {
		for k, v := range got[i] {
			if k != best && v > got[i][best]-3 {
				t.Errorf("%q at %.1f, %q at %.1f", spots[i].Readings[best], got[i][best], spots[i].Readings[k], v)
			}
		}
	}
	if a, b := got[1][0], got[2][1]; math.Abs(a-b) > 0.05 {
		t.Errorf("the same reading at %.2f and at %.2f", a, b)
	}
	// A brief decoding between leaves no trace.
	decode(t, e, samples, speech.Request{Brief: true})
	if again, err := e.Weigh(context.Background(), samples, "", spots); err != nil || !reflect.DeepEqual(again, got) {
		t.Errorf("weighed again %v, first %v; %v", again, got, err)
	}
	if _, err := e.Weigh(context.Background(), nil, "", spots); err == nil {
		t.Error("no error without sound")
	}
}

// The same piece gives the same tokens whatever was heard before, with beams
// too: the library alone does not.
func TestSameInputSameOutput(t *testing.T) {
	e, samples := open(t), sample(t)
	piece := samples[:5*SampleRate]
	for _, req := range []speech.Request{{}, {Beam: 3, Prompt: "fellow, country, citizen"}, {Brief: true}} {
		first := decode(t, e, piece, req)
		decode(t, e, samples[6*SampleRate:], speech.Request{Beam: 2, Prompt: "thyroid, trachea"})
		decode(t, e, samples[7*SampleRate:], speech.Request{Brief: !req.Brief})
		if again := decode(t, e, piece, req); !reflect.DeepEqual(first, again) {
			t.Errorf("%+v: first %q, then %q", req, textOf(first), textOf(again))
		}
	}
	fresh := open(t)
	if a, b := decode(t, e, piece, speech.Request{}), decode(t, fresh, piece, speech.Request{}); !reflect.DeepEqual(a, b) {
		t.Errorf("an engine just opened differs: %q, %q", textOf(a), textOf(b))
	}
}

func TestOddPieces(t *testing.T) {
	e := open(t)
	rng := rand.New(rand.NewSource(3))
	noise := make([]float32, 2*SampleRate)
	for i := range noise {
		noise[i] = 0.01 * float32(rng.NormFloat64())
	}
	loud := make([]float32, SampleRate)
	for i := range loud {
		loud[i] = float32(1 - 2*(i/40%2))
	}
	for name, piece := range map[string][]float32{
		"nil":        nil,
		"empty":      {},
		"one sample": {0.5},
		"50 ms":      make([]float32, SampleRate/20),
		"silence":    make([]float32, SampleRate),
		"noise":      noise,
		"square":     loud,
		"longest":    make([]float32, MaxSeconds*SampleRate),
	} {
		d, err := e.Decode(context.Background(), piece, speech.Request{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		seconds := float64(len(piece)) / SampleRate
		for _, tok := range d.Tokens {
			if tok.End > seconds {
				t.Errorf("%s: a token ends at %.2f s of %.2f", name, tok.End, seconds)
			}
		}
		if d.NoSpeech < 0 || d.NoSpeech > 1 {
			t.Errorf("%s: no speech %v", name, d.NoSpeech)
		}
	}
	if d := decode(t, e, nil, speech.Request{}); len(d.Tokens) != 0 {
		t.Error("no samples gave tokens")
	}
}

// Silence must look more like silence than speech does.
func TestNoSpeech(t *testing.T) {
	e, samples := open(t), sample(t)
	voice := decode(t, e, samples, speech.Request{}).NoSpeech
	still := decode(t, e, make([]float32, 5*SampleRate), speech.Request{}).NoSpeech
	if still <= 2*voice {
		t.Errorf("no speech: %.3f in silence, %.3f in speech", still, voice)
	}
}

func TestDecodeRefuses(t *testing.T) {
	e := open(t)
	if _, err := e.Decode(context.Background(), make([]float32, MaxSeconds*SampleRate+1), speech.Request{}); !errors.Is(err, ErrTooLong) {
		t.Errorf("too long: %v", err)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		piece := make([]float32, SampleRate)
		piece[100] = float32(bad)
		if _, err := e.Decode(context.Background(), piece, speech.Request{}); !errors.Is(err, ErrBadSamples) {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

// An end of the context stops a decoding, and the next one is none the worse.
func TestCancel(t *testing.T) {
	e, samples := open(t), sample(t)
	want := textOf(decode(t, e, samples, speech.Request{}))

	done, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := e.Decode(done, samples, speech.Request{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before: %v", err)
	}
	for _, wait := range []time.Duration{0, time.Millisecond, 20 * time.Millisecond, 200 * time.Millisecond} {
		ctx, cancel := context.WithTimeout(context.Background(), wait)
		// Eight beams over a long prompt take far longer than that anywhere.
		_, err := e.Decode(ctx, samples, speech.Request{Beam: 8, Prompt: strings.Repeat("country, ", 200)})
		cancel()
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("cancelled after %v: %v", wait, err)
		}
		if got := textOf(decode(t, e, samples, speech.Request{})); got != want {
			t.Errorf("after a cancelled piece: %q, want %q", got, want)
		}
	}
}

// Prompts of any length and kind are taken; more beams than there are too.
func TestPrompts(t *testing.T) {
	e, samples := open(t), sample(t)
	piece := samples[:3*SampleRate]
	for name, req := range map[string]speech.Request{
		"long":       {Prompt: strings.Repeat("sternocleidomastoid, ", 500)},
		"not UTF-8":  {Prompt: "\xff\xfe\x80"},
		"with a NUL": {Prompt: "trachea\x00thyroid"},
		"spaces":     {Prompt: "   "},
		"beams":      {Beam: 100},
		"negative":   {Beam: -1},
	} {
		if _, err := e.Decode(context.Background(), piece, req); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestTakingTurns(t *testing.T) {
	e, samples := open(t), sample(t)
	piece := samples[:3*SampleRate]
	want := decode(t, e, piece, speech.Request{})
	var turns sync.WaitGroup
	for range 3 {
		turns.Add(1)
		go func() {
			defer turns.Done()
			got, err := e.Decode(context.Background(), piece, speech.Request{})
			if err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("beside others: %q, %v", textOf(got), err)
			}
		}()
	}
	turns.Wait()
}

func TestOpenAndClose(t *testing.T) {
	if !Built {
		if _, err := Open("any", 0); !errors.Is(err, ErrNotBuilt) {
			t.Errorf("without the engine: %v, want ErrNotBuilt", err)
		}
		absent(t, "the engine is not in this build")
	}
	dir := t.TempDir()
	if _, err := Open(filepath.Join(dir, "none.bin"), 0); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	// The last is a whole header of a base network with filters and no words.
	header := []byte("lmgg")
	for _, n := range []uint32{51865, 1500, 512, 8, 6, 448, 512, 8, 6, 80, 1, 80, 201} {
		header = binary.LittleEndian.AppendUint32(header, n)
	}
	header = append(header, make([]byte, 80*201*4+4)...)
	for name, content := range map[string]string{"empty": "", "text": "not weights", "magic": "lmgg", "header": string(header)} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Open(path, 0); err == nil {
			t.Errorf("%s was opened", name)
		}
	}
	e := open(t)
	if info := e.Info(); !strings.HasPrefix(info.Engine, "whisper.cpp 1.") || info.Model != "base" || !info.Multilingual || info.Threads < 1 || info.Threads > 4 {
		t.Errorf("info: %+v", info)
	}
	for range 2 {
		if err := e.Close(); err != nil {
			t.Error(err)
		}
	}
	if _, err := e.Decode(context.Background(), make([]float32, SampleRate), speech.Request{}); !errors.Is(err, ErrClosed) {
		t.Errorf("after Close: %v, want ErrClosed", err)
	}
}
