// Package extract turns a transcript into findings: what a sentence is (a
// finding, a question, an instruction, teaching, a plan, history, talk), to
// which side, site and item it belongs, and what value it gives. The words and
// findings it understands stand in the lexicon's packs; no id stands in the code.
// It is pure: no clock, no files, the same transcript gives the same findings.
//
// The stages, in order, each in its file: token (words to normalized tokens),
// number, item and compose (longest terms and numbers), chunk (sentences, chunks and
// their acts), frame (a chunk taken apart), resolve and state (which finding a
// word speaks of), chart (values and sides), attach (qualifiers), correct,
// mirror and answer (what later words do to earlier ones), ledger (evidence,
// left-out talk, marks), missing and attention.
package extract

import (
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Extractor understands examinations by one lexicon. It is safe for concurrent
// use.
type Extractor struct {
	lex *lexicon.Lexicon
	// numeric are the findings whose value can be a number.
	numeric []*lexicon.Finding
	// groups gives the stem of numbered findings by what they are called
	// together: "cranial nerve".
	groups map[string]string
	// implied are the sites whose finding is looked for where they alone are named.
	implied map[*lexicon.Site]bool
	// body are the findings of the whole body.
	body []*lexicon.Finding
	// dangerAt are words of danger by their first word.
	dangerAt map[string][]dangerPhrase
	// talkerAt and examineAt are the wordings of people who talk with each other and
	// of an examination, by their first word.
	talkerAt, examineAt map[string][]*lexicon.Phrase
}

// Options narrow an extraction.
type Options struct {
	// Exam is the examination in scope ("eyes"); empty for what the words say.
	Exam string
}

// New makes an Extractor over a lexicon.
func New(lex *lexicon.Lexicon) *Extractor {
	x := &Extractor{lex: lex, implied: map[*lexicon.Site]bool{}, groups: map[string]string{}, dangerAt: dangerIndex(lex),
		talkerAt: phrasesAt(lex.Voice(lexicon.VoiceTalker)), examineAt: phrasesAt(lex.Voice(lexicon.VoiceExamine))}
	for _, f := range lex.Findings() {
		if f.Implied {
			for _, s := range f.At {
				x.implied[s] = true
			}
		}
		if f.Body {
			x.body = append(x.body, f)
			continue // reached by name alone
		}
		if f.Kind == lexicon.Quantity || f.Kind == lexicon.Grade || f.Kind == lexicon.Clock || f.Kind == lexicon.Choice && f.Allows("intact") && f.Allows("reduced") {
			x.numeric = append(x.numeric, f)
		}
		if stem, _ := numbered(f.ID); stem != "" {
			x.groups[strings.TrimRight(f.Name, " 0123456789")] = stem
		}
	}
	return x
}

// Extract understands one transcript. Every word of it lies in the evidence of
// at least one finding or in exactly one left-out stretch.
func (x *Extractor) Extract(t transcript.Transcript, opt Options) finding.Set {
	return x.extract(t, opt, nil)
}

func (x *Extractor) extract(t transcript.Transcript, opt Options, tell func(Step)) finding.Set {
	p := &parser{x: x, t: t, ts: x.repair(tokenize(t.Words)), tell: tell, labelled: labelled(t)}
	items := x.series(p.ts, x.compose(t, p.ts, x.itemize(p.ts)))
	unseenThings(p.ts, items)
	p.tellTerms(items)
	read := p.readOtherwise(items)
	p.run(p.split(items))
	return markRead(p.set(opt), read)
}

// series reads "cranial nerves three, four and six" and "two through twelve":
// numbers after a numbered finding, or after what a group of them is called,
// name its fellows.
func (x *Extractor) series(ts []token, items []item) []item {
	out := make([]item, 0, len(items)+len(items)/16)
	stem, last, heading, ended := "", 0, false, false
	before, at := "", 0 // the series that another name broke off
	var gone recital
	for i := 0; i < len(items); i++ {
		it := items[i]
		if !notFiller(&it) {
			out = append(out, it)
			continue
		}
		if made, n := x.recite(&gone, ts, items, i); n > 0 {
			out = append(out, made...)
			i += n - 1
			stem, last, heading, ended = "", 0, false, false
			if made[0].has(lexicon.NameSense) {
				stem, last, ended = gone.stem, gone.last, ts[gone.end-1].after == stop
			}
			continue
		}
		if ended && !restarts(ts, it.a) {
			stem = ""
		}
		ended = false
		if n, ok := it.sense(lexicon.NameSense); ok && n.Finding != nil {
			if stem != "" {
				before, at = stem, last
			}
			stem, last = numbered(n.Finding.ID)
			gone.named(stem, last, it.b)
			heading = false
			out = append(out, it)
			continue
		}
		if n, ok := ordinals[text(ts, it.a)]; ok && stem != "" && len(it.senses) == 0 {
			if made := fellows(x.lex, stem, n, n, it); made != nil { // "apart from the right eighth"
				out = append(out, made...)
				last, heading = n, false
				gone.named(stem, n, it.b)
				continue
			}
		}
		if g := x.groupAt(ts, it.a); g != "" {
			stem, last, heading = g, 0, true
			gone.named(g, 0, it.b)
		}
		if stem == "" && before != "" && it.num != nil && it.num.value == float64(at+1) && startsSentence(ts, items, i) && ts[it.b-1].after != noPause && said2(items, i, before) {
			stem, last = before, at // "Eight I can't test, his hearing aids are out. Nine, intact."
		}
		if stem != "" {
			if it.num != nil && it.unit == nil && it.num.sign == "" && !it.num.hasOf && !it.num.clock &&
				(listed(ts, out) || said2(items, i, stem) || opens(ts, items, i)) {
				from, to := int(it.num.value), int(it.num.value)
				if it.num.isRange {
					to = int(it.num.high)
				}
				if len(out) > 0 && through(ts, out[len(out)-1], it) {
					from, to = last+1, from
				}
				if made := fellows(x.lex, stem, from, to, it); made != nil {
					out = append(out, made...)
					last, heading = to, false
					gone.named(stem, to, it.b)
					ended = ts[it.b-1].after == stop
					continue
				}
			}
			ended = ts[it.b-1].after == stop && !heading
			heading = heading && ts[it.b-1].after != stop
		}
		out = append(out, it)
	}
	return out
}

// startsSentence reports that nothing but fillers stands before items[i] in its
// sentence.
func startsSentence(ts []token, items []item, i int) bool {
	for i--; i >= 0 && items[i].filler() && ts[items[i].b-1].after < stop; i-- {
	}
	return i < 0 || ts[items[i].b-1].after >= stop
}

var ordinals = map[string]int{"first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "eighth": 8, "ninth": 9,
	"tenth": 10, "eleventh": 11, "twelfth": 12}

// groupAt gives the stem of the numbered findings whose group is named at token
// i: "cranial nerves".
func (x *Extractor) groupAt(ts []token, i int) string {
	for name, stem := range x.groups {
		if at(ts, i, strings.Fields(name)...) {
			return stem
		}
	}
	return ""
}

// listed reports a number that goes on a list of numbered findings.
func listed(ts []token, out []item) bool {
	if len(out) == 0 {
		return false
	}
	prev := out[len(out)-1]
	switch text(ts, prev.b-1) {
	case "and", "to", "through", "thru", "or":
		return true
	}
	n, ok := prev.sense(lexicon.NameSense)
	return ok && n.Finding != nil && ts[prev.b-1].after == comma
}

// opens reports a number that begins a statement and stands for what is numbered:
// "four, intact", "three on the right", "except seven".
func opens(ts []token, items []item, i int) bool {
	if i > 1 && items[i-1].has(lexicon.SideSense) && items[i-2].cue(lexicon.CueExcept, lexicon.CueAnd) && items[i-1].b == items[i].a {
		return true // "except the left five"
	}
	before := i - 1
	for before >= 0 && items[before].filler() {
		before--
	}
	if before >= 0 && ts[items[before].b-1].after == noPause && !items[before].cue(lexicon.CueAnd, lexicon.CueExcept, lexicon.CueBut) && text(ts, items[i].a-1) != "number" {
		return false
	}
	return ts[items[i].b-1].after != noPause || i+1 < len(items) && (items[i+1].has(lexicon.SideSense) || items[i+1].cue(lexicon.CueUnable) || !items[i+1].content() && text(ts, items[i+1].a) == "i")
}

// said2 reports that a value of the numbered findings follows at once.
func said2(items []item, i int, stem string) bool {
	for j := i + 1; j < len(items) && j < i+4; j++ {
		if items[j].cue(lexicon.CueNormal) {
			return true
		}
		for _, s := range items[j].senses {
			if s.Kind == lexicon.SaysSense && strings.HasPrefix(s.Finding.ID, stem) {
				return true
			}
		}
		if items[j].num == nil && !items[j].cue(lexicon.CueAnd) && len(items[j].senses) > 0 {
			return false
		}
	}
	return false
}

// restarts reports that the next sentence goes on with numbers: "two through
// twelve", "four, intact".
func restarts(ts []token, i int) bool {
	v, j := cardinal(ts, i)
	return j > i && v >= 1 && v == float64(int(v)) && j < len(ts)
}

func through(ts []token, prev, it item) bool {
	w := text(ts, prev.b-1)
	return prev.b == it.a && (w == "to" || w == "through" || w == "thru")
}

func numbered(id string) (stem string, n int) {
	for i := len(id) - 1; i >= 0; i-- {
		if id[i] == '.' {
			for _, r := range id[i+1:] {
				if r < '0' || r > '9' {
					return "", 0
				}
				n = n*10 + int(r-'0')
			}
			if i+1 == len(id) {
				return "", 0
			}
			return id[:i+1], n
		}
	}
	return "", 0
}

func fellows(lex *lexicon.Lexicon, stem string, from, to int, it item) []item {
	var out []item
	for n := from; n <= to; n++ {
		f, ok := lex.Finding(stem + num(float64(n)))
		if !ok {
			return nil
		}
		out = append(out, item{a: it.a, b: it.b, senses: []lexicon.Sense{{Kind: lexicon.NameSense, Finding: f}}})
	}
	return out
}
