package extract

import (
	"strconv"
	"strings"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
)

// say gives the findings of a sentence as "id@side=value".
func say(x *Extractor, text string) map[string]finding.Finding {
	out := map[string]finding.Finding{}
	for _, f := range x.Extract(transcript.FromText(text), Options{}).Findings {
		v := f.Value.String()
		if f.Status == finding.NotAssessed {
			v = "not_assessed"
		}
		out[f.ID+"@"+f.Side.String()+"="+v] = f
	}
	return out
}

// Trap rows of the shared reference, standards.md section 1b; the number is the
// row's.
func TestStandardsTraps(t *testing.T) {
	x := newForTest(t)
	has := func(text, key string) finding.Finding {
		t.Helper()
		got := say(x, text)
		f, ok := got[key]
		if !ok {
			t.Errorf("%s: want %s, got %v", text, key, keys(got))
		}
		return f
	}
	marked := func(f finding.Finding, k finding.MarkKind) bool {
		for _, m := range f.Marks {
			if m.Kind == k {
				return true
			}
		}
		return false
	}
	// 1: the cone of light of a right ear at 7 is charted as said and stands out
	// (Wikipedia, Cone of light, after Gelfand: right 4 to 5, left 7 to 8).
	if f := has("Right ear, cone of light at seven o'clock.", "ear.cone_of_light@right=7"); f.Interpretation != finding.Unexpected {
		t.Errorf("1: interpretation %s", f.Interpretation)
	}
	// 2: equal pupils of 5 and 3 mm contradict each other.
	if f := has("PERRLA. Right pupil is five millimeters, left pupil is three millimeters.", "eye.pupil_equality@=equal"); !marked(f, finding.Conflict) {
		t.Error("2: no conflict marked")
	}
	// 8: a grade gains no "normal".
	has("Carotid pulses two plus bilaterally.", "carotid.pulse@both=2")
	// 10: a supraclavicular node stands out whatever its size (AAFP 2016).
	if f := has("There is a node above the right clavicle, four millimeters.", "node.supraclavicular@right=present"); f.Interpretation != finding.Unexpected || f.Qualifiers["size"] != "4 mm" {
		t.Errorf("10: %s, size %q", f.Interpretation, f.Qualifiers["size"])
	}
	// 12: an acuity is no pupil size and no grade.
	has("Visual acuity twenty twenty in both eyes.", "eye.acuity@both=20/20")
	for k := range say(x, "Visual acuity twenty twenty in both eyes.") {
		if k != "eye.acuity@both=20/20" {
			t.Errorf("12: charted %s", k)
		}
	}
	// Unit slips of the contract's sixth rule, in words of our own.
	if f := has("Right pupil measures five milliliters.", "eye.pupil_size@right=5"); !marked(f, finding.UnitChanged) || f.Unit != "mm" {
		t.Errorf("unit slip: marks %v unit %s", f.Marks, f.Unit)
	}
	if f := has("Left pupil is five centimeters.", "eye.pupil_size@left=50"); !marked(f, finding.Implausible) {
		t.Error("implausible size is not marked")
	}
}

// What nobody found is never charted: the worst bug there is.
func TestTalkChartsNothing(t *testing.T) {
	x := newForTest(t)
	for _, text := range []string{
		"The drum should be pearly gray.",
		"I am going to check your pupils and your gag reflex.",
		"Open your mouth and stick out your tongue for me.",
		"Last week her tonsils were three plus.",
		"My last patient had nystagmus on the left.",
		"Do you have any pain over your sinuses?",
		"If you hear a bruit you tell somebody.",
		"Head unremarkable, ears within normal limits.",
		"Good. Lovely. Perfect. Thank you, well done.",
		"High five, and say hello to your sister.",
	} {
		for k := range say(x, text) {
			t.Errorf("%q charted %s", text, k)
		}
	}
}

func keys(m map[string]finding.Finding) string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	return strings.Join(out, ", ")
}

// Every whole number from 0 to 9,999, by a speller of our own: for a machine on
// which TestNumbersAsSpoken finds no table of an outside one.
func TestCardinalsReadBack(t *testing.T) {
	for n := 0; n < 10000; n++ {
		words := spell(n)
		got, end := cardinal(tokenize(transcript.FromText(words).Words), 0)
		if int(got) != n || end != len(strings.Fields(strings.ReplaceAll(words, "-", " "))) {
			t.Fatalf("%s: read as %s", words, strconv.FormatFloat(got, 'f', -1, 64))
		}
	}
}

