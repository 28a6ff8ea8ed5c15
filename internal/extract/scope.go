package extract

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// examsSaid gives the examinations that a recording says it is before it says
// what was found: "ears only today", "a quick neuro check". What is said of a
// finding ("just the neck is tender") announces nothing.
func (p *parser) examsSaid() []string {
	// with no pause at all a finding's evidence begins at its heading
	end, later := len(p.ts), len(p.ts)
	for _, c := range p.cands {
		for _, r := range c.toks {
			if !c.gone && r[0] < end {
				end, later = r[0], p.sentenceEnd(r[1])
			}
		}
	}
	var out []string
	add := func(id string) {
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	h, lex := heard(p.ts), p.x.lex
	for i := 0; i < later; i++ {
		for _, e := range lex.Spoken() {
			for k := range e.Said {
				if b, _, ok := e.Said[k].At(h, i); ok && b <= end && p.means(i) {
					add(e.ID)
				}
			}
		}
		ids, b := p.partsAt(i, later)
		if len(ids) == 0 || b > end && text(p.ts, b) != "today" {
			continue
		}
		if (p.saidBefore(i) || p.saidAfter(b, end)) && p.means(i) {
			for _, id := range ids {
				add(id)
			}
		}
		i = b - 1
	}
	return out
}

// partsAt reads "the ears, nose and throat" from token i.
func (p *parser) partsAt(i, end int) (ids []string, b int) {
	for b = i; b < end; {
		id, e := p.partAt(b)
		if e > end || e == b {
			break
		}
		ids, i = append(ids, id), e
		b = e
		for b < end && p.ts[b-1].after < stop && (p.ts[b].Text == "and" || p.ts[b].Text == "or" || lexicon.Article(p.ts[b].Text)) {
			b++
		}
		if p.ts[b-1].after >= stop {
			break
		}
	}
	return ids, i
}

// partAt is the longest part of an examination named at token i.
func (p *parser) partAt(i int) (id string, end int) {
	end = i
	for _, e := range p.x.lex.Spoken() {
		for k := range e.Parts {
			if b, _, ok := e.Parts[k].At(heard(p.ts), i); ok && b > end {
				id, end = e.ID, b
			}
		}
	}
	return id, end
}

// saidBefore reports "just the", "only doing his" directly before token i.
func (p *parser) saidBefore(i int) bool {
	for i > 0 && lexicon.Article(p.ts[i-1].Text) {
		i--
	}
	only := p.x.lex.Voice(lexicon.VoiceOnly)
	for s := max(0, i-6); s < i; s++ {
		for k := range only {
			if e, _, ok := only[k].At(heard(p.ts), s); ok && e == i {
				return s == 0 || p.ts[s-1].Text != "not"
			}
		}
	}
	return false
}

// saidAfter reports "only", "exam today" directly after.
func (p *parser) saidAfter(i, end int) bool {
	alone := p.x.lex.Voice(lexicon.VoiceAlone)
	if i >= end || p.ts[i-1].after >= stop {
		return false
	}
	for k := range alone {
		if e, _, ok := alone[k].At(heard(p.ts), i); ok && e <= end {
			return true
		}
	}
	return false
}

// means reports that the words at token i are meant of this patient and now.
func (p *parser) means(i int) bool {
	for _, s := range p.fate {
		if s.a <= i && i < s.b {
			switch s.why {
			case finding.OtherPerson, finding.Question, finding.Teaching, finding.Corrected:
				return false
			}
		}
	}
	from, to := p.sentenceOf(i, i+1)
	for k := from; k < to; k++ {
		switch p.ts[k].Text {
		case "yesterday", "last", "ago":
			return false
		}
	}
	other := net{p: p}
	return p.ts[to-1].after != asking && !other.found(p.x.lex.Voice(lexicon.VoiceOther), from, i)
}
