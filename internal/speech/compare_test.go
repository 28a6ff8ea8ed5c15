package speech

import (
	"reflect"
	"strings"
	"testing"

	"bedsaid/internal/transcript"
)

func wordsOf(text string) []transcript.Word { return transcript.FromText(text).Words }

func TestDifferences(t *testing.T) {
	for name, k := range map[string]struct {
		a, b string
		want []difference
		same int
	}{
		"the same":     {"a b c", "a b c", nil, 3},
		"one other":    {"a b c", "a x c", []difference{{1, 2, 1, 2}}, 2},
		"one for two":  {"a conjunk tiva c", "a conjunctiva c", []difference{{1, 3, 1, 2}}, 2},
		"lost, gained": {"x a b", "a b y", []difference{{0, 1, 0, 0}, {3, 3, 2, 3}}, 2},
		"from nothing": {"", "a b", []difference{{0, 0, 0, 2}}, 0},
		"two places":   {"a b c d e", "a x c d y", []difference{{1, 2, 1, 2}, {4, 5, 4, 5}}, 3},
	} {
		got, same := differences(strings.Fields(k.a), strings.Fields(k.b))
		if !reflect.DeepEqual(got, k.want) || same != k.same {
			t.Errorf("%s: %v, %d the same", name, got, same)
		}
	}
}

// What takes the place of a first hearing says what that was.
func TestWithFirst(t *testing.T) {
	for name, k := range map[string]struct{ first, second, heard string }{
		"same":      {"No bruit.", "no bruit", "- -"},
		"replaced":  {"on the left side now", "on the right side now", "- - left - -"},
		"joined":    {"the conjunk tiva is pink", "the conjunctiva is pink", "- conjunk_tiva - -"},
		"parted":    {"pupils known as edmus today", "pupils no nystagmus today", "- known_as_edmus known_as_edmus -"},
		"lost":      {"no bruit heard on the left", "bruit heard on the left", "no_bruit - - - -"},
		"lost last": {"the left is five millimeters", "the left is five", "- - - five_millimeters"},
		"added":     {"the trachea midline today", "the trachea is midline today", "- - - - -"},
		"other":     {"thanks for watching", "trachea is midline", "- - -"},
	} {
		got := withFirst(wordsOf(k.second), wordsOf(k.first))
		var heard []string
		for _, w := range got {
			h := strings.ReplaceAll(w.Heard, " ", "_")
			if h == "" {
				h = "-"
			}
			heard = append(heard, h)
		}
		if s := strings.Join(heard, " "); s != k.heard {
			t.Errorf("%s: %q, want %q", name, s, k.heard)
		}
	}
}

func TestSaidBeside(t *testing.T) {
	words := wordsOf("left is red keep looking at the door right pupil is four")
	for name, k := range map[string]struct {
		at   int
		got  string
		want int
	}{
		"before the gap": {8, "Keep looking at the door.", 3},
		"after it":       {3, "keep looking at the door", 3},
		"other words":    {8, "the left pupil is five", -1},
		"twice a word":   {3, "red", -1},
		"too far away":   {11, "left is red", -1},
	} {
		if got := saidBeside(words, k.at, wordsOf(k.got)); got != k.want {
			t.Errorf("%s: %d, want %d", name, got, k.want)
		}
	}
}
