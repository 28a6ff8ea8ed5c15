package transcript

import (
	"slices"
	"strings"
	"testing"
)

func TestLinesEndedOnPurpose(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"a statement a line", "Pupils equal\nRight drum red\nNo drainage from either ear\nThroat clear", "equal red ear"},
		{"a heading", "Ears\nright canal has wax in it\nleft is clear\nno drainage", "Ears it clear"},
		{"wrapped at forty letters", "Head is round and no lumps are felt on\nit, and the scalp moves freely over the\nskull. The face is even, no droop seen.", ""},
		{"wrapped, with paragraphs", "Head is round and no lumps are felt on\nit, and the scalp moves.\n\nThe face is even, no droop can be seen\nwhen she smiles.", "moves."},
		{"a long line among short ones", "Nose\nthe septum leans to the left and the left nostril is narrower\nno polyps\nthroat is clear", "Nose narrower polyps"},
		{"one line", "Pupils equal and round", ""},
		{"no words", " \n\n", ""},
	} {
		var got []string
		tr := FromText(c.text)
		if again := FromText(tr.Lines()); !slices.Equal(again.Words, tr.Words) {
			t.Errorf("%s: its lines give other words back", c.name)
		}
		for _, w := range tr.Words {
			if w.EndsLine {
				got = append(got, w.Text)
			}
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s: lines end after %q, want %q", c.name, s, c.want)
		}
	}
}
