package extract

import (
	"strconv"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// mostOf is the largest total of a score.
func mostOf(f *lexicon.Finding) float64 {
	sum := 0.0
	for i := range f.Parts {
		sum += f.Parts[i].Range[1]
	}
	return sum
}

func leastOf(f *lexicon.Finding) float64 {
	sum := 0.0
	for i := range f.Parts {
		sum += f.Parts[i].Range[0]
	}
	return sum
}

// readParts reads "eyes four, verbal five, motor six" or "E4 V5 M6". Without the
// score's name two parts are needed: "eyes" alone are the organ.
func readParts(ts []token, i, end int, f *lexicon.Finding, named bool) (item, bool) {
	quals := map[string]string{}
	last := i
	for j := i; j < end; {
		k := readShort(ts, j, f, quals)
		if k == j {
			k = readPart(ts, j, end, f, quals)
		}
		if k == j {
			if j > i && (at(ts, j, "and") || at(ts, j, "best") || at(ts, j, "is")) {
				j++
				continue
			}
			break
		}
		j, last = k, k
	}
	if len(quals) < 2 && !(named && len(quals) == 1) {
		return item{}, false
	}
	return whole(f, i, last, reading{quals: quals}), true
}

// readTotal reads "10T": a total with a part that could not be tested.
func readTotal(ts []token, i int, f *lexicon.Finding) (item, bool) {
	v, j := cardinal(ts, i)
	if j == i || text(ts, j) != "t" || ts[j-1].after != noPause {
		return item{}, false
	}
	return whole(f, i, j+1, reading{value: finding.Number(v),
		marks: []finding.Mark{{Kind: finding.UnsureValue, Why: "a part could not be tested"}}}), true
}

// fillersOfParts may stand between a part's name and its number.
var fillersOfParts = map[string]bool{"is": true, "are": true, "at": true, "of": true, "a": true, "the": true, "score": true, "response": true}

// readPart reads one part with its number and gives the index after it.
func readPart(ts []token, i, end int, f *lexicon.Finding, quals map[string]string) int {
	var four [4]string
	words := four[:0]
	for j := i; j < end && j < i+4; j++ {
		words = append(words, ts[j].Text)
	}
	for k := range f.Parts {
		part := &f.Parts[k]
		n := part.At(words)
		if n == 0 || quals[part.Key] != "" {
			continue
		}
		j := i + n
		for j < end && fillersOfParts[ts[j].Text] {
			j++
		}
		if j >= end {
			continue
		}
		if v, e := cardinal(ts, j); e > j && e <= end {
			quals[part.Key] = num(v)
			return e
		}
		for e := min(end, j+3); e > j; e-- {
			var said []string
			for m := j; m < e; m++ {
				said = append(said, ts[m].Text)
			}
			if f.Untestable[strings.Join(said, " ")] {
				quals[part.Key] = "not testable"
				return e
			}
		}
	}
	return i
}

// readShort reads "E4" and "E4V5M6".
func readShort(ts []token, i int, f *lexicon.Finding, quals map[string]string) int {
	w := ts[i].Text
	made := map[string]string{}
	for w != "" {
		hit := false
		for k := range f.Parts {
			part := &f.Parts[k]
			rest, ok := strings.CutPrefix(w, part.Letter)
			if !ok || part.Letter == "" || rest == "" || made[part.Key] != "" || quals[part.Key] != "" {
				continue
			}
			n := 0
			for n < len(rest) && rest[n] >= '0' && rest[n] <= '9' {
				n++
			}
			switch {
			case n > 0:
				made[part.Key] = rest[:n]
			case rest[0] == 't':
				n, made[part.Key] = 1, "not testable"
			default:
				continue
			}
			w, hit = rest[n:], true
			break
		}
		if !hit {
			return i
		}
	}
	for k, v := range made {
		quals[k] = v
	}
	return i + 1
}

// scores joins a score's parts to its total and checks them against each other.
func (p *parser) scores() {
	for _, f := range p.x.body {
		if f.Kind != lexicon.Score {
			continue
		}
		for _, parts := range p.cands {
			if parts.gone || parts.f != f || !parts.value.IsZero() || parts.status != finding.Assessed {
				continue
			}
			if total := p.totalNear(parts); total != nil {
				total.toks = append(total.toks, parts.toks...)
				total.marks = append(total.marks, parts.marks...)
				for k, v := range parts.quals {
					total.set(k, v)
				}
				parts.gone = true
			}
		}
		for _, c := range p.cands {
			if !c.gone && c.f == f && c.status == finding.Assessed {
				p.checkScore(c)
			}
		}
	}
}

// totalNear is the total said closest to the parts, a sentence away at most.
func (p *parser) totalNear(parts *cand) *cand {
	var best *cand
	for _, c := range p.cands {
		if c.gone || c.f != parts.f || c.value.IsZero() || len(c.quals) > 0 && hasPart(c) {
			continue
		}
		if d := distance(c, parts); d <= 2 && (best == nil || d < distance(best, parts)) && c.sent >= parts.sent-1 && c.sent <= parts.sent+1 {
			best = c
		}
	}
	return best
}

func distance(a, b *cand) int {
	if a.chunk > b.chunk {
		return a.chunk - b.chunk
	}
	return b.chunk - a.chunk
}

func hasPart(c *cand) bool {
	for i := range c.f.Parts {
		if c.quals[c.f.Parts[i].Key] != "" {
			return true
		}
	}
	return false
}

// checkScore compares a total with its bounds and its parts. Nothing is mended:
// a total that was not said is added up only from all parts, and marked; where a
// part is lacking there is none.
func (p *parser) checkScore(c *cand) {
	sum, whole, said := 0.0, true, 0
	for i := range c.f.Parts {
		part := &c.f.Parts[i]
		v, err := strconv.ParseFloat(c.quals[part.Key], 64)
		if c.quals[part.Key] != "" {
			said++
		}
		if err != nil {
			whole = false
			continue
		}
		if v < part.Range[0] || v > part.Range[1] {
			c.mark(finding.Implausible, part.Key+" goes from "+num(part.Range[0])+" to "+num(part.Range[1]))
		}
		sum += v
	}
	total, has := c.value.Number()
	switch {
	case has && (total < leastOf(c.f) || total > mostOf(c.f)):
		c.mark(finding.Implausible, "outside "+num(leastOf(c.f))+" to "+num(mostOf(c.f)))
	case has && whole && sum != total:
		c.mark(finding.Conflict, "the parts that were said add up to "+num(sum), num(sum))
	case has && said > 0 && !whole:
		c.mark(finding.UnsureValue, "not every part was given a number")
	case !has && whole:
		c.value = finding.Number(sum)
		c.mark(finding.Inferred, "no total was said; added up from its parts")
	case !has:
		c.status = finding.NotAssessed
		if len(c.toks) > 0 { // what was said instead of a total
			at := c.toks[len(c.toks)-1]
			c.reason = p.words(at[0], at[1])
		}
		c.mark(finding.UnsureValue, "no total was said, and not every part was given a number")
	}
}
