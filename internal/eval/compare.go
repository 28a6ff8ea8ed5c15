package eval

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"bedsaid/internal/corpus"
	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// Counts compare what was charted with what a case expects. A finding of both
// sides counts as right and left. It counts as the contract's scorer does
// (score.py), which TestAgreesWithTheContract checks where that is present.
type Counts struct {
	// Expected and Charted are facts: a finding with its side, zone, status and
	// value. Right are those that are the same.
	Expected, Charted, Right int
	// Missed were not charted at all; Invented are too many.
	Missed, Invented int
	// WrongValue and WrongSide were charted otherwise; Unmarked are those of them
	// that carry no doubt: what a reviewer would not see.
	WrongValue, WrongValueUnmarked int
	WrongSide, WrongSideUnmarked   int
	WrongSource                    int
	// FalseExpected were charted as one expects of a healthy adult, and nobody
	// said so.
	FalseExpected, FalseExpectedUnmarked int
	// MissedUnexpected were not charted, and stand out.
	MissedUnexpected int
	// NeverHit are findings that the case names as never to be charted.
	NeverHit int
	// Wrong is all that is charted and wrong; WrongMarked and RightMarked carry a
	// doubt.
	Wrong, WrongMarked, RightMarked                int
	QualifiersExpected, Qualifiers, QualifiersMore int
	// Misplaced are words that lie nowhere or twice.
	Misplaced int
	// MarksExpected are doubts that the case names, Marks those that are there.
	MarksExpected, Marks int
	// QuotesExpected are statements of danger to be quoted, Quotes those that are.
	// QuotesMore are quoted where a case says that nothing may be.
	QuotesExpected, Quotes, QuotesMore int
	// AttentionExpected are findings that want action, Attention those listed;
	// AttentionMore are listed where a case says that nothing wants action.
	AttentionExpected, Attention, AttentionMore int
}

// Precision is the share of what was charted that is right, 0 to 1.
func (c Counts) Precision() float64 { return share(c.Right, c.Charted) }

// Recall is the share of what was expected that was charted right, 0 to 1.
func (c Counts) Recall() float64 { return share(c.Right, c.Expected) }

// F1 is the harmonic mean of the two.
func (c Counts) F1() float64 { return share(2*c.Right, c.Charted+c.Expected) }

// RightMarkedShare is the share of right findings that carry a doubt all the
// same, 0 to 1.
func (c Counts) RightMarkedShare() float64 { return share(c.RightMarked, c.Right) }

// WrongMarkedShare is the share of wrong findings that carry a doubt, 0 to 1.
func (c Counts) WrongMarkedShare() float64 { return share(c.WrongMarked, c.Wrong) }

// Unseen is the number of the worst mistakes: a wrong side, a wrong value or a
// false expected value without a mark.
func (c Counts) Unseen() int {
	return c.WrongSideUnmarked + c.WrongValueUnmarked + c.FalseExpectedUnmarked
}

// Add sums counts.
func (c *Counts) Add(o Counts) {
	sum := func(a *int, b int) { *a += b }
	for i, p := range c.all() {
		sum(p, *o.all()[i])
	}
}

func (c *Counts) all() []*int {
	return []*int{&c.Expected, &c.Charted, &c.Right, &c.Missed, &c.Invented, &c.WrongValue, &c.WrongValueUnmarked, &c.WrongSide, &c.WrongSideUnmarked,
		&c.WrongSource, &c.FalseExpected, &c.FalseExpectedUnmarked, &c.MissedUnexpected, &c.NeverHit, &c.Wrong, &c.WrongMarked, &c.RightMarked,
		&c.QualifiersExpected, &c.Qualifiers, &c.QualifiersMore, &c.Misplaced, &c.MarksExpected, &c.Marks, &c.QuotesExpected, &c.Quotes, &c.QuotesMore,
		&c.AttentionExpected, &c.Attention, &c.AttentionMore}
}

// claim is one finding in a form that both sides of the comparison have.
type claim struct {
	fact
	qualifiers map[string]string
	source     string
	marked     bool
}

// fact is what is compared.
type fact struct{ status, value string }

// place is where a fact belongs; zone is empty for findings without zones.
type place struct{ id, side, zone string }

// ledger holds claims by place, in the order they came.
type ledger struct {
	order []place
	at    map[place][]claim
}

func (l *ledger) add(p place, c claim) {
	have, known := l.at[p]
	if !known {
		l.order = append(l.order, p)
	}
	if !slices.ContainsFunc(have, func(h claim) bool { return h.fact == c.fact }) {
		have = append(have, c)
	}
	l.at[p] = have
}

// judge compares one case with what was charted.
type judge struct {
	judged func(id string) (*lexicon.Finding, bool)
	never  []string
	counts Counts
	note   func(string)
}

func (j *judge) place(id, side, zone string) (place, bool) {
	f, ok := j.judged(id)
	if !ok {
		return place{}, false
	}
	if f.Sides != lexicon.Zone {
		zone = ""
	}
	return place{id, side, zone}, true
}

func sidesOf(side string) []string {
	if side == "both" {
		return []string{"right", "left"}
	}
	return []string{side}
}

// plain gives a value in one spelling: numbers to three decimals.
func plain(v string) string {
	if n, err := strconv.ParseFloat(v, 64); err == nil {
		return strconv.FormatFloat(math.Round(n*1000)/1000, 'f', -1, 64)
	}
	return v
}

func (j *judge) expected(c corpus.Case) ledger {
	l := ledger{at: map[place][]claim{}}
	for _, f := range c.Findings {
		for _, side := range sidesOf(f.Side) {
			if p, ok := j.place(f.ID, side, f.Zone); ok {
				l.add(p, claim{fact: fact{cmp.Or(f.Status, "assessed"), plain(string(f.Value))}, qualifiers: f.Qualifiers, source: cmp.Or(f.Source, "observed")})
			}
		}
	}
	return l
}

