package extract

import (
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Stage is a part of understanding that Explain tells of.
type Stage uint8

// Stages, in their order. They are told sentence by sentence from Statement on.
const (
	StageUnknown Stage = iota
	// Term: the words that the packs know, longest first.
	Term
	// Statement: a piece of a sentence and what it does.
	Statement
	// Value: what a statement says of which finding, and why of that.
	Value
	// Later: what later words did to it.
	Later
)

// Step is one thing that happened to words.
type Step struct {
	Stage Stage
	// Words are the words as they were said, What is what became of them.
	Words, What string
}

// Explain extracts and tells each step: for a pack's author who asks why a
// sentence gave what it gave.
func (x *Extractor) Explain(t transcript.Transcript, opt Options, tell func(Step)) finding.Set {
	return x.extract(t, opt, tell)
}

// Whole gives the senses of a text that is read as one term by itself; nil where
// it is read as a number, as several terms, or not at all. A pack's author asks
// so whether a term can be reached.
func (x *Extractor) Whole(text string) []lexicon.Sense {
	ts := x.repair(tokenize(transcript.FromText(text).Words))
	items := x.itemize(ts)
	// an article before the term is an item of its own
	for len(items) > 1 && len(items[0].senses) == 0 && lexicon.Article(ts[items[0].a].Text) {
		items = items[1:]
	}
	if len(items) != 1 || items[0].num != nil {
		return nil
	}
	return items[0].senses
}

// step tells of one thing that happened, where somebody listens.
func (p *parser) step(stage Stage, a, b int, format string, args ...any) {
	if p.tell != nil {
		p.tell(Step{stage, p.words(a, b), fmt.Sprintf(format, args...)})
	}
}

func (p *parser) tellTerms(items []item) {
	if p.tell == nil {
		return
	}
	for i := range items {
		it := &items[i]
		what := p.describe(it)
		if it.right != "" {
			what = "heard otherwise, read as " + it.right + "; " + what
		}
		p.step(Term, it.a, it.b, "%s", what)
	}
}

// describe says in plain words what an item can be.
func (p *parser) describe(it *item) string {
	switch {
	case it.said != nil:
		return "the whole value of " + it.senses[0].Finding.ID
	case it.num != nil && it.locator:
		return "a number of a bed, an age, a time or the like"
	case it.num != nil:
		return "number " + describeNumber(it.num, it.unit)
	case len(it.senses) == 0 && (lexicon.Article(p.ts[it.a].Text) || smallWords[p.ts[it.a].Text]):
		return "a small word"
	case len(it.senses) == 0:
		return "in no pack"
	}
	groups := map[string][]string{}
	var order []string
	for _, s := range it.senses {
		head, what := describeSense(s)
		if groups[head] == nil {
			order = append(order, head)
		}
		if !slices.Contains(groups[head], what) {
			groups[head] = append(groups[head], what)
		}
	}
	var out []string
	for _, head := range order {
		const most = 6
		all := groups[head]
		if n := len(all); n > most {
			all = append(all[:most:most], fmt.Sprintf("%d more", n-most))
		}
		out = append(out, head+" "+strings.Join(all, ", "))
	}
	return strings.Join(out, "; ")
}

func describeSense(s lexicon.Sense) (head, what string) {
	switch s.Kind {
	case lexicon.SiteSense:
		return "site", s.Site.ID
	case lexicon.NameSense:
		return "names", s.Finding.ID
	case lexicon.NounSense:
		return "names, where the site fits,", s.Finding.ID
	case lexicon.SaysSense:
		return "value", s.Finding.ID + "=" + s.Value
	case lexicon.AloneSense:
		var all []string
		for _, c := range s.Chart {
			all = append(all, c.Finding.ID+"="+c.Value)
		}
		return "charts", strings.Join(all, " and ")
	case lexicon.CueSense:
		return "cue", s.Cue.String()
	case lexicon.SideSense:
		return "side", s.Value
	case lexicon.DetailSense:
		return "qualifier", s.Key + ": " + s.Value
	case lexicon.UnitSense:
		return "unit", s.Unit.Code
	case lexicon.PlaceSense:
		return "place", s.Value
	}
	return "", ""
}

func describeNumber(n *number, unit *lexicon.Unit) string {
	out := num(n.value)
	if n.isRange {
		out += " to " + num(n.high)
	}
	if n.isBy {
		out += " x " + num(n.by)
	}
	out += n.sign
	if n.hasOf {
		out += " of " + num(n.of)
	}
	if n.clock {
		out += " o'clock"
	}
	if unit != nil {
		out += " " + unit.Code
	}
	return out
}

// tellValue says what a predicate gave and whom it was said of.
func (p *parser) tellValue(s *said, c *cand) {
	if p.tell == nil {
		return
	}
	of := "named by itself"
	switch {
	case s.subj.tok[1] > 0:
		of = fmt.Sprintf("said of %q", p.words(s.subj.tok[0], s.subj.tok[1]))
	case s.subj.far:
		of = "said of " + c.f.ID + ", named some time before"
	case s.subj.site != nil:
		of = "said of the " + s.subj.site.ID + ", named before"
	}
	if s.pr.neg {
		of += ", denied"
	}
	if c.f.Sides == lexicon.Paired {
		switch {
		case c.side == finding.NoSide:
			of += "; no side was said"
		case c.sideSaid:
			of += "; " + c.side.String() + " was said"
		default:
			of += "; no side was said, the words are general"
		}
	}
	p.step(Value, s.pr.it.a, s.pr.it.b, "%s=%s: %s", c.f.ID, c.value, of)
}

// tellLater says what became of findings after they were charted.
func (p *parser) tellLater() {
	if p.tell == nil {
		return
	}
	for _, c := range p.cands {
		if c.gone && len(c.toks) > 0 {
			p.step(Later, c.toks[0][0], c.toks[0][1], "%s=%s gave way to what was said later, or is said twice", c.f.ID, c.value)
		}
	}
}

var actNames = map[act]string{actState: "states", actInstruct: "is an instruction", actAsk: "is a question", actTeach: "teaches", actPlan: "is a plan",
	actPast: "tells of the past", actOther: "is about somebody else", actRetract: "takes back", actAnswer: "is an answer", actAside: "is a circumstance", actTold: "is conversation"}
