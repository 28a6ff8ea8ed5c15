package extract

import (
	"encoding/json"
	"strings"
	"testing"

	"bedsaid/internal/corpus"
	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

func newForTest(t testing.TB) *Extractor {
	t.Helper()
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return New(lex)
}

func loadCases(t testing.TB, paths ...string) []corpus.Case {
	t.Helper()
	cases, err := corpus.Load(paths...)
	if err != nil {
		t.Fatal(err)
	}
	return cases
}

// unplaced counts words that lie in no evidence and no left-out stretch, or in
// both, or in two left-out stretches.
func unplaced(tr transcript.Transcript, set finding.Set) int {
	ev := make([]bool, len(tr.Words))
	out := make([]int, len(tr.Words))
	for _, f := range set.Findings {
		for _, e := range f.Evidence {
			for w := e.Start; w < e.End; w++ {
				ev[w] = true
			}
		}
	}
	for _, l := range set.LeftOut {
		for w := l.Span.Start; w < l.Span.End; w++ {
			out[w]++
		}
	}
	bad := 0
	for w := range ev {
		if ev[w] == (out[w] > 0) || out[w] > 1 {
			bad++
		}
	}
	return bad
}

// FuzzExtract: whatever is said, every word has its place and nothing panics.
func FuzzExtract(f *testing.F) {
	for _, c := range loadCases(f, "../../testdata/cases") {
		f.Add(c.Text)
	}
	x := newForTest(f)
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 4000 {
			return
		}
		tr := transcript.FromText(text)
		set := x.Extract(tr, Options{})
		if n := unplaced(tr, set); n > 0 {
			t.Errorf("%d words out of place", n)
		}
		for _, fd := range set.Findings {
			if len(fd.Evidence) == 0 {
				t.Errorf("%s has no evidence", fd.ID)
			}
		}
	})
}

// The same words give the same findings.
func TestExtractIsDeterministic(t *testing.T) {
	x := newForTest(t)
	for _, c := range loadCases(t, "../../testdata/cases/narration")[:5] {
		a := x.Extract(transcript.FromText(c.Text), Options{})
		b := x.Extract(transcript.FromText(c.Text), Options{})
		ja, _ := json.Marshal(a.Findings)
		jb, _ := json.Marshal(b.Findings)
		if string(ja) != string(jb) || len(a.LeftOut) != len(b.LeftOut) {
			t.Errorf("%s differs between two runs", c.ID)
		}
	}
}

func BenchmarkNarration(b *testing.B) {
	x := newForTest(b)
	var words []string
	for _, c := range loadCases(b, "../../testdata/cases/narration") {
		words = append(words, strings.Fields(c.Text)...)
		if len(words) > 1500 {
			break
		}
	}
	tr := transcript.FromText(strings.Join(words[:1500], " "))
	b.ResetTimer()
	for b.Loop() {
		x.Extract(tr, Options{})
	}
}
