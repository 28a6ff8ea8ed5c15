package print

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bedsaid/internal/export"
	"bedsaid/internal/export/exporttest"
	"bedsaid/internal/note"
)

func asPDF(t testing.TB, doc note.Document, paper Paper) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := PDF(&b, doc, paper); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// poppler runs one of poppler's tools, the outside reader of these tests, on a
// PDF; the test is skipped where it is not installed.
func poppler(t *testing.T, pdf []byte, tool string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(tool); err != nil {
		t.Skipf("skipped: %s is not installed (Debian: poppler-utils)", tool)
	}
	file := filepath.Join(t.TempDir(), "note.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	for i, a := range args {
		if a == "FILE" {
			args[i] = file
		}
	}
	out, err := exec.Command(tool, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", tool, err, out)
	}
	if w := regexp.MustCompile(`(?i)(syntax|internal) (error|warning).*`).Find(out); w != nil {
		t.Errorf("%s: %s", tool, w)
	}
	return string(out)
}

// documents are every fortieth case, some whole examinations and some generated
// notes.
func documents(t testing.TB) []note.Document {
	var out []note.Document
	for i, d := range exporttest.Corpus(t) {
		if i%40 == 0 || strings.HasPrefix(d.Name, "narration-4") {
			out = append(out, note.DocumentOf(d.WithoutTalk(), exporttest.Head()))
		}
	}
	lex := exporttest.Lexicon(t)
	for n := range uint64(5) {
		doc := exporttest.Generated(lex, n)
		if n%2 == 0 {
			doc.Draft = doc.Draft.WithoutTalk()
		}
		out = append(out, doc)
	}
	return out
}

func TestPDFIsTaggedSizedAndEmbedsItsFonts(t *testing.T) {
	doc := exporttest.Generated(exporttest.Lexicon(t), 3)
	for paper, size := range map[Paper]string{A4: "595.28 x 841.89 pts (A4)", Letter: "612 x 792 pts (letter)"} {
		pdf := asPDF(t, doc, paper)
		info := poppler(t, pdf, "pdfinfo", "FILE")
		for _, want := range []string{`Tagged: +yes`, `Title: +Examination note PRELIMINARY, NOT SIGNED`, `Page size: +` + regexp.QuoteMeta(size), `JavaScript: +no`, `Encrypted: +no`} {
			if !regexp.MustCompile(want).MatchString(info) {
				t.Errorf("%s: pdfinfo lacks %q:\n%s", paper, want, info)
			}
		}
		fonts := strings.Split(strings.TrimSpace(poppler(t, pdf, "pdffonts", "FILE")), "\n")[2:]
		if len(fonts) != 2 {
			t.Errorf("fonts:\n%s", strings.Join(fonts, "\n"))
		}
		for _, f := range fonts {
			if !regexp.MustCompile(`Identity-H +yes +(yes|no) +yes`).MatchString(f) { // embedded, with a map to Unicode
				t.Errorf("font: %s", f)
			}
		}
	}
}

var space = regexp.MustCompile(`\s+`)

func flat(s string) string { return space.ReplaceAllString(s, " ") }

// withoutFeet drops the line at the end of each page that is not part of the text.
func withoutFeet(text string, s export.Sheet) string {
	foot := regexp.MustCompile(regexp.QuoteMeta(flat(footText(s))) + ` page \d+ of \d+ ?`)
	return foot.ReplaceAllString(flat(text), "")
}

// What a reader takes out of the file is what the note says: every finding, in
// order, whole, with its doubts, and the cautions.
func TestPDFTextHoldsEveryFinding(t *testing.T) {
	findings := 0
	for _, doc := range documents(t) {
		s := export.SheetOf(doc)
		// The tree in reading order, as a reader's program hears it.
		pdf := asPDF(t, doc, A4)
		text := flat(poppler(t, pdf, "pdfinfo", "-struct-text", "FILE"))
		text = regexp.MustCompile(`" "`).ReplaceAllString(text, " ")
		page := withoutFeet(poppler(t, pdf, "pdftotext", "-raw", "FILE", "-"), s)
		for _, p := range s.Parts {
			for _, l := range p.Lines {
				findings++
				want := flat(l.Text())
				if !strings.Contains(page, want) {
					t.Errorf("%s: the page lacks %q", doc.Draft.Name, want)
				}
				if !strings.Contains(letters(text), letters(want)) {
					t.Errorf("%s: the structure lacks %q", doc.Draft.Name, want)
				}
				for _, c := range l.Checks {
					if !strings.Contains(page, flat(c)) {
						t.Errorf("%s: the page lacks the doubt %q", doc.Draft.Name, c)
					}
				}
			}
		}
		for _, want := range append([]string{s.Head[0].Text, s.Head[1].Text, s.MadeBy}, s.Cautions...) {
			if !strings.Contains(page, flat(want)) {
				t.Errorf("%s: the page lacks %q", doc.Draft.Name, want)
			}
		}
	}
	if findings < 500 {
		t.Errorf("only %d findings looked for", findings)
	}
}

