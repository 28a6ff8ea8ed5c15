package export

import (
	"fmt"
	"io"
	"strings"

	"bedsaid/internal/note"
)

// Markdown writes the note in CommonMark. Whatever was said is escaped, so that
// no word of a patient becomes a heading, a link or HTML.
func Markdown(w io.Writer, doc note.Document) error {
	s := SheetOf(doc)
	var b markdown
	b.row("# " + escape(s.Title))
	if s.Watermark != "" {
		b.row("", "**"+escape(s.Watermark)+"**")
	}
	b.row("")
	for _, f := range s.Head {
		b.row("- " + escape(f.Label) + ": " + escape(f.Text))
	}
	if len(s.Alerts) > 0 {
		b.row("")
	}
	for _, a := range s.Alerts {
		b.row("> **" + escape(a) + "**")
	}
	if len(s.Action) > 0 {
		b.row("", "## Needs action", "", "Advice; your local protocol comes first.", "")
		for _, a := range s.Action {
			b.row("- **" + escape(a.Urgency) + "** " + escape(a.Text()))
		}
	}
	b.changes(s)
	b.findings(s)
	b.fields("Not mentioned", "Not charted, neither as normal nor as abnormal.", s.Missing)
	b.fields("Addenda", "", s.Addenda)
	b.fields("Heard and left out of the findings", "", s.Talk)
	if s.Transcript != "" {
		b.row("", "## All that was said", "", escape(s.Transcript))
	}
	b.row("", "## Before you use this", "")
	for _, c := range s.Cautions {
		b.row("- " + escape(c))
	}
	b.row("", "Made by: "+escape(s.MadeBy))
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("write markdown: %w", err)
	}
	return nil
}

type markdown struct{ strings.Builder }

func (b *markdown) row(lines ...string) {
	for _, l := range lines {
		b.WriteString(l)
		b.WriteByte('\n')
	}
}

func (b *markdown) fields(title, about string, fs []Field) {
	if len(fs) == 0 {
		return
	}
	b.row("", "## "+title, "")
	if about != "" {
		b.row(about, "")
	}
	for _, f := range fs {
		b.row("- " + escape(f.Label) + ": " + escape(f.Text))
	}
}

func (b *markdown) findings(s Sheet) {
	b.row("", "## Findings")
	if len(s.Parts) == 0 {
		b.row("", "No finding was understood.")
	}
	for _, p := range s.Parts {
		b.row("", "### "+escape(p.Region.Title), "")
		for _, l := range p.Lines {
			text := escape(l.Text())
			if l.Unexpected || l.Changed != "" {
				text = "**" + text + "**"
			}
			for _, aside := range []string{unexpectedWord(l), l.Changed} {
				if aside != "" {
					text += " (" + aside + ")"
				}
			}
			b.row("- " + text)
			for _, c := range l.Checks {
				b.row("  - check: " + escape(c))
			}
			if l.Words != "" {
				b.row("  - words: " + escape(joinNonEmpty(" ", l.Words, l.When)))
			}
		}
		for _, g := range p.Gaps {
			b.row("- **" + escape(g) + "**")
		}
	}
}

func unexpectedWord(l Line) string {
	if l.Unexpected {
		return "not as expected"
	}
	return ""
}

func (b *markdown) changes(s Sheet) {
	if len(s.Changes) == 0 {
		return
	}
	b.row("", "## Different from the earlier note", "", "| | finding | before | now |", "|---|---|---|---|")
	for _, g := range s.Changes {
		for _, r := range g.Rows {
			b.row("| " + escape(g.Title) + " | " + escape(r.What) + " | " + escape(r.Before) + " | " + escape(r.After) + " |")
		}
	}
}

// escape shields what CommonMark (0.31.2, section 2.4) would read as markup.
// Full stops and signs that matter only at the start of a line are shielded
// where they stand there.
func escape(text string) string {
	text = clean(text)
	var b strings.Builder
	for i, r := range text {
		if strings.ContainsRune("\\`*_[]<>|~&#", r) || i == 0 && strings.ContainsRune("-+=", r) {
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}
