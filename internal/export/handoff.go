package export

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// Handoff writes what the next nurse must know on one page, in the order of
// situation, background, assessment and recommendation (AHRQ, toolkit for
// reducing CAUTI, appendix A), and at its end what to say by phone in thirty
// seconds. It holds stated facts alone: what is not as expected, changed, in
// doubt or not assessed. The recommendation is the nurse's; only what she said
// herself as a plan is quoted there. Give it the draft with its talk.
func Handoff(w io.Writer, doc note.Document) error {
	h := handoff{sheeter{texter{d: doc.Draft}, doc}, SheetOf(doc)}
	var b chartWriter
	b.line("HAND-OFF")
	if h.sheet.Watermark != "" {
		b.line("*** %s ***", h.sheet.Watermark)
	}
	head := make([]string, len(h.sheet.Head))
	for i, f := range h.sheet.Head {
		head[i] = f.Label + ": " + f.Text
	}
	b.line("%s", strings.Join(head[:2], "; "))
	b.line("%s", strings.Join(head[2:], "; "))
	for _, a := range h.sheet.Alerts {
		b.line("!! %s", a)
	}
	b.heading("SITUATION")
	b.list("Needs action (advice; your local protocol comes first)", h.actions(), "none of the rules that this program knows")
	b.line("%s", h.counts())
	b.heading("BACKGROUND")
	b.line("Code status: %s", h.said(codeStatus))
	b.line("Allergies: %s", h.said(allergies))
	b.runIn("Reported to the examiner", h.lines(func(l Line) bool { return l.Entry.Source == finding.Reported && !l.Unexpected }), "nothing but what stands below")
	b.heading("ASSESSMENT")
	b.list("Not as expected of a healthy adult", h.unexpected(), "nothing that was charted")
	if doc.Changes != nil {
		b.list("Different from the earlier note", h.sheet.changeLines(), "nothing")
	} else {
		b.line("Different from an earlier note: not compared")
	}
	b.runIn("In doubt, to be checked", h.lines(func(l Line) bool {
		return len(l.Doubts) > 0 && !l.Unexpected && !l.Skipped && l.Entry.Source != finding.Reported
	}), "nothing else")
	b.runIn("Said to be not assessed", h.lines(func(l Line) bool { return l.Skipped }), "nothing")
	b.line("%s", h.rest())
	b.heading("RECOMMENDATION")
	for _, p := range h.plans() {
		b.line("said as a plan: %s", p)
	}
	b.line("[to be completed by the nurse: what is needed, and by when]")
	b.line("Let the receiver say it back, and confirm.")
	b.heading("BY PHONE, IN THIRTY SECONDS")
	b.line("%s", h.phone())
	b.heading("BEFORE YOU USE THIS")
	b.line("%s", strings.Join(h.sheet.Cautions, " "))
	b.line("Made by: %s", h.sheet.MadeBy)
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write hand-off: %w", err)
	}
	return nil
}

func (b *chartWriter) list(title string, items []string, none string) {
	if len(items) == 0 {
		b.line("%s: %s", title, none)
		return
	}
	b.line("%s:", title)
	for _, i := range items {
		b.line("- %s", i)
	}
}

// runIn puts what matters less into one paragraph, to keep to the page.
func (b *chartWriter) runIn(title string, items []string, none string) {
	b.line("%s: %s", title, cmp.Or(strings.Join(items, "; "), none))
}

type handoff struct {
	sheeter
	sheet Sheet
}

// actions is one paragraph for each urgency.
func (h handoff) actions() []string {
	var out []string
	last := ""
	for _, a := range h.sheet.Action {
		text := joinNonEmpty(" ", a.What+": "+a.Why, a.Quote)
		if a.Urgency == last {
			out[len(out)-1] += "; " + text
			continue
		}
		last = a.Urgency
		out = append(out, a.Urgency+": "+text)
	}
	return out
}

func (h handoff) lines(is func(Line) bool) []string {
	var out []string
	for _, p := range h.sheet.Parts {
		for _, l := range p.Lines {
			if is(l) {
				out = append(out, l.Marked())
			}
		}
	}
	return out
}

// unexpected is one paragraph a region.
func (h handoff) unexpected() []string {
	var out []string
	for _, p := range h.sheet.Parts {
		var items []string
		for _, l := range p.Lines {
			if l.Unexpected {
				items = append(items, l.Marked())
			}
		}
		if len(items) > 0 {
			out = append(out, p.Region.Title+": "+strings.Join(items, "; "))
		}
	}
	return out
}

// rest counts what is not listed, so that its absence is not read as normal.
func (h handoff) rest() string {
	listed := len(h.lines(func(l Line) bool {
		return l.Unexpected || l.Skipped || len(l.Doubts) > 0 || l.Entry.Source == finding.Reported
	}))
	all := len(h.lines(func(Line) bool { return true }))
	return fmt.Sprintf("Not listed here: %s of the note; %d not mentioned by anybody, which says neither normal nor abnormal.",
		count(all-listed, "further line"), len(h.d.Unmentioned()))
}

