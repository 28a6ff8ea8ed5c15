package main

import (
	"strings"
	"time"

	"bedsaid/internal/note"
)

// headOf reads what the flags say of a note: who examined, and when.
func headOf(examined, author string) (note.Head, error) {
	var h note.Head
	if examined != "" {
		at, err := timeOf(examined)
		if err != nil {
			return h, err
		}
		h.ExaminedAt = at
	}
	name, credentials, _ := strings.Cut(author, ",")
	h.Author = note.Person{Name: strings.TrimSpace(name), Credentials: strings.TrimSpace(credentials)}
	return h, nil
}

// askIdentifiers asks whose the note is. What names a patient is no argument:
// every process of the machine can read those.
func askIdentifiers(ask *asker, kinds []string) ([2]note.Identifier, error) {
	var ids [2]note.Identifier
	if len(kinds) != len(ids) {
		return ids, usage("--identifiers names %d kinds, not two", len(kinds)).hint(`such as --identifiers "record number,date of birth"`)
	}
	for i, k := range kinds {
		value, err := ask.line(onWristband(k))
		if err != nil {
			return ids, err
		}
		ids[i] = note.Identifier{Kind: strings.TrimSpace(k), Value: strings.TrimSpace(value)}
		if ids[i].Kind == "" || ids[i].Value == "" {
			return ids, usage("an identifier is empty").hint("both are needed; a room or bed number is no identifier")
		}
	}
	return note.Identifiers(ids[0], ids[1]), nil
}

func timeOf(text string) (time.Time, error) {
	if at, err := time.Parse(time.RFC3339, text); err == nil {
		return at, nil
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", text, time.Local)
	if err != nil {
		return at, usage("%q is no time", text).hint("write it as 2031-02-03 14:05, or with a zone as 2031-02-03T14:05:00+01:00")
	}
	return at, nil
}

// merged lets what the flags say stand over what the file says.
func merged(file, flags note.Head) note.Head {
	if flags.Identifiers != ([2]note.Identifier{}) {
		file.Identifiers = flags.Identifiers
	}
	if !flags.ExaminedAt.IsZero() {
		file.ExaminedAt = flags.ExaminedAt
	}
	if flags.Author != (note.Person{}) {
		file.Author = flags.Author
	}
	return file
}
