package transcript

import (
	"strings"
	"testing"
)

// A new line that the writer chose is kept as a pause; a line broken at a width
// is not.
func TestLinesOfATypedText(t *testing.T) {
	ends := func(text string) (out string) {
		for _, w := range FromText(text).Words {
			out += w.Text
			if w.EndsLine {
				out += "|"
			}
			out += " "
		}
		return strings.TrimSpace(out)
	}
	for text, want := range map[string]string{
		"pupils four\nleft lid swollen\nnone on the right":                         "pupils four| left lid swollen| none on the right|",
		"the right pupil is four and\nthe left pupil is three and\nboth are round": "the right pupil is four and the left pupil is three and both are round",
		"the right pupil is four and\nthe left is three\n\nears not red":          "the right pupil is four and the left is three| ears not red",
		"one line": "one line|",
	} {
		if got := ends(text); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}
