package extract

import (
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// subject is what a value is said of: a site or a finding.
type subject struct {
	site *lexicon.Site
	fnd  *lexicon.Finding
	side finding.Side
	// plural words speak of both sides; single words with an article of one.
	plural, single bool
	tok            [2]int
	// adjective is true of "nasal": it never stands for the organ itself.
	adjective bool
	// far is true of a subject that was named some time before: what is said of it
	// is read so, and marked.
	far bool
	// sent is the sentence in which it was spoken of.
	sent int
}

// organ is the topmost site below those whose parts are organs of their own: what
// a side holds for.
func organ(s *lexicon.Site) *lexicon.Site {
	for s != nil && s.Parent != nil {
		if s.Parent.Organs {
			return s
		}
		s = s.Parent
	}
	return s
}

func (s subject) sites() []*lexicon.Site {
	if s.fnd != nil {
		return s.fnd.At
	}
	if s.site != nil {
		return []*lexicon.Site{s.site}
	}
	return nil
}

// first is the site itself, or the first of the finding's.
func (s subject) first() *lexicon.Site {
	for _, x := range s.sites() {
		return x
	}
	return nil
}

func (s subject) organ() *lexicon.Site {
	for _, x := range s.sites() {
		return organ(x)
	}
	return nil
}

// cand is a finding in the making.
type cand struct {
	f         *lexicon.Finding
	value     finding.Value
	high      finding.Value
	unit      string // where the finding has several
	side      finding.Side
	zone      string
	quals     map[string]string
	status    finding.Status
	reason    string
	source    finding.Source
	marks     []finding.Mark
	toks      [][2]int
	sent      int // sentence number
	chunk     int // chunk number, over all sentences
	gone      bool
	sideSaid  bool // the side was spoken, not taken from the number of the word
	sideHeld  bool // it was spoken of what was named before
	mirrored  bool
	placeItem bool
}

func (c *cand) mark(k finding.MarkKind, why string, alternatives ...string) {
	for i := range c.marks {
		if c.marks[i].Kind == k {
			return
		}
	}
	c.marks = append(c.marks, finding.Mark{Kind: k, Why: why, Alternatives: alternatives})
}

func (c *cand) set(key, value string) {
	if c.quals == nil {
		c.quals = map[string]string{}
	}
	if have, ok := c.quals[key]; ok && key == "size" && strings.ContainsAny(have, "0123456789") && !strings.ContainsAny(value, "0123456789") {
		return // "a small one, two centimeters": the measure stands
	}
	if have, ok := c.quals[key]; ok && have != value && key != "size" && key != "tenderness" && key != "mobility" {
		value = have + " " + value
	}
	c.quals[key] = value
}

func (c *cand) clone() *cand {
	d := *c
	d.marks = append([]finding.Mark(nil), c.marks...)
	d.toks = append([][2]int(nil), c.toks...)
	if c.quals != nil {
		d.quals = make(map[string]string, len(c.quals))
		for k, v := range c.quals {
			d.quals[k] = v
		}
	}
	return &d
}

// stretch is the fate of one chunk's tokens where no finding rests on them.
type stretch struct {
	a, b  int
	why   finding.Why
	chunk int // number, over all sentences
	// lead is the number of filler tokens at the start.
	lead int
}

// parser carries what one narration has said so far.
type parser struct {
	tell   func(Step) // nil unless somebody asks why
	x      *Extractor
	t      transcript.Transcript
	ts     []token
	cands  []*cand
	fate   []stretch
	sent   int
	chunkN int

	topic    []subject // what is spoken of
	recent   []subject // sites and findings named before, last first
	noun     *item     // the last thing that was looked for: "nodes"
	nounSent int       // the sentence in which it was named
	lastSide finding.Side
	held     finding.Side
	heldAt   *lexicon.Site
	heldSite *lexicon.Site // the very site that was named with the side
	// heldTok is where the held side was spoken.
	heldTok [2]int

	// within one sentence
	pend     []subject // named, still without a value
	pendTok  [][2]int
	pendSide finding.Side
	pendNot  bool
	sideTok  [2]int
	listNeg  bool   // a denied list that may go on
	suppose  bool   // the last sentence asked what would be seen
	listOpen bool   // nothing of it is named yet
	lastHead *frame // the last chunk that charted, for lists of sites
	// a place said before what lies there: "over the left temple, a cut"
	pendPlace    placeSaid
	pendPlaceTok [2]int

	ask                *question
	correct            bool // the next statement corrects
	young              bool
	labelled           bool // the transcript names its speakers
	who                speaker
	retracted          []*cand
	retractSent        int
	askSent            int       // the sentence after the last that asked
	s                  *sentence // the sentence being read and the chunk in it
	si                 int
	pendDetails        []detail // adjectives before a comma: "a hard, fixed node"
	pendDetailTok      [2]int
	askItem            *item // what the last question was about
	mendFrom, mendSent int   // where the last correction began
	topicSent          int
	pairAt             *lexicon.Site // the organ last spoken of as a pair
	phone              int           // sentences that a telephone call may still last
	phoneFrom          int           // the token where it began
	saysChunk          int
	says               bool // somebody else is quoted in this sentence
	reporter           string
	bareEnd            bool      // the sentence ended on a bare name that was charted
	taught             []subject // what was last taught about
	taughtSent         int
	headed             bool // the last sentence was a heading, which still waits
	correctAge         int
	unableChunk        int
	hinder             hindrance // what kept the nurse from looking, with "so no"
	// where the last exception began: "intact, except seven on the right"
	exceptFrom, exceptSent int
	// another is where another patient begins; empty where none does.
	another  transcript.Span
	excepted []subject // what it names
	talk     talk
	foundAt  int // the token behind the last finding of an examination
	owed     owed
}

// question waits for its answer.
type question struct {
	cands []*cand
	sent  int
	talk  int // sentences in between
	end   int // the token behind it
	// doubts is true where it asks for what may be wrong
	doubts bool
	extra  [][2]int
	of     *cand // the finding whose tenderness is asked about
}

// run understands all sentences in order.
func (p *parser) run(sentences []sentence) {
	p.sent = -1
	p.converse(sentences)
	for i := range sentences {
		s := &sentences[i]
		if p.fillers(s) {
			continue
		}
		p.sent++
		if p.pendTok = nil; !p.headed {
			p.pend, p.pendSide = nil, finding.NoSide
		}
		p.listNeg, p.lastHead, p.pendNot = false, nil, false
		p.says, p.reporter, p.pendDetails = false, "", nil
		p.pendPlace, p.bareEnd = placeSaid{}, false
		if p.discourse(s) && !(i+1 < len(sentences) && p.sided(&sentences[i+1])) {
			s.chunks[0].items[0].senses = nil
		}
		s.coordinate()
		p.classify(s)
		p.recited(s)
		if len(s.chunks) == 1 && p.onlyNo(&s.chunks[0]) && p.ask == nil {
			p.correct, p.correctAge = true, 0
		}
		p.onPhone(s)
		p.nextPatient(s)
		p.turn(s, sentences[i+1:])
		p.answerFirst(s)
		p.idle(s)
		p.s = s
		for j := range s.chunks {
			p.si = j
			var next *chunk
			for k := j + 1; k < len(s.chunks) && next == nil; k++ {
				if c := &s.chunks[k]; k+1 == len(s.chunks) || c.any(notFiller) {
					next = c
				}
			}
			p.chunk(&s.chunks[j], next)
			p.chunkN++
		}
		p.endSentence(s)
	}
	p.sent++
	p.settleRetract()
}

// fillers leaves out what opens a sentence and means nothing, as if it had not
// been said, and reports a sentence that is nothing else: "um." parts no answer
// from its question.
func (p *parser) fillers(s *sentence) (all bool) {
	for {
		c := s.chunks[0]
		last := len(s.chunks) == 1
		if last && (s.asked || c.any(notFiller)) || !last && c.any(func(it *item) bool { return !it.filler() }) {
			return false
		}
		a, b := c.span()
		p.fate = append(p.fate, stretch{a: a, b: b, why: finding.SmallTalk, chunk: -1})
		if last {
			return true
		}
		s.chunks = s.chunks[1:]
		if s.chunks[0].joint == jointComma {
			s.chunks[0].joint = jointStart
		}
	}
}

// filler reports a word that means nothing else: not "good".
func (it *item) filler() bool {
	for _, s := range it.senses {
		if s.Kind != lexicon.CueSense || s.Cue != lexicon.CueFiller {
			return false
		}
	}
	return len(it.senses) > 0
}

func notFiller(it *item) bool { return !it.cue(lexicon.CueFiller) || it.content() }

// phoneLimit and phoneWords are the numbers of sentences and words after which a
// call is taken to be over even if nobody said goodbye: a lost finding is worse
// than a charted aside.
const (
	phoneLimit = 7
	phoneWords = 70
)

// onPhone leaves out what is said into a telephone.
func (p *parser) onPhone(s *sentence) {
	begins, ends := false, false
	for i := range s.chunks {
		begins = begins || p.rings(&s.chunks[i])
		ends = ends || s.chunks[i].cue(lexicon.CueBack)
	}
	switch {
	case begins && !ends:
		p.phone, p.phoneFrom = phoneLimit, s.chunks[0].items[0].a
	case p.phone > 0:
		p.phone--
		for i := range s.chunks {
			if a, _ := s.chunks[i].span(); a > p.phoneFrom+phoneWords {
				p.phone = 0
				break
			}
			s.chunks[i].act = actOther
			if s.chunks[i].cue(lexicon.CueBack) {
				p.phone = 0
				break
			}
		}
		if p.endsQuote(s) {
			p.phone = 0
		}
	}
}

// endsQuote reports that the words of somebody who is quoted end with a sentence.
func (p *parser) endsQuote(s *sentence) bool {
	_, b := s.chunks[len(s.chunks)-1].span()
	w := p.t.Words[p.ts[b-1].end].Text
	return strings.HasSuffix(w, "\"") || strings.HasSuffix(w, "”")
}

// rings reports that a call comes in, not that a telephone is spoken of: "nobody said
// so on the phone", "when the phone goes".
func (p *parser) rings(c *chunk) bool {
	for i := range c.items {
		if it := &c.items[i]; it.cue(lexicon.CuePhone) && !(i > 0 && c.items[i-1].cue(lexicon.CuePrep, lexicon.CueWhen)) && !(it.a > 0 && p.ts[it.a-1].Text == "when") {
			return !c.cue(lexicon.CueWhen) && (it.b-it.a > 1 || p.ts[it.a].Text != "phone" || len(c.items) == 1)
		}
	}
	return false
}

// talkOf gives the reason for leaving a chunk out that charted nothing.
func (p *parser) talkOf(c *chunk) finding.Why {
	if w, ok := whyOf[c.act]; ok && (c.act != actTold || c.content()) {
		return w
	}
	if c.cue(lexicon.CueGeneral) {
		return finding.TooGeneral
	}
	if c.cue(lexicon.CueNormal) && c.any(func(it *item) bool { return it.names() || it.has(lexicon.SideSense) }) {
		return finding.TooGeneral
	}
	// a side or a place may hold a finding too: "and neither does the left"
	if c.content() || c.any(func(it *item) bool { return it.has(lexicon.SideSense) || it.has(lexicon.PlaceSense) }) {
		return finding.Unrecognized
	}
	return finding.SmallTalk
}

// chunk understands one chunk by its act.
func (p *parser) chunk(c *chunk, next *chunk) {
	a, b := c.span()
	st := stretch{a: a, b: b, chunk: p.chunkN}
	for i := range c.items {
		if it := &c.items[i]; it.cue(lexicon.CueFiller) && !it.content() && i < len(c.items)-1 {
			st.lead = it.b - a
			continue
		}
		break
	}
	p.step(Statement, a, b, "%s", actNames[c.act])
	if p.becauseOf(c) {
		p.fate = append(p.fate, st)
		return
	}
	switch c.act {
	case actState:
		if p.retracts(c, next) {
			p.retract(c)
			break
		}
		p.state(c, next)
	case actRetract:
		p.retract(c)
	case actAsk:
		p.question(c)
		p.endSide()
	case actAnswer, actOther:
	default:
		p.mention(c)
	}
	if c.cue(lexicon.CueYoung) {
		p.young = true
	}
	st.why = p.talkOf(c)
	p.fate = append(p.fate, st)
}

func (p *parser) endSide() {
	p.held, p.heldAt = finding.NoSide, nil
}

// mention lets talk that charts nothing set what is spoken of: "let me look in
// your left ear".
func (p *parser) mention(c *chunk) {
	f := p.frame(c)
	p.looking(f)
	if c.act != actTeach && c.act != actPast && c.act != actTold && c.act != actAside && !(c.act == actPlan && len(f.subs) == 0 && f.sides == 0) {
		p.endSide()
	}
	if c.act == actTeach && len(f.subs) == 0 {
		for i := range f.preds {
			if s, ok := f.preds[i].it.sense(lexicon.AloneSense); ok && len(s.Chart) == 1 {
				p.taught, p.taughtSent = []subject{{fnd: s.Chart[0].Finding}}, p.sent
			}
		}
	}
	if len(f.subs) == 0 {
		return
	}
	subs := f.subs
	if subs[0].site != nil && subs[0].site.Region == "" && c.act != actOther {
		return // "chin on your chest" is no new topic
	}
	if c.act == actTeach || c.act == actPast || c.act == actTold {
		for _, s := range subs {
			s.side = finding.NoSide
			p.remember(s)
		}
		if c.act == actTeach {
			p.taught, p.taughtSent = subs, p.sent
		}
		return
	}
	p.setTopic(subs)
	for _, s := range subs {
		if s.side == finding.Right || s.side == finding.Left {
			p.hold(s.side, s.first(), s.tok)
		}
	}
}

func (p *parser) remember(s subject) {
	s.sent = p.sent
	p.recent = append([]subject{s}, p.recent...)
	if len(p.recent) > 8 {
		p.recent = p.recent[:8]
	}
}

func (p *parser) setTopic(subs []subject) {
	p.topic, p.topicSent = append([]subject(nil), subs...), p.sent
	for _, s := range subs {
		p.remember(s)
	}
}

func (p *parser) hold(side finding.Side, at *lexicon.Site, tok [2]int) {
	if p.held == side && p.heldAt == organ(at) && p.heldSite != nil && at != nil {
		if _, in := at.Within(p.heldSite); in {
			at = p.heldSite // "left ear, left mastoid": the ear still holds
		}
	}
	p.held, p.heldAt, p.heldSite, p.heldTok = side, organ(at), at, tok
}

// heldFits reports that the held side reaches the subject: it was carried over,
// or lies in what the side was said of ("left ear, the drum"; not "left pupil
// five, eye movements full").
func (p *parser) heldFits(s subject) bool {
	if s.tok[1] == 0 || p.heldSite == nil || len(s.sites()) == 0 {
		return true
	}
	for _, x := range s.sites() {
		if _, ok := x.Within(p.heldSite); ok {
			return true
		}
		if _, ok := p.heldSite.Within(x); ok && !s.plural && s.fnd == nil {
			return true
		}
		if x.Parent != nil && x.Parent == p.heldSite.Parent && !x.General && !s.plural && x.Parent.Paired {
			return true // "right canal has wax, I see the whole drum"
		}
	}
	return false
}
