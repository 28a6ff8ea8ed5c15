package extract

import (
	"slices"
	"sort"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// asDetails decides for words that can be a value or a qualifier: beside a
// named finding that takes it, it is a qualifier.
func (p *parser) asDetails(f *frame) {
	for i := range f.details {
		d := &f.details[i]
		if !d.it.has(lexicon.SaysSense) {
			continue
		}
		if !p.belongs(f, d) {
			continue
		}
		for k := range f.preds {
			if f.preds[k].it == d.it {
				f.preds[k].used = true
			}
		}
	}
}

// belongs reports that a qualifier stands beside a finding that takes it.
func (p *parser) belongs(f *frame, d *detail) bool {
	named := false
	for k := range f.preds {
		pr := &f.preds[k]
		if pr.kind != predNamed && pr.kind != predAlone && !(pr.kind == predSays && presents(pr.it)) || pr.it == d.it {
			continue
		}
		named = true
		between := false
		for j := range f.subAt {
			lo, hi := min(pr.at, d.at), max(pr.at, d.at)
			if f.subAt[j] > lo && f.subAt[j] < hi && f.subAt[j] != pr.at && !f.subs[j].adjective && d.at > pr.at {
				between = !f.c.items[f.subAt[j]-1].cue(lexicon.CuePrep)
			}
		}
		if !between && takesKey(pr.it, d.key) {
			return true
		}
	}
	if named || len(f.subs) > 0 {
		return false
	}
	if d.key != "tenderness" {
		for _, s := range p.topic {
			if _, n := pick(d.it, s, lexicon.SaysSense); n >= 90 {
				return false // "drum white, flat"
			}
		}
	}
	c := p.lastTaking(d.key)
	return c != nil && (c.sent == p.sent || c.sent == p.sent-1 && pronoun(p.ts, f.c) || c.sent >= p.sent-2 && d.key == "tenderness" && len(f.c.items) == 1) && p.lastChunkOf(c)
}

// lastChunkOf reports that c is among the latest findings, so that "yellow"
// after "some drainage" is not taken for an earlier one.
func (p *parser) lastChunkOf(c *cand) bool {
	for i := len(p.cands) - 1; i >= 0; i-- {
		if x := p.cands[i]; !x.gone {
			return c.chunk == x.chunk
		}
	}
	return false
}

// since gives the findings made in a chunk and after it: they stand in the order
// of speech.
func (p *parser) since(chunk int) []*cand {
	return p.cands[sort.Search(len(p.cands), func(i int) bool { return p.cands[i].chunk >= chunk }):]
}

// presents reports a word that says one thing only, that something is there:
// "coated".
func presents(it *item) bool {
	s, ok := onlySense(it)
	return ok && s.Finding.Kind == lexicon.Presence && !it.has(lexicon.DetailSense)
}

func takesKey(it *item, key string) bool {
	for _, s := range it.senses {
		if s.Finding != nil && s.Finding.Details[key] && (s.Kind == lexicon.NounSense || s.Kind == lexicon.NameSense || s.Kind == lexicon.AloneSense || s.Kind == lexicon.SaysSense && presents(it)) {
			return true
		}
	}
	return false
}

// pronoun reports a chunk that opens with "it", "that" or the like.
func pronoun(ts []token, c *chunk) bool {
	a, b := c.span()
	for i := a; i < b && i < a+3; i++ {
		switch ts[i].Text {
		case "it", "they", "that", "this", "about", "measure", "measuring", "maybe", "feel", "roughly", "approximately", "size", "looks":
			return true
		}
	}
	return false
}

// lastTaking finds the latest present finding that takes one of the keys.
func (p *parser) lastTaking(keys ...string) *cand {
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone {
			continue
		}
		if c.sent < p.sent-1 {
			return nil
		}
		if c.value == finding.Word("absent") || c.status != finding.Assessed {
			continue
		}
		for _, k := range keys {
			if c.f.Details[k] {
				return c
			}
		}
	}
	return nil
}

