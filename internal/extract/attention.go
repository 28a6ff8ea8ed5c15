package extract

import (
	"slices"
	"sort"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

var urgencies = map[string]finding.Urgency{"now": finding.Now, "prompt": finding.Prompt, "routine": finding.Routine, "recheck": finding.Recheck}

// attention applies the packs' rules for what wants a person's action, most
// urgent first. A patient's words of danger are quoted, never interpreted.
func (p *parser) attention(found []finding.Finding) []finding.Attention {
	var out []finding.Attention
	for _, r := range p.x.lex.Attention() {
		if r.Finding == nil {
			for _, q := range r.Quote {
				out = append(out, p.quote(q, finding.Attention{Why: r.Why, Urgency: urgencies[r.Urgency], Source: r.Source})...)
			}
			continue
		}
		for i := range found {
			f := &found[i]
			if f.ID != r.Finding.ID || f.Status != finding.Assessed {
				continue
			}
			if len(r.Values) > 0 && !slices.Contains(r.Values, f.Value.String()) {
				continue
			}
			if r.Bounds != nil && !outside(r.Bounds, f) {
				continue
			}
			if r.Detail != "" && !slices.Contains(r.Equals, f.Qualifiers[r.Detail]) {
				continue
			}
			out = append(out, finding.Attention{ID: f.ID, Side: f.Side, Why: r.Why, Urgency: urgencies[r.Urgency], Source: r.Source, Evidence: f.Evidence})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Urgency > out[j].Urgency })
	return out
}

// outside reports a number, or the first of a pair, that a rule speaks of.
func outside(b *lexicon.Bounds, f *finding.Finding) bool {
	v, ok := f.Value.Number()
	if !ok {
		v, _, ok = f.Value.Pair()
	}
	return ok && b.Outside(v, f.Unit)
}

// quote finds words of danger in the patient's or anybody's mouth, with the
// whole chunk they stand in. The nurse's own denials ("denies chest pain") are
// no danger; teaching and other people's words still are quoted: too much is
// read in a second, too little is never seen.
func (p *parser) quote(words []string, a finding.Attention) []finding.Attention {
	var out []finding.Attention
	last := len(words) > 0 && words[len(words)-1] == "."
	if last {
		words = words[:len(words)-1]
	}
	for _, s := range p.fate {
		if s.denies || s.asks {
			continue
		}
		for i := s.a; i+len(words) <= s.b; i++ {
			if at(p.ts, i, words...) && (!last || i+len(words) == s.b) {
				b := a
				b.Evidence = append(b.Evidence, spanOf(p.ts, s.a, s.b))
				out = append(out, b)
				break
			}
		}
	}
	return out
}
