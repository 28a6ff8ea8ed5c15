package store

import (
	"context"
	"fmt"
	"io"

	"bedsaid/internal/review"
)

// Export gives a note and its seal for handing on, after the patient's
// identifiers were confirmed. To, such as "text to a file", goes into the log.
func (x *Session) Export(ctx context.Context, id, to string, c Confirmed) (review.Note, Seal, error) {
	var l loaded
	err := x.handOn(ctx, id, to, c, func(t *tx) (string, int64, error) {
		var err error
		l, err = t.load(id)
		return l.info.Encounter, int64(l.info.Length), err
	})
	if err != nil {
		return review.Note{}, Seal{}, fmt.Errorf("export note: %w", err)
	}
	return l.note, l.info.Seal(), nil
}

// ExportSound writes a recording as a WAV file for handing on, under the same
// conditions. To play it on the page, WriteWAV and Sound do.
func (x *Session) ExportSound(ctx context.Context, id, to string, c Confirmed, w io.Writer) error {
	err := x.handOn(ctx, id, to, c, func(t *tx) (string, int64, error) {
		r, err := t.recording(id)
		return r.Encounter, r.Samples, err
	})
	if err != nil {
		return fmt.Errorf("export sound: %w", err)
	}
	return x.WriteWAV(ctx, id, w)
}

// handOn checks the identifiers of the encounter that something belongs to, and
// writes in the log that it leaves the record, and how much of it there was.
func (x *Session) handOn(ctx context.Context, id, to string, c Confirmed, find func(*tx) (encounter string, length int64, err error)) error {
	wrongPatient := false
	err := x.write(ctx, func(t *tx) error {
		encounter, length, err := find(t)
		if err != nil {
			return err
		}
		e, err := t.encounter(encounter)
		if err != nil {
			return err
		}
		if wrongPatient = !e.identified(c); wrongPatient {
			return t.event(x.user.ID, ActIdentityFailed, id, nil)
		}
		return t.event(x.user.ID, ActExported, id, map[string]any{"to": to, "length": length})
	})
	if err == nil && wrongPatient {
		return ErrIdentity
	}
	return err
}
