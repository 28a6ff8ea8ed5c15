package pipeline

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"bedsaid/internal/audio"
	"bedsaid/internal/export"
	"bedsaid/internal/note"
	"bedsaid/internal/speech"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// scripted is a decoder that says a line for any voice, two words a second.
type scripted struct {
	line    string
	prompts []string
}

func (s *scripted) Decode(ctx context.Context, samples []float32, req speech.Request) (speech.Decoded, error) {
	s.prompts = append(s.prompts, req.Prompt)
	var d speech.Decoded
	words := strings.Fields(s.line)
	each := float64(len(samples)) / 16000 / float64(len(words))
	for i, w := range words {
		d.Tokens = append(d.Tokens, speech.Token{Text: " " + w, Start: float64(i) * each, End: float64(i+1) * each, P: 0.98765432})
	}
	d.AvgLogProb = -0.1
	return d, ctx.Err()
}

func drafter(dec speech.Decoder) *Drafter {
	return &Drafter{
		Program: "bedsaid test", Now: func() time.Time { return time.Unix(1e9, 0).UTC() },
		Lexicon: lexicon.Builtin,
		Hearing: func(context.Context) (Hearing, error) {
			if dec == nil {
				return Hearing{}, errors.New("open engine: none here")
			}
			return Hearing{dec, "engine 1", "base", "abcd"}, nil
		},
	}
}

