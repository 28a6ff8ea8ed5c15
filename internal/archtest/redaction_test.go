package archtest

import (
	"bytes"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/internal/transcript"
)

// What a patient said must not reach a log or an error by a careless verb: each
// value that holds it prints itself without.
func TestValuesPrintNoWords(t *testing.T) {
	const planted = "Quillfeather"
	words := transcript.FromText("Mr. " + planted + " has a red eye.")
	words.Words[1].Heard = planted
	span := []transcript.Span{{Start: 0, End: 6}}
	f := finding.Finding{ID: "eye.conjunctiva", Zone: planted, Value: finding.Word(planted), Reason: planted, Evidence: span,
		Qualifiers: map[string]string{"character": planted}, Marks: []finding.Mark{{Why: planted, Alternatives: []string{planted}}}}
	set := finding.Set{Findings: []finding.Finding{f}, LeftOut: []finding.LeftOut{{Why: finding.SmallTalk, Span: span[0]}},
		Attention: []finding.Attention{{Why: planted, Evidence: span}}}
	src := note.Source{Name: "a.txt", Transcript: words}
	d := note.Compose(src, set, note.NewOutline([]note.Region{{ID: "eyes", Title: "Eyes"}}, []note.Item{{ID: f.ID, Region: "eyes", Name: "conjunctiva"}}))
	decision := review.Decision{Kind: review.Comment, Text: planted, Why: planted, Finding: f, At: time.Unix(9, 0),
		By: review.Person{ID: "u1", Role: review.Examiner}}
	reviewed, err := review.Begin(d, decision.By).Apply(decision)
	if err != nil {
		t.Fatal(err)
	}
	encounter := store.Encounter{ID: "e1", Details: store.Details{Patient: [2]store.Identifier{{Kind: "name", Value: planted}}, Bed: planted,
		Consent: store.Consent{From: planted, How: planted}}}
	head := note.Head{Identifiers: [2]note.Identifier{{Kind: note.NameKind, Value: planted}}, Addenda: []note.Addendum{{Text: planted}}}
	doc := note.DocumentOf(d, head)
	doc.Decisions = []note.Decision{{Was: planted}}
	doc.Changes = note.Compare(note.Draft{}, d)
	if !strings.Contains(words.Text(), planted) || len(d.Sections) != 1 {
		t.Fatal("nothing was planted")
	}
	for name, v := range map[string]any{
		"transcript": words, "transcript pointer": &words, "finding": f, "findings": []finding.Finding{f}, "set": set, "set pointer": &set,
		"source": src, "draft": d, "draft pointer": &d, "section": d.Sections[0], "sections": d.Sections, "entry": d.Sections[0].Entries[0],
		"decision": decision, "review decisions": reviewed.Decisions(), "note": reviewed, "note pointer": &reviewed,
		"line": reviewed.Lines()[0], "lines": reviewed.Lines(), "remarks": reviewed.Comments(), "version": review.Version{Lines: reviewed.Lines()},
		"encounter": encounter, "details": encounter.Details, "identifiers": encounter.Patient, "consent": encounter.Consent,
		"summary": store.Summary{Encounter: encounter}, "confirmed": store.Confirmed{planted, planted},
		"conflict":           &store.ConflictError{Seen: reviewed, Now: reviewed, Yours: decision},
		"encounter conflict": &store.EncounterConflict{Yours: encounter.Details, Now: encounter},
		"holder":             struct{ D note.Draft }{d},
		"head":               head, "head identifiers": head.Identifiers, "addenda": head.Addenda, "document": doc,
		"decisions": doc.Decisions, "changes": doc.Changes,
	} {
		for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x"} {
			if got := fmt.Sprintf(verb, v); strings.Contains(got, planted) || strings.Contains(got, fmt.Sprintf("%x", planted)) {
				t.Errorf("%s printed with %s holds what was said", name, verb)
			}
		}
		var b bytes.Buffer
		slog.New(slog.NewTextHandler(&b, nil)).Info("x", "v", v)
		slog.New(slog.NewTextHandler(&b, nil)).Error("x", slog.Any("v", v))
		if strings.Contains(b.String(), planted) {
			t.Errorf("%s logged holds what was said", name)
		}
	}
}
