package note

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

func outline() Outline {
	return NewOutline([]Region{{"a", "A"}, {"b", "B"}}, []Item{
		{ID: "a.one", Region: "a", Name: "one"}, {ID: "b.two", Region: "b", Name: "two"}, {ID: "a.three", Region: "a", Name: "three"},
	})
}

func ev(i int) []transcript.Span { return []transcript.Span{{Start: i, End: i + 1}} }

func TestComposeOrdersAndKeepsAll(t *testing.T) {
	set := finding.Set{
		Findings: []finding.Finding{
			{ID: "x.unknown", Evidence: ev(0)}, {ID: "b.two", Side: finding.Left, Evidence: ev(1)}, {ID: "a.three", Evidence: ev(2)},
			{ID: "b.two", Side: finding.Right, Evidence: ev(3)}, {ID: "a.one", Evidence: ev(5)}, {ID: "a.one", Evidence: ev(4)},
		},
		Unmentioned: []finding.Missing{{ID: "y.unknown"}, {ID: "a.three", Side: finding.Left}},
		LeftOut:     []finding.LeftOut{{Span: transcript.Span{Start: 9, End: 10}}, {Span: transcript.Span{Start: 6, End: 7}}},
		Attention: []finding.Attention{
			{ID: "r", Urgency: finding.Routine, Evidence: ev(0)}, {ID: "n2", Urgency: finding.Now, Evidence: ev(8)}, {ID: "n1", Urgency: finding.Now, Evidence: ev(1)},
		},
	}
	d := Compose(Source{Notices: []string{"cut off"}}, set, outline())
	var got []string
	for _, f := range d.Findings() {
		got = append(got, fmt.Sprint(f.ID, " ", f.Evidence[0].Start))
	}
	want := []string{"a.one 4", "a.one 5", "a.three 2", "b.two 3", "b.two 1", "x.unknown 0"}
	if !slices.Equal(got, want) {
		t.Errorf("findings %v, want %v", got, want)
	}
	if m := d.Unmentioned(); len(m) != 2 || m[0].ID != "a.three" || m[1].ID != "y.unknown" {
		t.Errorf("unmentioned %v", m)
	}
	if d.LeftOut[0].Span.Start != 6 {
		t.Errorf("left out %v", d.LeftOut)
	}
	if d.Attention[0].ID != "n1" || d.Attention[1].ID != "n2" || d.Attention[2].ID != "r" {
		t.Errorf("attention %v", d.Attention)
	}
	if d.Cautions[0] != "cut off" || !slices.Equal(d.Cautions[1:], Cautions()) {
		t.Errorf("cautions %v", d.Cautions)
	}
	// Compose must not reorder what it was given.
	if set.Attention[0].ID != "r" || set.LeftOut[0].Span.Start != 9 || set.Findings[0].ID != "x.unknown" {
		t.Error("the set was changed")
	}
}

func TestCautionsSayWhatTheyMust(t *testing.T) {
	all := strings.Join(Cautions(), " ")
	for _, must := range []string{"draft", "review", "licensed nurse who examined", "not a diagnosis", "Consent to recording", "kept", "local policy"} {
		if !strings.Contains(all, must) {
			t.Errorf("no caution says %q", must)
		}
	}
	Cautions()[0] = "changed"
	if Cautions()[0] == "changed" {
		t.Error("a caution can be changed")
	}
}

// Every finding of the packs must have a place in the note.
func TestOutlineOfPacks(t *testing.T) {
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	if len(lex.Findings()) == 0 {
		t.Fatal("no findings in the packs")
	}
	var set finding.Set
	for _, f := range lex.Findings() {
		set.Findings = append(set.Findings, finding.Finding{ID: f.ID})
	}
	d := Compose(Source{}, set, OutlineOf(lex))
	var got, want []string
	for _, s := range d.Sections {
		if s.Region == otherRegion {
			t.Errorf("no region for %s", s.Entries[0].ID)
		}
		for _, e := range s.Entries {
			got = append(got, e.ID)
			if e.Item.Name == "" {
				t.Errorf("no name for %s", e.ID)
			}
		}
	}
	for _, f := range lex.Findings() {
		want = append(want, f.ID)
	}
	slices.Sort(got)
	slices.Sort(want)
	if !reflect.DeepEqual(got, want) {
		t.Errorf("findings in the note %d, in the packs %d", len(got), len(want))
	}
	if it := d.Item("eye.pupil_size"); it.Organ != "eye" || !it.Paired {
		t.Errorf("pupil size: %+v", it)
	}
}
