package export

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"

	"bedsaid/internal/note"
)

// What was written is read back whole: the same bytes come out again.
func TestReadDraftRoundTrip(t *testing.T) {
	for _, timed := range []bool{true, false} {
		d := sample(timed)
		raw, _ := asJSON(t, d)
		got, err := ReadDraft(bytes.NewReader(raw), sampleOutline())
		if err != nil {
			t.Fatal(err)
		}
		again, _ := asJSON(t, got)
		if !bytes.Equal(raw, again) {
			t.Errorf("timed %v: written again it differs:\n%s\n%s", timed, raw, again)
		}
		if !reflect.DeepEqual(got.Findings(), d.Findings()) || !reflect.DeepEqual(got.Unmentioned(), d.Unmentioned()) {
			t.Errorf("timed %v: the findings differ", timed)
		}
		for i, f := range d.Findings() {
			one, err := FindingJSON(d.Transcript, f)
			if err != nil {
				t.Fatal(err)
			}
			if back, err := ReadFinding(one, len(d.Transcript.Words)); err != nil || !reflect.DeepEqual(back, f) {
				t.Errorf("finding %d differs: %v", i, err)
			}
		}
	}
}

// Packs grow and are put in another order; what was kept stays in its own.
func TestReadDraftKeepsItsOrder(t *testing.T) {
	d := sample(true)
	raw, _ := asJSON(t, d)
	for _, o := range []note.Outline{note.NewOutline(nil, nil), note.NewOutline([]note.Region{{ID: "neck"}, {ID: "eyes"}}, []note.Item{{ID: "eye.pupil_size", Region: "neck"}})} {
		got, err := ReadDraft(bytes.NewReader(raw), o)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got.Findings(), d.Findings()) {
			t.Error("another outline moved the findings")
		}
	}
}

// A draft of which a part is gone or stands for nothing is refused, and its
// words are not told.
func TestReadDraftRefuses(t *testing.T) {
	raw, _ := asJSON(t, sample(true))
	text := string(raw)
	for name, bad := range map[string]string{
		"no findings":      strings.Replace(text, `"findings":`, `"findlings":`, 1),
		"no cautions":      strings.Replace(text, `"cautions":`, `"captions":`, 1),
		"unknown side":     strings.Replace(text, `"side":"left"`, `"side":"Quillfeather"`, 1),
		"unknown status":   strings.Replace(text, `"status":"assessed"`, `"status":"Quillfeather"`, 1),
		"evidence too far": strings.Replace(text, `"words":[`, `"words":[9`, 1),
		"list of lists":    strings.Replace(text, `"value":`, `"value":[["Quillfeather"]],"x":`, 1),
		"findings a text":  strings.Replace(text, `"findings": [`, `"findings": "Quillfeather", "x": [`, 1),
	} {
		if bad == text {
			t.Errorf("%s: the sample has no such place", name)
		}
		_, err := ReadDraft(strings.NewReader(bad), sampleOutline())
		var fe *FormatError
		if !errors.As(err, &fe) || strings.Contains(err.Error()+fe.Hint(), "Quill") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ReadFinding([]byte(`{"id":"x","evidence":[{"words":[3,9]}]}`), 5); err == nil {
		t.Error("a finding with evidence outside of the transcript was read")
	}
}
