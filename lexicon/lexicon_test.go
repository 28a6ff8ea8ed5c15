package lexicon

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
)

func builtinForTest(t *testing.T) *Lexicon {
	t.Helper()
	lex, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return lex
}

// The table is the draft's contract, findings.tsv, beside the repository where
// it is developed.
func TestHeadAndNeckHoldsTheContractsTable(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "shared", "contract", "findings.tsv"))
	if err != nil {
		t.Skip("skipped: the contract's findings.tsv is not beside this checkout")
	}
	lex := builtinForTest(t)
	names := map[Sides]string{Paired: "paired", NoSides: "none", Zone: "zone"}
	kindNames := map[Kind]string{Presence: "presence", Choice: "choice", Grade: "grade", Quantity: "quantity", Clock: "clock"}
	asked := map[Asked]string{Always: "always", IfIndicated: "if_indicated", Summary: "summary"}
	rows := 0
	for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n")[1:] {
		c := strings.Split(line, "\t")
		rows++
		f, ok := lex.Finding(c[0])
		if !ok {
			t.Errorf("%s is missing", c[0])
			continue
		}
		if got := names[f.Sides]; got != c[1] {
			t.Errorf("%s: sides %s, want %s", f.ID, got, c[1])
		}
		if got := kindNames[f.Kind]; got != c[2] {
			t.Errorf("%s: kind %s, want %s", f.ID, got, c[2])
		}
		if got := asked[f.Asked]; got != c[6] {
			t.Errorf("%s: asked %s, want %s", f.ID, got, c[6])
		}
		switch f.Kind {
		case Quantity:
			if f.Unit != c[3] {
				t.Errorf("%s: unit %s, want %s", f.ID, f.Unit, c[3])
			}
		case Clock:
		default:
			if got := strings.Join(f.Values, "|"); got != c[3] {
				t.Errorf("%s: values %s, want %s", f.ID, got, c[3])
			}
		}
		if any := strings.Join(f.Expected["any"], "|"); f.Kind != Clock && any != c[4] {
			t.Errorf("%s: expected %s, want %s", f.ID, any, c[4])
		}
	}
	if rows < 100 {
		t.Fatalf("the table holds %d rows, too few to have been read", rows)
	}
}

// UCUM codes as in the FHIR R4 lists of common and of vital signs units (shared
// reference, section 3d); m is a base unit of UCUM.
func TestUnitsAreUCUM(t *testing.T) {
	ucum := map[string]bool{"mm": true, "cm": true, "deg": true, "[in_i]": true, "mL": true, "mg": true, "kg": true, "%": true, "Cel": true, "[degF]": true, "mm[Hg]": true, "/min": true, "[lb_av]": true, "m": true}
	seen := 0
	for _, f := range builtinForTest(t).Findings() {
		units := []string{f.Unit}
		for _, m := range f.Measures {
			units = append(units, m.Unit)
		}
		for _, u := range units {
			if u == "" {
				continue
			}
			seen++
			if !ucum[u] {
				t.Errorf("%s: %q is not in the list", f.ID, u)
			}
		}
	}
	if seen == 0 {
		t.Fatal("no finding has a unit")
	}
}

func TestPackComplaintsNameFileAndLine(t *testing.T) {
	for _, c := range []struct{ name, pack, want string }{
		{"unknown key", "name = \"x\"\nversion = \"1\"\ncolour = 3\n", "x.toml:3"},
		{"broken", "name = \"x\nversion", "x.toml:1"},
		{"unknown site", "name = \"x\"\nversion = \"1\"\n[[finding]]\nid = \"a.b\"\nsides = \"none\"\nkind = \"presence\"\nasked = \"always\"\nat = [\"nowhere\"]\n", "x.toml:8"},
		{"unknown cue", "name = \"x\"\nversion = \"1\"\n[[cue]]\nkind = \"shout\"\nterms = [\"hey\"]\n", "x.toml:4"},
		{"bad value", "name = \"x\"\nversion = \"1\"\n[[finding]]\nid = \"a.b\"\nsides = \"none\"\nkind = \"choice\"\nasked = \"always\"\nvalues = [\"on\"]\n[finding.says]\noff = [\"off\"]\n", "x.toml:10"},
		{"no version", "name = \"x\"\n", "no version"},
	} {
		_, err := With(File{"x.toml", []byte(c.pack)})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want it to name %s", c.name, err, c.want)
		}
	}
	if _, err := filesIn(fstest.MapFS{}, "p"); err == nil {
		t.Error("a folder without packs must be an error")
	}
}

