package print

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"bedsaid/internal/export"
	"bedsaid/internal/export/exporttest"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

func asHTML(t testing.TB, doc note.Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := HTML(&b, doc, A4); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// What was said never becomes markup or script, and the page fetches nothing.
func TestHTMLHoldsNoScriptFromSpokenWords(t *testing.T) {
	for _, said := range []string{`<script>alert(1)</script>`, `"><img/src=x/onerror=alert(1)>`, `</title><svg/onload=alert(1)>`, `javascript:alert(1)`} {
		words := transcript.FromText(said + " " + said)
		set := finding.Set{
			Findings: []finding.Finding{
				{ID: "eye.sclera", Zone: said, Status: finding.NotAssessed, Reason: said, Evidence: []transcript.Span{{Start: 0, End: 1}}, Marks: []finding.Mark{{Kind: finding.UnsureSide, Why: said, Alternatives: []string{said}}}},
				{ID: said, Value: finding.Word(said), Status: finding.Assessed, Interpretation: finding.Unexpected, Qualifiers: map[string]string{"place": said}},
			},
			LeftOut: []finding.LeftOut{{Why: finding.SmallTalk, Span: transcript.Span{Start: 1, End: 2}}}, Attention: []finding.Attention{{Why: said, Urgency: finding.Now, Source: said, Evidence: []transcript.Span{{Start: 0, End: 1}}}},
		}
		doc := note.DocumentOf(note.Compose(note.Source{Name: said, Transcript: words, Notices: []string{said}}, set, note.OutlineOf(exporttest.Lexicon(t))),
			note.Head{Identifiers: [2]note.Identifier{{Kind: note.NameKind, Value: said}}, Author: note.Person{Name: said}, Addenda: []note.Addendum{{Text: said}}})
		page := asHTML(t, doc)
		for _, tag := range regexp.MustCompile(`<[^>]*>`).FindAllString(page, -1) {
			low := strings.ToLower(tag)
			if strings.Contains(low, "<script") || strings.Contains(low, "<img") || strings.Contains(low, "onerror") || strings.Contains(low, "onload") || regexp.MustCompile(`(src|href)\s*=`).MatchString(low) {
				t.Errorf("%s gives the tag %s", said, tag)
			}
		}
		if !strings.Contains(page, "alert(1)") {
			t.Error("the words are lost")
		}
		if !strings.Contains(page, `content="default-src 'none'; style-src 'unsafe-inline'"`) {
			t.Error("the page may fetch")
		}
	}
}

func TestHTMLSaysAll(t *testing.T) {
	for _, doc := range documents(t) {
		page := asHTML(t, doc)
		text := flat(unescape(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, "")))
		s := export.SheetOf(doc)
		for _, p := range s.Parts {
			for _, l := range p.Lines {
				if !strings.Contains(text, flat(l.Text())) {
					t.Errorf("%s: the page lacks %q", doc.Draft.Name, l.Text())
				}
			}
		}
		for _, want := range append([]string{s.Watermark, s.Head[0].Text, s.MadeBy}, s.Cautions...) {
			if !strings.Contains(text, flat(want)) {
				t.Errorf("%s: the page lacks %q", doc.Draft.Name, want)
			}
		}
	}
}

func unescape(s string) string {
	return strings.NewReplacer("&lt;", "<", "&gt;", ">", "&#34;", `"`, "&#39;", "'", "&#43;", "+", "&amp;", "&").Replace(s)
}

// The numbers in the drawing are those beside the text, on the side that was
// said: the patient's right is at the reader's left.
func TestFigurePointsAtItsSide(t *testing.T) {
	set := finding.Set{Findings: []finding.Finding{
		{ID: "eye.drainage", Side: finding.Right, Status: finding.Assessed, Value: finding.Word("present"), Interpretation: finding.Unexpected},
		{ID: "ear.drainage", Side: finding.Left, Status: finding.Assessed, Value: finding.Word("present"), Interpretation: finding.Unexpected},
		{ID: "carotid.bruit", Side: finding.Both, Status: finding.Assessed, Value: finding.Word("present"), Interpretation: finding.Unexpected},
		{ID: "nose.polyp", Side: finding.Right, Status: finding.Assessed, Value: finding.Word("absent"), Interpretation: finding.Expected},
	}}
	ps, numbers := figure(export.SheetOf(note.DocumentOf(note.Compose(note.Source{}, set, note.OutlineOf(exporttest.Lexicon(t))), note.Head{})))
	if len(numbers) != 3 || len(ps) != 4 {
		t.Fatalf("%d numbers, %d pointers", len(numbers), len(ps))
	}
	for _, p := range ps {
		left := p.at.x > figureWidth/2
		if want := p.text == "2"; p.text != "3" && left != want || left != p.end {
			t.Errorf("number %s points at x %.0f, label at the right %v", p.text, p.at.x, p.end)
		}
	}
}
