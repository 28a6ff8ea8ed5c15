package lexicon

import (
	"bytes"
	"strings"
)

// place is a stretch of a pack's file: one table, for complaints with a line.
type place struct {
	file       *File
	start, end int
}

// tables finds the [[name]] tables of a file, each up to the one after it.
func tables(f *File) map[string][]place {
	out := map[string][]place{}
	name, from, at := "", 0, 0
	end := func(to int) {
		if name != "" {
			out[name] = append(out[name], place{f, from, to})
		}
	}
	for _, line := range bytes.SplitAfter(f.Data, []byte("\n")) {
		text := strings.TrimSpace(string(line))
		if head, ok := strings.CutPrefix(text, "[["); ok {
			if head, _, ok = strings.Cut(head, "]]"); ok {
				end(at)
				name, from = strings.TrimSpace(head), at
			}
		}
		at += len(line)
	}
	end(at)
	return out
}

// line is where text stands in the place, as a string or as a key; the first
// line of the place where it does not.
func (p place) line(text string) int {
	if p.file == nil {
		return 0
	}
	data, at := p.file.Data, p.start
	for _, form := range [...]string{`"` + text + `"`, "'" + text + "'", "\n" + text + " =", "\n" + text + "=", "." + text + "]"} {
		if i := bytes.Index(data[p.start:p.end], []byte(form)); text != "" && i >= 0 {
			at = p.start + i
			if form[0] == '\n' {
				at++
			}
			break
		}
	}
	return 1 + bytes.Count(data[:at], []byte("\n"))
}

func (p place) problem(at, what, hint string) Problem {
	out := Problem{Line: p.line(at), What: what, Hint: hint, Minor: true}
	if p.file != nil {
		out.File = p.file.Name
	}
	return out
}
