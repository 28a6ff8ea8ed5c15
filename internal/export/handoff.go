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

// Handed is a hand-off in words: what the next nurse must know on one page, in
// the order of situation, background, assessment and recommendation (AHRQ,
// toolkit for reducing CAUTI, appendix A), and what to say by phone in thirty
// seconds.
type Handed struct {
	// Watermark stands over a note that is not signed.
	Watermark string
	Head      []Field
	Alerts    []string
	Parts     []HandedPart
	// Phone is what to say, sentence by sentence.
	Phone    []string
	Cautions []string
	MadeBy   string
}

// HandedPart is one of the four parts.
type HandedPart struct {
	Title string
	Rows  []HandedRow
}

// HandedRow is a statement, with its label where it has one, or a list.
type HandedRow struct {
	Label, Text string
	Items       []string
}

// HandoffOf words the hand-off of a note. It holds stated facts alone: what is
// not as expected, changed, in doubt or not assessed. The recommendation is the
// nurse's; only what she said herself as a plan is quoted there. Give it the
// draft with its talk.
func HandoffOf(doc note.Document) Handed {
	h := handoff{sheeter{texter{d: doc.Draft}, doc}, SheetOf(doc)}
	out := Handed{Watermark: h.sheet.Watermark, Head: h.sheet.Head, Alerts: h.sheet.Alerts, Phone: h.phone(), Cautions: h.sheet.Cautions, MadeBy: h.sheet.MadeBy}
	changed := HandedRow{Label: "Different from an earlier note", Text: "not compared"}
	if doc.Changes != nil {
		changed = list("Different from the earlier note", h.changed(), "nothing")
	}
	plans := []HandedRow{}
	for _, p := range h.plans() {
		plans = append(plans, HandedRow{Label: "said as a plan", Text: p})
	}
	out.Parts = []HandedPart{
		{"Situation", []HandedRow{
			list("Needs action (advice; your local protocol comes first)", h.actions(), "none of the rules that this program knows"),
			{Text: h.counts()},
		}},
		{"Background", []HandedRow{
			{Label: "Code status", Text: h.said(codeStatus)},
			{Label: "Allergies", Text: h.said(allergies)},
			runIn("Reported to the examiner", h.lines(func(l Line) bool { return l.Entry.Source == finding.Reported && !l.Unexpected }), "nothing but what stands below"),
		}},
		{"Assessment", []HandedRow{
			list("Not as expected of a healthy adult", h.unexpected(), "nothing that was charted"),
			changed,
			runIn("In doubt, to be checked", h.lines(func(l Line) bool {
				return len(l.Doubts) > 0 && !l.Unexpected && !l.Skipped && l.Entry.Source != finding.Reported
			}), "nothing else"),
			runIn("Said to be not assessed", h.lines(func(l Line) bool { return l.Skipped }), "nothing"),
			{Text: h.rest()},
		}},
		{"Recommendation", append(plans, HandedRow{Text: "[to be completed by the nurse: what is needed, and by when]"},
			HandedRow{Text: "Let the receiver say it back, and confirm."})},
	}
	return out
}

// Handoff writes the hand-off as plain text.
func Handoff(w io.Writer, doc note.Document) error {
	h := HandoffOf(doc)
	var b chartWriter
	b.line("HAND-OFF")
	if h.Watermark != "" {
		b.line("*** %s ***", h.Watermark)
	}
	head := make([]string, len(h.Head))
	for i, f := range h.Head {
		head[i] = f.Label + ": " + f.Text
	}
	b.line("%s", strings.Join(head[:2], "; "))
	b.line("%s", strings.Join(head[2:], "; "))
	for _, a := range h.Alerts {
		b.line("!! %s", a)
	}
	for _, p := range h.Parts {
		b.heading(strings.ToUpper(p.Title))
		for _, r := range p.Rows {
			b.row(r)
		}
	}
	b.heading("BY PHONE, IN THIRTY SECONDS")
	b.line("%s", strings.Join(h.Phone, " "))
	b.heading("BEFORE YOU USE THIS")
	b.line("%s", strings.Join(h.Cautions, " "))
	b.line("Made by: %s", h.MadeBy)
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write hand-off: %w", err)
	}
	return nil
}

func (b *chartWriter) row(r HandedRow) {
	switch {
	case len(r.Items) > 0:
		b.line("%s:", r.Label)
		for _, i := range r.Items {
			b.line("- %s", i)
		}
	case r.Label != "":
		b.line("%s: %s", r.Label, r.Text)
	default:
		b.line("%s", r.Text)
	}
}

func list(label string, items []string, none string) HandedRow {
	if len(items) == 0 {
		return HandedRow{Label: label, Text: none}
	}
	return HandedRow{Label: label, Items: items}
}

// runIn puts what matters less into one paragraph, to keep to the page.
func runIn(label string, items []string, none string) HandedRow {
	return HandedRow{Label: label, Text: cmp.Or(strings.Join(items, "; "), none)}
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

// changed words what differs. What the earlier note did not chart, and is as
// expected now, is counted: a longer examination would fill the page with it.
func (h handoff) changed() []string {
	var told []note.Change
	for _, c := range h.doc.Changes {
		if !c.FirstAsExpected() {
			told = append(told, c)
		}
	}
	out := Sheet{Changes: changeGroups(told)}.changeLines()
	if n := len(h.doc.Changes) - len(told); n > 0 {
		out = append(out, fmt.Sprintf("%s charted as expected that the earlier note does not have", count(n, "finding")))
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
func (h handoff) phone() []string {
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
	return append(append([]string{opening}, said...), closing)
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
