package extract

import "bedsaid/lexicon"

// statement adds up what speaks against a run of items being one statement.
type statement struct {
	p        *parser
	before   []*item // heads named before it
	head     *item
	other    *item // a second place named by "of the", "in the"
	cost     float64
	valued   bool
	soft     bool // valued by its name alone: "ptosis"
	pre      []*item
	found    *item // what was named as found
	neg      bool
	reason   bool // it gives a reason or a circumstance
	none     bool // "none" was said
	object   bool // what that one is about was named
	tells    bool // it began with what somebody is told to do
	plans    bool // it tells what will be done
	acts     bool // it asks, plans, teaches: its act reaches over what follows
	strange  int  // unknown words before its subject
	sides    int
	sidePast bool // a side stands after the last value
	lone     bool // right or left was the last word
	content  bool
}

// fits reports that value can be said of name.
func (p *parser) valueFits(value, name *item) bool {
	if value.num == nil && !value.has(lexicon.SaysSense) && !value.has(lexicon.NounSense) && !value.has(lexicon.NameSense) {
		return true // "present", "normal"
	}
	if value.cue(lexicon.CueNormal) && value.num == nil {
		return true
	}
	for _, s := range name.senses {
		if s.Kind != lexicon.NameSense && s.Kind != lexicon.SiteSense && s.Kind != lexicon.NounSense {
			continue
		}
		sub := subject{fnd: s.Finding, site: s.Site}
		if value.num != nil {
			if f, _ := p.byNumber(value.num, value.unit, sub); f != nil {
				return true
			}
			continue
		}
		if value.cue(lexicon.CueNormal, lexicon.CueAbsent, lexicon.CuePresent) && s.Finding != nil {
			return true
		}
		least := leastOwn
		if s.Finding != nil && s.Finding.Asked != lexicon.Summary {
			least = leastSure // a finding that was named takes its own values
		}
		if _, n := pick(value, sub, lexicon.SaysSense, lexicon.NounSense, lexicon.NameSense); n >= least {
			return true
		}
		if d, ok := value.sense(lexicon.DetailSense); ok && s.Finding != nil && s.Finding.Details[d.Key] {
			return true
		}
	}
	return value.num != nil && name.has(lexicon.NounSense) && namesPresent(name)
}

// takesKeyOf reports that a word can be a qualifier of what is named.
func takesKeyOf(name, word *item) bool {
	d, _ := word.sense(lexicon.DetailSense)
	return namesPresent(name) && takesKey(name, d.Key)
}

// wholeFits reports that a saying that names its own finding speaks of the name.
func (p *parser) wholeFits(value, name *item) bool {
	for _, v := range value.senses {
		for _, s := range name.senses {
			for _, ch := range v.Chart {
				if s.Finding == ch.Finding || fit(ch.Finding, subject{fnd: s.Finding, site: s.Site}) >= leastOwn {
					return true
				}
			}
		}
	}
	return false
}

// lies reports that what is found lies at this very site: a node in its group.
func (p *parser) lies(found, at *item) bool {
	n, ok := found.sense(lexicon.NameSense)
	if !ok || n.Finding.Asked != lexicon.Summary {
		return false
	}
	for _, s := range at.senses {
		if s.Kind == lexicon.SiteSense && exactly(found, s.Site) {
			return true
		}
	}
	return false
}

// within reports that the second name is part of the first: "ears, right drum".
func within(outer, inner *item) bool {
	for _, o := range outer.senses {
		if o.Kind != lexicon.SiteSense {
			continue
		}
		for _, s := range inner.senses {
			switch {
			case s.Kind == lexicon.SiteSense:
				if _, ok := s.Site.Within(o.Site); ok {
					return true
				}
			case s.Finding != nil && fit(s.Finding, subject{site: o.Site}) > 0:
				return true
			}
		}
	}
	return false
}

