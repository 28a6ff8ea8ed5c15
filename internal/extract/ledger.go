package extract

import (
	"math"
	"sort"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// set settles what stands: later statements, conflicts, interpretation; then
// gives every word its place.
func (p *parser) set(opt Options) finding.Set {
	p.scores()
	p.settle()
	p.tellLater()
	words := len(p.t.Words)
	used := make([]bool, words)
	var out finding.Set
	for _, c := range p.cands {
		if c.gone {
			continue
		}
		f := finding.Finding{ID: c.f.ID, Side: c.side, Zone: c.zone, Status: c.status, Value: c.value, High: c.high,
			Qualifiers: c.quals, Source: c.source, Reason: c.reason, Marks: c.marks, Evidence: p.evidence(c)}
		if (c.f.Kind == lexicon.Quantity || c.f.Kind == lexicon.Pair) && c.status == finding.Assessed {
			if f.Unit = c.unit; f.Unit == "" {
				f.Unit = c.f.Unit
			}
		}
		f.Interpretation = p.interpret(c)
		for _, e := range f.Evidence {
			for w := e.Start; w < e.End; w++ {
				used[w] = true
			}
		}
		out.Findings = append(out.Findings, f)
	}
	out.LeftOut = p.leftOut(used)
	out.Unmentioned = p.missing(opt)
	out.Attention = p.attention(out.Findings)
	return out
}

// settle lets later statements stand over not assessed, joins what was said
// twice, and marks what cannot both be true.
func (p *parser) settle() {
	later := map[*lexicon.Finding][]*cand{}
	for _, c := range p.cands {
		later[c.f] = append(later[c.f], c)
	}
	for _, a := range p.cands {
		later[a.f] = later[a.f][1:]
		if a.gone {
			continue
		}
		for _, b := range later[a.f] {
			if b.gone || a.gone || !overlaps(a, b) || a.f.Sides == lexicon.Zone && a.zone != b.zone {
				continue
			}
			switch {
			case a.status == finding.NotAssessed && b.status == finding.Assessed:
				p.withdraw(a, b)
			case a.status == finding.NotAssessed && b.status == finding.NotAssessed:
				if a.side == b.side {
					p.join(b, a)
				}
			case b.status == finding.NotAssessed && a.sent == b.sent:
				a.gone = true // "cannot hear a bruit in this noise, so not assessed"
			case b.status == finding.NotAssessed:
				// "I could not test it again" after a value: both stand
			case finer(a, b):
				p.withdraw(a, b)
			case finer(b, a):
				p.withdraw(b, a)
			case a.value == b.value && a.high == b.high:
				p.sameTwice(a, b)
			case b.f.Together[word(a)] && b.f.Together[word(b)]:
			case a.f.Body && measuredApart(a, b):
			default:
				a.mark(finding.Conflict, "said differently elsewhere")
				b.mark(finding.Conflict, "said differently elsewhere")
			}
		}
	}
	p.compare()
}

// finer reports that b says the same as a and more: brisk is reactive. Sluggish
// after reactive is finer only in the same breath; later it contradicts.
func finer(a, b *cand) bool {
	if word(a) != "reactive" || a.f != b.f {
		return false
	}
	return word(b) == "brisk" || word(b) == "sluggish" && b.sent-a.sent <= 1 && b.sent >= a.sent
}

func word(c *cand) string { w, _ := c.value.Word(); return w }

// sameTwice charts once what was said twice; observed outranks reported.
func (p *parser) sameTwice(a, b *cand) {
	switch {
	case a.side == b.side || a.side == finding.Both || b.side == finding.NoSide:
		p.join(b, a)
	case b.side == finding.Both || a.side == finding.NoSide:
		a.side, a.sideSaid = b.side, b.sideSaid
		dropMark(a, finding.UnsureSide)
		p.join(b, a)
	}
}

func (p *parser) join(from, into *cand) {
	into.toks = append(into.toks, from.toks...)
	if from.source == finding.Observed && from.status == finding.Assessed {
		into.source = finding.Observed
		dropMark(into, finding.Inferred)
	}
	for k, v := range from.quals {
		if into.quals[k] == "" {
			into.set(k, v)
		}
	}
	if into.reason == "" {
		into.reason = from.reason
	}
	from.gone = true
}

// compare marks what was said to agree with the two sides of another finding and
// does not: pupils called equal whose sizes differ.
func (p *parser) compare() {
	for _, said := range p.cands {
		cmp := said.f.Compares
		if cmp == nil || said.gone || word(said) != cmp.Value {
			continue
		}
		sides := map[finding.Side]float64{}
		for _, c := range p.cands {
			if n, ok := c.value.Number(); ok && !c.gone && c.f.ID == cmp.Finding {
				sides[c.side] = n
			}
		}
		r, hasRight := sides[finding.Right]
		l, hasLeft := sides[finding.Left]
		if hasRight && hasLeft && math.Abs(r-l) >= cmp.Within {
			said.mark(finding.Conflict, "called "+cmp.Value+", but the values said for right and left differ")
		}
	}
}

// interpret compares a value with what the pack expects.
func (p *parser) interpret(c *cand) finding.Interpretation {
	if c.status != finding.Assessed || p.young && c.f.AgeBound {
		return finding.Unclear
	}
	if i, ok := expectedOf(c); ok {
		return i
	}
	side := c.side.String()
	exp := c.f.Expected["any"]
	if exp == nil {
		exp = c.f.Expected[side]
	}
	if exp == nil {
		return finding.Unclear
	}
	v := c.value.String()
	for _, e := range exp {
		if e == v {
			return finding.Expected
		}
	}
	return finding.Unexpected
}

// evidence turns token ranges into merged word spans in order.
func (p *parser) evidence(c *cand) []transcript.Span {
	var spans []transcript.Span
	for _, r := range c.toks {
		if r[0] < r[1] {
			a := p.lead(r[0], r[1])
			spans = append(spans, spanOf(p.ts, a, r[1]))
		}
	}
	sort.Slice(spans, func(i, j int) bool { return spans[i].Start < spans[j].Start })
	var out []transcript.Span
	for _, s := range spans {
		if n := len(out); n > 0 && s.Start <= out[n-1].End {
			out[n-1].End = max(out[n-1].End, s.End)
			continue
		}
		out = append(out, s)
	}
	return out
}

// lead leaves fillers at the start of a chunk out of the evidence.
func (p *parser) lead(a, b int) int {
	// fate is in the order of speech
	for i := sort.Search(len(p.fate), func(i int) bool { return p.fate[i].a >= a }); i < len(p.fate) && p.fate[i].a == a; i++ {
		if s := &p.fate[i]; s.lead > 0 && a+s.lead < b && p.ts[a+s.lead].word > p.ts[a+s.lead-1].end {
			return a + s.lead
		}
	}
	return a
}

// leftOut gives every word without evidence its reason; neighbours of one chunk
// and reason are one stretch.
func (p *parser) leftOut(used []bool) []finding.LeftOut {
	why := make([]finding.Why, len(used))
	chunk := make([]int, len(used))
	gone := map[int]bool{}
	for _, c := range p.cands {
		if c.gone {
			gone[c.chunk] = true
		}
	}
	for _, s := range p.fate {
		for k := s.a; k < s.b; k++ {
			for w := p.ts[k].word; w <= p.ts[k].end; w++ {
				why[w], chunk[w] = s.why, s.chunk
				if gone[s.chunk] {
					why[w] = finding.Corrected
				}
				if k < s.a+s.lead {
					why[w] = finding.SmallTalk
				}
			}
		}
	}
	var out []finding.LeftOut
	for w := range used {
		if used[w] {
			continue
		}
		reason := why[w]
		if reason == "" { // a word that is punctuation alone
			reason = finding.SmallTalk
		}
		if n := len(out); n > 0 && out[n-1].Span.End == w && out[n-1].Why == reason && (chunk[w] == chunk[w-1] || reason == finding.SmallTalk || why[w] == "") {
			out[n-1].Span.End = w + 1
			continue
		}
		out = append(out, finding.LeftOut{Why: reason, Span: transcript.Span{Start: w, End: w + 1}})
	}
	return out
}
