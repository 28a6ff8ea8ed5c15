package extract

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// heard is what was said, for wordings to be looked for.
type heard []token

func (h heard) Len() int          { return len(h) }
func (h heard) Word(i int) string { return h[i].Text }
func (h heard) Ends(i int) bool   { return h[i].after >= stop }
func (h heard) Pauses(i int) bool { return h[i].after != noPause }

// quoteWords is the number of words before and after words of danger that are
// quoted where speech has no full stops.
const quoteWords = 14

// farthest is the number of words after which a sentence is taken to end in
// speech without full stops.
const farthest = 60

// unlessWords is how near words must stand that tell a rule that there is no
// danger.
const unlessWords = 6

// danger finds words of danger, whoever says them, and quotes the sentence they
// stand in. They are never interpreted. A sign that a finding in listed speaks of
// already is not said twice. Denials, teaching, plans, other people and figures
// of speech are not quoted; in doubt they are: too much is read in a second, too
// little is never seen.
func (p *parser) danger(listed []finding.Attention) []finding.Attention {
	var out []finding.Attention
	rules := p.x.dangerAt
	for i := range p.ts {
		for _, q := range rules[p.ts[i].Text] {
			end, between, ok := q.phrase.At(heard(p.ts), i)
			if !ok {
				continue
			}
			n := net{p: p, rule: q.rule, a: i, b: end, between: between}
			n.from, n.to = p.sentenceOf(i, end)
			quoted := n.quoted()
			if quoted == nil {
				continue
			}
			said := spanOf(p.ts, i, end)
			if q.rule.Charted && slices.ContainsFunc(listed, func(a finding.Attention) bool { return covers(a.Evidence, said) }) {
				continue
			}
			out = p.addQuote(out, finding.Attention{Why: q.rule.Why, Urgency: urgencies[q.rule.Urgency], Source: q.rule.Source, Evidence: quoted})
		}
	}
	return out
}

// dangerPhrase is one wording of a rule.
type dangerPhrase struct {
	rule   *lexicon.AttentionRule
	phrase *lexicon.Phrase
}

// dangerIndex lists the words of danger by their first word.
func dangerIndex(lex *lexicon.Lexicon) map[string][]dangerPhrase {
	out := map[string][]dangerPhrase{}
	rules := lex.Attention()
	for i := range rules {
		for k := range rules[i].Quote {
			for _, w := range rules[i].Quote[k].First() {
				out[w] = append(out[w], dangerPhrase{&rules[i], &rules[i].Quote[k]})
			}
		}
	}
	return out
}

// addQuote keeps what is quoted twice once, as the more urgent.
func (p *parser) addQuote(out []finding.Attention, a finding.Attention) []finding.Attention {
	for i := max(0, len(out)-3); i < len(out); i++ { // they come in order
		o := &out[i]
		if !overlap(o.Evidence[0], a.Evidence[0]) {
			continue
		}
		o.Evidence[0].Start, o.Evidence[0].End = min(o.Evidence[0].Start, a.Evidence[0].Start), max(o.Evidence[0].End, a.Evidence[0].End)
		if a.Urgency > o.Urgency {
			o.Why, o.Urgency, o.Source = a.Why, a.Urgency, a.Source
		}
		return out
	}
	return append(out, a)
}

func overlap(a, b transcript.Span) bool { return a.Start < b.End && b.Start < a.End }

func covers(spans []transcript.Span, s transcript.Span) bool {
	return slices.ContainsFunc(spans, func(e transcript.Span) bool { return e.Start <= s.Start && s.End <= e.End })
}

// sentenceOf gives the tokens of the sentences that a stretch lies in.
func (p *parser) sentenceOf(a, b int) (from, to int) {
	for from = a; from > 0 && from > a-farthest && p.ts[from-1].after < stop; from-- {
	}
	return from, p.sentenceEnd(b)
}

// sentenceEnd is the end of the sentence that token b-1 stands in.
func (p *parser) sentenceEnd(b int) int {
	for from := b; b < len(p.ts) && b < from+farthest && p.ts[b-1].after < stop; b++ {
	}
	return b
}

// net judges words of danger at [a, b) of the sentences [from, to).
type net struct {
	p        *parser
	rule     *lexicon.AttentionRule
	a, b     int
	from, to int
	between  []int
}

