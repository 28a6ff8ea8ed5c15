package export

import (
	"bytes"
	"flag"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

var update = flag.Bool("update", false, "write the expected files anew")

func asText(t *testing.T, d note.Draft, width int, colour bool) string {
	t.Helper()
	var b bytes.Buffer
	if err := Text(&b, d, width, colour); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// flat undoes the wrapping, to look for a sentence.
func flat(s string) string { return strings.Join(strings.Fields(s), " ") }

func TestTextGolden(t *testing.T) {
	for name, d := range map[string]note.Draft{"sample-spoken.txt": sample(true), "sample-typed.txt": sample(false)} {
		got, path := asText(t, d, 80, false), "testdata/"+name
		if *update {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs; look at it, and write it with -update if it is right:\n%s", path, got)
		}
	}
}

func TestTextFitsItsWidth(t *testing.T) {
	for _, width := range []int{20, 60, 80, 100} {
		for i, l := range strings.Split(asText(t, sample(true), width, false), "\n") {
			if n := utf8.RuneCountInString(l); n > max(width, minWidth) {
				t.Errorf("width %d: line %d has %d columns: %s", width, i+1, n, l)
			}
			if strings.TrimRight(l, " ") != l {
				t.Errorf("line %d ends in spaces", i+1)
			}
		}
	}
}

// Nothing that was heard may be hidden: each word stands in the note's list of
// what was left out, or its finding does.
func TestTextShowsAll(t *testing.T) {
	d := sample(true)
	text := flat(asText(t, d, 80, false))
	if len(d.LeftOut) == 0 || len(d.Findings()) == 0 {
		t.Fatal("the sample is empty")
	}
	for _, l := range d.LeftOut {
		if q := d.Transcript.Quote(l.Span); !strings.Contains(text, flat(q)) {
			t.Errorf("left out and not shown: %s", q)
		}
	}
	for _, f := range d.Findings() {
		if !strings.Contains(text, d.Item(f.ID).Name) {
			t.Errorf("finding not shown: %s", f.ID)
		}
	}
	for _, c := range d.Cautions {
		if !strings.Contains(text, flat(c)) {
			t.Errorf("caution not shown: %s", c)
		}
	}
	if !strings.Contains(text[:400], note.ShortCaution) {
		t.Error("no caution at the top")
	}
}

func TestTextTellsUntranscribedSpeechTwice(t *testing.T) {
	text := asText(t, sample(true), 80, false)
	top, rest, ok := strings.Cut(text, "FINDINGS")
	if !ok || !strings.Contains(top, "SPEECH THAT GAVE NO WORDS: 12 s") || !strings.Contains(top, "1:06 to 1:15") {
		t.Errorf("not told at the top:\n%s", top)
	}
	if _, after, ok := strings.Cut(rest, "\nEars\n"); !ok || !strings.Contains(strings.SplitN(after, "\n\n", 2)[0], "0:27 to 0:30") {
		t.Errorf("not told in its place:\n%s", rest)
	}
	if strings.Contains(asText(t, sample(false), 80, false), "GAVE NO WORDS") {
		t.Error("told of a text")
	}
}

// A recording in which nothing was understood must still tell what it lacks.
func TestTextWithoutFindingsTellsGaps(t *testing.T) {
	src := note.Source{Name: "x.wav", Transcript: transcript.Transcript{Timed: true, Recording: &transcript.Recording{
		Seconds: 9, VoicedSeconds: 8, Untranscribed: []transcript.Interval{{Start: 1, End: 8}}}}}
	text := asText(t, note.Compose(src, finding.Set{}, note.Outline{}), 80, false)
	if !strings.Contains(text, "SPEECH THAT GAVE NO WORDS: 7 s") || !strings.Contains(text, "No finding was understood.") {
		t.Errorf("got:\n%s", text)
	}
}

// Safe notation. Sources: ISMP, List of Error-Prone Abbreviations, Symbols, and
// Dose Designations (eye and ear short forms, naked decimal point, trailing
// zero, space before the unit); Joint Commission, Official "Do Not Use" List
// (trailing and leading zero).
func TestTextNotation(t *testing.T) {
	entry := func(f finding.Finding, it note.Item) string {
		f.Status = finding.Assessed
		return Statement(note.Entry{Finding: f, Item: it})
	}
	eye := note.Item{Organ: "eye", Paired: true}
	for _, c := range []struct {
		want string
		f    finding.Finding
		item note.Item
	}{
		{"right eye: 0.5 mm", finding.Finding{Side: finding.Right, Value: finding.Number(.5), Unit: "mm"}, eye},
		{"both eyes: 5 mm", finding.Finding{Side: finding.Both, Value: finding.Number(5.0), Unit: "mm"}, eye},
		{"left eye: 3 to 4 mm", finding.Finding{Side: finding.Left, Value: finding.Number(3), High: finding.Number(4), Unit: "mm"}, eye},
		{"45 degrees", finding.Finding{Value: finding.Number(45), Unit: "deg"}, note.Item{}},
		{"left: 2+", finding.Finding{Side: finding.Left, Value: finding.Number(2), Qualifiers: map[string]string{"sign": "+"}}, note.Item{Paired: true}},
		{"both sides: 4- of 5", finding.Finding{Side: finding.Both, Value: finding.Number(4), Qualifiers: map[string]string{"sign": "-", "of": "5"}}, note.Item{Paired: true}},
		{"deviated to the left", finding.Finding{Side: finding.Left, Value: finding.Word("deviated")}, note.Item{}},
		{"left ear: absent", finding.Finding{Side: finding.Left, Value: finding.Number(0)}, note.Item{Organ: "ear", Paired: true, Clock: true}},
		{"occiput: present, 1 cm, not tender, reported by daughter", finding.Finding{Zone: "occiput", Value: finding.Word("present"), Source: finding.Reported,
			Qualifiers: map[string]string{"size": "1 cm", "tenderness": "absent", "reporter": "daughter"}}, note.Item{}},
	} {
		if got := entry(c.f, c.item); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	banned := regexp.MustCompile(`\b(OD|OS|OU|AD|AS|AU|cc|D/C)\b|[^0-9]\.[0-9]|[0-9]\.0\b|[<>°µ@&]|[0-9](mm|cm|mg)\b`)
	if hit := banned.FindString(strings.SplitN(asText(t, sample(true), 80, false), "BEFORE YOU USE", 2)[0]); hit != "" {
		t.Errorf("unsafe notation %q in the note", hit)
	}
}

func TestTextJoinsASeries(t *testing.T) {
	span := []transcript.Span{{Start: 0, End: 6}}
	entry := func(n string, side finding.Side, value string, ev []transcript.Span) note.Entry {
		return note.Entry{Item: note.Item{Name: "cranial nerve " + n, Paired: true},
			Finding: finding.Finding{Status: finding.Assessed, Side: side, Value: finding.Word(value), Evidence: ev}}
	}
	other := []transcript.Span{{Start: 7, End: 8}}
	var got []string
	for _, e := range series([]note.Entry{
		entry("1", finding.Both, "intact", other), entry("2", finding.Both, "intact", span), entry("3", finding.Both, "intact", span),
		entry("4", finding.Both, "intact", span), entry("6", finding.Both, "intact", span), entry("7", finding.Left, "impaired", span),
		{Item: note.Item{Name: "gag reflex"}}, {Item: note.Item{Name: "gag reflex"}},
	}) {
		got = append(got, e.Item.Name)
	}
	want := []string{"cranial nerve 1", "cranial nerves 2 to 4", "cranial nerve 6", "cranial nerve 7", "gag reflex", "gag reflex"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestTextColourIsOptional(t *testing.T) {
	if plain := asText(t, sample(true), 80, false); strings.Contains(plain, "\x1b") {
		t.Error("colour where none was asked for")
	}
	coloured := asText(t, sample(true), 80, true)
	if !strings.Contains(coloured, "\x1b[1;31m") {
		t.Error("no colour where it was asked for")
	}
	if bare := regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(coloured, ""); bare != asText(t, sample(true), 80, false) {
		t.Error("colour changes the words")
	}
}

// A file's words reach the terminal: they must not steer it.
func TestTextIsCleanOfControlCharacters(t *testing.T) {
	s := &sampler{}
	s.leave(finding.SmallTalk, "hello\x1b[2J\u202eback \x07bell")
	src := note.Source{Name: "a\x1b]0;x.txt", Transcript: transcript.Transcript{Words: s.words}}
	text := asText(t, note.Compose(src, s.set, note.Outline{}), 80, false)
	for _, r := range text {
		if r != '\n' && (r < ' ' || r == 0x7f || r == 0x202e) {
			t.Fatalf("control character %U in the note", r)
		}
	}
	if !strings.Contains(text, "bell") {
		t.Error("words lost")
	}
}

func TestClockTime(t *testing.T) {
	for in, want := range map[float64]string{0: "0:00", 59.9: "0:59", 60: "1:00", 754.2: "12:34", 3600: "1:00:00", 3725: "1:02:05", -1: "0:00"} {
		if got := ClockTime(in); got != want {
			t.Errorf("%v s is %s, want %s", in, got, want)
		}
	}
}
