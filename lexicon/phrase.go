package lexicon

import (
	"fmt"
	"strings"
)

// Phrase is a wording that is looked for in speech as it is, whatever the
// sentence does: words of danger, and what tells that they are none. It is
// written as it is spoken, with "a|b" for either, "a?" for a word that may be
// left out, ".." for up to four words of the same breath, "..." for up to nine, "/" for
// the end of a sentence and a final "." for the end of what is said.
type Phrase struct {
	parts []phrasePart
}

// The number of words that ".." and "..." pass over, at most.
const shortGap, longGap = 4, 9

type phrasePart struct {
	words    []string // any of these
	gap      int      // words passed over, at most; four go over no pause
	optional bool
	next     bool // the sentence ends here and the next begins
	last     bool // what is said ends here
}

// Heard is a stretch of speech: normalized words, and whether a pause or the end
// of a sentence follows each.
type Heard interface {
	Len() int
	Word(i int) string
	// Ends reports that a sentence ends after word i; Pauses that any pause does.
	Ends(i int) bool
	Pauses(i int) bool
}

// newPhrase reads a wording; what says what is wrong with it.
func newPhrase(text string) (p Phrase, what string) {
	for _, w := range strings.Fields(text) {
		switch w {
		case "..":
			p.parts = append(p.parts, phrasePart{gap: shortGap})
			continue
		case "...":
			p.parts = append(p.parts, phrasePart{gap: longGap})
			continue
		case "/":
			p.parts = append(p.parts, phrasePart{next: true})
			continue
		}
		last := strings.HasSuffix(w, ".")
		w = strings.TrimSuffix(w, ".")
		rest, optional := strings.CutSuffix(w, "?")
		either := strings.Split(rest, "|")
		if len(either) == 1 {
			for _, f := range Normalize(rest) {
				p.parts = append(p.parts, phrasePart{words: []string{f.Text}, optional: optional})
			}
		} else {
			var part phrasePart
			for _, e := range either {
				forms := Normalize(e)
				if len(forms) != 1 {
					return p, fmt.Sprintf("%q in %q is not one word", e, text)
				}
				part.words = append(part.words, forms[0].Text)
			}
			part.optional = optional
			p.parts = append(p.parts, part)
		}
		if last {
			p.parts = append(p.parts, phrasePart{last: true})
		}
	}
	if len(p.parts) == 0 || len(p.parts[0].words) == 0 || p.parts[0].optional {
		return p, fmt.Sprintf("%q does not begin with a word", text)
	}
	return p, ""
}

// First are the words that the phrase begins with.
func (p *Phrase) First() []string { return p.parts[0].words }

// At reports that the phrase begins at word i. end is the index after it, and
// between are the words that it passes over.
func (p *Phrase) At(h Heard, i int) (end int, between []int, ok bool) {
	return match(p.parts, h, i, i)
}

func match(parts []phrasePart, h Heard, from, i int) (end int, between []int, ok bool) {
	for k, part := range parts {
		switch {
		case part.last:
			if i == 0 || i < h.Len() && !h.Pauses(i-1) {
				return 0, nil, false
			}
			continue
		case part.next:
			if i == 0 || !h.Ends(i-1) {
				return 0, nil, false
			}
			from = i
			continue
		case part.gap > 0:
			for n := 0; ; n++ {
				if e, more, yes := match(parts[k+1:], h, from, i+n); yes {
					for j := i; j < i+n; j++ {
						between = append(between, j)
					}
					return e, append(between, more...), true
				}
				if n == part.gap || i+n >= h.Len() || i+n > from && (h.Ends(i+n-1) || part.gap == shortGap && h.Pauses(i+n-1)) {
					return 0, nil, false
				}
			}
		}
		if i > from && i <= h.Len() && i > 0 && h.Ends(i-1) {
			return 0, nil, false // a phrase goes on in its sentence
		}
		if i < h.Len() && one(part.words, h.Word(i)) {
			if part.optional {
				if e, more, yes := match(parts[k+1:], h, from, i+1); yes {
					return e, more, true
				}
				continue
			}
			i++
			continue
		}
		if part.optional {
			continue
		}
		if i > from && i+1 < h.Len() && plainArticle(h.Word(i)) && !h.Ends(i) && one(part.words, h.Word(i+1)) {
			i += 2 // "out in a rash"
			continue
		}
		return 0, nil, false
	}
	return i, between, true
}