// letters drops what stands between words, where two programs differ.
func letters(s string) string {
	return regexp.MustCompile(`[\s"]+`).ReplaceAllString(s, "")
}

// A usual examination, the longest of the cases aside, takes one page.
func TestAUsualExaminationTakesOnePage(t *testing.T) {
	one, all := 0, 0
	for _, d := range exporttest.Corpus(t) {
		if !strings.HasPrefix(d.Name, "narration") {
			continue
		}
		all++
		doc := note.DocumentOf(d.WithoutTalk(), exporttest.Head())
		s := export.SheetOf(doc)
		pointers, numbers := figure(s)
		if set(doc, s, blocksOf(s, numbers), pointers, A4, 1).f.PageNo() == 1 {
			one++
		}
	}
	t.Logf("%d of %d whole examinations take one page", one, all)
	if one*10 < all*7 {
		t.Errorf("only %d of %d whole examinations take one page", one, all)
	}
}

func TestPDFIsTheSameEachTime(t *testing.T) {
	doc := exporttest.Generated(exporttest.Lexicon(t), 1)
	if !bytes.Equal(asPDF(t, doc, A4), asPDF(t, doc, A4)) {
		t.Error("written twice, it differs")
	}
}

func TestPDFRefusesCharactersThatItCannotPrint(t *testing.T) {
	doc := exporttest.Generated(exporttest.Lexicon(t), 1)
	doc.Head.Identifiers[0].Value = "示例"
	err := PDF(&bytes.Buffer{}, doc, A4)
	var glyph *GlyphError
	if !errors.As(err, &glyph) || glyph.Count < 2 || glyph.Hint() == "" {
		t.Fatalf("got %v", err)
	}
	if strings.Contains(err.Error(), "示") {
		t.Error("the error holds the name")
	}
}

func TestPDFPrintsNamesBeyondASCII(t *testing.T) {
	doc := exporttest.Generated(exporttest.Lexicon(t), 1)
	doc.Head.Identifiers[0].Value = "Nguyễn Ōsample-Ñandú Čížek Παράδειγμα Пример"
	if got := flat(poppler(t, asPDF(t, doc, Letter), "pdftotext", "FILE", "-")); !strings.Contains(got, doc.Head.Identifiers[0].Value) {
		t.Error("the name is not in the text of the page")
	}
}

// The file's form, by another program.
func TestPDFIsWhole(t *testing.T) {
	if _, err := exec.LookPath("qpdf"); err != nil {
		t.Skip("skipped: qpdf is not installed")
	}
	for n := range uint64(3) {
		out := poppler(t, asPDF(t, exporttest.Generated(exporttest.Lexicon(t), n), A4), "qpdf", "--check", "FILE")
		if !strings.Contains(out, "No syntax or stream encoding errors found") {
			t.Errorf("qpdf: %s", out)
		}
	}
}

func TestTagRefusesWhatItDoesNotKnow(t *testing.T) {
	whole := asPDF(t, exporttest.Generated(exporttest.Lexicon(t), 1), A4)
	for what, broken := range map[string][]byte{
		"nothing":    nil,
		"no trailer": whole[:len(whole)-40],
		"no table":   bytes.Replace(whole, []byte("xref\n0 "), []byte("xrev\n0 "), 1),
		"an update":  whole, // an incremental update is no classic table
	} {
		if _, err := tag(broken, nil, 1); err == nil {
			t.Errorf("%s: tagged without complaint", what)
		}
	}
}

// TestWriteSamples leaves the pages of a note to be looked at.
func TestWriteSamples(t *testing.T) {
	dir := os.Getenv("BEDSAID_PRINT_SAMPLES")
	if dir == "" {
		t.Skip("skipped: give a folder in BEDSAID_PRINT_SAMPLES to look at pages")
	}
	for _, doc := range documents(t) {
		for _, paper := range []Paper{A4, Letter} {
			var html bytes.Buffer
			if err := HTML(&html, doc, paper); err != nil {
				t.Fatal(err)
			}
			base := filepath.Join(dir, fmt.Sprintf("%s-%s", doc.Draft.Name, paper))
			for name, data := range map[string][]byte{base + ".pdf": asPDF(t, doc, paper), base + ".html": html.Bytes()} {
				if err := os.WriteFile(name, data, 0o600); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}
