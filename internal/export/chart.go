package export

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"bedsaid/internal/note"
)

// Form is how much a chart text says of each finding.
type Form uint8

// Forms. Both hold every finding with its side, value and doubts; the complete
// one has a line for each, with the reasons for doubt.
const (
	FormUnknown Form = iota
	Compact
	Complete
)

// Signs that make a line stand out in plain text.
const (
	signUnexpected = "! "
	signChanged    = "* "
	signSkipped    = "- "
)

// Chart writes the note as plain text to be pasted into a chart: no line is
// wrapped, and nothing but ASCII is added to what was said. A line that begins
// with ! is not what is expected of a healthy adult, * changed since the
// earlier note, - was said to be not assessed.
func Chart(w io.Writer, doc note.Document, form Form) error {
	s := SheetOf(doc)
	var b chartWriter
	b.line("%s", strings.ToUpper(s.Title))
	if s.Watermark != "" {
		b.line("*** %s ***", s.Watermark)
	}
	for _, f := range s.Head {
		b.line("%s: %s", f.Label, f.Text)
	}
	for _, a := range s.Alerts {
		b.line("!! %s", a)
	}
	b.action(s)
	b.changes(s)
	b.parts(s, form)
	b.missing(s, form)
	b.fields("ADDENDA", s.Addenda)
	b.fields("HEARD AND LEFT OUT OF THE FINDINGS", s.Talk)
	if s.Transcript != "" {
		b.heading("ALL THAT WAS SAID")
		b.line("%s", s.Transcript)
	}
	b.heading("BEFORE YOU USE THIS")
	for _, c := range s.Cautions {
		b.line("%s", c)
	}
	b.line("Made by: %s", s.MadeBy)
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write chart text: %w", err)
	}
	return nil
}

type chartWriter struct{ bytes.Buffer }

// line writes one line, free of what could break it or steer a terminal.
func (b *chartWriter) line(format string, args ...any) {
	b.WriteString(strings.TrimRight(clean(fmt.Sprintf(format, args...)), " "))
	b.WriteByte('\n')
}

func (b *chartWriter) heading(title string) {
	b.WriteByte('\n')
	b.line("%s", title)
}

func (b *chartWriter) fields(title string, fs []Field) {
	if len(fs) == 0 {
		return
	}
	b.heading(title)
	for _, f := range fs {
		b.line("%s: %s", f.Label, f.Text)
	}
}

func (b *chartWriter) action(s Sheet) {
	if len(s.Action) == 0 {
		return
	}
	b.heading("NEEDS ACTION (advice; your local protocol comes first)")
	for _, a := range s.Action {
		b.line("%s: %s", a.Urgency, a.Text())
	}
}

// Text is the action in one line, without its urgency.
func (a Action) Text() string {
	text := a.What + ": " + a.Why
	if a.Quote != "" {
		text += " " + a.Quote
	}
	if a.Source != "" {
		text += " (rule: " + a.Source + ")"
	}
	if a.Handled != "" {
		text += "; handled: " + a.Handled
	}
	return text
}

func (b *chartWriter) changes(s Sheet) {
	if len(s.Changes) == 0 {
		return
	}
	b.heading("DIFFERENT FROM THE EARLIER NOTE")
	for _, l := range s.changeLines() {
		b.line("%s", l)
	}
}

func (b *chartWriter) parts(s Sheet, form Form) {
	if len(s.Parts) == 0 {
		b.heading("FINDINGS")
		b.line("No finding was understood.")
	}
	for _, p := range s.Parts {
		b.heading(strings.ToUpper(p.Region.Title))
		var plain []string
		for _, l := range p.Lines {
			sign := l.sign()
			if form == Compact && sign == "" {
				plain = append(plain, l.Marked())
				continue
			}
			if form == Compact {
				b.line("%s%s", sign, l.Marked())
				continue
			}
			b.full(l)
		}
		if len(plain) > 0 {
			b.line("%s", strings.Join(plain, "; "))
		}
		for _, g := range p.Gaps {
			b.line("!! %s", g)
		}
	}
}

func (l Line) sign() string {
	sign := ""
	if l.Unexpected {
		sign += signUnexpected
	}
	if l.Changed != "" {
		sign += signChanged
	}
	if l.Skipped {
		sign += signSkipped
	}
	return sign
}

// Marked is the line with its doubts in a word or two.
func (l Line) Marked() string {
	text := l.Text()
	if len(l.Doubts) > 0 {
		text += " [check: " + strings.Join(l.Doubts, ", ") + "]"
	}
	return text
}

func (b *chartWriter) full(l Line) {
	b.line("%s%s", l.sign(), l.Text())
	for _, c := range l.Checks {
		b.line("    check: %s", c)
	}
	if l.Words != "" {
		b.line("    words: %s", joinNonEmpty(" ", l.Words, l.When))
	}
}

func (b *chartWriter) missing(s Sheet, form Form) {
	if len(s.Missing) == 0 {
		return
	}
	b.heading("NOT MENTIONED (not charted, neither as normal nor as abnormal)")
	if form == Compact {
		names := make([]string, len(s.Missing))
		for i, f := range s.Missing {
			names[i] = fmt.Sprintf("%s %d", f.Label, 1+strings.Count(f.Text, ", "))
		}
		b.line("findings of a complete examination that nobody spoke of: %s", strings.Join(names, ", "))
		return
	}
	for _, f := range s.Missing {
		b.line("%s: %s", f.Label, f.Text)
	}
}
