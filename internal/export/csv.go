package export

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
)

var csvColumns = []string{"identifier_1", "identifier_2", "examined", "entered", "author", "status",
	"region", "finding", "name", "where", "assessed", "value", "value_high", "unit", "says", "source", "interpretation", "doubts", "words"}

// CSV writes a row for each finding, with the head in each row so that a row
// cut out of its file still says whose it is, and rows of region "caution" and
// "made by" at the end (RFC 4180, with a header). What could be taken for a
// formula is shielded as OWASP's page on CSV injection says.
func CSV(w io.Writer, doc note.Document) error {
	s := SheetOf(doc)
	c := csv.NewWriter(w)
	var head []string
	for _, f := range s.Head[:6] {
		head = append(head, f.Text)
	}
	row := func(cells ...string) {
		all := append(append([]string{}, head...), cells...)
		for len(all) < len(csvColumns) {
			all = append(all, "")
		}
		for i := range all {
			all[i] = shield(all[i])
		}
		c.Write(all) // the writer keeps the first error
	}
	c.Write(csvColumns)
	for _, sec := range doc.Draft.Sections {
		for _, e := range sec.Entries {
			row(csvCells(sec, e, doc.Draft)...)
		}
	}
	for _, a := range s.Action {
		row("needs action", "", a.What, "", "", a.Urgency, "", "", a.Text())
	}
	for _, a := range s.Alerts {
		row("alert", "", "", "", "", "", "", "", a)
	}
	for _, a := range s.Cautions {
		row("caution", "", "", "", "", "", "", "", a)
	}
	row("made by", "", "", "", "", "", "", "", s.MadeBy)
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}

func csvCells(sec note.Section, e note.Entry, d note.Draft) []string {
	assessed, words := "yes", ""
	if e.Status == finding.NotAssessed {
		assessed = "no"
	}
	var doubts []string
	for _, m := range e.Marks {
		doubts = append(doubts, MarkText(m))
	}
	if len(e.Evidence) > 0 {
		words = quoted(d.Transcript, e.Evidence)
	}
	return []string{sec.Region.Title, e.ID, e.Item.Name, joinNonEmpty(", ", SideWord(e.Side, e.Item.Organ), plain(e.Zone)), assessed,
		plain(e.Value.String()), e.High.String(), e.Unit, Statement(e), e.Source.String(), e.Interpretation.String(), strings.Join(doubts, " | "), words}
}

// shield keeps a spreadsheet from reading a cell as a formula: a quotation mark
// goes before =, +, -, @, a tab or a return at its beginning (OWASP, CSV
// Injection). A plain number is let through. Control characters are shown as
// question marks.
func shield(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) && !isNumber(cell) {
		cell = "'" + cell
	}
	return clean(cell)
}

func isNumber(s string) bool {
	s = strings.TrimPrefix(s, "-")
	whole, part, dot := strings.Cut(s, ".")
	digits := func(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }
	return digits(whole) && (!dot || digits(part))
}