// A prompt made of the vocabulary must not be able to speak for the patient.
func TestVocabularyHoldsBareTerms(t *testing.T) {
	lex := builtinForTest(t)
	words := lex.Vocabulary("")
	if len(words) < 100 {
		t.Fatalf("%d terms, too few", len(words))
	}
	forbidden := strings.Fields("no not without normal intact absent negative right left both bilateral present denies unremarkable")
	for _, term := range words {
		for _, w := range strings.Fields(term) {
			if _, err := strconv.Atoi(w); err == nil {
				t.Errorf("%q holds a number", term)
			}
			for _, f := range forbidden {
				if w == f {
					t.Errorf("%q holds %q", term, w)
				}
			}
		}
	}
}

// Mishearings seen in trials of the recognizer with synthetic voices (shared
// reference, speech-engine.md) and in the corpus.
func TestRepairFindsHardWordsBySound(t *testing.T) {
	lex := builtinForTest(t)
	for heard, want := range map[string]string{
		"conjunktiva": "conjunctiva", "thighroid": "thyroid", "septem": "septum", "traygus": "tragus", "crapitus": "crepitus", "youviewla": "uvula",
		"normosfallic": "normocephalic", "crepidus": "crepitus", "superclavicleare": "supraclavicular",
	} {
		if got, _, _, ok := lex.Repair(heard, false); !ok || got != want {
			t.Errorf("%s: read as %q (%v), want %s", heard, got, ok, want)
		}
	}
	for _, word := range strings.Fields("yesterday umbrella breakfast printer helicopter window blanket teacher kitchen television medicine appointment tomorrow") {
		if got, _, _, ok := lex.Repair(word, false); ok {
			t.Errorf("%s was taken for %s", word, got)
		}
	}
}

func TestNormalize(t *testing.T) {
	for word, want := range map[string]string{
		"uvula's": "uvula is", "can't": "can not", "Non-tender,": "non tender", "nonreactive": "non reactive", "nares": "naris", "3mm": "3 mm",
		"3-4": "3 to 4", "45-degree": "45 degree", "2+": "2+", "5/5": "5/5", "o'clock": "o'clock", "colour": "color", "masses": "mass", "sinuses": "sinus",
	} {
		var got []string
		for _, f := range Normalize(word) {
			got = append(got, f.Text)
		}
		if s := strings.Join(got, " "); s != want {
			t.Errorf("%s: %q, want %q", word, s, want)
		}
	}
}

// What Repair passes over early is what a whole comparison would refuse too.
func TestSoundBounds(t *testing.T) {
	l, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	near := 0
	for _, a := range l.hard {
		for _, b := range l.hard {
			full := SoundDistance(a.code, b.code)
			if low := a.sounds.apart(b.sounds); low > full+1e-9 {
				t.Errorf("%s and %s: bound %.2f, distance %.2f", a.word, b.word, low, full)
			}
			for _, most := range []float64{0.3, 1.5} {
				got := soundWithin(a.code, b.code, most)
				if full <= most && got != full || full > most && got <= most {
					t.Errorf("%s and %s within %.1f: %.2f, whole %.2f", a.word, b.word, most, got, full)
				}
				if full <= most {
					near++
				}
			}
		}
	}
	if near <= 2*len(l.hard) {
		t.Errorf("only %d pairs are near: nothing but words and themselves", near)
	}
}
