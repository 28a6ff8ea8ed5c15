// Package exporttest makes notes for the tests of exporters: the drafts of every
// case in testdata/cases, and notes generated from the packs that hold every
// kind of value, side, mark and qualifier. All of it is invented.
package exporttest

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/extract"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Noon is the time of every note made here.
var Noon = time.Date(2031, 2, 3, 12, 0, 0, 0, time.UTC)

// Lexicon gives the packs that are built in.
func Lexicon(t testing.TB) *lexicon.Lexicon {
	t.Helper()
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	return lex
}

// Corpus drafts every case below testdata/cases, by name.
func Corpus(t testing.TB) []note.Draft {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(root(t), "testdata", "cases", "*", "*.json"))
	if err != nil || len(paths) < 300 {
		t.Fatalf("%d cases found", len(paths))
	}
	slices.Sort(paths)
	lex := Lexicon(t)
	outline, engine := note.OutlineOf(lex), extract.New(lex)
	out := make([]note.Draft, len(paths))
	for i, p := range paths {
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		var c struct {
			ID   string `json:"id"`
			Text string `json:"text"`
		}
		if err := json.Unmarshal(data, &c); err != nil || c.Text == "" {
			t.Fatalf("%s: no text", p)
		}
		words := transcript.FromText(c.Text)
		out[i] = note.Compose(note.Source{Name: c.ID, Transcript: words, Provenance: provenance(lex)}, engine.Extract(words, extract.Options{}), outline)
	}
	return out
}

func root(t testing.TB) string {
	dir, err := os.Getwd()
	for err == nil {
		if _, e := os.Stat(filepath.Join(dir, "go.mod")); e == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			break
		}
		dir = up
	}
	t.Fatal("no go.mod above the test")
	return ""
}

func provenance(lex *lexicon.Lexicon) note.Provenance {
	p := note.Provenance{Program: "bedsaid test", DraftedAt: Noon}
	for _, k := range lex.Packs() {
		p.Packs = append(p.Packs, note.Pack(k))
	}
	return p
}

// Generated makes one note; the same number gives the same note. Every third
// is heard from a recording, with stretches that gave no words.
func Generated(lex *lexicon.Lexicon, n uint64) note.Document {
	g := &generator{r: rand.New(rand.NewPCG(n, 7)), lex: lex}
	set := g.set()
	src := note.Source{Name: fmt.Sprintf("generated-%d", n), Provenance: provenance(lex), Transcript: transcript.Transcript{Words: g.words}}
	if n%3 == 0 {
		src.Transcript.Timed = true
		for i := range g.words {
			g.words[i].Start, g.words[i].End, g.words[i].P = float64(i)/2, float64(i)/2+0.5, 0.75
		}
		length := float64(len(g.words))/2 + 10
		src.Transcript.Recording = &transcript.Recording{Seconds: length, VoicedSeconds: length / 2, Untranscribed: []transcript.Interval{{Start: length - 8, End: length - 5.5}}}
		src.Notices = []string{"The recording ends early."}
		src.Provenance.Engine, src.Provenance.Model, src.Provenance.ModelSHA256 = "whisper.cpp 0.0", "tiny", strings.Repeat("0f", 32)
		src.Provenance.RecordedAt = Noon.Add(-time.Hour)
	}
	head := Head()
	head.ID = fmt.Sprintf("note-%d", n)
	doc := note.DocumentOf(note.Compose(src, set, note.OutlineOf(lex)), head)
	if n%4 == 1 {
		g.sign(&doc)
	}
	return doc
}

// Head is a whole head of an invented patient's note.
func Head() note.Head {
	return note.Head{
		Identifiers: [2]note.Identifier{{Kind: note.NameKind, Value: "Łucja Ōsample-Ñandú"}, {Kind: "born", Value: "1931-02-03"}},
		ExaminedAt:  Noon.Add(-2 * time.Hour), EnteredAt: Noon,
		Author: note.Person{Name: "Zoë Exemplar", Credentials: "RN"}, Status: note.Preliminary,
	}
}