// What is looked for in the talk, word by word and each by its beginning.
var (
	codeStatus = [][]string{{"code", "status"}, {"full", "code"}, {"dnr"}, {"do", "not", "resuscitate"}, {"resuscitat"}}
	allergies  = [][]string{{"allerg"}}
)

// said quotes the sentences that speak of something, without a reading of them.
func (h handoff) said(of [][]string) string {
	words := h.d.Transcript.Words
	var quotes []string
	end := 0
	for i := range words {
		if i < end || !anyAt(words[i:], of) {
			continue
		}
		s := sentenceAround(words, i)
		s.Start = max(s.Start, end) // what was quoted already is not quoted again
		end = s.End
		quotes = append(quotes, quoted(h.d.Transcript, []transcript.Span{s}))
	}
	if len(quotes) == 0 {
		return NotStated
	}
	return "said: " + strings.Join(quotes, "; ")
}

func anyAt(words []transcript.Word, of [][]string) bool {
	for _, phrase := range of {
		if len(words) < len(phrase) {
			continue
		}
		ok := true
		for i, begin := range phrase {
			ok = ok && strings.HasPrefix(strings.ToLower(strings.Trim(words[i].Text, `.,;:?!"'`)), begin)
		}
		if ok {
			return true
		}
	}
	return false
}

// sentenceAround is the sentence of a word; a question goes with its answer.
func sentenceAround(words []transcript.Word, at int) transcript.Span {
	s := transcript.Span{Start: at, End: at}
	for s.Start > 0 && !endsSentence(words[s.Start-1]) {
		s.Start--
	}
	next := func() {
		for s.End < len(words) {
			s.End++
			if endsSentence(words[s.End-1]) {
				return
			}
		}
	}
	next()
	if s.End > 0 && strings.HasSuffix(words[s.End-1].Text, "?") {
		next()
	}
	return s
}

func endsSentence(w transcript.Word) bool { return strings.ContainsAny(w.Text[len(w.Text)-1:], ".?!") }

func (h handoff) plans() []string {
	var out []string
	for _, g := range leftOutGroups(h.d) {
		if g.why != finding.Plan {
			continue
		}
		for _, s := range g.spans {
			out = append(out, quoted(h.d.Transcript, []transcript.Span{s}))
		}
	}
	return out
}

// phoneWords is thirty seconds of plain speech at 150 words a minute (common
// practice, no source).
const phoneWords = 75

// phone is what to say, cut to the time: what does not fit is counted aloud.
func (h handoff) phone() string {
	n := func(s string) int { return len(strings.Fields(s)) }
	head := h.doc.Head
	var who []string
	for _, id := range head.Identifiers {
		if id.Value != "" {
			who = append(who, id.Kind+" "+id.Value)
		}
	}
	opening := "Patient: " + strings.Join(who, ", ") + "."
	if len(who) == 0 {
		opening = "Patient: [say two identifiers]."
	}
	if h.sheet.Watermark != "" {
		opening += " From a draft, not signed."
	}
	closing := fmt.Sprintf("Code status %s, allergies %s. What I need: [say it, and by when].", h.brief(codeStatus), h.brief(allergies))
	items := h.firstThings()
	if len(items) == 0 {
		items = []string{"Nothing charted is other than expected"}
	}
	room := phoneWords - n(opening) - n(closing) - n("And 99 more in the note.")
	var said []string
	for _, it := range items {
		if n(it) > room {
			break
		}
		said, room = append(said, strings.TrimRight(it, ".")+"."), room-n(it)
	}
	if more := len(items) - len(said); more > 0 {
		said = append(said, fmt.Sprintf("And %d more in the note.", more))
	}
	return joinNonEmpty(" ", opening, strings.Join(said, " "), closing)
}

// firstThings is what the other end must hear, the most urgent first: words of
// danger, what a rule says is urgent, all else that is not as expected.
func (h handoff) firstThings() []string {
	var out []string
	add := func(text string) {
		if !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	for _, a := range h.d.Attention {
		if a.ID == "" {
			add("The patient said: " + strings.Trim(quoted(h.d.Transcript, a.Evidence), `"`))
		}
		for _, text := range h.lines(func(l Line) bool { return l.Entry.ID == a.ID && l.Entry.Side == a.Side }) {
			add(text)
		}
	}
	for _, text := range h.lines(func(l Line) bool { return l.Unexpected }) {
		add(text)
	}
	return out
}

func (h handoff) brief(of [][]string) string {
	if h.said(of) == NotStated {
		return NotStated
	}
	return "as quoted"
}
