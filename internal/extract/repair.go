package extract

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// repair replaces words that no pack knows by the hard word they sound like:
// "conjunk tiva" by conjunctiva, "thigh roid" by thyroid. What was heard stays
// in the transcript; the finding carries a mark. A word that the packs know, or
// a run that only resembles a term, is left alone.
func (x *Extractor) repair(ts []token) []token {
	out := make([]token, 0, len(ts))
	for i := 0; i < len(ts); {
		if n := x.wholeTerm(ts, i); n > 1 {
			out = append(out, ts[i:i+n]...) // "unable to assess" holds no ptosis
			i += n
			continue
		}
		if t, n := x.smallAt(ts, i); n > 0 {
			out = append(out, t)
			i += n
			continue
		}
		t, n := x.repairAt(ts, i)
		if n == 0 || !x.amidExam(ts, i, i+n) {
			out = append(out, ts[i])
			i++
			continue
		}
		out = append(out, t...)
		i += n
	}
	return out
}

// smallAt reads one or two words that a side or a denial is known to be heard as
// ("bright ear", "known as nystagmus") where what it belongs to comes next: a part
// of the body or a finding that has sides, or a finding that can be there. n is how
// many tokens were read.
func (x *Extractor) smallAt(ts []token, i int) (t token, n int) {
	words := ts[i].Text
	for n = 1; n <= 2 && i+n < len(ts) && ts[i+n-1].after == noPause; n++ {
		if small, ok := x.lex.HeardSmall(words); ok && x.takes(small.Kind, ts[i+n:]) {
			t = ts[i]
			t.Form, t.end, t.right = small.Form, ts[i+n-1].end, small.Text
			return t, n
		}
		words += " " + ts[i+n].Text
	}
	return token{}, 0
}

// takes reports that what begins the tokens can have a side, or be denied.
func (x *Extractor) takes(kind lexicon.SenseKind, ts []token) bool {
	forms := make([]lexicon.Form, 0, 4)
	for j := range min(len(ts), 4) {
		forms = append(forms, ts[j].Form)
	}
	senses, _, _ := x.lex.Match(forms, 0, func(int) bool { return false })
	for _, s := range senses {
		switch {
		case s.Respelled != "":
		case kind == lexicon.SideSense && s.Kind == lexicon.SiteSense && s.Site.Paired,
			kind == lexicon.SideSense && s.Kind == lexicon.NameSense && s.Finding.Sides == lexicon.Paired,
			kind == lexicon.CueSense && s.Kind == lexicon.NameSense && s.Finding.Kind == lexicon.Presence:
			return true
		}
	}
	return false
}

// amidExam reports that a part of the body or a finding is named near the tokens from i to end: talk
// of other things is not bent into anatomy.
func (x *Extractor) amidExam(ts []token, i, end int) bool {
	side, value := false, false // "mass toyed is not tender on the left"
	for k := max(0, i-20); k < min(len(ts), i+12); k++ {
		if k >= i && k < end {
			continue
		}
		senses, _, _ := x.lex.Match([]lexicon.Form{ts[k].Form}, 0, func(int) bool { return false })
		for _, s := range senses {
			if s.Kind == lexicon.NameSense || s.Kind == lexicon.SiteSense && s.Site.Region != "" {
				return true
			}
			side = side || s.Kind == lexicon.SideSense
			value = value || s.Kind == lexicon.SaysSense
		}
	}
	return side && value
}

// joinedLimit is the share of the sound of words surely heard, or typed, that may
// differ from the one word that they are read as: everyday words side by side
// resemble many.
const joinedLimit = 0.09

