package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bedsaid/internal/note"
)

// queued is one row of a list of encounters: a recording with what is known of
// it beforehand.
type queued struct {
	path string
	head note.Head
}

// queueColumns are the columns of a list; file is needed, the others may lack.
var queueColumns = []string{"file", "name", "born", "record", "visit", "examined", "author"}

// identifierColumns are the columns that identify the patient, with the words
// that stand before them in a note.
var identifierColumns = map[string]string{"name": note.NameKind, "born": "date of birth", "record": "record number", "visit": "visit number"}

// readQueue reads a list of encounters: CSV with a header (RFC 4180; semicolons
// serve as well, as some spreadsheets write them). Every row is checked before
// any recording is heard. Errors name a line and never its text.
func readQueue(list, folder string) ([]queued, error) {
	data, err := os.ReadFile(list)
	if err != nil {
		return nil, failed(exitBadInput, fmt.Errorf("read list %s: %w", list, cause(err))).hint("check the name")
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	c := csv.NewReader(strings.NewReader(text))
	head, _, _ := strings.Cut(text, "\n")
	if strings.Contains(head, ";") && !strings.Contains(head, ",") {
		c.Comma = ';'
	}
	columns, err := c.Read()
	if err != nil {
		return nil, badList(list, 1, "there is no header").hint("the first line names the columns: %s", strings.Join(queueColumns, ", "))
	}
	for i := range columns {
		columns[i] = strings.ToLower(strings.TrimSpace(columns[i]))
		if !slices.Contains(queueColumns, columns[i]) {
			return nil, badList(list, 1, "unknown column").hint("columns are %s", strings.Join(queueColumns, ", "))
		}
	}
	if !slices.Contains(columns, "file") {
		return nil, badList(list, 1, "no column named file").hint("it names the recording of each row")
	}
	var out []queued
	seen := map[string]bool{}
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		line, _ := c.FieldPos(0)
		if err != nil {
			return nil, badList(list, line, "the row cannot be read").hint("it needs as many cells as the header, and closed quotation marks")
		}
		q, err := queuedOf(columns, row, folder)
		if err != nil {
			return nil, failed(exitBadInput, fmt.Errorf("list %s, line %d: %w", list, line, err))
		}
		if seen[q.path] {
			return nil, badList(list, line, "the file is in the list twice").hint("one row a recording")
		}
		seen[q.path] = true
		out = append(out, q)
	}
	if len(out) == 0 {
		return nil, badList(list, 1, "no row below the header").hint("a row for each recording")
	}
	return out, nil
}

func badList(list string, line int, problem string) *failure {
	return failed(exitBadInput, fmt.Errorf("list %s, line %d: %s", list, line, problem))
}

func queuedOf(columns, row []string, folder string) (queued, error) {
	var q queued
	var examined, author string
	var ids []note.Identifier
	for i, column := range columns {
		cell := strings.TrimSpace(row[i])
		switch {
		case cell == "":
		case column == "file":
			q.path = cell
		case column == "examined":
			examined = cell
		case column == "author":
			author = cell
		default:
			ids = append(ids, note.Identifier{Kind: identifierColumns[column], Value: cell})
		}
	}
	if len(ids) > len(q.head.Identifiers) {
		return q, usage("more than two identifiers").hint("two tell a patient from others")
	}
	ids = append(ids, note.Identifier{}, note.Identifier{})
	// A list names files of its folder; a path out of it is a slip or worse.
	if q.path == "" || !filepath.IsLocal(q.path) {
		return q, usage("no file named, or one outside of the folder").hint("write the name of a recording that lies in the folder")
	}
	q.path = filepath.Join(folder, q.path)
	if info, err := os.Stat(q.path); err != nil || !info.Mode().IsRegular() {
		return q, usage("there is no such recording in the folder").hint("check the name in the column file")
	}
	head, err := headOf(examined, author)
	q.head = head
	q.head.Identifiers = note.Identifiers(ids[0], ids[1])
	return q, err
}
