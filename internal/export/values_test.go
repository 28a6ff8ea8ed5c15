package export

import (
	"reflect"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// Every kind of value is read back as what it was, and printed as it is said.
func TestValuesOfAllKinds(t *testing.T) {
	tr := transcript.FromText("as it was said")
	for _, c := range []struct {
		value       finding.Value
		unit, shown string
	}{
		{finding.Pair(128, 76), "mm[Hg]", "128/76 mm Hg"},
		{finding.Pair(118.5, 76), "mm[Hg]", "118.5/76 mm Hg"},
		{finding.Number(37.2), "Cel", "37.2 degrees Celsius"},
		{finding.Number(15), "", "15"},
		{finding.Word("20/20"), "", "20/20"}, // an acuity is a word: it has no unit
		{finding.Word("14:20"), "", "14:20"},
		{finding.List("penicillin", "bee stings"), "", "penicillin, bee stings"},
	} {
		f := finding.Finding{ID: "a.b", Status: finding.Assessed, Source: finding.Observed, Value: c.value, Unit: c.unit,
			Evidence: []transcript.Span{{Start: 0, End: 2}}}
		data, err := FindingJSON(tr, f)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := ReadFinding(data, len(tr.Words)); err != nil || !reflect.DeepEqual(back, f) {
			t.Errorf("%s is read back as %s %s: %v", data, back.Value, back.Unit, err)
		}
		if got := Statement(note.Entry{Finding: f}); got != c.shown {
			t.Errorf("shown as %q, want %q", got, c.shown)
		}
	}
	for _, bad := range []string{`[]`, `[1]`, `["a",2]`, `{}`, `true`} {
		data := []byte(`{"id":"a.b","side":null,"status":"assessed","source":"observed","interpretation":"unclear","value":` + bad + `,"value_high":null,"unit":null}`)
		if _, err := ReadFinding(data, 4); err == nil {
			t.Errorf("value %s was taken", bad)
		}
	}
}
