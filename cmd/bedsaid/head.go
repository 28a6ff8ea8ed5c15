package main

import (
	"slices"
	"strings"
	"time"

	"bedsaid/internal/note"
)

// headOf reads what the flags say of a note: whose it is, who examined, when.
func headOf(f exportFlags) (note.Head, error) {
	var h note.Head
	if len(f.ids) > len(h.Identifiers) {
		return h, usage("more than two --id").hint("two identifiers tell a patient from others")
	}
	ids := make([]note.Identifier, len(f.ids))
	for i, text := range f.ids {
		id, err := identifierOf(text)
		if err != nil {
			return h, err
		}
		ids[i] = id
	}
	slices.SortStableFunc(ids, func(a, b note.Identifier) int { return int(a.Kind) - int(b.Kind) })
	copy(h.Identifiers[:], ids)
	if f.examined != "" {
		at, err := timeOf(f.examined)
		if err != nil {
			return h, err
		}
		h.ExaminedAt = at
	}
	name, credentials, _ := strings.Cut(f.author, ",")
	h.Author = note.Person{Name: strings.TrimSpace(name), Credentials: strings.TrimSpace(credentials)}
	return h, nil
}

// identifierOf reads "kind=text". Its errors hold no text: it names a patient.
func identifierOf(flag string) (note.Identifier, error) {
	kind, text, ok := strings.Cut(flag, "=")
	kinds := map[string]note.IdentifierKind{"name": note.PatientName, "born": note.BirthDate, "record": note.RecordNumber, "visit": note.VisitNumber}
	id := note.Identifier{Kind: kinds[kind], Value: strings.TrimSpace(text)}
	if !ok || id.Kind == note.IdentifierUnknown || id.Value == "" {
		return id, usage("--id needs KIND=TEXT").hint(`kinds are name, born, record and visit, as in --id "record=12345"; a room or bed number is no identifier`)
	}
	if id.Kind == note.BirthDate {
		if _, err := time.Parse(time.DateOnly, id.Value); err != nil {
			return id, usage("born needs a date such as 1931-02-03").hint("year, month, day")
		}
	}
	return id, nil
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