func (s *statement) add(items []item, i int) {
	it := &items[i]
	tied := s.content && s.p.tied(items, i)
	if it.cue(lexicon.CueBecause, lexicon.CueWhen) && !it.content() {
		s.reason = true
	}
	s.talk(items, i)
	r := it.role()
	if r == roleDeny && s.p.ts[it.a].Text == "no" && it.b-it.a == 1 && s.content && (i+1 == len(items) || items[i+1].role() == roleSide) {
		r = roleValue // "click no"
	}
	if r == roleValue && it.cue(lexicon.CueNegate) && !it.cue(lexicon.CueAbsent) && i+1 < len(items) {
		r = roleDeny // "I don't see a hole"
	}
	if r != roleNone {
		s.content = true
	}
	if r == roleNone && s.p.oneOf(it) && !(i+1 < len(items) && (items[i+1].role() == roleNoun || items[i+1].role() == roleHead)) {
		s.content, s.valued = true, true // "one on the right"
	}
	lone := s.lone
	s.lone = false
	if s.reason {
		s.because(r, tied)
		return
	}
	switch r {
	case roleHead:
		s.addHead(it, tied, i > 0 && items[i-1].role() == roleHead && &items[i-1] == s.head, lone)
	case roleNoun:
		s.addNoun(it, i > 0 && items[i-1].role() == roleHead)
	case roleValue:
		if it.has(lexicon.DetailSense) && i+1 < len(items) && (items[i+1].role() == roleNoun || items[i+1].role() == roleHead && takesKeyOf(&items[i+1], it)) {
			return // "bloody drainage"
		}
		if it.num != nil && i > 0 && it.unit != nil && (items[i-1].cue(lexicon.CuePrep) || it.unit.Base == "angle") {
			return // "at forty five degrees"
		}
		if it.num != nil && it.unit == nil && it.num.sign == "" && i+1 < len(items) && (items[i+1].role() == roleNoun || items[i+1].role() == roleHead && (s.head == nil || namesPresent(&items[i+1]))) {
			if s.said() {
				s.cost += costList
			}
			return // a count
		}
		s.addValue(it, i+1 < len(items) && items[i+1].role() == roleSide && !(i+2 < len(items) && items[i+2].role() == roleValue))
	case roleWhole:
		switch {
		case s.head != nil && !s.p.wholeFits(it, s.head):
			s.cost += costBothEnds
		case s.valued && !s.soft:
			s.cost += costForeign
		}
		s.valued, s.soft = true, false
	case roleSide:
		side, _ := it.sense(lexicon.SideSense)
		s.lone = side.Value == "right" || side.Value == "left"
		on := s.p.ts[it.a].Text == "on" || i > 0 && items[i-1].cue(lexicon.CuePrep)
		s.sides++
		if s.p.contrasts(items, i) {
			if s.said() {
				s.cost += costForeign // "swollen on the right, not the left"
			}
			s.content, s.valued = true, true
		} else if s.sides > 1 {
			s.cost += costForeign
		}
		if s.said() {
			s.sidePast = true
			if !on && s.p.ts[it.b-1].Text != "side" {
				s.cost += costOdd
			}
		} else if s.head == nil && s.p.ts[it.b-1].Text == "side" && (side.Value == "both" || side.Value == "neither") {
			s.cost += costLate
		} else if s.head == nil && on {
			s.cost += costOdd
		}
	case roleDeny:
		if s.said() {
			s.cost += costForeign
		} else if s.head != nil {
			s.cost += costDeny
		}
		s.neg = true
	}
}

// contrasts reports "not the left": a side that is denied what the other has.
func (p *parser) contrasts(items []item, i int) bool {
	for k := i - 1; k >= 0 && k >= i-2; k-- {
		switch it := &items[k]; {
		case it.cue(lexicon.CueNot) && it.b-it.a == 1:
			return true
		case !it.plain() || !lexicon.Article(p.ts[it.a].Text):
			return false
		}
	}
	return false
}

// because adds an item of a reason or a circumstance, which may name one thing: "because
// of the cold in her nose", "when I press the tragus". What goes on from there is
// a statement of its own.
func (s *statement) because(r role, tied bool) {
	switch r {
	case roleHead:
		if !tied && s.object {
			s.cost += costForeign
		}
		s.object = true
	case roleDeny, roleWhole:
		s.cost += costForeign
	case roleValue, roleNoun:
		if s.object {
			s.cost += costForeign
		}
	}
}

// talk notes what else is said than a statement.
func (s *statement) talk(items []item, i int) {
	it := &items[i]
	if it.turns && s.said() {
		s.cost += costTalk
	}
	s.plans = s.plans || it.cue(lexicon.CuePlan) && !it.content()
	switch {
	case it.content():
	case !s.content && (it.cue(lexicon.CueCommand) && i == 0 || it.cue(lexicon.CueInstruct)):
		s.tells = true
	case it.cue(lexicon.CueAsk, lexicon.CuePlan, lexicon.CueTeach, lexicon.CuePast, lexicon.CueOtherOne, lexicon.CuePatientSays, lexicon.CueWhen, lexicon.CueDoing, lexicon.CueNot, lexicon.CueHedge):
		s.acts = true
	case it.plain() && !s.content && !smallWords[s.p.ts[it.a].Text]:
		s.strange++
	}
}

// said reports that something was said of the subject, or ahead of it.
func (s *statement) said() bool { return s.valued || len(s.pre) > 0 }