// quoted gives what is to be quoted, or nil.
func (n *net) quoted() []transcript.Span {
	n.near()
	switch {
	case n.figure(), n.found(n.rule.Unless, max(n.from, n.a-unlessWords), min(n.to, n.b+unlessWords)), n.denied(), n.spoken(lexicon.VoiceTalk), n.spoken(lexicon.VoiceOther),
		!n.rule.Others && n.relative(), !n.rule.Past && n.found(n.voice(lexicon.VoicePast), n.from, n.to):
		return nil
	}
	end := n.to
	if n.b <= n.p.sentenceEnd(n.a+1) && n.asked() { // else the wording holds the answer

		if end = n.answer(); end == 0 {
			return nil
		}
	}
	return []transcript.Span{spanOf(n.p.ts, n.from, end)}
}

// near narrows a sentence without end to the words around.
func (n *net) near() {
	n.from, n.to = max(n.from, n.a-quoteWords), min(n.to, n.b+quoteWords)
}

func (n *net) voice(k lexicon.VoiceKind) []lexicon.Phrase { return n.p.x.lex.Voice(k) }

// find gives the first wording that begins in [from, to) and ends by to.
func (n *net) find(all []lexicon.Phrase, from, to int) (a, b int, ok bool) {
	for i := from; i < to; i++ {
		for k := range all {
			if e, _, yes := all[k].At(heard(n.p.ts), i); yes && e <= to {
				return i, e, true
			}
		}
	}
	return 0, 0, false
}

func (n *net) found(all []lexicon.Phrase, from, to int) bool {
	_, _, ok := n.find(all, from, to)
	return ok
}

// figure reports a figure of speech around the words.
func (n *net) figure() bool {
	all := n.voice(lexicon.VoiceFigure)
	for i := n.from; i < n.to; i++ {
		for k := range all {
			if e, _, ok := all[k].At(heard(n.p.ts), i); ok && i <= n.b+4 && e >= n.a-2 {
				return true
			}
		}
	}
	return false
}

// spoken reports a wording of the kind before the words or around them. "If you
// send me home I will" is no teaching.
func (n *net) spoken(k lexicon.VoiceKind) bool {
	for from := n.from; ; {
		s, e, ok := n.find(n.voice(k), from, n.b)
		if !ok {
			return false
		}
		like := s > 0 && n.p.ts[s-1].Text == "as" // "as if somebody"
		if !like && (n.p.ts[s].Text != "if" || text(n.p.ts, s+1) != "you" || !n.first(e, n.b)) {
			return true
		}
		from = s + 1
	}
}

// relative reports "my sister is allergic": a relative is spoken of, and neither
// says it nor does it to the speaker.
func (n *net) relative() bool {
	s, e, ok := n.find(n.voice(lexicon.VoiceRelative), n.from, n.b)
	if ok && s >= n.a && n.first(n.from, n.a) {
		return false // "I swallowed all my mother's tablets"
	}
	if !ok || n.found(n.voice(lexicon.VoiceSays), e, min(e+4, n.b)) {
		return false
	}
	return !n.first(e, n.b)
}

// first reports a word that the speaker says of himself.
func (n *net) first(from, to int) bool {
	for i := from; i < to; i++ {
		switch n.p.ts[i].Text {
		case "i", "me", "my", "mine", "myself", "we", "us":
			return true
		}
	}
	return false
}

// denied reports that the words are denied: before them ("no chest pain", "he
// denies fever, chest pain or vomiting", "I am not choking"), within them or
// after them ("chest pain, none").
func (n *net) denied() bool {
	all := n.voice(lexicon.VoiceDeny)
	for _, i := range n.between {
		if n.found(all, i, i+1) || n.p.ts[i].Text == "no" {
			return true
		}
	}
	for i := n.a - 1; i >= n.from; i-- {
		for k := range all {
			if e, _, ok := all[k].At(heard(n.p.ts), i); ok && e <= n.a && n.reaches(i, e) {
				return true
			}
		}
	}
	if n.b < len(n.p.ts) && n.p.ts[n.b-1].after != asking {
		switch w := n.p.ts[n.b].Text; w {
		case "none", "denied", "negative", "absent", "nil":
			return true
		case "no":
			return n.b+1 == len(n.p.ts) || n.p.ts[n.b].after != noPause && n.p.ts[n.b-1].after == comma
		}
	}
	return false
}

