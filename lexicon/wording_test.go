package lexicon

import (
	"slices"
	"strings"
	"testing"
)

func TestEveryKindInUseHasAWording(t *testing.T) {
	lex, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]bool{NotAssessed: true}
	for _, f := range lex.Findings() {
		kinds[f.Kind.String()] = true
	}
	if len(kinds) < 5 {
		t.Fatalf("only %d kinds in use", len(kinds))
	}
	for k := range kinds {
		if lex.Wording(k).says == nil {
			t.Errorf("no wording for the kind %s", k)
		}
	}
}

func TestWordings(t *testing.T) {
	lex, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		kind, want string
		p          Parts
	}{
		{"quantity", "right eye: 0.5 to 4 mm, new", Parts{Where: "right eye", Value: "0.5", High: "4", Unit: "mm", Details: "new"}},
		{"grade", "2+ of 4", Parts{Value: "2", Sign: "+", Of: "4"}},
		{"clock", "left ear: 7 o'clock", Parts{Where: "left ear", Value: "7", Unit: "o'clock"}},
		{"presence", "absent", Parts{Value: "absent"}},
		// What the wording of the kind has no place for is said all the same.
		{"presence", "3 mm", Parts{Value: "3", Unit: "mm"}},
		{NotAssessed, `left ear: not assessed: "wax"`, Parts{Where: "left ear", Skipped: true, Reason: "wax"}},
		{NotAssessed, "not assessed, no reason said", Parts{Skipped: true}},
	} {
		if got := lex.Wording(c.kind).Say(c.p); got != c.want {
			t.Errorf("%s: %q, want %q", c.kind, got, c.want)
		}
	}
}

func TestSiteWordings(t *testing.T) {
	lex, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	pack := func(wording string) File {
		return File{"own.toml", []byte("name = \"own\"\nversion = \"1\"\n[[wording]]\n" + wording)}
	}
	p := Parts{Where: "left eye", Value: "3", Unit: "mm"}
	own, err := With(pack("kind = \"quantity\"\nsays = '{{.Value}}{{with .High}} to {{.}}{{end}} {{.Unit}}{{with .Where}} ({{.}}){{end}}{{with .Details}}, {{.}}{{end}}'\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got := own.Wording("quantity").Say(p); got != "3 mm (left eye)" {
		t.Errorf("own wording says %q", got)
	}
	if got := lex.Wording("quantity").Say(p); got != "left eye: 3 mm" {
		t.Errorf("the pack's wording was changed: %q", got)
	}
	for wording, complaint := range map[string]string{
		"kind = \"shape\"": "unknown kind",
		"kind = \"choice\"\nsays = '{{.Value}}{{.Details}}'": "loses the where",
		"kind = \"grade\"\nsays = '{{.Where}} {{.Value}}'":   "loses the high",
		"kind = \"choice\"\nsays = '{{.Colour}}'":            "cannot be used",
		"kind = \"choice\"\nsays = '{{.Value'":               "cannot be read",
	} {
		if _, err := With(pack(wording)); err == nil || !strings.Contains(err.Error(), complaint) {
			t.Errorf("wording %q: error %v, want %q", wording, err, complaint)
		}
	}
}

func TestSectionsAndPanelsNameWhatIsThere(t *testing.T) {
	lex, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	if len(lex.sections) == 0 || len(lex.panels) == 0 {
		t.Fatal("no sections or no panels")
	}
	for _, s := range lex.sections {
		if !slices.ContainsFunc(lex.Regions(), func(r Region) bool { return r.ID == s.Region }) {
			t.Errorf("section of unknown region %q", s.Region)
		}
	}
	for _, v := range lex.vitals {
		if _, ok := lex.Finding(v.Finding); !ok || len(v.Codes) == 0 {
			t.Errorf("vital sign %q is unknown or has no code", v.Finding)
		}
	}
	for _, p := range lex.Panels() {
		for _, id := range p.Findings {
			one := Panel{Findings: []string{id}}
			if !slices.ContainsFunc(lex.Findings(), func(f *Finding) bool { return one.Holds(f.ID) }) {
				t.Errorf("panel %s names unknown finding %q", p.Code, id)
			}
		}
	}
}
