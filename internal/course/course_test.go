package course

import (
	"slices"
	"testing"
	"time"

	"bedsaid/internal/extract"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

const examination = "I am washing my hands first. Trachea is midline. I will dim the lights now. Right pupil three millimeters. Left pupil three millimeters. " +
	"Both pupils react briskly to light. Right carotid two plus. Left carotid two plus, one side at a time. No JVD at forty five degrees. Thyroid not enlarged."

// begin drafts words, half a second each.
func begin(t *testing.T, text string) (review.Note, *lexicon.Lexicon) {
	t.Helper()
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	tr := transcript.FromText(text)
	tr.Timed = true
	for i := range tr.Words {
		tr.Words[i].Start, tr.Words[i].End = float64(i)/2, float64(i+1)/2
	}
	tr.Recording = &transcript.Recording{Seconds: float64(len(tr.Words)) / 2}
	d := note.Compose(note.Source{Transcript: tr}, extract.New(lex).Extract(tr, extract.Options{}), note.OutlineOf(lex))
	return review.Begin(d, review.Person{ID: "u1", Role: review.Student}), lex
}

func techniqueOf(c Course, id string) (Technique, bool) {
	i := slices.IndexFunc(c.Technique, func(t Technique) bool { return t.ID == id })
	if i < 0 {
		return Technique{}, false
	}
	return c.Technique[i], true
}

func neck(c Course) Region {
	return c.Regions[slices.IndexFunc(c.Regions, func(r Region) bool { return r.ID == "neck" })]
}

// Order, time and technique are those of the words.
func TestCourse(t *testing.T) {
	n, lex := begin(t, examination)
	c := Of(n, lex)
	var order []string
	for _, s := range c.Stretches {
		order = append(order, s.Region)
	}
	if !slices.Equal(order, []string{"neck", "eyes", "neck"}) {
		t.Errorf("order %v", order)
	}
	// Words 6 to 8 are "Trachea is midline.": from 3 to 4.5 seconds.
	if s := c.Stretches[0]; s.Start != 3 || s.End != 4.5 || s.Lines != 1 {
		t.Errorf("the trachea took from %.1f to %.1f", s.Start, s.End)
	}
	if r := neck(c); r.Visits != 2 || r.Charted < 4 || len(r.Missing) == 0 || r.Seconds <= 1.5 || r.Title != "Neck" {
		t.Errorf("neck: %+v", r)
	}
	for id, words := range map[string]string{
		"hand_hygiene": "I am washing my hands first.", "dimmed_room": "I will dim the lights now.", "one_carotid": "Left carotid two plus, one side at a time.",
	} {
		v, ok := techniqueOf(c, id)
		if !ok || len(v.Said) != 1 || n.Draft().Transcript.Quote(v.Said[0]) != words {
			t.Errorf("%s: stated %v, %d sentences", id, v.Stated(), len(v.Said))
		}
	}
	if v, ok := techniqueOf(c, "swallow_asked"); !ok || v.Stated() {
		t.Errorf("the swallow belongs to the thyroid, and nobody spoke of it: %v", ok)
	}
	if _, ok := techniqueOf(c, "ear_pulled"); ok {
		t.Error("no ear was examined")
	}
	if v, _ := techniqueOf(c, "bed_angle"); len(v.Lines) != 1 {
		t.Errorf("the angle is charted: %v", v.Lines)
	}
}

// What nobody said is not stated; what review strikes or adds counts as it stands.
func TestCourseAfterReview(t *testing.T) {
	n, lex := begin(t, "Trachea is midline. No JVD.")
	before := Of(n, lex)
	if v, ok := techniqueOf(before, "bed_angle"); !ok || v.Stated() {
		t.Error("an angle is stated that nobody said")
	}
	who := review.Person{ID: "u1", Role: review.Student}
	apply := func(d review.Decision) {
		t.Helper()
		d.By, d.At = who, time.Now()
		var err error
		if n, err = n.Apply(d); err != nil {
			t.Fatal(err)
		}
	}
	apply(review.Decision{Kind: review.Reject, Line: "f2"})
	apply(review.Decision{Kind: review.Add, Finding: finding.Finding{ID: "neck.thyroid", Status: finding.Assessed, Value: finding.Word("not_enlarged"), Source: finding.Observed}})
	after := Of(n, lex)
	if len(after.Stretches) != len(before.Stretches) {
		t.Error("what was added has a place in the talk")
	}
	a, b := neck(after), neck(before)
	if b.Charted != 2 || a.Charted != 2 || slices.ContainsFunc(a.Missing, func(m finding.Missing) bool { return m.ID == "neck.thyroid" }) ||
		!slices.ContainsFunc(b.Missing, func(m finding.Missing) bool { return m.ID == "neck.thyroid" }) {
		t.Errorf("%+v, was %+v", a, b)
	}
	if typed := Of(review.Begin(note.Draft{}, who), lex); typed.Timed || len(typed.Stretches) > 0 {
		t.Error("an empty note has a course")
	}
}

// Every technique of the packs names its source.
func TestTechniquesHaveSources(t *testing.T) {
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	if len(lex.Techniques()) < 4 {
		t.Fatalf("%d techniques", len(lex.Techniques()))
	}
	for _, x := range lex.Techniques() {
		if x.Source == "" {
			t.Errorf("%s has no source", x.ID)
		}
	}
}
