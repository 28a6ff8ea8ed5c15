package extract

import (
	"slices"
	"sort"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

var urgencies = map[string]finding.Urgency{"now": finding.Now, "prompt": finding.Prompt, "routine": finding.Routine, "recheck": finding.Recheck}

// attention applies the packs' rules for what wants a person's action, most
// urgent first; then what was said first. A patient's words of danger are quoted,
// never interpreted.
func (p *parser) attention(found []finding.Finding) []finding.Attention {
	asHeard := *p
	asHeard.ts = tokenize(p.t.Words) // no repair makes words of danger, or takes them
	p = &asHeard
	out := p.ruled(found)
	out = p.parted(append(out, p.danger(out)...))
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].Urgency != out[j].Urgency {
			return out[i].Urgency > out[j].Urgency
		}
		return out[i].Evidence[0].Start < out[j].Evidence[0].Start
	})
	return out
}

// Attention gives what the packs' rules say of one finding of that talk, such as
// one that a person charted or changed; it is never nil.
func (x *Extractor) Attention(t transcript.Transcript, f finding.Finding) []finding.Attention {
	p := &parser{x: x, t: t, ts: tokenize(t.Words)}
	return append([]finding.Attention{}, p.ruled([]finding.Finding{f})...)
}

// ruled applies the rules that speak of findings. Of the talk they read only the
// words, as they were heard.
func (p *parser) ruled(found []finding.Finding) []finding.Attention {
	var out []finding.Attention
	rules := p.x.lex.Attention()
	for k := range rules {
		r := &rules[k]
		if r.Finding == nil {
			continue
		}
		for i := range found {
			f := &found[i]
			if !applies(r, f) || len(r.With) > 0 && !p.alsoSaid(r.With) {
				continue
			}
			a := finding.Attention{ID: f.ID, Side: f.Side, Why: r.Why, Urgency: urgencies[r.Urgency], Source: r.Source, Evidence: f.Evidence}
			if j := slices.IndexFunc(out, func(o finding.Attention) bool { return sameLine(o, a) }); j >= 0 {
				if a.Urgency > out[j].Urgency { // the more urgent of two rules for one thing
					out[j] = p.told(a, r, f)
				}
				continue
			}
			out = append(out, p.told(a, r, f))
		}
	}
	return out
}

// applies reports that a rule speaks of a finding.
func applies(r *lexicon.AttentionRule, f *finding.Finding) bool {
	switch {
	case f.ID != r.Finding.ID || f.Status != finding.Assessed:
		return false
	case len(r.Values) > 0 && !slices.Contains(r.Values, f.Value.String()):
		return false
	case r.Bounds != nil && !outside(r.Bounds, f):
		return false
	}
	return r.Detail == "" || slices.Contains(r.Equals, f.Qualifiers[r.Detail])
}

func sameLine(a, b finding.Attention) bool {
	return a.ID == b.ID && a.Side == b.Side && slices.Equal(a.Evidence, b.Evidence)
}

// told adds to a line what is known of the onset. What is not known to be old
// counts as new; what is known is one step less urgent.
func (p *parser) told(a finding.Attention, r *lexicon.AttentionRule, f *finding.Finding) finding.Attention {
	if r.Onset {
		switch {
		case strings.Contains(f.Qualifiers["onset"], "new"): // new, though something old is spoken of too
			a.Why += "; onset: new"
		case f.Qualifiers["onset"] == "known" || f.Qualifiers["baseline"] != "":
			a.Why += "; onset: known"
			a.Urgency = max(a.Urgency-1, finding.Recheck)
		default:
			a.Why += "; onset: not stated, counts as new"
		}
	}
	if r.Well {
		a.Why += "; time last known well: " + p.lastWell()
	}
	return a
}

// lastWell gives the time at which the patient was last known to be well, in the
// words said.
func (p *parser) lastWell() string {
	all := p.x.lex.Voice(lexicon.VoiceWell)
	for i := range p.ts {
		for k := range all {
			e, _, ok := all[k].At(heard(p.ts), i)
			if !ok || e >= len(p.ts) || p.ts[e-1].after >= stop {
				continue
			}
			to := e + 1
			for to < len(p.ts) && to < e+6 && p.ts[to-1].after == noPause {
				to++
			}
			return trimPunct(p.t.Quote(spanOf(p.ts, e, to)))
		}
	}
	return "not stated"
}

// alsoSaid reports that one of the wordings stands somewhere, and is not denied,
// taught or asked.
func (p *parser) alsoSaid(all []lexicon.Phrase) bool {
	for i := range p.ts {
		for k := range all {
			if e, between, ok := all[k].At(heard(p.ts), i); ok {
				n := net{p: p, rule: &lexicon.AttentionRule{}, a: i, b: e, between: between}
				n.from, n.to = p.sentenceOf(i, e)
				if n.quoted() != nil {
					return true
				}
			}
		}
	}
	return false
}

// outside reports a number, or the first of a pair, that a rule speaks of.
func outside(b *lexicon.Bounds, f *finding.Finding) bool {
	v, ok := f.Value.Number()
	if !ok {
		v, _, ok = f.Value.Pair()
	}
	return ok && b.Outside(v, f.Unit)
}
