package extract

import (
	"fmt"
	"os"
	"testing"

	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

func TestExplainTmp(t *testing.T) {
	txt := os.Getenv("TXT")
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	set := New(lex).Explain(transcript.FromText(txt), Options{}, func(f string, a ...any) { fmt.Printf(f, a...) })
	for _, f := range set.Findings {
		fmt.Printf("=> %s@%s zone=%q %s %s %v %s %v\n", f.ID, f.Side, f.Zone, f.Status, f.Value, f.Qualifiers, f.Source, f.Marks)
	}
}