// repairAt tries runs of one to four tokens, the closest sound first.
func (x *Extractor) repairAt(ts []token, i int) (made []token, n int) {
	if x.lex.Knows(ts[i].Text) && x.known(ts, i) {
		return nil, 0 // a term as it stands
	}
	best := 1.0
	var text strings.Builder
	strange, ill := false, false
	for k := 0; k < 4 && i+k < len(ts); k++ {
		t := ts[i+k]
		if k > 0 && ts[i+k-1].after != noPause || hasDigits(t.Text) {
			break
		}
		if k == 0 && (lexicon.Article(t.Text) || len(t.Text) < 2) {
			break
		}
		text.WriteString(t.Text)
		strange, ill = strange || !x.lex.Knows(t.Text), ill || t.ill
		if text.Len() < 4 || !strange && k == 0 {
			continue
		}
		word, forms, d, ok := x.lex.Repair(text.String(), ill)
		if !ok || d >= best || !strange && (d > 0 || text.Len() < 7) || k > 0 && !ill && d > joinedLimit {
			continue
		}
		if k == 0 && x.lex.Knows(t.Text) {
			continue
		}
		if asHeard(ts[i:i+k+1], forms) {
			return nil, 0
		}
		if k > 0 && x.lex.Knows(word) && k == 1 && x.lex.Knows(ts[i].Text) && len(ts[i+1].Text) < 3 {
			continue
		}
		best, n = d, k+1
		made = made[:0]
		for _, f := range forms {
			made = append(made, token{Form: f, word: ts[i].word, end: ts[i+k].end, right: word})
		}
		made[len(made)-1].after = ts[i+k].after
		made[len(made)-1].Plural = t.Plural || strings.HasSuffix(t.Text, "s")
	}
	return made, n
}

// readAs says of a finding which word was put in place of what was heard.
const readAs = "heard as another word, read as "

// otherwise is a stretch of the transcript that was read as another word.
type otherwise struct {
	words transcript.Span
	as    string
}

// readOtherwise lists what was heard as other words than it is read as.
func (p *parser) readOtherwise(items []item) []otherwise {
	var out []otherwise
	for i := range items {
		if it := &items[i]; it.right != "" {
			out = append(out, otherwise{transcript.Span{Start: p.ts[it.a].word, End: p.ts[it.b-1].end + 1}, it.right})
		}
	}
	return out
}

// markRead marks each finding that rests on a word read as another one, be it a
// side or a denial, and that does not say so yet.
func markRead(set finding.Set, read []otherwise) finding.Set {
	for i := range set.Findings {
		f := &set.Findings[i]
		for _, o := range read {
			why := readAs + o.as
			rests := slices.ContainsFunc(f.Evidence, func(e transcript.Span) bool { return e.Start < o.words.End && o.words.Start < e.End })
			said := slices.ContainsFunc(f.Marks, func(m finding.Mark) bool { return m.Kind == finding.Respelled && m.Why == why })
			if rests && !said {
				f.Marks = append(f.Marks, finding.Mark{Kind: finding.Respelled, Why: why})
			}
		}
	}
	return set
}

// wholeTerm gives the number of tokens of the cue that begins at token i and
// stands as the packs have it.
func (x *Extractor) wholeTerm(ts []token, i int) int {
	forms := make([]lexicon.Form, 0, 6)
	for j := i; j < len(ts) && j < i+6; j++ {
		forms = append(forms, ts[j].Form)
		if ts[j].after != noPause {
			break
		}
	}
	senses, end, _ := x.lex.Match(forms, 0, func(int) bool { return false })
	for _, s := range senses {
		if s.Kind != lexicon.CueSense {
			return 0
		}
	}
	return end
}

// known reports that a term of the packs begins at token i.
func (x *Extractor) known(ts []token, i int) bool {
	forms := make([]lexicon.Form, 0, 6)
	for j := i; j < len(ts) && j < i+6; j++ {
		forms = append(forms, ts[j].Form)
	}
	senses, _, _ := x.lex.Match(forms, 0, func(int) bool { return false })
	for _, s := range senses {
		switch s.Kind {
		case lexicon.SiteSense, lexicon.NameSense, lexicon.AloneSense, lexicon.PlaceSense:
			return s.Site == nil || s.Site.Region != ""
		}
	}
	return false
}

// asHeard reports that a term stands there letter by letter.
func asHeard(ts []token, forms []lexicon.Form) bool {
	for k := range forms {
		if len(ts) != len(forms) || ts[k].Text != forms[k].Text {
			return false
		}
	}
	return true
}

func hasDigits(s string) bool { return strings.ContainsAny(s, "0123456789") }
