package export

import (
	"fmt"
	"io"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// Columns of a finding's line.
const (
	flagWidth = 2
	nameWidth = 27
	minWidth  = 60
)

// Text writes the note for a person, wrapped to width columns (60 at least);
// colour adds ANSI colour. It is laid out to be read from the top in haste:
// what is missing, what wants action, the findings, then all the rest that was
// heard, so that nothing is hidden.
func Text(w io.Writer, d note.Draft, width int, colour bool) error {
	t := texter{printer: printer{width: max(width, minWidth), colour: colour}, d: d}
	t.top()
	t.untranscribed()
	t.attention()
	t.findings()
	t.missing()
	t.leftOut()
	t.end()
	if _, err := w.Write(t.b.Bytes()); err != nil {
		return fmt.Errorf("write note: %w", err)
	}
	return nil
}

type texter struct {
	printer
	d note.Draft
}

func (t *texter) top() {
	t.line(bold, "", "DRAFT NOTE, NOT REVIEWED", "")
	about := []string{t.d.Name}
	if r := t.d.Transcript.Recording; r != nil {
		about = append(about, ClockTime(r.Seconds)+" of sound")
	} else {
		about = append(about, "typed text")
	}
	if at := t.d.Provenance.DraftedAt; !at.IsZero() {
		about = append(about, "drafted "+at.Format("2006-01-02 15:04"))
	}
	t.line(normal, "", strings.Join(about, ", "), "")
	for _, n := range t.d.Notices {
		t.line(alarm, "! ", n, "")
	}
	t.line(normal, "", note.ShortCaution, "")
	t.blank()
	t.line(normal, "", t.counts(), "")
}

func (t *texter) counts() string {
	var found, odd, doubts, skipped int
	for _, f := range t.d.Findings() {
		if f.Status == finding.NotAssessed {
			skipped++
		} else {
			found++
			if f.Interpretation == finding.Unexpected {
				odd++
			}
		}
		if len(f.Marks) > 0 {
			doubts++
		}
	}
	return fmt.Sprintf("%s, %d not as expected, %d to check; %d not assessed; %d not mentioned.",
		count(found, "finding"), odd, doubts, skipped, len(t.d.Unmentioned()))
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func (t *texter) untranscribed() {
	gaps := t.d.Untranscribed()
	if len(gaps) == 0 {
		return
	}
	rule := strings.Repeat("!", t.width)
	t.blank()
	t.line(alarm, "", rule, "")
	t.line(alarm, "!! ", fmt.Sprintf("SPEECH THAT GAVE NO WORDS: %.0f s. What was said there is NOT in this draft.", t.d.UntranscribedSeconds()), "")
	for _, g := range gaps {
		t.line(alarm, "!!   ", gapText(g), "")
	}
	t.line(alarm, "!! ", "Listen to it, and chart what it holds yourself.", "")
	t.line(alarm, "", rule, "")
}

func gapText(g transcript.Interval) string {
	return fmt.Sprintf("%s to %s (%.1f s)", ClockTime(g.Start), ClockTime(g.End), g.End-g.Start)
}

var urgencyWords = map[finding.Urgency]string{
	finding.Now: "NOW", finding.Prompt: "PROMPTLY", finding.Routine: "ROUTINE", finding.Recheck: "RECHECK",
}

func (t *texter) attention() {
	if len(t.d.Attention) == 0 {
		return
	}
	t.heading(bold, "NEEDS ACTION (advice; your local protocol comes first)")
	for _, a := range t.d.Attention {
		st := normal
		if a.Urgency == finding.Now {
			st = alarm
		}
		lead := fmt.Sprintf("%-*s", 10, urgencyWords[a.Urgency])
		what := "the patient's words"
		if a.ID != "" {
			it := t.d.Item(a.ID)
			what = joinNonEmpty(", ", it.Name, SideWord(a.Side, it.Organ))
		}
		t.line(st, lead, what+": "+a.Why, t.when(a.Evidence))
		if a.ID == "" || t.d.Transcript.Recording == nil {
			t.line(normal, strings.Repeat(" ", 10), quoted(t.d.Transcript, a.Evidence), "")
		}
		if a.Source != "" {
			t.line(dim, strings.Repeat(" ", 10), "rule: "+a.Source, "")
		}
	}
}

func (t *texter) findings() {
	t.heading(bold, "FINDINGS")
	legend := "! = not what is expected of a healthy adult; ? = doubt, check it; - = said to be not assessed"
	if t.d.Transcript.Timed {
		legend += "; at the right, where in the recording to listen"
	}
	t.line(dim, "", legend, "")
	gaps, any := t.gapsBySection(), false
	for i, s := range t.d.Sections {
		if len(s.Entries) == 0 && len(gaps[i]) == 0 {
			continue
		}
		any = any || len(s.Entries) > 0
		t.heading(bold, s.Region.Title)
		last := ""
		for _, e := range series(s.Entries) {
			t.entry(e, e.Item.Name == last)
			last = e.Item.Name
		}
		for _, g := range gaps[i] {
			t.gap(g)
		}
	}
	if any {
		return
	}
	t.line(normal, "  ", "No finding was understood.", "")
	for _, g := range gaps[noSection] {
		t.gap(g)
	}
}

func (t *texter) gap(g transcript.Interval) {
	t.line(alarm, "!!  ", "speech near here gave no words: "+gapText(g), "")
}

func (t *texter) entry(e note.Entry, again bool) {
	flag, st := " ", normal
	switch {
	case e.Status == finding.NotAssessed:
		flag = "-"
	case e.Interpretation == finding.Unexpected:
		flag, st = "!", bold
	}
	if len(e.Marks) > 0 {
		flag += "?"
	}
	name := e.Item.Name
	if again {
		name = ""
	}
	lead := fmt.Sprintf("%-*s %-*s", flagWidth, flag, nameWidth, name)
	if len([]rune(name)) > nameWidth-1 {
		// A long name takes a line of its own and the value stands below it.
		t.line(st, fmt.Sprintf("%-*s ", flagWidth, flag), name, "")
		lead = strings.Repeat(" ", flagWidth+1+nameWidth)
	}
	t.line(st, lead, Statement(e), t.when(e.Evidence))
	inner := strings.Repeat(" ", flagWidth+3)
	for _, m := range e.Marks {
		t.line(doubt, inner+"? ", MarkText(m), "")
	}
	if len(e.Marks) > 0 {
		t.line(doubt, inner+"  ", "words: "+quoted(t.d.Transcript, e.Evidence), "")
	}
}

// noSection takes the gaps of a draft without findings.
const noSection = -1

// gapsBySection deals the stretches without words to the section whose talk
// came last before them, or to the first that has any.
func (t *texter) gapsBySection() map[int][]transcript.Interval {
	out := map[int][]transcript.Interval{}
	for _, g := range t.d.Untranscribed() {
		best, at := noSection, -1.0
		for i, s := range t.d.Sections {
			if best == noSection && len(s.Entries) > 0 {
				best = i
			}
			for _, e := range s.Entries {
				for _, sp := range e.Evidence {
					if _, end, ok := t.d.Transcript.Times(sp); ok && end <= g.Start && end > at {
						best, at = i, end
					}
				}
			}
		}
		out[best] = append(out[best], g)
	}
	return out
}

func (t *texter) when(spans []transcript.Span) string { return When(t.d.Transcript, spans) }

// When is the time at which a listener hears the heart of the evidence: its
// longest span, the last of equals, since headings come before what they head.
// It is empty where the words have no times.
func When(tr transcript.Transcript, spans []transcript.Span) string {
	var best transcript.Span
	for _, s := range spans {
		if s.Len() >= best.Len() {
			best = s
		}
	}
	if start, _, ok := tr.Times(best); ok {
		return ClockTime(start)
	}
	return ""
}

func quoted(tr transcript.Transcript, spans []transcript.Span) string {
	parts := make([]string, len(spans))
	for i, s := range spans {
		parts[i] = tr.Quote(s)
	}
	return `"` + strings.Join(parts, " ... ") + `"`
}

func (t *texter) missing() {
	if len(t.d.Unmentioned()) == 0 {
		return
	}
	t.heading(bold, "NOT MENTIONED (not charted, neither as normal nor as abnormal)")
	for _, s := range t.d.Sections {
		if len(s.Missing) == 0 {
			continue
		}
		t.line(normal, "  "+s.Region.Title+": ", strings.Join(missingNames(t.d, s), ", "), "")
	}
}

func (t *texter) leftOut() {
	if len(t.d.LeftOut) == 0 {
		return
	}
	t.heading(bold, "HEARD AND LEFT OUT OF THE FINDINGS")
	for _, g := range leftOutGroups(t.d) {
		t.leftOutOf(g)
	}
}

type leftOutGroup struct {
	why   finding.Why // empty for reasons that nobody listed
	title string
	runIn bool
	spans []transcript.Span
}

// leftOutGroups deals the talk that was left out to its reasons.
func leftOutGroups(d note.Draft) []leftOutGroup {
	var out []leftOutGroup
	add := func(why finding.Why, title string, runIn bool, is func(finding.Why) bool) {
		g := leftOutGroup{why: why, title: title, runIn: runIn}
		for _, l := range d.LeftOut {
			if !is(l.Why) || l.Span.Len() == 0 {
				continue
			}
			if n := len(g.spans); n > 0 && g.spans[n-1].End == l.Span.Start {
				g.spans[n-1].End = l.Span.End // one run of talk reads better than its pieces
				continue
			}
			g.spans = append(g.spans, l.Span)
		}
		if len(g.spans) > 0 {
			out = append(out, g)
		}
	}
	known := map[finding.Why]bool{}
	for _, r := range leftOutOrder {
		known[r.why] = true
		add(r.why, r.title, r.runIn, func(w finding.Why) bool { return w == r.why })
	}
	add("", "Other", false, func(w finding.Why) bool { return !known[w] })
	return out
}

func (t *texter) leftOutOf(g leftOutGroup) {
	t.line(normal, "  ", g.title+":", "")
	if g.runIn {
		parts := make([]string, len(g.spans))
		for i, s := range g.spans {
			parts[i] = joinNonEmpty(" ", t.when([]transcript.Span{s}), quoted(t.d.Transcript, []transcript.Span{s}))
		}
		t.line(dim, "    ", strings.Join(parts, "; "), "")
		return
	}
	for _, s := range g.spans {
		lead := "    "
		if start, _, ok := t.d.Transcript.Times(s); ok {
			lead = fmt.Sprintf("  %7s  ", ClockTime(start))
		}
		t.line(dim, lead, t.d.Transcript.Quote(s), "")
	}
}

func (t *texter) end() {
	t.heading(bold, "BEFORE YOU USE THIS")
	for _, c := range t.d.Cautions {
		t.line(normal, "  ", c, "")
	}
	t.blank()
	t.line(dim, "Made by: ", MadeBy(t.d.Provenance), "")
}

// shortSum is the head of a checksum: enough to tell two files apart by eye.
func shortSum(sum string) string {
	if len(sum) < 12 {
		return ""
	}
	return " (sha256 " + sum[:12] + ")"
}