func (j *judge) charted(findings []finding.Finding) ledger {
	l := ledger{at: map[place][]claim{}}
	for i := range findings {
		f := &findings[i]
		for _, side := range sidesOf(f.Side.String()) {
			if p, ok := j.place(f.ID, side, f.Zone); ok {
				l.add(p, claim{fact: fact{f.Status.String(), plain(f.Value.String())}, qualifiers: f.Qualifiers, source: f.Source.String(), marked: len(f.Marks) > 0})
			}
		}
	}
	return l
}

// isExpected reports a value that one expects of a healthy adult.
func (j *judge) isExpected(p place, f fact) bool {
	lf, _ := j.judged(p.id)
	if f.status != "assessed" || f.value == "" {
		return false
	}
	for _, side := range []string{"any", p.side} {
		for _, v := range lf.Expected[side] {
			if plain(v) == f.value {
				return true
			}
		}
	}
	return false
}

func (j *judge) wrong(p place, c claim, why string) {
	j.counts.Wrong++
	if c.marked {
		j.counts.WrongMarked++
	}
	if j.isExpected(p, c.fact) {
		j.counts.FalseExpected++
		if !c.marked {
			j.counts.FalseExpectedUnmarked++
		}
	}
	if c.status == "assessed" && (slices.Contains(j.never, p.id) || slices.Contains(j.never, p.id+"@"+p.side)) {
		j.counts.NeverHit++
	}
	mark := ""
	if c.marked {
		mark = ", marked"
	}
	j.say(why, p, c.fact, mark)
}

func (j *judge) say(why string, p place, f fact, more string) {
	if j.note != nil {
		where := p.id
		for _, s := range []string{p.side, p.zone} {
			if s != "" {
				where += "@" + s
			}
		}
		j.note(why + " " + where + " " + cmp.Or(f.value, f.status) + more)
	}
}

// partner finds where the facts expected at p were charted: there, or in a zone
// that shares a word with it, or with the zone left out or added.
func partner(p place, zoned bool, want, got *ledger, used map[place]bool) (place, bool) {
	if _, ok := got.at[p]; ok && !used[p] {
		return p, true
	}
	if !zoned {
		return place{}, false
	}
	var near []place
	for _, k := range got.order {
		if _, own := want.at[k]; k.id == p.id && !used[k] && !own {
			near = append(near, k)
		}
	}
	words := strings.Fields(strings.ToLower(p.zone))
	for _, k := range near {
		if slices.ContainsFunc(strings.Fields(strings.ToLower(k.zone)), func(w string) bool { return slices.Contains(words, w) }) {
			return k, true
		}
	}
	for _, k := range near {
		if (k.zone == "") != (p.zone == "") {
			return k, true
		}
	}
	return place{}, false
}

// compare counts a case; lost are the facts that were charted nowhere.
func (j *judge) compare(want, got ledger) {
	type loss struct {
		place
		fact
	}
	var lost []loss
	used := map[place]bool{}
	for _, p := range want.order {
		facts := want.at[p]
		j.counts.Expected += len(facts)
		lf, _ := j.judged(p.id)
		var have []claim
		if k, ok := partner(p, lf.Sides == lexicon.Zone, &want, &got, used); ok {
			used[k] = true
			have = slices.Clone(got.at[k])
			j.counts.Charted += len(have)
		}
		var missing []claim
		for _, w := range facts {
			i := slices.IndexFunc(have, func(h claim) bool { return h.fact == w.fact })
			if i < 0 {
				missing = append(missing, w)
				continue
			}
			j.right(p, w, have[i])
			have = slices.Delete(have, i, i+1)
		}
		for _, w := range missing {
			if w.status == "assessed" && !j.isExpected(p, w.fact) {
				j.counts.MissedUnexpected++
			}
			if len(have) == 0 {
				j.counts.Missed++
				lost = append(lost, loss{p, w.fact})
				j.say("missed", p, w.fact, "")
				continue
			}
			j.counts.WrongValue++
			if !have[0].marked {
				j.counts.WrongValueUnmarked++
			}
			j.wrong(p, have[0], "value, want "+cmp.Or(w.value, w.status)+", got")
			have = have[1:]
		}
		for _, h := range have {
			j.counts.Invented++
			j.wrong(p, h, "one too many")
		}
	}
	for _, p := range got.order {
		if used[p] {
			continue
		}
		j.counts.Charted += len(got.at[p])
		for _, h := range got.at[p] {
			j.wrong(p, h, "invented")
			i := slices.IndexFunc(lost, func(l loss) bool { return l.id == p.id && l.fact == h.fact })
			if i < 0 {
				j.counts.Invented++
				continue
			}
			lost = slices.Delete(lost, i, i+1)
			j.counts.WrongSide++
			if !h.marked {
				j.counts.WrongSideUnmarked++
			}
		}
	}
}

// right counts what goes with a fact that is right.
func (j *judge) right(p place, want, got claim) {
	c := &j.counts
	c.Right++
	if got.marked {
		c.RightMarked++
	}
	for k, v := range want.qualifiers {
		c.QualifiersExpected++
		have := strings.Fields(strings.ToLower(got.qualifiers[k]))
		hit := len(have) > 0
		for _, w := range strings.Fields(strings.ToLower(v)) {
			hit = hit && slices.Contains(have, w)
		}
		if hit {
			c.Qualifiers++
		}
	}
	for k := range got.qualifiers {
		if _, ok := want.qualifiers[k]; !ok {
			c.QualifiersMore++
		}
	}
	if want.source != got.source {
		c.WrongSource++
		j.say("source "+got.source+":", p, want.fact, "")
	}
}
