package web

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// planted is a wrong line without a mark, as expected: what a program would chart
// that understood wrongly and did not notice. Proof are the words that tell.
type planted struct {
	said, proof string
	f           finding.Finding
	rests       string // the words that it claims to rest on
}

var plants = []planted{
	{"Left pupil four millimeters round.", "Left pupil", finding.Finding{ID: "eye.pupil_shape", Side: finding.Right, Value: finding.Word("round")}, "Left pupil four millimeters round."},
	{"Trachea is deviated to the left today.", "deviated", finding.Finding{ID: "neck.trachea", Value: finding.Word("midline")}, "Trachea is deviated to the left today."},
	{"Thyroid is clearly enlarged.", "enlarged", finding.Finding{ID: "neck.thyroid", Value: finding.Word("not_enlarged")}, "Thyroid is"},
	{"Is your neck stiff at all? Yes.", "stiff", finding.Finding{ID: "neck.stiffness", Value: finding.Word("absent")}, "Yes."},
	{"Sclera white here. On the other side it is yellow.", "yellow", finding.Finding{ID: "eye.sclera", Side: finding.Both, Value: finding.Word("white")}, "Sclera white here."},
	{"Carotids two plus there, one plus over here.", "one plus", finding.Finding{ID: "carotid.pulse", Side: finding.Both, Value: finding.Number(2)}, "Carotids two plus there,"},
	{"Nose comes next then.", "Nose comes next then.", finding.Finding{ID: "nose.septum", Value: finding.Word("midline")}, "Nose comes next then."},
	{"Gums are pink and healthy. No wait, they bleed.", "they bleed", finding.Finding{ID: "mouth.gums", Value: finding.Word("healthy")}, "Gums are pink and healthy."},
	{"Now the left ear, which hurts since the weekend, so I am careful when I pull it up and back, and that canal is dry.", "left ear", finding.Finding{ID: "ear.drainage", Side: finding.Right, Value: finding.Word("absent")}, "that canal is dry."},
	{"His brother is well, his voice is clear.", "brother", finding.Finding{ID: "mouth.hoarseness", Value: finding.Word("absent")}, "his voice is clear."},
}

// Ten wrong lines without a mark among right ones: the walk by keyboard brings each
// before the eyes. It counts for how many the words that tell stand beside the
// line, on the screen, before it can be accepted. No person took part: what is
// shown can still be overlooked.
func TestPlantedErrorsAreShown(t *testing.T) {
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	var text []string
	var set finding.Set
	for _, p := range plants {
		at := len(text)
		text = append(text, strings.Fields(p.said)...)
		rests := strings.Fields(p.rests)
		i := at
		for ; !slices.Equal(text[i:i+len(rests)], rests); i++ {
		}
		f := p.f
		f.Status, f.Source, f.Interpretation, f.Evidence = finding.Assessed, finding.Observed, finding.Expected, []transcript.Span{{Start: i, End: i + len(rests)}}
		set.Findings = append(set.Findings, f)
		text = append(text, strings.Fields("So much for that one, and on we go with what comes after it.")...)
	}
	tr := transcript.FromText(strings.Join(text, " "))
	path := b.keep(note.Compose(note.Source{Transcript: tr}, set, note.OutlineOf(b.s.opt.Lexicon)), nil)
	c.do(emulation.SetDeviceMetricsOverride(1200, 600, 1, false))
	c.open(path)
	if n := c.text("document.querySelectorAll('[data-plain]').length"); n != "10" {
		t.Fatalf("%s lines are plain, want 10", n)
	}
	inWords, byHint, inEvidence := 0, 0, 0
	for _, p := range plants {
		item := b.s.opt.Record.Outline.Item(p.f.ID)
		id := c.text(fmt.Sprintf("Array.from(document.querySelectorAll('.item')).find(el => el.querySelector('.name').innerText === %q).dataset.item", item.Name))
		c.tabTo("[data-open='" + id + "']")
		c.until(fmt.Sprintf("seen.has(%q)", id))
		// What is on the screen, and not below the bar, at that moment.
		shown := c.text(fmt.Sprintf(`(() => { const el = document.getElementById("item-%s"), box = el.getBoundingClientRect(), bar = document.getElementById("bar").getBoundingClientRect();
			return box.top >= bar.bottom - 1 && box.bottom <= innerHeight + 1 ? el.innerText : "" })()`, id))
		switch {
		case strings.Contains(shown, p.proof):
			inWords++
		case strings.Contains(shown, "side not in these words"):
			byHint++
		default:
			t.Logf("not shown: %s: %q", p.f.ID, shown)
		}
		if strings.Contains(p.rests, p.proof) {
			inEvidence++
		}
	}
	t.Logf("of %d planted lines the words that tell stood beside %d, and %d more showed that their side is in none of the words; in the words that they claim to rest on alone: %d",
		len(plants), inWords, byHint, inEvidence)
	if inWords != 9 || byHint != 1 {
		t.Errorf("%d and %d, want 9 and 1", inWords, byHint)
	}
}

// Words around those that a line rests on stand once, in their order, and what is
// between two stretches that lie near each other is not cut.
func TestHeardWith(t *testing.T) {
	var words []string
	for i := range 40 {
		words = append(words, fmt.Sprint(i))
	}
	tr := transcript.FromText(strings.Join(words, " "))
	for name, c := range map[string]struct {
		spans []transcript.Span
		want  string
	}{
		"in the middle":      {[]transcript.Span{{Start: 20, End: 22}}, "12 13 14 15 16 17 18 19 [20 21] 22 23 24 25 26 27 28 29"},
		"at the edges":       {[]transcript.Span{{Start: 0, End: 1}, {Start: 39, End: 40}}, "[0] 1 2 3 4 5 6 7 8 … 31 32 33 34 35 36 37 38 [39]"},
		"near, out of order": {[]transcript.Span{{Start: 8, End: 9}, {Start: 2, End: 3}}, "0 1 [2] 3 4 5 6 7 [8] 9 10 11 12 13 14 15 16"},
		"one in another":     {[]transcript.Span{{Start: 2, End: 6}, {Start: 3, End: 4}}, "0 1 [2 3 4 5] 6 7 8 9 10 11 12 13"},
		"none":               {nil, ""},
	} {
		var got []string
		for _, h := range heardWith(tr, c.spans) {
			if h.On {
				h.Text = "[" + h.Text + "]"
			}
			got = append(got, h.Text)
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s: %s", name, s)
		}
	}
}
