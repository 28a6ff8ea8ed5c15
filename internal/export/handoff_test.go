package export

import (
	"bytes"
	"strings"
	"testing"

	"bedsaid/internal/export/exporttest"
	"bedsaid/internal/extract"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

func asHandoff(t *testing.T, doc note.Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := Handoff(&b, doc); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func draftOf(t *testing.T, text string) note.Draft {
	t.Helper()
	lex := exporttest.Lexicon(t)
	words := transcript.FromText(text)
	return note.Compose(note.Source{Transcript: words}, extract.New(lex).Extract(words, extract.Options{}), note.OutlineOf(lex))
}

// The order is that of the AHRQ toolkit; the recommendation is not made up.
func TestHandoffOrderAndRecommendation(t *testing.T) {
	text := asHandoff(t, note.DocumentOf(draftOf(t, "Left pupil does not react to light. Trachea is midline."), exporttest.Head()))
	at := -1
	for _, h := range []string{"\nSITUATION\n", "\nBACKGROUND\n", "\nASSESSMENT\n", "\nRECOMMENDATION\n"} {
		i := strings.Index(text, h)
		if i <= at {
			t.Errorf("%q is missing or out of order", h)
		}
		at = i
	}
	_, recommendation, _ := strings.Cut(text, "\nRECOMMENDATION\n")
	recommendation, _, _ = strings.Cut(recommendation, "\n\n")
	if recommendation != "[to be completed by the nurse: what is needed, and by when]\nLet the receiver say it back, and confirm." {
		t.Errorf("recommendation:\n%s", recommendation)
	}
	for _, want := range append([]string{"Code status: not stated", "Allergies: not stated", "direct light reaction, left eye: nonreactive", "name Łucja Ōsample-Ñandú", "not compared"}, note.Cautions()...) {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q", want)
		}
	}
	_, assessment, _ := strings.Cut(text, "\nASSESSMENT\n")
	if assessment, _, _ = strings.Cut(assessment, "\nRECOMMENDATION\n"); strings.Contains(assessment, "trachea") {
		t.Error("what is as expected takes room on the page")
	}
}

// What was said of code status and allergies is quoted, not read.
func TestHandoffQuotesCodeStatusAndAllergies(t *testing.T) {
	text := asHandoff(t, note.DocumentOf(draftOf(t, "Hello. Any allergies? Only penicillin, a rash. She is full code. Trachea is midline. I will page the doctor after this."), note.Head{}))
	for _, want := range []string{
		`Allergies: said: "Any allergies? Only penicillin, a rash."`, `Code status: said: "She is full code."`, "Code status as quoted, allergies as quoted",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q in:\n%s", want, text)
		}
	}
}

func TestHandoffQuotesASpokenPlan(t *testing.T) {
	d := draftOf(t, "Trachea is midline. I am going to page the doctor about that pupil.")
	if !strings.Contains(asHandoff(t, note.DocumentOf(d, note.Head{})), `said as a plan: "I am going to page the doctor about that pupil."`) {
		t.Errorf("the plan is not quoted; left out: %v", d.LeftOut)
	}
}

// Thirty seconds by phone is 75 words; what does not fit is counted aloud. A
// page holds 60 lines of 90 letters.
func TestHandoffFits(t *testing.T) {
	long, pages := 0, 0
	for _, doc := range documents(t) {
		text := asHandoff(t, doc)
		_, phone, _ := strings.Cut(text, "IN THIRTY SECONDS\n")
		phone, _, _ = strings.Cut(phone, "\n")
		if n := len(strings.Fields(phone)); n > phoneWords || n < 15 {
			t.Errorf("%s: %d words by phone: %s", doc.Draft.Name, n, phone)
		}
		lines := 0
		for _, l := range strings.Split(text, "\n") {
			lines += 1 + len(l)/90
		}
		if !strings.HasPrefix(doc.Draft.Name, "generated") {
			pages++
			if lines > 60 {
				long++
			}
		}
	}
	t.Logf("%d of %d cases take more than a page", long, pages)
	if long*100 > pages*8 { // a note of thirty odd findings may turn the page
		t.Errorf("%d of %d cases take more than a page", long, pages)
	}
}

// The other end hears the urgent first, wherever it was examined.
func TestPhoneBeginsWithTheUrgent(t *testing.T) {
	text := asHandoff(t, note.DocumentOf(draftOf(t, "Hair loss on the crown. There are lice. Lips are blue. Left carotid thrill."), note.Head{}))
	_, phone, _ := strings.Cut(text, "IN THIRTY SECONDS\n")
	lips, lice := strings.Index(phone, "lip colour: cyanotic"), strings.Index(phone, "lice or nits: present")
	if lips < 0 || lice < 0 || lips > lice {
		t.Errorf("by phone: %s", phone)
	}
}

// A finding of the hand-off is a finding of the note, word for word.
func TestHandoffAddsNothing(t *testing.T) {
	for _, doc := range documents(t) {
		known := map[string]bool{}
		for _, p := range SheetOf(doc).Parts {
			for _, l := range p.Lines {
				known[l.Marked()], known[quotesInText.ReplaceAllString(l.Marked(), "Q")] = true, true
			}
		}
		_, body, _ := strings.Cut(asHandoff(t, doc), "\nASSESSMENT\n")
		body, _, _ = strings.Cut(body, "\nRECOMMENDATION\n")
		for _, l := range strings.Split(body, "\n") {
			var items []string
			if item, ok := strings.CutPrefix(l, "- "); ok {
				_, list, _ := strings.Cut(quotesInText.ReplaceAllString(item, "Q"), ": ")
				items = strings.Split(list, "; ")
			} else if _, list, ok := strings.Cut(l, ": "); ok && !strings.HasPrefix(l, "Not ") {
				items = strings.Split(quotesInText.ReplaceAllString(list, "Q"), "; ")
			}
			for _, item := range items {
				if !known[item] && !known[quotesInText.ReplaceAllString(item, "Q")] && !strings.HasPrefix(item, "nothing") && !strings.HasPrefix(item, "not compared") {
					t.Errorf("%s: %q is no line of the note", doc.Draft.Name, item)
				}
			}
		}
	}
}
