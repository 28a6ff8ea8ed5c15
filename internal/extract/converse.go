package extract

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// A conversation is talk in which people speak of themselves and to each other.
// Much of it is history, advice and politeness in the words of an examination, so
// there a finding is charted only while an examination goes on, and only where its
// statement names what it is said of.
const (
	// chatWords is the number of words before and after by which talk is judged.
	chatWords = 50
	// chatShare is the share of a conversation's words of which at least talk must
	// consist: nurses' narrations lie below 5 of 100 for the most part, consultations
	// between 10 and 20 (measured on the corpus and on open consultations).
	chatShare = 0.06
	// leastWords is the fewest words that are judged: two sentences are no
	// conversation yet.
	leastWords = 45
	// examWords is for how many words what was said of an examination holds, and
	// each finding of it.
	examWords, foundWords = 60, 40
	// ownWords is how far before its value the name of a subject may stand.
	ownWords = 14
)

// talk tells for each token whether it lies in a conversation, and how far
// before it somebody was last said to examine. Fillers do not count as words.
type talk struct {
	chat []bool
	exam []int  // the last token of words of an examination at or before it, else -1
	own  []bool // a speaker's own word in no such wording: "my", "I"
	at   []int  // the number of words before it
}

// converse reads the talk once.
func (p *parser) converse(sentences []sentence) {
	n := len(p.ts)
	p.talk = talk{chat: make([]bool, n), exam: make([]int, n), own: make([]bool, n), at: make([]int, n+1)}
	term, filler := make([]bool, n), make([]bool, n)
	p.examinations()
	for i := range sentences {
		s := &sentences[i]
		if headed(s) {
			_, b := s.chunks[0].span()
			for k := b - 1; k < n && p.talk.exam[k] < b-1; k++ {
				p.talk.exam[k] = b - 1
			}
		}
		for j := range s.chunks {
			for k := range s.chunks[j].items {
				it := &s.chunks[j].items[k]
				term[it.a] = it.num == nil && it.content()
				for i := it.a; i < it.b && !notFiller(it); i++ {
					filler[i] = true
				}
			}
		}
	}
	var words []int // the tokens that count
	own, terms := make([]int, 1, n+1), make([]int, 1, n+1)
	for i := range p.ts {
		p.talk.at[i] = len(words)
		if filler[i] {
			continue
		}
		words = append(words, i)
		own, terms = append(own, own[len(own)-1]), append(terms, terms[len(terms)-1])
		k := len(words)
		if p.talk.own[i] {
			own[k]++
		}
		if p.ts[i].after == asking {
			own[k]++
		}
		if term[i] {
			terms[k]++
		}
	}
	p.talk.at[n] = len(words)
	for i := range p.ts {
		a, b := max(0, p.talk.at[i]-chatWords), min(len(words), p.talk.at[i]+chatWords)
		said, found := own[b]-own[a], terms[b]-terms[a]
		p.talk.chat[i] = b-a >= leastWords && float64(said) >= chatShare*float64(b-a) && said >= found
	}
}

// examinations finds the words that tell of an examination, and the speakers' own
// words outside them.
func (p *parser) examinations() {
	last, end := -1, 0
	for i := range p.ts {
		w := p.ts[i].Text
		for _, ph := range p.x.examineAt[w] {
			if e, _, ok := ph.At(heard(p.ts), i); ok {
				last, end = e-1, max(end, e)
			}
		}
		p.talk.own[i] = len(p.x.talkerAt[w]) > 0 && i >= end
		p.talk.exam[i] = last
	}
}

// since is the number of words from token i to token k.
func (t *talk) since(i, k int) int { return t.at[k] - t.at[i] }

// headed reports a sentence that begins with the name of a part and nothing else:
// "Now the ears.", "Preauricular, none."
func headed(s *sentence) bool {
	c := &s.chunks[0]
	if s.asked || c.last == noPause {
		return false
	}
	names := false
	for i := range c.items {
		it := &c.items[i]
		site, ok := it.sense(lexicon.SiteSense)
		name, named := it.sense(lexicon.NameSense)
		switch {
		case ok && site.Site.Region != "", named && name.Finding.Named == "":
			names = true
		case it.content() || it.plain():
			return false
		}
	}
	return names
}

// phrasesAt lists wordings by their first word.
func phrasesAt(all []lexicon.Phrase) map[string][]*lexicon.Phrase {
	out := map[string][]*lexicon.Phrase{}
	for k := range all {
		for _, w := range all[k].First() {
			out[w] = append(out[w], &all[k])
		}
	}
	return out
}