// plainArticle reports an article that a wording need not name; "my" it must.
func plainArticle(w string) bool { return w == "a" || w == "an" || w == "the" }

func one(words []string, w string) bool {
	for _, x := range words {
		if x == w {
			return true
		}
	}
	return false
}

// either writes names out that are listed with "a|b" and "a?".
func either(terms []string) []string {
	var out []string
	for _, t := range terms {
		if !strings.ContainsAny(t, "|?") {
			out = append(out, t)
			continue
		}
		all := []string{""}
		for _, w := range strings.Fields(t) {
			w, optional := strings.CutSuffix(w, "?")
			var next []string
			for _, head := range all {
				for _, x := range strings.Split(w, "|") {
					next = append(next, strings.TrimSpace(head+" "+x))
				}
				if optional {
					next = append(next, head)
				}
			}
			all = next
		}
		out = append(out, all...)
	}
	return out
}

// VoiceKind is what a wording tells about words of danger near it.
type VoiceKind uint8

// Kinds of wordings, each with a sentence.
const (
	VoiceUnknown  VoiceKind = iota
	VoiceDeny               // "denies chest pain"
	VoiceAsk                // "any chest pain"
	VoiceYes                // an answer: "every day"
	VoiceNo                 // an answer: "none that I know of"
	VoiceBut                // "no, only when I lie down"
	VoiceTalk               // teaching, a plan, an instruction: "if you get chest pain"
	VoiceOther              // another patient: "the man in ten"
	VoiceRelative           // "my sister"
	VoiceSays               // "his wife says": the relative speaks of the patient
	VoicePast               // long ago: "in March"
	VoiceFigure             // "takes my breath away"
	VoiceOnly               // "just the ears": what is examined, said before it
	VoiceAlone              // "ears only": said after it
	VoiceNext               // "next, bed seven": another patient begins
	VoiceWell               // "last known well at": when a patient was last without the sign
	VoiceTalker             // "I", "your": what people who talk with each other say
	VoiceExamine            // "let me look at": an examination goes on
)

var voiceKinds = map[string]VoiceKind{"deny": VoiceDeny, "ask": VoiceAsk, "yes": VoiceYes, "no": VoiceNo, "but": VoiceBut, "talk": VoiceTalk,
	"other": VoiceOther, "relative": VoiceRelative, "says": VoiceSays, "past": VoicePast, "figure": VoiceFigure, "only": VoiceOnly, "alone": VoiceAlone, "next_patient": VoiceNext, "last_well": VoiceWell,
	"talker": VoiceTalker, "examine": VoiceExamine}

// Voice are the wordings of one kind.
func (l *Lexicon) Voice(k VoiceKind) []Phrase { return l.voices[k] }

type voiceDef struct {
	Kind  string   `toml:"kind"`
	Terms []string `toml:"terms"`
}

// phrases reads wordings and complains of those that are none.
func (b *builder) phrases(texts []string) []Phrase {
	var out []Phrase
	for _, t := range texts {
		p, what := newPhrase(t)
		if what != "" {
			b.complain(t, what, "docs/lexicon.md says how a wording is written")
			continue
		}
		out = append(out, p)
	}
	return out
}

func (b *builder) voice(d voiceDef) {
	k, ok := voiceKinds[d.Kind]
	if !ok {
		b.complain(d.Kind, fmt.Sprintf("unknown voice kind %q", d.Kind), "one of "+strings.Join(sortedKeys(voiceKinds), ", "))
		return
	}
	if b.lex.voices == nil {
		b.lex.voices = map[VoiceKind][]Phrase{}
	}
	b.lex.voices[k] = append(b.lex.voices[k], b.phrases(d.Terms)...)
}