func spell(n int) string {
	ones := strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tenWords := strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
	switch {
	case n < 20:
		return ones[n]
	case n < 100 && n%10 == 0:
		return tenWords[n/10]
	case n < 100:
		return tenWords[n/10] + "-" + ones[n%10]
	case n < 1000 && n%100 == 0:
		return ones[n/100] + " hundred"
	case n < 1000:
		return ones[n/100] + " hundred and " + spell(n%100)
	case n%1000 == 0:
		return spell(n/1000) + " thousand"
	case n%1000 < 100:
		return spell(n/1000) + " thousand and " + spell(n%1000)
	}
	return spell(n/1000) + " thousand " + spell(n%1000)
}

// A denial of one value is not the expected value where a third is possible, and
// what is said of one thing is not said of its neighbour. Sentences that once
// charted something nobody said; common practice, no source.
func TestDenialsSayNoMoreThanTheyDo(t *testing.T) {
	x := newForTest(t)
	for _, c := range []struct{ text, never string }{
		{"Septum not perforated.", "nose.septum@=midline"},
		{"Palate not cleft.", "mouth.palate@=intact"},
		{"There is wax in both ears, not impacted.", "ear.cerumen@both=none"},
		{"Thyroid not nodular.", "neck.thyroid@=not_enlarged"},
		{"Conjunctivae not pale.", "eye.conjunctiva@both=pink"},
		{"Lips not cracked.", "mouth.lip_moisture@=moist"},
		{"Both nares not blocked.", "nose.patency@both=patent"},
		{"Her neck isn't stiff.", "neck.movement@=full"},
		{"Lids not droopy but red.", "eye.sclera@both=red"},
		{"A firm node under the left jaw. Sorry, I mean the lump.", "node.preauricular@left=present"},
	} {
		if got := say(x, c.text); len(got) > 0 {
			if _, bad := got[c.never]; bad {
				t.Errorf("%q charted %s", c.text, c.never)
			}
		}
	}
	if f := say(x, "Left drum bulging. The right is fine.")["ear.drum_shape@left=bulging"]; f.ID == "" || len(f.Qualifiers) > 0 {
		t.Errorf("left drum: %v", f.Qualifiers)
	}
	if f := say(x, "A firm node under the left jaw, I mean soft.")["node.submandibular@left=present"]; f.Qualifiers["consistency"] != "soft" {
		t.Errorf("corrected qualifier: %v", f.Qualifiers)
	}
	if f := say(x, "Her neck isn't stiff.")["neck.stiffness@=absent"]; f.ID == "" {
		t.Error("a neck that is not stiff charted no stiffness finding")
	}
	// a size at a place of nodes may be of something else where none was named
	if f := say(x, "Incision, right submandibular, four centimeters.")["node.submandibular@right=present"]; f.ID != "" && len(f.Marks) == 0 {
		t.Error("a size alone charted a node without a mark")
	}
	if f := say(x, "Lymph nodes. Right submandibular, one centimeter.")["node.submandibular@right=present"]; f.ID == "" || len(f.Marks) > 0 {
		t.Errorf("a node's size under its heading: %v", f.Marks)
	}
	// both numbers of a pupil before and in light are in the unit that was said
	got := say(x, "Pupils go from three to one centimeters in the light.")
	if _, ok := got["eye.pupil_size_in_light@both=10"]; !ok {
		t.Errorf("in light: %s", keys(got))
	}
}

// What was not understood but speaks of a side or a place is put before the
// reviewer, not among small talk.
func TestSidesAndPlacesAreNoSmallTalk(t *testing.T) {
	x := newForTest(t)
	for _, text := range []string{"The right ear canal has no wax and neither does the left.", "Whisper heard right, not left.", "Septum. Curves left a little."} {
		found := false
		for _, l := range x.Extract(transcript.FromText(text), Options{}).LeftOut {
			found = found || l.Why == finding.Unrecognized
		}
		if !found {
			t.Errorf("%q left nothing to review", text)
		}
	}
}
