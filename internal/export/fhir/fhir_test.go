package fhir

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bedsaid/internal/export"
	"bedsaid/internal/export/exporttest"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/lexicon"
)

func asFHIR(t testing.TB, doc note.Document, lex *lexicon.Lexicon) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, doc, lex); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// documents are the drafts of all cases and 200 generated notes, every second
// of them without the talk, as most exports are.
func documents(t testing.TB, lex *lexicon.Lexicon) []note.Document {
	var out []note.Document
	for _, d := range exporttest.Corpus(t) {
		out = append(out, note.DocumentOf(d, exporttest.Head()))
	}
	for n := range uint64(200) {
		out = append(out, exporttest.Generated(lex, n))
	}
	for i := range out {
		if i%2 == 0 {
			out[i].Draft = out[i].Draft.WithoutTalk()
		}
	}
	return out
}

func noteJSON(t *testing.T, doc note.Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := export.NoteJSON(&b, doc); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// untimed is the document as FHIR carries it: words without their times and
// probabilities.
func untimed(doc note.Document, o note.Outline) note.Document {
	src := note.Source{Name: doc.Draft.Name, Transcript: doc.Draft.Transcript, Notices: doc.Draft.Notices, Provenance: doc.Draft.Provenance}
	src.Transcript.Timed = false
	doc.Draft = note.Compose(src, doc.Draft.Set(), o)
	return doc
}

func TestRoundTrip(t *testing.T) {
	lex := exporttest.Lexicon(t)
	o := note.OutlineOf(lex)
	for i, doc := range documents(t, lex) {
		first := asFHIR(t, doc, lex)
		back, err := Read(bytes.NewReader(first), doc.Draft.Name, o)
		if err != nil {
			t.Fatalf("%s: %v", doc.Draft.Name, err)
		}
		want := doc
		if doc.Draft.Transcript.Timed {
			want = untimed(doc, o)
		}
		if got, want := noteJSON(t, back), noteJSON(t, want); got != want {
			t.Fatalf("%s: another note was read back:\n%s\nwant\n%s", doc.Draft.Name, got, want)
		}
		if i%20 == 0 && !bytes.Equal(first, asFHIR(t, doc, lex)) {
			t.Errorf("%s: written twice, it differs", doc.Draft.Name)
		}
	}
}

func TestNotMentionedYieldsNoObservation(t *testing.T) {
	lex := exporttest.Lexicon(t)
	doc := exporttest.Generated(lex, 5)
	if len(doc.Draft.Unmentioned()) == 0 {
		t.Fatal("the note lacks nothing")
	}
	var b struct {
		Entry []struct {
			Resource observation `json:"resource"`
		} `json:"entry"`
	}
	if err := json.Unmarshal(asFHIR(t, doc, lex), &b); err != nil {
		t.Fatal(err)
	}
	n := map[string]int{}
	for _, e := range b.Entry {
		if e.Resource.ResourceType == "Observation" && len(e.Resource.HasMember) == 0 {
			n[e.Resource.Code.Coding[0].Code]++
		}
	}
	charted := 0
	for _, f := range doc.Draft.Findings() {
		charted++
		if n[f.ID] == 0 {
			t.Errorf("no observation of %s", f.ID)
		}
	}
	all := 0
	for _, k := range n {
		all += k
	}
	if all != charted {
		t.Errorf("%d observations of %d findings", all, charted)
	}
	for _, m := range doc.Draft.Unmentioned() {
		if m.Side == finding.NoSide && n[m.ID] > 0 {
			t.Errorf("%s was not mentioned and is observed", m.ID)
		}
	}
}

func TestObservationSaysWhatFHIRAsks(t *testing.T) {
	lex := exporttest.Lexicon(t)
	o := note.OutlineOf(lex)
	obs := func(f finding.Finding) observation {
		d := note.Compose(note.Source{}, finding.Set{Findings: []finding.Finding{f}}, o)
		h := exporttest.Head()
		h.Status = note.Final
		b := &builder{doc: note.Document{Head: h, Draft: d}, lex: lex}
		return b.observation("x", d.Sections[0].Entries[0])
	}
	pupil := obs(finding.Finding{ID: "eye.pupil_size", Side: finding.Right, Value: finding.Number(3.5), Unit: "mm", Status: finding.Assessed, Source: finding.Observed})
	if pupil.BodySite.Text != "right pupil" || pupil.ValueQuantity.Code != "mm" || pupil.ValueQuantity.System != ucum || pupil.ValueQuantity.Value != "3.5" {
		t.Errorf("pupil: %+v %+v", pupil.BodySite, pupil.ValueQuantity)
	}
	if pupil.Category[0].Coding[0].Code != "exam" || pupil.Status != "final" {
		t.Errorf("category or status: %+v %s", pupil.Category, pupil.Status)
	}
	doubtful := obs(finding.Finding{ID: "eye.pupil_size", Value: finding.Number(3), Unit: "mm", Status: finding.Assessed, Source: finding.Observed, Marks: []finding.Mark{{Kind: finding.UnsureValue}}})
	if doubtful.Status != "preliminary" || len(doubtful.Note) != 1 {
		t.Errorf("a doubtful value is %s with %d notes", doubtful.Status, len(doubtful.Note))
	}
	skipped := func(reason string) string {
		x := obs(finding.Finding{ID: "mouth.gag", Status: finding.NotAssessed, Source: finding.Observed, Reason: reason})
		if x.ValueCodeableConcept != nil || x.DataAbsentReason.Text != reason {
			t.Errorf("%q: value beside a reason, or the reason lost", reason)
		}
		return x.DataAbsentReason.Coding[0].Code
	}
	if skipped("ate ten minutes ago") != "not-performed" || skipped("she refused it") != "asked-declined" {
		t.Error("reasons for no value are coded wrongly")
	}
	odd := obs(finding.Finding{ID: "mouth.gag", Value: finding.Word("absent"), Status: finding.Assessed, Source: finding.Reported, Interpretation: finding.Unexpected})
	if odd.Interpretation[0].Coding[0].Code != "A" || odd.Method.Text != "reported to the examiner" {
		t.Errorf("interpretation %+v, method %+v", odd.Interpretation, odd.Method)
	}
	if fine := obs(finding.Finding{ID: "mouth.gag", Value: finding.Word("present"), Status: finding.Assessed, Source: finding.Observed, Interpretation: finding.Expected}); len(fine.Interpretation[0].Coding) != 0 {
		t.Error("expected was coded as normal, which nobody said")
	}
}

// A site's own codes go out beside ours, on their side alone; without its pack
// there are none.
func TestCodesOfASite(t *testing.T) {
	pack := lexicon.File{Name: "ours.toml", Data: []byte(`name = "ours"
version = "1"
[[code]]
finding = "eye.pupil_size"
system = "urn:oid:2.999"
code = "size"
[[code]]
finding = "eye.pupil_size"
side = "right"
place = true
system = "urn:oid:2.999"
code = "right pupil"
`)}
	own, err := lexicon.With(pack)
	if err != nil {
		t.Fatal(err)
	}
	for _, lex := range []*lexicon.Lexicon{own, exporttest.Lexicon(t)} {
		o := note.OutlineOf(lex)
		var set finding.Set
		for _, side := range []finding.Side{finding.Right, finding.Left} {
			set.Findings = append(set.Findings, finding.Finding{ID: "eye.pupil_size", Side: side, Value: finding.Number(3), Unit: "mm", Status: finding.Assessed, Source: finding.Observed})
		}
		doc := note.DocumentOf(note.Compose(note.Source{}, set, o), exporttest.Head())
		text := string(asFHIR(t, doc, lex))
		sizes, places := strings.Count(text, `"code": "size"`), strings.Count(text, `"code": "right pupil"`)
		if want := lex == own; want && (sizes != 2 || places != 1) || !want && sizes+places > 0 {
			t.Errorf("own pack %v: %d codes of the finding, %d of the place", want, sizes, places)
		}
		back, err := Read(strings.NewReader(text), "", o)
		if err != nil || len(back.Draft.Findings()) != 2 {
			t.Errorf("own pack %v: read back %v", lex == own, err)
		}
	}
	if _, err := lexicon.With(lexicon.File{Name: "x.toml", Data: []byte("name = \"x\"\nversion = \"1\"\n[[code]]\nfinding = \"eye.pupil_size\"\ncode = \"1\"\n")}); err == nil {
		t.Error("a code without a system is taken")
	}
}

// Every LOINC code that can go out stands in the table of verified codes.
func TestLOINCCodesAreVerified(t *testing.T) {
	table, err := os.ReadFile(filepath.Join("testdata", "loinc.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	for _, line := range strings.Split(strings.TrimSpace(string(table)), "\n")[1:] {
		f := strings.Split(line, "\t")
		if len(f) != 3 || f[2] == "" {
			t.Fatalf("line %q has no source", line)
		}
		known[f[0]] = true
	}
	lex := exporttest.Lexicon(t)
	found := map[string]bool{}
	code := regexp.MustCompile(`"system": "http://loinc.org",\s+"code": "([^"]+)"`)
	for n := range uint64(40) {
		for _, m := range code.FindAllSubmatch(asFHIR(t, exporttest.Generated(lex, n), lex), -1) {
			found[string(m[1])] = true
		}
	}
	if len(found) < 8 {
		t.Errorf("only %d codes went out", len(found))
	}
	for c := range found {
		if !known[c] {
			t.Errorf("LOINC %s goes out and is not verified", c)
		}
	}
	page, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "shared", "reference", "standards.md"))
	if err != nil {
		t.Log("not compared with the reference page, which is not at hand")
		return
	}
	_, page, _ = bytes.Cut(page, []byte("## 4. LOINC"))
	page, _, _ = bytes.Cut(page, []byte("**Memory only"))
	for c := range known {
		if !bytes.Contains(page, []byte(c)) {
			t.Errorf("LOINC %s does not stand on the reference page", c)
		}
	}
}

func TestWriteRefusesAnUndatedNote(t *testing.T) {
	if err := Write(&bytes.Buffer{}, note.Document{}, exporttest.Lexicon(t)); err == nil {
		t.Error("written without a date")
	}
}

// No word of a patient becomes markup, and nothing that XML lacks goes through.
func TestNarrativeIsEscaped(t *testing.T) {
	n := lines("<script>alert(1)</script> & \x01")
	if strings.Contains(n.Div, "<script") || strings.Contains(n.Div, "\x01") || !strings.Contains(n.Div, "&lt;script&gt;") {
		t.Errorf("narrative: %s", n.Div)
	}
}
