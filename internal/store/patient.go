package store

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/note"
)

// PatientNote is a note of a patient with the examination it is of.
type PatientNote struct {
	NoteInfo
	Of Encounter
}

// SignedBefore lists the signed notes of the same patient that come before a
// note, the one examined last first. The patient is told by both identifiers,
// kind and value; a patient who was entered with others is not found.
func (x *Session) SignedBefore(ctx context.Context, id string) ([]PatientNote, error) {
	var out []PatientNote
	err := x.s.read(ctx, func(t *tx) error {
		this, err := t.noteInfo(id)
		if err != nil {
			return err
		}
		e, err := t.encounter(this.Encounter)
		if err != nil {
			return err
		}
		var of []Encounter
		err = t.each("SELECT "+encounterColumns+" FROM encounters ORDER BY place", nil, func(scan func(...any) error) error {
			o, err := t.scanEncounter(scan)
			if err == nil && o.samePatient(e.Encounter) && !o.ExaminedAt.After(e.ExaminedAt) {
				of = append(of, o.Encounter)
			}
			return err
		})
		for i := 0; i < len(of) && err == nil; i++ {
			var notes []NoteInfo
			notes, err = t.noteInfos(of[i].ID)
			for _, n := range notes {
				if n.ID != id && n.Status.Signed() && (of[i].ID != e.ID || n.place < this.place) {
					out = append(out, PatientNote{n, of[i]})
				}
			}
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("find earlier notes: %w", err)
	}
	slices.SortStableFunc(out, func(a, b PatientNote) int {
		return cmp.Or(b.Of.ExaminedAt.Compare(a.Of.ExaminedAt), cmp.Compare(b.place, a.place))
	})
	return out, nil
}

// samePatient compares both identifiers, in whichever order they stand.
func (e Encounter) samePatient(o Encounter) bool {
	for _, p := range e.Patient {
		if !slices.ContainsFunc(o.Patient[:], func(q Identifier) bool { return sameText(p.Kind, q.Kind) && sameText(p.Value, q.Value) }) {
			return false
		}
	}
	return true
}

// sameText compares what was typed or read: case and spacing do not count.
func sameText(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// Head is what a document says of a note of this encounter.
func (e Encounter) Head(noteID string, s Seal) note.Head {
	return note.Head{
		ID: noteID, Identifiers: note.Identifiers(note.Identifier(e.Patient[0]), note.Identifier(e.Patient[1])),
		ExaminedAt: e.ExaminedAt, EnteredAt: e.EnteredAt, Seal: s.String(),
	}
}
