package export

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"
)

type style string

// Styles; colour only repeats what the words and flags already say.
const (
	normal style = ""
	bold   style = "1"
	dim    style = "2"
	alarm  style = "1;31"
	doubt  style = "33"
)

// printer lays out lines of a fixed width. What a recording or a file said
// passes through clean, so that no control character reaches a terminal.
type printer struct {
	b      bytes.Buffer
	width  int
	colour bool
}

// line writes text after a lead (an indent, a flag, a name), wrapped to the
// width with following lines indented to the lead's width. right is set flush
// right on the first line where it is not empty.
func (p *printer) line(st style, lead, text, right string) {
	lead, text, right = clean(lead), clean(text), clean(right)
	indent := utf8.RuneCountInString(lead)
	room := p.width - indent
	if right != "" {
		room -= utf8.RuneCountInString(right) + 2
	}
	for i, l := range wrap(text, max(room, 16)) {
		if i > 0 {
			lead = strings.Repeat(" ", indent)
		}
		row := lead + l
		if i == 0 && right != "" {
			row += strings.Repeat(" ", max(p.width-utf8.RuneCountInString(row)-utf8.RuneCountInString(right), 1)) + right
		}
		p.row(st, row)
	}
}

func (p *printer) row(st style, row string) {
	row = strings.TrimRight(row, " ")
	if p.colour && st != normal && row != "" {
		row = "\x1b[" + string(st) + "m" + row + "\x1b[0m"
	}
	p.b.WriteString(row)
	p.b.WriteByte('\n')
}

func (p *printer) blank() { p.b.WriteByte('\n') }

func (p *printer) heading(st style, title string) {
	p.blank()
	p.line(st, "", title, "")
}

// wrap breaks at spaces; a word longer than the room stands on its own line.
func wrap(text string, room int) []string {
	var lines []string
	line, n := "", 0
	for _, w := range strings.Fields(text) {
		k := utf8.RuneCountInString(w)
		if n > 0 && n+1+k > room {
			lines, line, n = append(lines, line), "", 0
		}
		if n > 0 {
			line, n = line+" ", n+1
		}
		line, n = line+w, n+k
	}
	return append(lines, line)
}

// clean shows characters that could steer a terminal, or turn a line around,
// as a question mark.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return '?'
		}
		return r
	}, s)
}
