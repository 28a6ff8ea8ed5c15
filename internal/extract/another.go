package extract

import (
	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// nextPatient ends the examination where another patient is said to begin
// ("next, bed seven"). What follows is left out as another person's, and the draft
// says from which word: nothing of it is charted for this patient, nothing is
// lost.
func (p *parser) nextPatient(s *sentence) {
	for j := range s.chunks {
		c := &s.chunks[j]
		if p.another.End == 0 {
			a, _ := c.span()
			a, end, ok := p.begins(a)
			if !ok {
				continue
			}
			p.another = spanOf(p.ts, a, end)
		}
		c.act = actOther
	}
}

// begins reports that another patient begins at token i, and gives the
// words that say so.
func (p *parser) begins(i int) (a, b int, ok bool) {
	all := p.x.lex.Voice(lexicon.VoiceNext)
	for k := i; k < i+3 && k < len(p.ts); k++ { // "okay, so, next, bed seven"
		for n := range all {
			if e, _, ok := all[n].At(heard(p.ts), k); ok {
				return k, e, true
			}
		}
		if p.ts[k].after >= stop {
			break
		}
	}
	return 0, 0, false
}

// parted proposes where the recording is to be parted, and tells of what is quoted
// behind it.
func (p *parser) parted(out []finding.Attention) []finding.Attention {
	if p.another.End == 0 {
		return out
	}
	for i := range out {
		if out[i].ID == "" && out[i].Evidence[0].End > p.another.End {
			out[i].Why += "; said after another patient may have begun"
		}
	}
	return append(out, finding.Attention{Urgency: finding.Prompt, Source: "common practice, no source",
		Why:      "another patient may begin at these words: what follows is left out of this note; part the recording here and draft the rest as a note of its own",
		Evidence: []transcript.Span{p.another}})
}