type generator struct {
	r     *rand.Rand
	lex   *lexicon.Lexicon
	words []transcript.Word
}

func (g *generator) sign(doc *note.Document) {
	h := &doc.Head
	h.Seal = "bedsaid-seal/1 n0123456789abcdef 3 00"
	h.Status, h.Signatures = note.Final, []note.Signature{{By: h.Author, At: Noon.Add(time.Hour), Version: 1}}
	if g.chance(3) {
		h.Signatures = append(h.Signatures, note.Signature{By: note.Person{Name: "Ōla Teacher", Credentials: "RN, MSN"}, At: Noon.Add(80 * time.Minute), CoSign: true, Version: 1})
	}
	if g.chance(2) {
		h.Status = note.Amended
		h.Signatures = append(h.Signatures, note.Signature{By: h.Author, At: Noon.Add(90 * time.Minute), Version: 2, Why: "the other side was meant"})
		h.Relations = []note.Relation{{Kind: note.Replaces, Note: "note-earlier"}}
		h.Addenda = []note.Addendum{{Text: "Looked at again with a better lamp: no change.", By: h.Author, At: Noon.Add(2 * time.Hour)}}
	}
	for i := range doc.Draft.Attention {
		if g.chance(2) {
			doc.Draft.Attention[i].Handled = `told the clinician on call, 2031-02-03 14:10 +00:00, read back, answer: "comes & looks" (Zoë Exemplar, 2031-02-03 14:12 +00:00)`
		}
	}
	for _, f := range doc.Draft.Findings() {
		if g.chance(6) {
			d := note.Decision{Kind: note.Confirmed, Finding: f.ID, Side: f.Side, Zone: f.Zone, By: h.Author, At: Noon.Add(time.Minute)}
			if g.chance(2) {
				d.Kind, d.Was = note.Corrected, "another value"
			}
			doc.Decisions = append(doc.Decisions, d)
		}
	}
}

func (g *generator) chance(oneIn int) bool { return g.r.IntN(oneIn) == 0 }

func pick[T any](g *generator, of ...T) T { return of[g.r.IntN(len(of))] }

func (g *generator) say(text string) transcript.Span {
	from := len(g.words)
	for _, w := range strings.Fields(text) {
		g.words = append(g.words, transcript.Word{Text: w})
	}
	return transcript.Span{Start: from, End: len(g.words)}
}

func (g *generator) set() finding.Set {
	var set finding.Set
	share := 1 + g.r.IntN(8)
	for _, f := range g.lex.Findings() {
		switch {
		case g.r.IntN(8) < share:
			set.Findings = append(set.Findings, g.findings(f)...)
		case f.Asked == lexicon.Always:
			set.Unmentioned = append(set.Unmentioned, finding.Missing{ID: f.ID})
		}
	}
	for _, f := range set.Findings {
		if f.Interpretation == finding.Unexpected && g.chance(5) {
			set.Attention = append(set.Attention, finding.Attention{ID: f.ID, Side: f.Side, Why: "Tell the clinician, per local protocol.",
				Urgency: pick(g, finding.Now, finding.Prompt, finding.Routine, finding.Recheck), Source: "common practice, no source", Evidence: f.Evidence})
		}
	}
	if g.chance(3) {
		danger := g.say("I feel like I cannot breathe.")
		set.LeftOut = append(set.LeftOut, finding.LeftOut{Why: finding.History, Span: danger})
		set.Attention = append(set.Attention, finding.Attention{Why: "The patient's words may mean danger.", Urgency: finding.Now, Source: "common practice, no source", Evidence: []transcript.Span{danger}})
	}
	set.LeftOut = append(set.LeftOut, finding.LeftOut{Why: pick(g, finding.SmallTalk, finding.Unrecognized), Span: g.say("well, = that <b>is</b> that & so on,")})
	return set
}

