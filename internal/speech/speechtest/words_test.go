package speechtest

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"bedsaid/lexicon"
)

func TestPlain(t *testing.T) {
	for in, want := range map[string]string{
		"Pupils, 3mm.":                 "pupils three millimeters",
		"two-plus, 2+":                 "two plus two plus",
		"45° at 7:30":                  "forty five degrees at seven thirty",
		"It’s grey; 2 x 3 cm":          "its gray two by three centimeters",
		"one millimeter, 120 and 5/5.": "one millimeters 120 and five over five",
	} {
		if got := Plain(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

func TestCompareWords(t *testing.T) {
	got, err := CompareWords(context.Background(), "No bruit on the left, 2 cm.", "no brute on left two centimeters then")
	if errors.Is(err, ErrNoSclite) {
		t.Skip("skipped: " + err.Error())
	}
	if want := (WordErrors{Words: 7, Substituted: 1, Deleted: 1, Inserted: 1}); err != nil || got != want {
		t.Errorf("%+v, %v", got, err)
	}
	if r := got.Rate(); r < 0.42 || r > 0.43 {
		t.Errorf("rate %v", r)
	}
	if _, err := parseSum([]byte("nothing\n")); err == nil {
		t.Error("no error without sums")
	}
}

func TestMissedTerms(t *testing.T) {
	terms := map[string]bool{"bruit": true, "trachea": true, "node": true}
	all, missed := MissedTerms(terms, "The trachea is midline, no bruit, no nodes and a bruit.", "the turkey is midline no bruit no notes, and a bruit")
	if all != 4 || missed != 2 {
		t.Errorf("%d of %d missed", missed, all)
	}
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	all2 := Terms(lex)
	for w, want := range map[string]bool{"trachea": true, "conjunctiva": true, "please": false, "left": false} {
		if all2[w] != want {
			t.Errorf("%s is a term: %v", w, !want)
		}
	}
}

func TestMisheardTerms(t *testing.T) {
	terms := map[string]bool{"conjunctiva": true, "carotid": true, "bruit": true, "sclera": true}
	for name, k := range map[string]struct {
		spoken, heard string
		all           int
		want          []Misheard
	}{
		"right":           {"the sclera is white", "the sclera is white", 1, nil},
		"two for one":     {"the conjunctiva is pink", "the conjunct ivy is pink", 1, []Misheard{{"conjunctiva", "conjunct ivy"}}},
		"plural":          {"now the carotids and", "now the credits and", 1, []Misheard{{"carotids", "credits"}}},
		"not heard":       {"a sclera now", "a now", 1, []Misheard{{"sclera", ""}}},
		"word for word":   {"no carotid bruit left", "no critted brute left", 2, []Misheard{{"carotid", "critted"}, {"bruit", "brute"}}},
		"nobody can tell": {"no carotid bruit left", "no criterion left", 2, nil},
	} {
		if all, got := MisheardTerms(terms, k.spoken, k.heard); all != k.all || !slices.Equal(got, k.want) {
			t.Errorf("%s: %d %v, want %d %v", name, all, got, k.all, k.want)
		}
	}
}

func TestOpposite(t *testing.T) {
	for name, k := range map[string]struct{ spoken, heard, want string }{
		"right":         {"No bruit, 2 cm.", "no bruit two centimeters", "no|bruit|two|centimeters"},
		"other word":    {"the right pupil is", "the bright pupil is", "the|right|pupil|is"},
		"two for one":   {"the conjunctiva is", "the conjunk tiva is", "the|?|?|is"},
		"one for two":   {"left eye is", "lefty is", "left eye|is"},
		"inserted":      {"is red", "is very red", "is||red"},
		"first, last":   {"right eye white", "bright eye wide", "right|eye|white"},
		"digit as word": {"left is four no", "left is 4mm no", "left|is|four|no"},
	} {
		if got := strings.Join(Opposite(k.spoken, strings.Fields(k.heard)), "|"); got != k.want {
			t.Errorf("%s: %q, want %q", name, got, k.want)
		}
	}
}
