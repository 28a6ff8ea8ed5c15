package speechtest

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Tally counts what a draft has right and wrong; tallies add up.
type Tally struct {
	// Gold is what was to be charted, Got what was, Right what both agree on; a
	// finding of both sides counts twice.
	Gold, Got, Right int
	// RightMarked are right ones that carry a doubt all the same.
	RightMarked      int
	Missed, Invented int
	// WrongValue and WrongSide are what should be charted with another value, or
	// on the other side; the second number of each carries no mark.
	WrongValue, WrongValueUnmarked int
	WrongSide, WrongSideUnmarked   int
	// FalseExpected is charted as expected of a healthy adult where the case says
	// otherwise or nothing.
	FalseExpected, FalseExpectedUnmarked int
	MissedUnexpected                     int
	// NeverHit are assessed findings that the case forbids.
	NeverHit int
	// Misplaced are words in no evidence and no left-out talk, or in both.
	Misplaced int
}

// Add adds another tally.
func (t *Tally) Add(o Tally) {
	t.Gold, t.Got, t.Right, t.RightMarked = t.Gold+o.Gold, t.Got+o.Got, t.Right+o.Right, t.RightMarked+o.RightMarked
	t.Missed, t.Invented = t.Missed+o.Missed, t.Invented+o.Invented
	t.WrongValue, t.WrongValueUnmarked = t.WrongValue+o.WrongValue, t.WrongValueUnmarked+o.WrongValueUnmarked
	t.WrongSide, t.WrongSideUnmarked = t.WrongSide+o.WrongSide, t.WrongSideUnmarked+o.WrongSideUnmarked
	t.FalseExpected, t.FalseExpectedUnmarked = t.FalseExpected+o.FalseExpected, t.FalseExpectedUnmarked+o.FalseExpectedUnmarked
	t.MissedUnexpected, t.NeverHit, t.Misplaced = t.MissedUnexpected+o.MissedUnexpected, t.NeverHit+o.NeverHit, t.Misplaced+o.Misplaced
}

// Precision is the share of what was charted that is right; 0 where nothing was.
func (t Tally) Precision() float64 { return share(t.Right, t.Got) }

// Recall is the share of what was to be charted that is right.
func (t Tally) Recall() float64 { return share(t.Right, t.Gold) }

// F1 is the harmonic mean of precision and recall.
func (t Tally) F1() float64 { return share(2*t.Right, t.Got+t.Gold) }