func (s *statement) addHead(it *item, tied, next, lone bool) {
	presence := namesPresent(it)
	switch {
	case next && s.head != nil && within(s.head, it): // "parotid node", "nose septum"
		s.head = it
	case s.head == nil && s.valued && !s.soft && len(s.pre) == 0:
		// "swelling of the lid", "no discharge either eye"
		if !tied {
			s.cost += costBothEnds
		}
		s.other = it
	case s.head == nil:
		s.head = it
		for _, v := range s.pre {
			none := v.cue(lexicon.CueAbsent) && !tied && !s.p.x.lex.Cue(s.p.ts[it.a].Text, lexicon.CuePrep)
			if !s.p.valueFits(v, it) || none || s.sidePast {
				s.cost += costForeign // "none either side, thyroid"
			}
		}
		if len(s.pre) > 0 {
			s.valued = true
			if !s.pre[0].cue(lexicon.CueNormal) {
				s.cost += costOdd
			}
		}
	case tied:
		s.other = it
	case !s.valued && within(s.head, it):
		s.head = it
	case s.soft && s.p.lies(s.head, it): // "one node left posterior cervical chain"
		s.other = it
	case s.soft && within(it, s.head):
		s.cost += costBothEnds
		s.other = it
	case !s.valued:
		s.cost += costBare
		s.head = it
	default:
		s.cost += costForeign
		s.head, s.valued, s.soft, s.sidePast, s.pre, s.sides = it, false, false, false, nil, 0
	}
	if it.plural && lone {
		s.cost += costBothEnds // "left pupils"
	}
	if presence && s.head == it {
		s.valued, s.soft, s.found = true, true, it
	}
}

func (s *statement) addNoun(it *item, compound bool) {
	if s.valued && !s.soft && !compound {
		s.cost += costList
	}
	for _, v := range s.pre {
		if !v.has(lexicon.DetailSense) && v.num == nil && s.head == nil {
			s.cost += costForeign
		}
	}
	if s.head == nil {
		s.pre = nil
	}
	if s.head != nil && !s.p.valueFits(it, s.head) {
		s.cost += costForeign
	}
	s.valued, s.found = true, it
}

func (s *statement) addValue(it *item, sideNext bool) {
	if it.cue(lexicon.CueAbsent) && it.cue(lexicon.CueNegate) {
		if s.none || s.neg && s.valued && !s.soft {
			s.cost += costForeign // "no nodes in front, none behind"
		}
		s.none = true
	}
	unable := it.cue(lexicon.CueUnable) && !it.content()
	switch {
	case unable && s.head != nil && s.valued && !s.soft:
		s.cost += costForeign // "gag present, swallow not tested"
	case s.head == nil && !s.valued:
		s.pre = append(s.pre, it)
		if s.sidePast {
			s.cost += costForeign
		}
	case s.head != nil && !s.p.valueFits(it, s.head) && (s.other == nil || !s.p.valueFits(it, s.other)):
		s.cost += costForeign
	case s.neg && s.valued && !it.has(lexicon.DetailSense) && !it.cue(lexicon.CuePresent, lexicon.CueAbsent):
		s.cost += costForeign // "no click full motion"
	case len(s.pre) > 0 && s.head != nil:
		if s.pre[0].cue(lexicon.CueNormal) { // "normal JVP is flat" teaches
			s.cost += costCarried
		} else {
			s.cost += costBothEnds
		}
	case s.valued && s.sidePast && s.soft && sideNext && it.cue(lexicon.CueAbsent):
		s.cost += costForeign // "droop left none right"
	case s.valued && s.sidePast && !s.soft && !(s.found != nil && takesKeyOf(s.found, it)):
		s.cost += costForeign // "right sluggish left brisk"
	}
	if s.head != nil {
		s.valued, s.soft = true, false
	}
	s.sidePast = false
}

// total is the cost of the statement if it ends here.
func (s *statement) total() float64 {
	c := s.cost + costStatement
	if s.head != nil && s.valued && !s.soft && len(s.pre) == 0 && !s.acts {
		c += costStrange * float64(min(s.strange, 4)) // "what month, pupils three": talk goes first
	}
	if s.tells && s.said() && !s.soft && !s.acts {
		c += costForeign // "open your eyes for me, pupils three"
	}
	switch {
	case s.tells && !s.valued:
	case !s.content:
		c -= costStatement
	case s.head == nil && len(s.pre) > 0:
		c += costCarried
		for _, v := range s.pre {
			ok := len(s.before) == 0
			for _, h := range s.before {
				ok = ok || s.p.valueFits(v, h)
			}
			if !ok {
				c += costForeign
			}
		}
	case s.head != nil && !s.valued && !s.plans:
		c += costBare
	case s.head == nil && !s.valued && s.sides > 0:
		c += costLoneSide
	}
	return c
}