// voice writes three seconds of something that sounds like a voice: a pulse
// train that swells and fades four times a second, between silences.
func voice(t *testing.T) string {
	t.Helper()
	samples := make([]float32, 5*16000)
	for i := 16000; i < 4*16000; i++ {
		s := float64(i) / 16000
		v := 0.0
		for h := 1; h <= 30; h++ {
			v += math.Sin(2*math.Pi*120*float64(h)*s) / float64(h)
		}
		samples[i] = float32(0.2 * v * math.Abs(math.Sin(2*math.Pi*2*s)))
	}
	var b bytes.Buffer
	if err := audio.Write(&b, samples); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "exam.wav")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func write(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestDraftFromSound(t *testing.T) {
	dec := &scripted{line: "The trachea is midline."}
	d := drafter(dec)
	var stages []Stage
	d.Progress = func(s Stage, share float64) {
		if share < 0 || share > 1 {
			t.Errorf("%s: share %v", s, share)
		}
		if !slices.Contains(stages, s) {
			stages = append(stages, s)
		}
	}
	n, err := d.Draft(context.Background(), Input{Path: voice(t)})
	if err != nil {
		t.Fatal(err)
	}
	if n.Name != "exam.wav" || n.Provenance.Engine != "engine 1" || n.Provenance.ModelSHA256 != "abcd" || n.Transcript.Recording == nil {
		t.Errorf("draft %v, provenance %+v", n, n.Provenance)
	}
	if !n.Provenance.RecordedAt.IsZero() || n.Provenance.DraftedAt.Unix() != 1e9 {
		t.Errorf("times %+v", n.Provenance)
	}
	if len(n.Transcript.Words) != 4 || n.Transcript.Words[1].P != 0.9877 {
		t.Errorf("words %+v", n.Transcript.Words)
	}
	if want := []Stage{Reading, Loading, Listening}; !slices.Equal(stages, want) {
		t.Errorf("stages %v, want %v", stages, want)
	}
	if len(dec.prompts) == 0 || dec.prompts[0] == "" {
		t.Errorf("no vocabulary reached the decoder: %q", dec.prompts)
	}

	// Its own JSON drafts again to the same draft.
	var first, second bytes.Buffer
	if err := export.JSON(&first, n); err != nil {
		t.Fatal(err)
	}
	again, err := d.Draft(context.Background(), Input{Path: write(t, "x.json", first.Bytes())})
	if err != nil {
		t.Fatal(err)
	}
	if err := export.JSON(&second, again); err != nil {
		t.Fatal(err)
	}
	if first.String() != second.String() {
		t.Errorf("drafted again it differs:\n%s\n%s", first.String(), second.String())
	}
}

// A text loads no engine; a bad sound is told before the engine is opened.
func TestEngineIsOpenedOnlyWhenNeeded(t *testing.T) {
	d := drafter(nil)
	d.Hearing = func(context.Context) (Hearing, error) {
		t.Error("engine opened")
		return Hearing{}, errors.New("no")
	}
	if _, err := d.Draft(context.Background(), Input{Path: write(t, "a.txt", []byte("Trachea is midline."))}); err != nil {
		t.Error(err)
	}
	if _, err := d.Draft(context.Background(), Input{Path: write(t, "a.wav", []byte("no sound"))}); err == nil {
		t.Error("no error for a file that is no sound")
	}
}

func TestDraftIsOneOrNone(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, in := range []Input{{Path: write(t, "a.txt", []byte("Trachea is midline."))}, {Path: voice(t)}} {
		if n, err := drafter(&scripted{line: "a b"}).Draft(ctx, in); err == nil || n.Name != "" {
			t.Errorf("%s: a draft after the context ended", in.Path)
		}
	}
	if _, err := drafter(nil).Draft(context.Background(), Input{Path: voice(t)}); err == nil {
		t.Error("a draft without an engine")
	}
}

func TestReadWords(t *testing.T) {
	utf16le := []byte{0xFF, 0xFE}
	utf16be := []byte{0xFE, 0xFF}
	for _, u := range utf16.Encode([]rune("Head is é.")) {
		utf16le = binary.LittleEndian.AppendUint16(utf16le, u)
		utf16be = binary.BigEndian.AppendUint16(utf16be, u)
	}
	for name, data := range map[string][]byte{
		"plain": []byte("Head is é."), "marked": append([]byte{0xEF, 0xBB, 0xBF}, "Head is é."...), "le": utf16le, "be": utf16be, "lines": []byte("Head\r\n is \té.\n"),
	} {
		src, err := readWords(Input{Path: write(t, "a.txt", data)})
		if err != nil || src.Transcript.Text() != "Head is é." {
			t.Errorf("%s: %q, %v", name, src.Transcript.Text(), err)
		}
	}
	for name, data := range map[string][]byte{
		"empty": nil, "blank": []byte(" \n"), "mark alone": {0xEF, 0xBB, 0xBF}, "latin-1": []byte("Quillfeather \xE9"), "nul": []byte("Quillfeather\x00"), "odd": utf16le[:5],
	} {
		_, err := readWords(Input{Path: write(t, "a.txt", data)})
		var ie *InputError
		if !errors.As(err, &ie) || ie.Hint() == "" || strings.Contains(err.Error(), "Quill") {
			t.Errorf("%s: %v", name, err)
		}
	}
	// From a stream, the form tells what it is.
	var b bytes.Buffer
	if err := export.JSON(&b, note.Draft{Transcript: transcript.FromText("Head is é.")}); err != nil {
		t.Fatal(err)
	}
	for _, in := range []string{b.String(), "Head is é."} {
		src, err := readWords(Input{Text: strings.NewReader(in)})
		if err != nil || src.Transcript.Text() != "Head is é." {
			t.Errorf("%q, %v", src.Transcript.Text(), err)
		}
	}
}

func TestIsText(t *testing.T) {
	for path, want := range map[string]bool{"a.txt": true, "A.TXT": true, "x/a.json": true, "a.wav": false, "a": false, "txt": false, "a.md": false} {
		if IsText(path) != want {
			t.Errorf("%s: %v", path, !want)
		}
	}
}

// The vocabulary follows the examination.
func TestVocabularyFollowsTheExamination(t *testing.T) {
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	vocab := Vocabulary(lex)
	all := vocab(nil)
	for said, term := range map[string]string{
		"Now the eyes, sclerae are white and the pupils": "nystagmus",
		"moving to the ears, the left tragus and drum":   "cerumen",
		"the neck, trachea and carotids and thyroid":     "thyroid",
	} {
		got := vocab(transcript.FromText(said).Words)
		if i := slices.IndexFunc(got, func(x string) bool { return strings.Contains(x, term) }); i < 0 || len(strings.Join(got[:i+1], ", ")) > 480 { // what a prompt has room for
			t.Errorf("after %q, %q stands at %d of %d", said, term, i, len(got))
		}
		sorted, want := slices.Sorted(slices.Values(got)), slices.Sorted(slices.Values(all))
		if !reflect.DeepEqual(sorted, want) {
			t.Errorf("after %q terms were lost or made up", said)
		}
	}
	for _, term := range all {
		if !slices.Contains(lex.Vocabulary(""), term) {
			t.Errorf("%q is not the lexicon's", term)
		}
	}
}

// What the sound has changed is marked, and so are strange words ill heard; and the mark comes back when the draft
// is drafted again from its own JSON.
func TestDoubtOfWhatWasHeardOtherwise(t *testing.T) {
	tr := transcript.FromText("The trachea is midline. Right carotid is two plus. The right pupil reacts bristly.")
	tr.Timed = true
	for i := range tr.Words {
		tr.Words[i].Start, tr.Words[i].End, tr.Words[i].P = float64(i), float64(i)+0.5, 0.9
	}
	tr.Words[4].Heard = "Bright"
	tr.Words[1].P = 0.1 // the packs know it
	tr.Words[13].P = 0.45
	tr.Recording = &transcript.Recording{Seconds: 20, VoicedSeconds: 15}
	var b bytes.Buffer
	if err := export.JSON(&b, note.Draft{Transcript: tr}); err != nil {
		t.Fatal(err)
	}
	n, err := drafter(nil).Draft(context.Background(), Input{Path: write(t, "a.json", b.Bytes())})
	if err != nil {
		t.Fatal(err)
	}
	marked := map[string]string{}
	for _, f := range n.Findings() {
		for _, m := range f.Marks {
			marked[f.ID] += string(m.Kind) + ": " + m.Why + strings.Join(m.Alternatives, ",")
		}
	}
	if want := map[string]string{"carotid.pulse": `respelled: heard twice, and the first time as: "Bright"Bright`,
		"eye.light_reaction": `unclear_audio: hard to hear: "bristly."`}; !reflect.DeepEqual(marked, want) {
		t.Errorf("marks %q", marked)
	}
}

func BenchmarkDraftText(b *testing.B) {
	lex, err := lexicon.Builtin()
	if err != nil {
		b.Fatal(err)
	}
	text := strings.Repeat("Pupils are three millimeters, equal and round. Trachea is midline, no masses. Any pain here? No. ", 94) // 1,504 words
	d := drafter(nil)
	d.Lexicon = func() (*lexicon.Lexicon, error) { return lex, nil }
	for b.Loop() {
		if _, err := d.Draft(context.Background(), Input{Text: strings.NewReader(text)}); err != nil {
			b.Fatal(err)
		}
	}
}
