package whisper

import (
	"math"
	"reflect"
	"testing"

	"bedsaid/internal/speech"
)

func TestSettleJoinsCharacters(t *testing.T) {
	for name, c := range map[string]struct {
		heard []token
		want  []speech.Token
	}{
		"none": {},
		"plain": {
			[]token{{text: " no", p: 0.9, start: 0, end: 0.5}, {text: " node", p: 0.8, start: 0.5, end: 1}},
			[]speech.Token{{Text: " no", Start: 0, End: 0.5, P: 0.9}, {Text: " node", Start: 0.5, End: 1, P: 0.8}},
		},
		"a character over two tokens": {
			[]token{{text: " 37\xc2", p: 0.9, start: 0, end: 0.4}, {text: "\xb0", p: 0.5, start: 0.4, end: 0.6}, {text: "C", p: 1, start: 0.6, end: 1}},
			[]speech.Token{{Text: " 37°", Start: 0, End: 0.6, P: 0.5}, {Text: "C", Start: 0.6, End: 1, P: 1}},
		},
		"over four tokens": {
			[]token{{text: "\xf0", p: 1}, {text: "\x9f", p: 1}, {text: "\x92", p: 1}, {text: "\x89", p: 1, end: 1}},
			[]speech.Token{{Text: "💉", End: 1, P: 1}},
		},
		"never finished": {
			[]token{{text: " caf\xc3", p: 0.4, end: 1}},
			[]speech.Token{{Text: " caf\ufffd", End: 1, P: 0.4}},
		},
		"times that go back or out": {
			[]token{{text: "a", p: 1, start: -1, end: 0.5}, {text: "b", p: 1, start: 0.2, end: 0.1}, {text: "c", p: 1, start: 0.1, end: 40}, {text: "d", p: 1, start: 30, end: 30}},
			[]speech.Token{{Text: "a", End: 0.5, P: 1}, {Text: "b", Start: 0.2, End: 0.2, P: 1}, {Text: "c", Start: 0.2, End: 2, P: 1}, {Text: "d", Start: 2, End: 2, P: 1}},
		},
		"nothing in a token": {[]token{{text: "", p: 1}}, nil},
	} {
		if got := settle(c.heard, 2); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s:\n got %v\nwant %v", name, got, c.want)
		}
	}
}

func TestMeanLogProb(t *testing.T) {
	if got := meanLogProb(nil); got != 0 {
		t.Errorf("none: %v", got)
	}
	if got := meanLogProb([]token{{logp: -1}, {logp: -2}}); math.Abs(got+1.5) > 1e-12 {
		t.Errorf("two: %v, want -1.5", got)
	}
}