// attach ties the chunk's qualifiers to its findings, or to the last one.
func (p *parser) attach(f *frame, start int) {
	made := p.cands[start:]
	if len(made) > 0 && len(p.pendDetails) > 0 {
		for i := range p.pendDetails {
			d := &p.pendDetails[i]
			if usedBefore(p.pendDetails[:i], d) {
				continue
			}
			for _, c := range made {
				if c.f.Details[d.key] && c.value != finding.Word("absent") && c.quals[d.key] == "" {
					c.set(d.key, d.value)
					c.toks = append(c.toks, p.pendDetailTok)
					d.used = true
				}
			}
		}
		p.pendDetails = nil
	}
	if len(made) == 0 && f.onlyDetails() && len(f.subs) == 0 && len(f.details) > 0 && p.s != nil && p.si+1 < len(p.s.chunks) {
		if len(p.waiting()) > 0 && len(p.pendDetails) == 0 { // "left submandibular, soft, one centimeter"
			p.pendDetails = append(p.pendDetails, f.details...)
			p.pendDetailTok[0], p.pendDetailTok[1] = f.c.span()
			return
		}
		if next := &p.s.chunks[p.si+1]; next.joint == jointComma || next.joint == jointAnd {
			for i := range next.items {
				if it := &next.items[i]; (it.has(lexicon.NounSense) || it.has(lexicon.NameSense)) && takesAny(it, f.details) {
					p.pendDetails = append(p.pendDetails, f.details...)
					p.pendDetailTok[0], p.pendDetailTok[1] = f.c.span()
					return
				}
				if next.items[i].content() && !next.items[i].has(lexicon.DetailSense) {
					break
				}
			}
		}
	}
	for i := range f.details {
		d := &f.details[i]
		if d.neg {
			d.value = opposite(d.key, d.value)
		}
		if p.valueItem(f, d) || d.value == "" {
			continue
		}
		if t := p.target(f, d, made); t != nil && !usedBefore(f.details[:i], d) {
			d.used = true
			if p.correct && len(made) == 0 { // "firm, I mean soft"
				delete(t.quals, d.key)
				p.correct = false
			}
			v := d.value
			if d.key == "size" && t.f.Details["height"] && !t.f.Details["size"] {
				t.set("height", v)
			} else {
				t.set(d.key, v)
			}
			a, b := f.c.span()
			for _, o := range p.since(t.chunk) { // both sides of one statement share it
				if o != t && o.chunk == t.chunk && o.f == t.f && o.value == t.value && !o.gone && len(made) == 0 {
					o.set(d.key, v)
				}
			}
			if len(made) == 0 {
				t.sent = p.sent
				t.toks = append(t.toks, [2]int{a, b})
				if f.hedged {
					t.mark(finding.UnsureValue, "said with a doubt")
				}
			}
		}
	}
	if len(f.places) > 0 && len(made) == 0 && len(f.preds) == 0 {
		p.latePlace(f)
	}
}

// usedBefore reports that the same word already went under another key.
func usedBefore(ds []detail, d *detail) bool {
	for k := range ds {
		if ds[k].used && ds[k].it == d.it {
			return true
		}
	}
	return false
}

// opposite is what a denied qualifier means; empty where that says nothing.
func opposite(key, value string) string {
	switch value {
	case "present":
		return "absent"
	case "absent":
		return "present"
	case "mobile":
		return "fixed"
	case "fixed":
		return "mobile"
	}
	return ""
}

// valueItem reports that the word already gave a value.
func (p *parser) valueItem(f *frame, d *detail) bool {
	for k := range f.preds {
		pr := &f.preds[k]
		if pr.it == d.it && !pr.used && pr.kind != predNumber {
			return p.charted(pr)
		}
	}
	return false
}

func (p *parser) charted(pr *pred) bool {
	for _, c := range p.since(p.chunkN) {
		if c.chunk == p.chunkN && !c.gone {
			for _, s := range pr.it.senses {
				if s.Finding == c.f {
					return true
				}
			}
		}
	}
	return false
}

// target chooses the finding a qualifier belongs to: the named one after it in
// its chunk, else the one before it, else the last one that takes it.
func (p *parser) target(f *frame, d *detail, made []*cand) *cand {
	takes := func(c *cand) bool {
		ok := c.f.Details[d.key] || d.key == "size" && c.f.Details["height"] || d.key == "onset" && c.value != finding.Word("absent")
		return ok && !c.gone && c.status == finding.Assessed && (c.value != finding.Word("absent") || d.key == "place")
	}
	for k := range f.preds { // prenominal
		pr := &f.preds[k]
		if pr.at > d.at && (pr.kind == predNamed || pr.kind == predAlone || pr.kind == predSays) {
			for _, c := range made {
				if takes(c) && spokenBy(pr.it, c) {
					return c
				}
			}
			break
		}
	}
	for i := len(made) - 1; i >= 0; i-- {
		if takes(made[i]) {
			return made[i]
		}
	}
	if c := p.bodyTaking(d.key); c != nil {
		return c
	}
	if len(made) > 0 || len(f.subs) > 0 && d.key != "tenderness" {
		return nil
	}
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone {
			continue
		}
		if c.sent < p.sent-1 || c.sent < p.sent && !pronoun(p.ts, f.c) && d.at > 3 {
			return nil
		}
		if takes(c) {
			return c
		}
		if c.chunk < p.chunkN-4 {
			return nil
		}
	}
	return nil
}

func takesAny(it *item, details []detail) bool {
	return slices.ContainsFunc(details, func(d detail) bool { return takesKey(it, d.key) })
}

// onlyDetails reports a chunk whose values are all words that can be qualifiers:
// "a hard" of "a hard, fixed node".
func (f *frame) onlyDetails() bool {
	for i := range f.preds {
		if !f.preds[i].it.has(lexicon.DetailSense) {
			return false
		}
	}
	return true
}

