package speech

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"bedsaid/internal/transcript"
)

func TestToWords(t *testing.T) {
	p := piece{transcript.Interval{Start: 10, End: 20}, math.NaN(), math.NaN()}
	var tokens []Token
	for i, s := range []string{" -", " Pup", "ils", ",", " 3", ".", "5", " mm", " non", "-", "t", "ender", ".", " [", "BLANK", "_AUDIO]", " 2", "+", " (coughs)", " eyes", " \"", " ok\xc3"} {
		tokens = append(tokens, Token{s, float64(i) * 0.2, float64(i)*0.2 + 0.2, 1 - float64(i)/100})
	}
	words := toWords(tokens, p)
	var got []string
	for _, w := range words {
		got = append(got, w.Text)
	}
	if want := []string{"Pupils,", "3.5", "mm", "non-tender.", "2+", "eyes\"", "ok"}; !reflect.DeepEqual(got, want) {
		t.Fatalf("%q, want %q", got, want)
	}
	if w := words[0]; w.P != 0.98 || math.Abs(w.Start-10.2) > 1e-9 || math.Abs(w.End-10.6) > 1e-9 {
		t.Errorf("first word %+v: neither its dash nor its comma is part of its time and probability", w)
	}
	// A quotation mark, half a letter, a lone mark are no words.
	if got := toWords([]Token{{" ...", 0, 1, 1}, {" \xff", 1, 2, 1}}, p); len(got) != 0 {
		t.Errorf("%d words of marks alone", len(got))
	}
}

func TestJoinSeam(t *testing.T) {
	words := func(at float64, texts string) []transcript.Word {
		var out []transcript.Word
		for i, s := range strings.Fields(texts) {
			out = append(out, transcript.Word{Text: s, Start: at + 0.3*float64(i), End: at + 0.3*float64(i) + 0.28})
		}
		return out
	}
	for _, c := range []struct{ a, b, want string }{
		{"no masses no tenderness", "no tenderness no bruits", "no masses no tenderness no bruits"},
		{"the trachea is mid", "trachea is midline today", "the trachea is midline today"},
		{"left ear", "is clear", "left ear is clear"},
	} {
		a := words(10, c.a)
		cut := a[len(a)-1].Start
		b := words(cut-0.3, c.b)
		if c.a == "left ear" {
			b = words(cut+0.3, c.b)
			cut += 0.28
		}
		if got := (transcript.Transcript{Words: joinSeam(a, b, cut)}).Text(); got != c.want {
			t.Errorf("%q and %q give %q, want %q", c.a, c.b, got, c.want)
		}
	}
	if got := joinSeam(words(0, "no"), words(1, "no"), math.NaN()); len(got) != 2 {
		t.Error("a word said on both sides of a pause was dropped")
	}
}

func TestRepeats(t *testing.T) {
	for text, want := range map[string]bool{
		strings.Repeat("no clavicle ", 12): true,
		"no no no no":                      false,
		"no masses no tenderness no bruits no nodes no thrill":                                                                              false,
		"right carotid two plus left carotid two plus right radial two plus left radial two plus":                                           false,
		strings.Repeat("the left ear canal is clear and the drum is gray and shiny and the light is at seven ", 4):                          true,
		"one lower lid one upper lid two nodes three beats of nystagmus on the left and then a small scab over the crown of the head there": false,
	} {
		if got := repeats(strings.Fields(text)); got != want {
			t.Errorf("%.40q: %v", text, got)
		}
	}
}

// TestBareTerms: nothing that could speak for the patient passes.
func TestBareTerms(t *testing.T) {
	got := bareTerms([]string{"sclera", "Left ear", "non-tender", "two plus", "2+", "grade 3", "within normal limits", "normocephalic", "sclera", "no JVD", "denies pain", "", "bilaterally", "not tested", "cone  of light"})
	if want := []string{"sclera", "normocephalic", "cone of light"}; !reflect.DeepEqual(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	long := bareTerms(strings.Fields(strings.Repeat("x", 300) + " " + strings.Repeat("y", 170) + " zzzzzz"))
	if len(long) != 2 {
		t.Errorf("%d terms: the prompt's length is not bounded, or the important are not first", len(long))
	}
	if promptText(nil) != "" || promptText([]string{"a", "b"}) != "b, a." {
		t.Errorf("%q", promptText([]string{"a", "b"}))
	}
}
