package teach

import (
	"errors"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/extract"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/packcheck"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

var anna = review.Person{ID: "u1", Name: "Anna Example", Role: review.Examiner}

func draft(t *testing.T, lex *lexicon.Lexicon, text string) note.Draft {
	t.Helper()
	tr := transcript.FromText(text)
	return note.Compose(note.Source{Transcript: tr}, extract.New(lex).Extract(tr, extract.Options{}), note.OutlineOf(lex))
}

// decide makes a note of what was said and follows decisions.
func decide(t *testing.T, lex *lexicon.Lexicon, text string, ds ...review.Decision) review.Note {
	t.Helper()
	n := review.Begin(draft(t, lex, text), anna)
	for _, d := range ds {
		d.By, d.At = anna, time.Date(2031, 2, 3, 3, 0, 0, 0, time.UTC)
		var err error
		if n, err = n.Apply(d); err != nil {
			t.Fatal(err)
		}
	}
	return n
}

func add(id string) review.Decision {
	return review.Decision{Kind: review.Add, Text: "typed by a person", Finding: finding.Finding{ID: id, Status: finding.Assessed, Value: finding.Word("midline"), Source: finding.Observed}}
}

var read = review.Decision{Kind: review.Read}

// A word is proposed once people in several examinations charted something in its
// place; a word of one examination may be a name and is not.
func TestProposals(t *testing.T) {
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	const said = "The zorpwind sits in the middle, Quozzelby."
	s := New(lex)
	s.Add("e1", decide(t, lex, said, add("neck.trachea"), read))
	if got := s.Proposals(); len(got) > 0 {
		t.Errorf("one mending teaches already: %d proposals", len(got))
	}
	s.Add("e1", decide(t, lex, said, add("neck.trachea"), read))
	if got := s.Proposals(); len(got) > 0 {
		t.Error("one examination teaches twice")
	}
	s.Add("e2", decide(t, lex, "Now the zorpwind is in the middle.", add("neck.trachea"), read))
	// What was taken back does not count, nor what was typed for something else.
	s.Add("e3", decide(t, lex, "Now the flurbish is in the middle.", add("neck.trachea"), review.Decision{Kind: review.Undo}, read))
	s.Add("e4", decide(t, lex, "Now the flurbish is in the middle.", add("neck.trachea"), review.Decision{Kind: review.Comment, Text: "hm"}, read))
	got := s.Proposals()
	if len(got) != 1 || got[0].Word != "zorpwind" || got[0].Mended != 3 || got[0].Said != 3 || got[0].Encounters != 2 || len(got[0].Instead) != 1 || got[0].Instead[0] != (Count{"neck.trachea", 3}) {
		t.Errorf("proposals %+v", words(got))
	}
	// Where it mostly stands unmended, it is no word of the trade.
	for range 9 {
		s.Add("e9", decide(t, lex, said))
	}
	if got := s.Proposals(); len(got) > 0 {
		t.Error("a word that is left alone nine times of twelve is proposed")
	}
	if s.Notes() != 14 {
		t.Errorf("%d notes were read", s.Notes())
	}
}

// A line that was changed teaches the word that it rested on.
func TestChangedLineTeaches(t *testing.T) {
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	s := New(lex)
	for _, e := range []string{"e1", "e2"} {
		n := review.Begin(draft(t, lex, "Trachea is midline."), anna)
		d := n.Draft()
		d.Transcript.Words[0].Heard = "tracky" // it was repaired
		f := n.Lines()[0].Finding
		f.Value = finding.Word("deviated")
		n = review.Begin(d, anna)
		n, err := n.Apply(review.Decision{Kind: review.Change, Line: "f1", Finding: f, By: anna, At: time.Now()})
		if err != nil {
			t.Fatal(err)
		}
		s.Add(e, n)
	}
	if got := s.Proposals(); len(got) != 1 || got[0].Word != "tracky" {
		t.Errorf("proposals %v", words(got))
	}
}

func words(ps []Proposal) (out []string) {
	for _, p := range ps {
		out = append(out, p.Word)
	}
	return out
}

// What is taken is a pack that has no complaint, and that understands the example;
// a second pair goes into the same pack.
func TestTry(t *testing.T) {
	file := lexicon.File{Name: "site.toml"}
	first, err := Try(file, nil, Pair{Said: "zorpwind", For: "trachea", Example: "Zorpwind is midline."})
	if err != nil {
		t.Fatal(err)
	}
	if f := first.Draft.Findings(); len(f) != 1 || f[0].ID != "neck.trachea" || len(f[0].Marks) > 0 {
		t.Errorf("the example gives %d findings", len(f))
	}
	second, err := Try(first.Pack, nil, Pair{Said: "flurbish", For: "thyroid", Misheard: true, Example: "Flurbish is not enlarged."})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range packcheck.Check(second.Pack) {
		t.Errorf("the pack has a complaint: %v", p)
	}
	lex, err := lexicon.With(second.Pack)
	if err != nil {
		t.Fatal(err)
	}
	f := draft(t, lex, "Zorpwind midline. Flurbish not enlarged.").Findings()
	if len(f) != 2 || len(f[0].Marks)+len(f[1].Marks) == 0 {
		t.Errorf("%d findings; what was misheard must stay marked", len(f))
	}
	if strings.Count(string(second.Pack.Data), "[[example]]") != 2 || !strings.HasPrefix(string(second.Pack.Data), string(first.Pack.Data)) {
		t.Errorf("the pack:\n%s", second.Pack.Data)
	}
}

// Whatever would spoil a pack, or shows nothing, is refused.
func TestTryRefuses(t *testing.T) {
	for name, p := range map[string]Pair{
		"no term of the packs":       {Said: "zorpwind", For: "quibble", Example: "Zorpwind is midline."},
		"no example":                 {Said: "zorpwind", For: "trachea", Example: " . "},
		"the word is not in it":      {Said: "zorpwind", For: "trachea", Example: "Trachea is midline."},
		"nothing is understood":      {Said: "zorpwind", For: "trachea", Example: "I like zorpwind."},
		"the word adds nothing":      {Said: "zorpwind", For: "um", Example: "Trachea is midline, zorpwind."},
		"other sentences would fail": {Said: "midline", For: "scratch that", Example: "Trachea deviated, midline, thyroid not enlarged."},
		"nothing at all":             {},
	} {
		_, err := Try(lexicon.File{Name: "site.toml"}, nil, p)
		var r *Refusal
		if !errors.As(err, &r) || r.Hint() == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	broken := lexicon.File{Name: "own.toml", Data: []byte("name = 1")}
	if _, err := Try(lexicon.File{Name: "site.toml"}, []lexicon.File{broken}, Pair{Said: "zorpwind", For: "trachea", Example: "Zorpwind is midline."}); err == nil {
		t.Error("packs with mistakes are written to")
	}
}

// No text breaks out of the pack.
func TestQuoteHolds(t *testing.T) {
	for _, s := range []string{"a\"]\n[[cue]]\nkind = \"plan\"", `a\`, "a\x00b", "\xff", "”"} {
		data := lay(nil, Pair{Said: s, For: s})
		if n := strings.Count(string(data), "\n["); n != 1 {
			t.Errorf("%q opens %d tables", s, n)
		}
		if _, problems := lexicon.Check(lexicon.File{Name: "x.toml", Data: data}); len(problems) > 0 {
			for _, p := range problems {
				if p.File == "x.toml" && strings.Contains(p.What, "key") {
					t.Errorf("%q: %v", s, p)
				}
			}
		}
	}
}

func TestQuoted(t *testing.T) {
	tr := transcript.FromText("Well, the zorpwind sits in the middle. Yes.")
	for s, want := range map[string]bool{"The zorpwind sits!": true, "zorpwind sits": false, "the zorpwind is midline": false, "": false} {
		if Quoted(tr, s) != want {
			t.Errorf("%q: %v", s, !want)
		}
	}
}