// findings makes one finding, or one for each side.
func (g *generator) findings(f *lexicon.Finding) []finding.Finding {
	sides := []finding.Side{finding.NoSide}
	switch {
	case f.Sides == lexicon.Paired:
		sides = pick(g, []finding.Side{finding.Both}, []finding.Side{finding.Right, finding.Left}, []finding.Side{finding.Left}, sides)
	case f.Sides == lexicon.NoSides && g.chance(6):
		sides = []finding.Side{pick(g, finding.Left, finding.Right)}
	}
	var out []finding.Finding
	for _, side := range sides {
		one := finding.Finding{ID: f.ID, Side: side, Status: finding.Assessed, Source: finding.Observed, Interpretation: pick(g, finding.Unclear, finding.Expected, finding.Unexpected)}
		if f.Sides == lexicon.Zone {
			one.Zone = pick(g, "", "occiput", "right cheek")
		}
		one.Evidence = []transcript.Span{g.say("the " + cmpName(f) + " is so;")}
		if g.chance(9) {
			one.Status, one.Interpretation = finding.NotAssessed, finding.Unclear
			one.Reason = pick(g, "", "he refused that", "could not see it because of wax")
			out = append(out, one)
			continue
		}
		g.value(&one, f)
		g.asides(&one)
		out = append(out, one)
	}
	return out
}

func cmpName(f *lexicon.Finding) string {
	if f.Name != "" {
		return f.Name
	}
	return f.ID
}

func (g *generator) value(one *finding.Finding, f *lexicon.Finding) {
	switch f.Kind {
	case lexicon.Presence, lexicon.Choice:
		one.Value = finding.Word(pick(g, f.Values...))
	case lexicon.Grade:
		one.Value = finding.Number(float64(g.r.IntN(5)))
		if g.chance(2) {
			one.Qualifiers = map[string]string{"sign": pick(g, "+", "-")}
		}
		if g.chance(3) {
			one.Qualifiers = map[string]string{"of": "4"}
		}
	case lexicon.Quantity:
		one.Value, one.Unit = finding.Number(float64(g.r.IntN(90))/2), g.unit(f)
		if n, _ := one.Value.Number(); g.chance(4) {
			one.High = finding.Number(n + 1.5)
		}
	case lexicon.Clock:
		one.Value = finding.Number(float64(1 + g.r.IntN(12)))
	case lexicon.Pair:
		one.Value, one.Unit = finding.Pair(float64(90+g.r.IntN(90)), float64(40+g.r.IntN(50))), g.unit(f)
	case lexicon.Score:
		one.Value = finding.Number(float64(3 + g.r.IntN(13)))
	case lexicon.Text:
		one.Value = finding.Word("as said")
	case lexicon.List:
		one.Value = finding.List("one", "two")
	default:
		one.Value = finding.Word("12:30")
	}
}

func (g *generator) unit(f *lexicon.Finding) string {
	if len(f.Measures) > 0 {
		return f.Measures[g.r.IntN(len(f.Measures))].Unit
	}
	return f.Unit
}

func (g *generator) asides(one *finding.Finding) {
	if g.chance(4) {
		if one.Qualifiers == nil {
			one.Qualifiers = map[string]string{}
		}
		one.Qualifiers[pick(g, "size", "character", "onset", "place", "severity", "tenderness")] = pick(g, "2 x 3 cm", "firm", "new", "present")
	}
	if g.chance(7) {
		one.Source = finding.Reported
	}
	if g.chance(6) {
		one.Marks = append(one.Marks, finding.Mark{Kind: finding.UnsureValue, Why: `"maybe" was said with it`})
		if g.chance(2) {
			one.Marks = append(one.Marks, finding.Mark{Kind: finding.Implausible, Why: "hardly possible.", Alternatives: []string{"4 mm", "5 mm"}})
		}
	}
}
