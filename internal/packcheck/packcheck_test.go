package packcheck

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"bedsaid/internal/extract"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Every built-in pack passes its own check: its examples give what they say,
// every finding has one, and every term can be reached.
func TestBuiltinPacks(t *testing.T) {
	for _, p := range Check() {
		t.Error(p)
	}
}

// pack is a site's own, with one mistake a line where a comment says so.
const pack = `name = "site"
version = "1"
[[finding]]
id = "eye.colour"
name = "eye colour"
region = "eyes"
sides = "none"
kind = "choice"
asked = "if_indicated"
values = ["brown", "blue"]
at = ["eye"]
names = ["iris color", "thirty five"] # a number
[finding.says]
brown = ["hazel brown"]
[finding.alone]
blue = ["perrla"] # charts the pupils already
[[finding]]
id = "eye.lash" # no example
name = "lashes"
region = "eyes"
sides = "none"
kind = "presence"
asked = "if_indicated"
at = ["eye"]
names = ["eyelash growth"]
[[example]]
say = "Iris color hazel brown. I am going to check the gag."
expect = ["eye.colour=blue"] # it is brown, and a plan is left out
`

func TestComplaintsComeAllAtOnce(t *testing.T) {
	var got []string
	for _, p := range Check(lexicon.File{Name: "site.toml", Data: []byte(pack)}) {
		if p.File != "site.toml" {
			continue
		}
		got = append(got, fmt.Sprintf("%s:%d %s", p.File, p.Line, p.What))
		if p.Hint == "" {
			t.Errorf("no hint: %v", p)
		}
	}
	want := []string{
		`site.toml:12 term "thirty five" cannot be reached`,
		`site.toml:16 term "perrla" cannot be reached: it already charts eye.pupil_equality`,
		`site.toml:18 finding "eye.lash" has no example`,
		`site.toml:26 example "Iris color hazel brown. I am going to check the gag.": lacks eye.colour=blue; gives eye.colour=brown`,
		`site.toml:26 example "Iris color hazel brown. I am going to check the gag.", left out: gives plan`,
	}
	for i, w := range want {
		if i >= len(got) || !strings.HasPrefix(got[i], w) {
			t.Errorf("complaint %d: want %s", i, w)
		}
	}
	if len(got) != len(want) {
		t.Errorf("got %s", strings.Join(got, "\n"))
	}
}

// The pack that the documents show is one that can be used, and its words are
// not in the built-in packs.
func TestPackOfTheDocuments(t *testing.T) {
	data, err := os.ReadFile("../../docs/understanding.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(data), "```toml\n")
	pack, _, ok := strings.Cut(rest, "```")
	if !ok {
		t.Fatal("no pack in docs/understanding.md")
	}
	for _, p := range Check(lexicon.File{Name: "understanding.md", Data: []byte(pack)}) {
		t.Error(p)
	}
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	set := extract.New(lex).Extract(transcript.FromText("Air pipe midline, no tattoo."), extract.Options{})
	if len(set.Findings) > 0 {
		t.Error("the built-in packs know the words of the example by now: choose others")
	}
}

// A word that a site adds can spoil what a built-in pack understands: its
// examples are run together with it.
func TestOverlayIsTriedOnAllExamples(t *testing.T) {
	var hit bool
	for _, p := range Check(lexicon.File{Name: "site.toml", Data: []byte("name = \"site\"\nversion = \"1\"\n[[cue]]\nkind = \"plan\"\nterms = [\"trachea\"]\n")}) {
		hit = hit || p.File == "head_and_neck.toml" && strings.Contains(p.What, "neck.trachea=midline")
	}
	if !hit {
		t.Error("no example of the head and neck was missed")
	}
}

func TestSpellIsWhatExamplesSay(t *testing.T) {
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	set := extract.New(lex).Extract(transcript.FromText("There is a two centimeter scab over the occiput. He denies hearing loss.. Right pupil four centimeters. Gag not tested."), extract.Options{})
	findings, _ := Spell(set)
	for _, w := range []string{
		"head.skin_lesion=present; character: scab; size: 2 cm; zone: occiput", "eye.pupil_size@right=40 mm; ?implausible", "mouth.gag=not_assessed",
	} {
		if d := differ([]string{inOrder(w)}, findings); strings.HasPrefix(d, "lacks") {
			t.Errorf("%s: %s", w, d)
		}
	}
}