// reaches reports that a denial at [i, e) reaches the words: no new statement
// begins in between, and over a comma only a list goes on.
func (n *net) reaches(i, e int) bool {
	ts := n.p.ts
	switch {
	case ts[i].Text == "never" && (text(ts, n.b) == "like" || text(ts, n.b+1) == "like"):
		return false // "I never had chest pain like this"
	case ts[i].Text == "not" && !plainAfterNot(ts[e:n.a]):
		return false // "it will not stop, this chest pain"
	}
	one := e-i == 1 && ts[i].Text == "no"
	if one && ts[e-1].after != noPause {
		return false // "no, I can't breathe"
	}
	subject := true // of one statement; a report ("denies") goes on over a list
	switch ts[i].Text {
	case "denies", "denied", "denying", "deny", "negative", "free":
		subject = false
	}
	commas := 0
	for k := e; k < n.a; k++ {
		if ts[k-1].after == comma {
			commas++
		}
		switch ts[k].Text {
		case "but", "however", "though", "although", "except", "just", "only", "now":
			return false
		case "i", "it", "he", "she", "there", "my", "they", "we", "everything":
			if subject {
				return false
			}
		}
	}
	if n.a > e && ts[n.a-1].after == comma {
		commas++
	}
	if subject {
		switch ts[n.a].Text {
		case "i", "it", "he", "she", "there", "my", "everything":
			return false
		}
	}
	if commas == 0 {
		return n.a-e <= 8
	}
	if !subject {
		return true
	}
	for k := e; k < n.to; k++ { // "no fever, chest pain or vomiting"
		if (ts[k].Text == "or" || ts[k].Text == "nor") && k > e {
			return true
		}
	}
	return false
}

// asked reports a question of the nurse's; what the patient says of himself is
// none even as a question.
func (n *net) asked() bool {
	ts := n.p.ts
	from := n.a // the clause
	for from > n.from && ts[from-1].after == noPause {
		from--
	}
	if n.first(n.a, n.b) {
		return false
	}
	if s, e, ok := n.find(n.voice(lexicon.VoiceAsk), from, n.b); ok && s < n.a && !n.first(e, n.b) {
		return s >= n.a-8
	}
	end := n.p.sentenceEnd(n.b)
	if ts[end-1].after != asking || n.first(from, n.b) {
		return false
	}
	switch text(ts, from) { // "he's got chest pain, hasn't he?"
	case "he", "she", "it", "there":
		return false
	}
	return true
}

// answer gives the end of what is said to the question where it is a yes, else
// 0.
func (n *net) answer() int {
	ts := n.p.ts
	end := n.p.sentenceEnd(n.b)
	if ts[end-1].after != asking { // "any chest pain yes since this morning"
		if n.reads(n.b, min(end, n.b+quoteWords)) == answerYes {
			return min(end, n.b+quoteWords)
		}
	}
	for tries := 0; tries < 2 && end < len(ts); tries++ {
		next := min(n.p.sentenceEnd(end+1), end+2*quoteWords)
		switch n.reads(end, next) {
		case answerYes:
			return next
		case answerNo:
			return 0
		}
		if n.first(end, next) {
			return 0
		}
		end = next
	}
	return 0
}

type reply uint8

const (
	answerNone reply = iota
	answerYes
	answerNo
)

// reads tells a yes from a no in [from, to).
func (n *net) reads(from, to int) reply {
	start := from
	for start < to && start < from+4 && fillersOfAnswer[n.p.ts[start].Text] {
		start++
	}
	if s, e, ok := n.find(n.voice(lexicon.VoiceNo), start, min(start+4, to)); ok && s == start {
		if n.found(n.voice(lexicon.VoiceBut), e, to) {
			return answerYes
		}
		return answerNo
	}
	if n.found(n.rule.Answers, start, to) {
		return answerYes
	}
	if s, _, ok := n.find(n.voice(lexicon.VoiceYes), start, min(start+8, to)); ok && s <= start+3 {
		return answerYes
	}
	return answerNone
}

var fillersOfAnswer = map[string]bool{"um": true, "uh": true, "er": true, "well": true, "oh": true, "mm": true, "ah": true, "hmm": true, "erm": true}

// plainAfterNot reports that what stands between "not" and the words lets it
// reach them: "not having any", "not want to".
func plainAfterNot(ts []token) bool {
	for _, t := range ts {
		switch t.Text {
		case "have", "having", "had", "any", "a", "an", "the", "his", "her", "your", "feel", "feeling", "felt", "get", "getting", "got", "been", "be", "being", "complain",
			"complaining", "of", "to", "report", "reporting", "really", "actually", "currently", "at", "all", "want", "wanting", "wanted", "say", "said", "saying", "think", "thinking",
			"thought", "about", "with", "in", "exactly", "so", "too", "very", "ever", "known", "experience", "experiencing", "notice", "noticed", "see", "seen", "hear", "heard",
			"or", "and", "going", "anybody", "anyone", "even", "seem", "looking", "look", "appear", "much", "quite", "is", "this", "that", "more":
		default:
			return false
		}
	}
	return true
}