// idle takes what is stated in a conversation while nobody examines for what the
// speakers tell each other.
func (p *parser) idle(s *sentence) {
	for i := range s.chunks {
		c := &s.chunks[i]
		if c.act != actState {
			continue
		}
		a, b := c.span()
		if !p.talk.chat[a] || c.cue(lexicon.CuePatientSays) || p.measures(c) {
			continue
		}
		if p.ask != nil && p.ask.sent == p.sent-1 && !s.asked {
			c.reply = true // "any discharge? There's a bit, yes": a statement may answer too
		} else if !p.examined(a, b) || p.ofSelf(c) {
			c.act = actTold
		}
	}
}

// examined reports that an examination goes on at [a, b).
func (p *parser) examined(a, b int) bool {
	e := p.talk.exam[min(b, len(p.ts))-1]
	return e >= 0 && p.talk.since(e, a) <= examWords || p.foundAt > 0 && p.talk.since(p.foundAt, a) <= foundWords
}

// ofSelf reports what a patient says of himself: "my skin is red".
func (p *parser) ofSelf(c *chunk) bool {
	a, b := c.span()
	for i := a; i < b; i++ {
		if !p.talk.own[i] {
			continue
		}
		switch p.ts[i].Text {
		case "i", "my", "mine", "me", "myself":
			return true
		}
	}
	return false
}

// measures reports a chunk in which something of the whole body is named and
// measured: "your blood pressure is one twenty over seventy".
func (p *parser) measures(c *chunk) bool {
	return !p.ofSelf(c) && c.any(func(it *item) bool {
		s, ok := it.sense(lexicon.AloneSense)
		return ok && it.said != nil && s.Finding.Body || bodyNamed(it) != nil || slices.ContainsFunc(it.senses, bodySense)
	}) && c.any(func(it *item) bool { return it.num != nil || it.said != nil })
}

// selfStanding reports that what was said in a conversation names what it is said
// of: nothing there is carried over from long before.
func (p *parser) selfStanding(f *frame, s *said) bool {
	a, b := f.c.span()
	if !p.talk.chat[a] {
		return true
	}
	if s.subj.far && len(f.places) == 0 {
		return false
	}
	if f.c.any(anywhere) && !f.c.any(nearer) {
		return false // "any rash on your skin?"
	}
	if s.subj.site == nil && f.c.any(elsewhere) {
		return false // "the right testicle, with a nodule"
	}
	if f.c.reply {
		return p.ask != nil && slices.ContainsFunc(p.ask.cands, func(c *cand) bool { return c.f == s.f })
	}
	if s.f.Sides == lexicon.Zone && (s.subj.site == nil || s.subj.tok[1] == 0) {
		longName := s.pr.it.has(lexicon.NameSense) && s.pr.it.b-s.pr.it.a > 1 // "lump in the neck"
		return longName || len(f.places) > 0 || strangersIn(f, s.f.Region)
	}
	switch {
	case s.pr.kind == predAlone, s.pr.kind == predNamed && s.pr.it.names():
		return true
	case s.subj.tok[1] > 0:
		return p.talk.since(s.subj.tok[0], a) <= ownWords && p.talk.since(b, s.subj.tok[0]) <= ownWords
	}
	// "Tonsils, since your mouth is open. Two plus on both sides."
	e := p.talk.exam[b-1]
	return p.topicSent == p.sent || p.topicSent >= p.sent-1 && e >= 0 && p.talk.since(e, a) <= ownWords
}

// anywhere reports a place that may be of the whole body: "skin".
func anywhere(it *item) bool {
	s, ok := it.sense(lexicon.SiteSense)
	return ok && s.Site.Anywhere
}

// nearer reports a place of an examination that is no such one.
func nearer(it *item) bool {
	s, ok := it.sense(lexicon.SiteSense)
	return ok && s.Site.Region != "" && !s.Site.Anywhere || it.has(lexicon.PlaceSense)
}

// elsewhere reports a place that no pack examines: "knee".
func elsewhere(it *item) bool {
	s, ok := it.sense(lexicon.SiteSense)
	return ok && s.Site.Region == ""
}

// strangersIn reports that the chunk names a site of the region.
func strangersIn(f *frame, region string) bool {
	return slices.ContainsFunc(f.subs, func(s subject) bool { return s.site != nil && s.site.Region == region })
}

// found notes that a finding of an examination was charted.
func (p *parser) found(f *frame, c *cand) {
	if f.c.act == actState && c.source == finding.Observed && !c.f.Body {
		_, p.foundAt = f.c.span()
	}
}
