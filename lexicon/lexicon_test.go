package lexicon

import "testing"

func TestBuiltinLoads(t *testing.T) {
	lex, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	if n := len(lex.Findings()); n < 109 {
		t.Fatalf("%d findings, want at least 109", n)
	}
}
