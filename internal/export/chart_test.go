package export

import (
	"bytes"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"bedsaid/internal/export/exporttest"
	"bedsaid/internal/finding"
	"bedsaid/internal/notation"
	"bedsaid/internal/note"
	"bedsaid/lexicon"
)

func asChart(t testing.TB, doc note.Document, form Form) string {
	t.Helper()
	var b bytes.Buffer
	if err := Chart(&b, doc, form); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// documents are the drafts of all cases and 200 generated notes.
func documents(t testing.TB) []note.Document {
	var out []note.Document
	for _, d := range exporttest.Corpus(t) {
		out = append(out, note.DocumentOf(d, exporttest.Head()))
	}
	lex := exporttest.Lexicon(t)
	for n := range uint64(200) {
		out = append(out, exporttest.Generated(lex, n))
	}
	return out
}

// Rendered text holds none of the ways of writing that are known to be misread.
// The head (dates, record numbers) and the list of packs are not clinical text.
func TestRenderedTextKeepsSafeNotation(t *testing.T) {
	lines, seen := 0, map[string]bool{}
	for _, doc := range documents(t) {
		doc.Draft = doc.Draft.WithoutTalk()
		for _, p := range SheetOf(doc).Parts {
			for _, l := range p.Lines {
				lines++
				texts := append(slices.Clone(l.Checks), l.Text())
				for _, text := range texts {
					if seen[text] {
						continue
					}
					seen[text] = true
					for _, i := range notation.Check(text) {
						t.Errorf("%s: %s at %q of %q: write %s", doc.Draft.Name, i.Rule, i.Text, text, i.Use)
					}
				}
			}
		}
		for _, a := range SheetOf(doc).Action {
			for _, i := range notation.Check(a.Text()) {
				t.Errorf("%s: %s at %q of %q", doc.Draft.Name, i.Rule, i.Text, a.Text())
			}
		}
	}
	if lines < 5000 {
		t.Errorf("only %d lines checked", lines)
	}
}

// A reader who has only the text must be able to say of each finding which,
// where and what. This program reads it back, knowing the names of the packs
// and nothing of the exporter.
func TestReaderRecoversEveryFinding(t *testing.T) {
	lex := exporttest.Lexicon(t)
	read := newReader(lex)
	total := 0
	for _, doc := range documents(t) {
		doc.Draft = doc.Draft.WithoutTalk()
		want := map[string]int{}
		for _, f := range doc.Draft.Findings() {
			want[fact(f)]++
			total++
		}
		for _, form := range []Form{Compact, Complete} {
			got := read.all(asChart(t, doc, form))
			if !maps.Equal(got, want) {
				t.Errorf("%s, form %d:\n read %v\n want %v", doc.Draft.Name, form, diff(got, want), diff(want, got))
			}
		}
	}
	t.Logf("%d findings read back from each form", total)
}

func diff(a, b map[string]int) []string {
	var out []string
	for k, n := range a {
		if b[k] != n {
			out = append(out, fmt.Sprintf("%s x%d", k, n))
		}
	}
	slices.Sort(out)
	return out
}

// fact is what a finding says: which, where, whether assessed, value, range,
// unit, how sure.
func fact(f finding.Finding) string {
	value := f.Value.String()
	if n, isNumber := f.Value.Number(); isNumber && n == 0 && f.ID == "ear.cone_of_light" {
		value = "absent"
	}
	if !f.High.IsZero() {
		value += ".." + f.High.String()
	}
	doubt := ""
	if len(f.Marks) > 0 {
		doubt = " doubt"
	}
	return strings.Join([]string{f.ID, f.Side.String(), f.Zone, f.Status.String(), value, f.Qualifiers["sign"], doubt}, "|")
}

type reader struct {
	ids   map[string]*lexicon.Finding // by name
	names []string                    // the longest first
}

func newReader(lex *lexicon.Lexicon) reader {
	r := reader{ids: map[string]*lexicon.Finding{}}
	for _, f := range lex.Findings() {
		r.ids[f.Name] = f
		r.names = append(r.names, f.Name)
	}
	slices.SortFunc(r.names, func(a, b string) int { return len(b) - len(a) })
	return r
}

var (
	quotesInText = regexp.MustCompile(`"[^"]*"`)
	seriesInText = regexp.MustCompile(`^(.*)s (\d+) to (\d+)$`)
	amountInText = regexp.MustCompile(`^(\d+(?:\.\d+)?(?:/\d+)?)(?: to (\d+(?:\.\d+)?))?([+-]?)(?: of \d+)?(?: (?:mm|cm|kg|L|L/min|per minute|percent|mm Hg|inches|pounds|m|feet|degrees(?: Celsius| Fahrenheit)?|o'clock))?$`)
)

// all reads every finding of a chart text, counted.
func (r reader) all(text string) map[string]int {
	out := map[string]int{}
	_, text, _ = strings.Cut(text, "\n\n")
	for _, block := range strings.Split(text, "\n\n") {
		title, body, _ := strings.Cut(block, "\n")
		if strings.HasPrefix(title, "NEEDS") || strings.HasPrefix(title, "NOT MENTIONED") || strings.HasPrefix(title, "BEFORE") || strings.HasPrefix(title, "ADDENDA") {
			continue
		}
		var facts []string
		line0 := 0 // where the facts of the line above begin
		for _, line := range strings.Split(body, "\n") {
			if strings.HasPrefix(line, "!!") || line == "" || line == "No finding was understood." {
				continue
			}
			if strings.HasPrefix(line, "    check:") { // belongs to the line above
				for i := line0; i < len(facts); i++ {
					facts[i] = strings.TrimSuffix(facts[i], " doubt") + " doubt"
				}
				continue
			}
			line0 = len(facts)
			// Words in quotation marks may hold any sign.
			line = quotesInText.ReplaceAllString(strings.TrimLeft(line, "!*- "), `"-"`)
			for _, one := range strings.Split(line, "; ") {
				facts = append(facts, r.one(one)...)
			}
		}
		for _, f := range facts {
			out[f]++
		}
	}
	return out
}

// one reads "pupil size, right eye: 3 mm, new [check: value not certain]".
func (r reader) one(text string) []string {
	doubt := ""
	if i := strings.Index(text, " [check"); i >= 0 {
		text, doubt = text[:i], " doubt"
	}
	head, said, _ := strings.Cut(text, ": ")
	var names []string
	where := ""
	for _, n := range r.names {
		if head == n || strings.HasPrefix(head, n+", ") {
			names, where = []string{n}, strings.TrimPrefix(strings.TrimPrefix(head, n), ", ")
			break
		}
	}
	if names == nil {
		base, rest, _ := strings.Cut(head, ", ")
		m := seriesInText.FindStringSubmatch(base)
		if m == nil {
			return []string{"unreadable: " + text}
		}
		where = rest
		from, _ := strconv.Atoi(m[2])
		to, _ := strconv.Atoi(m[3])
		for n := from; n <= to; n++ {
			names = append(names, m[1]+" "+strconv.Itoa(n))
		}
	}
	var out []string
	for _, n := range names {
		out = append(out, r.fact(r.ids[n], where, said)+doubt)
	}
	return out
}

func (r reader) fact(f *lexicon.Finding, where, said string) string {
	side, zone := "", where
	for _, s := range []string{"right", "left", "both"} {
		first, rest, _ := strings.Cut(where, ", ")
		if word, _, _ := strings.Cut(first, " "); word == s && (f.Sides == lexicon.Paired || where == s) {
			side, zone = s, rest
		}
	}
	status, value, sign := "assessed", "", ""
	word, _, _ := strings.Cut(said, ", ")
	for _, s := range []string{"right", "left"} {
		if cut, ok := strings.CutSuffix(word, " to the "+s); ok {
			word, side = cut, s
		}
	}
	if m := amountInText.FindStringSubmatch(word); m != nil {
		value, sign = m[1], m[3]
		if m[2] != "" {
			value += ".." + m[2]
		}
	} else if strings.HasPrefix(word, "not assessed") {
		status = "not_assessed"
	} else {
		value = strings.ReplaceAll(word, " ", "_")
	}
	return strings.Join([]string{f.ID, side, zone, status, value, sign, ""}, "|")
}

// Every form says who, when, how far and by what the note was made, and all the
// cautions.
func TestChartHoldsTheHeadAndTheCautions(t *testing.T) {
	doc := note.DocumentOf(sample(true), exporttest.Head())
	for _, form := range []Form{Compact, Complete} {
		text := asChart(t, doc, form)
		for _, want := range append([]string{
			"*** PRELIMINARY, NOT SIGNED ***", "Patient identifier 1: name Łucja Ōsample-Ñandú", "Patient identifier 2: born 1931-02-03",
			"Examined: 2031-02-03 10:00 +00:00", "Entered: 2031-02-03 12:00 +00:00", "Author: Zoë Exemplar, RN", "Status: preliminary",
			"!! SPEECH THAT GAVE NO WORDS, 12 s", "!! The recording ends early", `NOW: the patient's words`, `"I feel like I cannot breathe."`,
			"Made by: bedsaid 0.1.0; whisper.cpp 1.9.1 base-q8_0", "head_and_neck 0.1.0",
		}, note.Cautions()...) {
			if !strings.Contains(text, want) {
				t.Errorf("form %d lacks %q", form, want)
			}
		}
	}
	bare := asChart(t, note.DocumentOf(sample(true), note.Head{}), Compact)
	for _, want := range []string{"Patient identifier 1: not stated", "Patient identifier 2: not stated", "Examined: not stated", "Author: not stated"} {
		if !strings.Contains(bare, want) {
			t.Errorf("an empty head lacks %q", want)
		}
	}
}

// What was said goes out only where it was chosen; the patient's words of
// danger always do.
func TestTalkGoesOutOnlyWhereChosen(t *testing.T) {
	full := sample(true)
	with, without := asChart(t, note.DocumentOf(full, note.Head{}), Complete), asChart(t, note.DocumentOf(full.WithoutTalk(), note.Head{}), Complete)
	for _, talk := range []string{"look straight at my nose", "Panic membrane turkey", "left is maybe point five"} {
		if !strings.Contains(with, talk) || strings.Contains(without, talk) {
			t.Errorf("talk %q: with it %v, without it %v", talk, strings.Contains(with, talk), strings.Contains(without, talk))
		}
	}
	if !strings.Contains(without, "I feel like I cannot breathe.") {
		t.Error("the patient's words of danger are lost")
	}
}

func TestChartMarksWhatStandsOut(t *testing.T) {
	d := sample(true)
	doc := note.DocumentOf(d, note.Head{})
	doc.Changes = note.Compare(note.Draft{}, d)
	text := strings.ReplaceAll(asChart(t, doc, Compact), "! * ", "!* ")
	for _, want := range []string{"\n!* trachea: deviated to the right\n", "\n- cone of light", "\nnew: trachea: deviated to the right (before: not mentioned)\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("lacks %q in:\n%s", want, text)
		}
	}
}