func spokenBy(it *item, c *cand) bool {
	for _, s := range it.senses {
		if s.Finding == c.f {
			return true
		}
		for _, ch := range s.Chart {
			if ch.Finding == c.f {
				return true
			}
		}
	}
	return false
}

// latePlace gives the last finding with a zone the place that follows it.
func (p *parser) latePlace(f *frame) {
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone || c.f.Sides != lexicon.Zone {
			continue
		}
		if c.sent != p.sent && !(c.sent == p.sent-1 && p.lastChunkOf(c)) {
			break
		}
		a, b := f.c.span()
		if c.placeItem { // "over the crown and the occiput"
			if f.c.joint != jointAnd && f.c.joint != jointOr {
				break
			}
			for _, pl := range f.places {
				d := c.clone()
				d.zone, d.chunk = zoneText(pl), p.chunkN
				d.toks = append(d.toks, [2]int{a, b})
				p.cands = append(p.cands, d)
			}
			return
		}
		if pl := f.places[0]; pl.site != nil && pl.site.Region != c.f.Region && !slices.Contains(c.f.Also, pl.site.Region) {
			break // "tender. Back of the neck, ...": another part begins
		}
		c.zone, c.placeItem = zoneText(f.places[0]), true
		c.toks = append(c.toks, [2]int{a, b})
		return
	}
	p.pendPlace = f.places[0]
	a, b := f.c.span()
	p.pendPlaceTok = [2]int{a, b}
}

// backRun gives a side that trails a list to the whole list: "no redness,
// swelling or drainage on the left".
func (p *parser) backRun(f *frame, start int) {
	made := p.cands[start:]
	if len(f.subs) > 0 && strangers(f) || len(made) == 0 {
		return
	}
	side := finding.NoSide
	for k := range f.preds {
		if f.preds[k].side != finding.NoSide && f.lead == finding.NoSide {
			side = f.preds[k].side
		}
	}
	if side == finding.NoSide || f.c.joint == jointStart || f.c.joint == jointBut || f.c.joint == jointPlain || f.c.joint == jointExcept {
		return
	}
	polarity := made[0].value == finding.Word("absent")
	chunk := p.chunkN
	for i := start - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.sent != p.sent || c.sideSaid || c.gone || c.chunk < chunk-1 || c.f.Sides != lexicon.Paired || (c.value == finding.Word("absent")) != polarity || c.side == finding.Both && !polarity {
			break
		}
		chunk = c.chunk
		c.side, c.sideSaid = side, true
		dropMark(c, finding.UnsureSide)
		a, b := f.c.span()
		c.toks = append(c.toks, [2]int{a, b})
	}
}

func dropMark(c *cand, k finding.MarkKind) {
	var keep []finding.Mark
	for _, m := range c.marks {
		if m.Kind != k {
			keep = append(keep, m)
		}
	}
	c.marks = keep
}

// spreadTo repeats what was said of the site before for the sites that go on
// its list.
func (p *parser) spreadTo(f *frame) bool {
	var src []*cand
	for i := len(p.cands) - 1; i >= 0; i-- {
		c := p.cands[i]
		if c.gone || c.sent != p.sent || len(src) > 0 && c.chunk != src[0].chunk {
			break
		}
		if len(src) == 0 && c.chunk < p.chunkN-1 {
			break
		}
		src = append(src, c)
	}
	if len(src) == 0 || !p.lastHead.postSite() {
		return false
	}
	made := false
	a, b := f.c.span()
	for k := range f.subs {
		s := f.subs[k]
		for _, c := range src {
			for _, pr := range p.lastHead.preds {
				if pr.kind != predNamed && pr.kind != predSays {
					continue
				}
				sense, n := pick(pr.it, s, lexicon.NounSense, lexicon.SaysSense)
				if n < leastOwn || sense.Finding == c.f {
					continue
				}
				d := c.clone()
				d.f, d.chunk, d.zone = sense.Finding, p.chunkN, ""
				d.toks = append(d.toks, [2]int{a, b})
				d.marks, d.quals = nil, nil
				q := said{pr: &pred{it: pr.it, side: finding.NoSide}, f: sense.Finding, subj: s}
				if s.side == finding.NoSide {
					q.pr.side = trailSide(f)
				}
				d.side, d.sideSaid = finding.NoSide, false
				p.place(f, &q, d)
				p.cands = append(p.cands, d)
				made = true
			}
			break
		}
	}
	return made
}

func trailSide(f *frame) finding.Side { return f.last }

// postSite reports that the site stood after what was said of it.
func (f *frame) postSite() bool {
	for k := range f.subs {
		for j := range f.preds {
			if f.subAt[k] > f.preds[j].at {
				return true
			}
		}
	}
	return false
}