func share(part, whole int) float64 {
	if whole == 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// beyond are findings that the contract's table lacks and no case asks for.
const beyond = "throat.soreness throat.redness throat.exudate face.swelling neck.tenderness ear.tinnitus eye.photophobia mouth.odour mouth.speech_slurred mouth.tonsils_removed eye.lid_redness ear.canal_redness"

// place is where a finding stands: its id, right, left or no side, and a zone.
type place struct{ id, side, zone string }

// charted is a fact with what its scoring needs.
type charted struct {
	fact   string
	value  string
	marked bool
}

// chart holds facts by place, the places in the order they were put in.
type chart struct {
	facts map[place][]charted
	order []place
}

func newChart() *chart { return &chart{facts: map[place][]charted{}} }

// scorer compares one case with one draft.
type scorer struct {
	lex        *lexicon.Lexicon
	never      map[string]bool
	want, got  *chart
	used       map[place]bool
	tally      Tally
	lostPlaces []lost
}

// lost is a fact that was expected and not found.
type lost struct {
	id, fact string
	taken    bool
}

// Score compares what was charted with a case. The rules are the contract's: for
// each finding, side and zone the facts are compared; what is too many is
// invented, what is absent is missed.
func Score(lex *lexicon.Lexicon, c Case, findings []finding.Finding) Tally {
	s := scorer{lex: lex, never: map[string]bool{}, want: newChart(), got: newChart(), used: map[place]bool{}}
	for _, n := range c.Never {
		s.never[n] = true
	}
	for _, g := range c.Findings {
		value := strings.TrimPrefix(g.fact(), "assessed ")
		s.put(s.want, g.ID, g.Side, g.Zone, charted{fact: g.fact(), value: value})
	}
	for _, f := range findings {
		if slices.Contains(strings.Fields(beyond), f.ID) {
			continue
		}
		s.put(s.got, f.ID, f.Side.String(), f.Zone, charted{factOf(f.Status.String(), f.Value.String()), f.Value.String(), len(f.Marks) > 0})
	}
	for _, at := range s.want.order {
		s.expect(at)
	}
	for _, at := range s.got.order {
		if !s.used[at] {
			s.tooMany(at)
		}
	}
	return s.tally
}

// put files a fact under each side it is said of; the same fact counts once.
func (s *scorer) put(m *chart, id, side, zone string, c charted) {
	f, ok := s.lex.Finding(id)
	if !ok {
		return
	}
	if f.Sides != lexicon.Zone {
		zone = ""
	}
	sides := []string{side}
	if side == "both" {
		sides = []string{"right", "left"}
	}
	for _, sd := range sides {
		at := place{id, sd, zone}
		if len(m.facts[at]) == 0 {
			m.order = append(m.order, at)
		}
		if !slices.ContainsFunc(m.facts[at], func(o charted) bool { return o.fact == c.fact }) {
			m.facts[at] = append(m.facts[at], c)
		}
	}
}

// partner is where the draft has what the case has at a place; a zone may be
// worded otherwise, and a whole region may be named or not.
func (s *scorer) partner(at place) (place, bool) {
	if len(s.got.facts[at]) > 0 && !s.used[at] {
		return at, true
	}
	if f, ok := s.lex.Finding(at.id); !ok || f.Sides != lexicon.Zone {
		return place{}, false
	}
	var near []place
	for _, k := range s.got.order {
		if _, same := s.want.facts[k]; k.id == at.id && !s.used[k] && !same {
			near = append(near, k)
		}
	}
	words := strings.Fields(strings.ToLower(at.zone))
	for _, k := range near {
		if slices.ContainsFunc(strings.Fields(strings.ToLower(k.zone)), func(w string) bool { return slices.Contains(words, w) }) {
			return k, true
		}
	}
	for _, k := range near {
		if (k.zone == "") != (at.zone == "") {
			return k, true
		}
	}
	return place{}, false
}

// expect scores one place of the case.
func (s *scorer) expect(at place) {
	want := s.want.facts[at]
	s.tally.Gold += len(want)
	k, found := s.partner(at)
	var have []charted
	if found {
		s.used[k] = true
		have = slices.Clone(s.got.facts[k])
		s.tally.Got += len(have)
	}
	var missing []charted
	for _, w := range want {
		i := slices.IndexFunc(have, func(h charted) bool { return h.fact == w.fact })
		if i < 0 {
			missing = append(missing, w)
			continue
		}
		s.tally.Right++
		s.tally.RightMarked += count(have[i].marked)
		have = slices.Delete(have, i, i+1)
	}
	for _, w := range missing {
		assessed := strings.HasPrefix(w.fact, "assessed")
		s.tally.MissedUnexpected += count(assessed && !s.expected(at, w.value))
		if len(have) == 0 {
			s.tally.Missed++
			s.lostPlaces = append(s.lostPlaces, lost{id: at.id, fact: w.fact})
			continue
		}
		s.tally.WrongValue++
		s.tally.WrongValueUnmarked += count(!s.wrong(k, have[0]))
		have = have[1:]
	}
	for _, h := range have {
		s.tally.Invented++
		s.wrong(k, h)
	}
}

// tooMany scores a place of the draft that the case does not have.
func (s *scorer) tooMany(at place) {
	s.tally.Got += len(s.got.facts[at])
	for _, h := range s.got.facts[at] {
		marked := s.wrong(at, h)
		i := slices.IndexFunc(s.lostPlaces, func(l lost) bool { return !l.taken && l.id == at.id && l.fact == h.fact })
		if i < 0 {
			s.tally.Invented++
			continue
		}
		s.lostPlaces[i].taken = true
		s.tally.WrongSide++
		s.tally.WrongSideUnmarked += count(!marked)
	}
}

// wrong counts what a wrong fact may do, and gives whether it carries a mark.
func (s *scorer) wrong(at place, h charted) bool {
	assessed := strings.HasPrefix(h.fact, "assessed")
	if assessed && s.expected(at, h.value) {
		s.tally.FalseExpected++
		s.tally.FalseExpectedUnmarked += count(!h.marked)
	}
	s.tally.NeverHit += count(assessed && (s.never[at.id] || s.never[at.id+"@"+at.side]))
	return h.marked
}

// expected says whether a value is what a healthy adult has there.
func (s *scorer) expected(at place, value string) bool {
	f, ok := s.lex.Finding(at.id)
	if !ok {
		return false
	}
	values := f.Expected["any"]
	if v, ok := f.Expected[at.side]; ok {
		values = v
	}
	return slices.Contains(values, value)
}

func count(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// Misplaced counts the words of a transcript that lie in no evidence and in no
// left-out talk, in both, or in two stretches of left-out talk.
func Misplaced(t transcript.Transcript, findings []finding.Finding, left []finding.LeftOut) int {
	evidence, out := make([]bool, len(t.Words)), make([]int, len(t.Words))
	for _, f := range findings {
		for _, e := range f.Evidence {
			for w := e.Start; w < e.End; w++ {
				evidence[w] = true
			}
		}
	}
	for _, l := range left {
		for w := l.Span.Start; w < l.Span.End; w++ {
			out[w]++
		}
	}
	bad := 0
	for w := range evidence {
		if evidence[w] == (out[w] > 0) || out[w] > 1 {
			bad++
		}
	}
	return bad
}
