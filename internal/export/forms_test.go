package export

import (
	"bytes"
	"encoding/csv"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"bedsaid/internal/export/exporttest"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// What the draft's JSON says is read back whole: what is written of it again is
// the same bytes.
func TestReadDraftRoundTripOfTheCorpus(t *testing.T) {
	o := note.OutlineOf(exporttest.Lexicon(t))
	for _, d := range append(exporttest.Corpus(t), exporttest.Generated(exporttest.Lexicon(t), 3).Draft) {
		first, _ := asJSON(t, d)
		back, err := ReadDraft(bytes.NewReader(first), o)
		if err != nil {
			t.Fatalf("%s: %v", d.Name, err)
		}
		if second, _ := asJSON(t, back); !bytes.Equal(first, second) {
			t.Errorf("%s: read back, the draft says something else", d.Name)
		}
		if !reflect.DeepEqual(values(d), values(back)) {
			t.Errorf("%s: a value changed its kind", d.Name)
		}
	}
}

func values(d note.Draft) []finding.Value {
	var out []finding.Value
	for _, f := range d.Findings() {
		out = append(out, f.Value, f.High)
	}
	return out
}

func asNoteJSON(t *testing.T, doc note.Document) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := NoteJSON(&b, doc); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestReadNoteRoundTrip(t *testing.T) {
	lex := exporttest.Lexicon(t)
	o := note.OutlineOf(lex)
	for n := range uint64(60) {
		doc := exporttest.Generated(lex, n)
		if n%2 == 0 {
			doc.Draft = doc.Draft.WithoutTalk()
		}
		first := asNoteJSON(t, doc)
		back, err := ReadNote(bytes.NewReader(first), doc.Draft.Name, o)
		if err != nil {
			t.Fatalf("note %d: %v", n, err)
		}
		if !bytes.Equal(first, asNoteJSON(t, back)) {
			t.Errorf("note %d: read back, it says something else", n)
		}
		if !reflect.DeepEqual(back.Head, doc.Head) {
			t.Errorf("note %d: the head changed", n)
		}
	}
}

// What is signed is no draft any more, and says so in every form.
func TestASignedNoteIsNoDraft(t *testing.T) {
	doc := note.DocumentOf(sample(true).WithoutTalk(), exporttest.Head())
	doc.Head.Status = note.Final
	for form, text := range map[string]string{
		"text": asChart(t, doc, Compact), "json": string(asNoteJSON(t, doc)), "handoff": asHandoff(t, doc),
	} {
		if strings.Contains(text, "This is a draft") || !strings.Contains(text, "signed by the nurse named above") || strings.Contains(text, "PRELIMINARY") {
			t.Errorf("%s calls a signed note a draft, or does not say how it came about", form)
		}
		if !strings.Contains(text, note.Cautions()[1]) {
			t.Errorf("%s has lost a caution", form)
		}
	}
}

func TestReadNoteRefuses(t *testing.T) {
	lex := exporttest.Lexicon(t)
	whole := string(asNoteJSON(t, exporttest.Generated(lex, 1)))
	for what, broken := range map[string]string{
		"a draft":            strings.Replace(whole, NoteFormat, Format, 1),
		"another version":    strings.Replace(whole, NoteFormat, "bedsaid-note/9", 1),
		"no head":            strings.Replace(whole, `"head"`, `"hat"`, 1),
		"a status unknown":   regexp.MustCompile(`"status":"(final|amended)"`).ReplaceAllString(whole, `"status":"certain"`),
		"a side unknown":     strings.Replace(whole, `"side":"left"`, `"side":"sinister"`, 1),
		"a value of no kind": regexp.MustCompile(`"value":"[a-z_]+"`).ReplaceAllString(whole, `"value":{}`),
		"words outside":      regexp.MustCompile(`"words":\[\d+,\d+\]`).ReplaceAllString(whole, `"words":[5,99999]`),
		"a time unknown":     strings.Replace(whole, `"entered_at":"2031`, `"entered_at":"31`, 1),
		"cut off":            whole[:len(whole)/2],
	} {
		if broken == whole {
			t.Errorf("%s: nothing was broken", what)
			continue
		}
		if _, err := ReadNote(strings.NewReader(broken), "x", note.OutlineOf(lex)); err == nil {
			t.Errorf("%s: read without complaint", what)
		}
	}
}

func asCSV(t *testing.T, doc note.Document) [][]string {
	t.Helper()
	var b bytes.Buffer
	if err := CSV(&b, doc); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll() // the standard library's reader refuses rows of unequal length
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// Source of the characters: OWASP, CSV Injection.
func TestCSVHoldsNoFormula(t *testing.T) {
	evil := []string{"=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1"}
	for _, e := range evil {
		doc := note.DocumentOf(note.Compose(note.Source{Transcript: transcript.FromText(e)}, finding.Set{Findings: []finding.Finding{{
			ID: e, Zone: e, Status: finding.NotAssessed, Reason: e, Qualifiers: map[string]string{"place": e}, Evidence: []transcript.Span{{Start: 0, End: 1}}}}}, note.Outline{}), note.Head{Identifiers: [2]note.Identifier{{Kind: note.NameKind, Value: e}}, Author: note.Person{Name: e}})
		for _, row := range asCSV(t, doc) {
			for _, cell := range row {
				if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
					t.Errorf("%q gives the cell %q", e, cell)
				}
			}
		}
	}
	if shield("-2.5") != "-2.5" || shield("3") != "3" {
		t.Error("a number is shielded")
	}
}

func TestCSVHasARowForEachFinding(t *testing.T) {
	doc := note.DocumentOf(sample(true).WithoutTalk(), exporttest.Head())
	rows := asCSV(t, doc)
	if len(rows[0]) != len(csvColumns) {
		t.Fatalf("%d columns", len(rows[0]))
	}
	ids := map[string]int{}
	for _, r := range rows[1:] {
		ids[r[7]]++
		if r[0] != "name Łucja Ōsample-Ñandú" || r[5] != "preliminary" {
			t.Errorf("a row without the head: %q", r[:6])
		}
	}
	for _, f := range doc.Draft.Findings() {
		if ids[f.ID] == 0 {
			t.Errorf("no row for %s", f.ID)
		}
	}
	if len(note.Cautions()) == 0 || !strings.Contains(rows[len(rows)-2][14], note.Cautions()[4]) {
		t.Error("no cautions")
	}
}

func TestMarkdownShieldsWhatWasSaid(t *testing.T) {
	said := "# head <script>alert(1)</script> [a](b) *bold* `x` | cell"
	doc := note.DocumentOf(note.Compose(note.Source{Transcript: transcript.FromText(said)}, finding.Set{
		Findings: []finding.Finding{{ID: "eye.sclera", Status: finding.NotAssessed, Reason: said, Evidence: []transcript.Span{{Start: 0, End: 3}}}},
		LeftOut:  []finding.LeftOut{{Why: finding.SmallTalk, Span: transcript.Span{Start: 3, End: 8}}},
	}, note.OutlineOf(exporttest.Lexicon(t))), note.Head{})
	var b bytes.Buffer
	if err := Markdown(&b, doc); err != nil {
		t.Fatal(err)
	}
	for _, bare := range []string{"<script>", "[a](b)", " *bold*", " `x`"} {
		if strings.Contains(b.String(), bare) {
			t.Errorf("%q went through", bare)
		}
	}
	if !strings.Contains(b.String(), `\# head \<script\>alert(1)`) {
		t.Errorf("words lost:\n%s", b.String())
	}
	for _, c := range note.Cautions() {
		if !strings.Contains(b.String(), c) {
			t.Errorf("no caution %q", c)
		}
	}
}

func TestFileNames(t *testing.T) {
	for in, want := range map[string]string{
		"exam.wav": "exam.wav", "../../etc/passwd": "etc-passwd", "a b;rm -rf": "a-b-rm--rf", "": "note", "...": "note", "CON": "note-CON",
		"com1.txt": "note-com1.txt", "Łucja Ñandú": "Łucja-Ñandú", "a\x00b\nc": "a-b-c", "-rf": "rf", "x\u202etxt.exe": "x-txt.exe",
	} {
		if got := FileName(in); got != want {
			t.Errorf("FileName(%q) = %q, want %q", in, got, want)
		}
	}
	if n := len(FileName(strings.Repeat("ñ", 500))); n > maxName || n < maxName-2 {
		t.Errorf("a long name gives %d bytes", n)
	}
}
