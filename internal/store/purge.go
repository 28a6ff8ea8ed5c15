package store

import (
	"context"
	"fmt"
	"time"
)

// DefaultKeepSound is how long sound is kept after the last signature of its
// notes, where the site has no rule of its own: long enough to settle what was
// said after a shift, an incident report or a complaint of the first weeks; not
// longer, since the signed note is the record, and a voice kept is a voice that
// can be stolen or demanded. Law, local policy and a legal hold come first.
// (Common practice, no source.)
const DefaultKeepSound = 30 * 24 * time.Hour

// Retention is a site's rule for sound. Sound of an encounter on which a hold
// stands is never purged.
type Retention struct {
	// KeepSound is how long sound is kept after the last signature. Sound of a
	// note that is not signed, or of which no note was made, is never purged by it.
	KeepSound time.Duration
	// Withdrawn takes also the sound of encounters whose consent was withdrawn.
	Withdrawn bool
}

// Purgeable lists the recordings whose sound the rule lets go of.
func (x *Session) Purgeable(ctx context.Context, rule Retention) ([]Recording, error) {
	var out []Recording
	err := x.s.read(ctx, func(t *tx) (err error) {
		out, err = t.purgeable(rule)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("purge: %w", err)
	}
	return out, nil
}

func (t *tx) purgeable(rule Retention) ([]Recording, error) {
	var all, out []Recording
	err := t.each("SELECT "+recordingColumns+" FROM recordings ORDER BY place", nil, func(scan func(...any) error) error {
		r, err := t.scanRecording(scan)
		all = append(all, r)
		return err
	})
	for _, r := range all {
		if err != nil {
			break
		}
		if r.State == RecordingPurged {
			continue
		}
		var due bool
		due, err = t.due(r, rule)
		if due {
			out = append(out, r)
		}
	}
	return out, err
}

// due says whether the rule lets go of a recording's sound.
func (t *tx) due(r Recording, rule Retention) (bool, error) {
	e, err := t.encounter(r.Encounter)
	if err != nil {
		return false, err
	}
	if held, err := t.held(r.Encounter); err != nil || held {
		return false, err
	}
	if rule.Withdrawn && !e.Consent.Withdrawn.IsZero() {
		return true, nil
	}
	if r.State != RecordingEnded {
		return false, nil
	}
	notes, err := t.noteInfos(r.Encounter)
	if err != nil {
		return false, err
	}
	drafted := false
	for _, n := range notes {
		if n.Recording != r.ID {
			continue
		}
		drafted = true
		l, err := t.load(n.ID)
		if err != nil {
			return false, err
		}
		v := l.note.Versions()
		if len(v) == 0 || l.note.Status().Open() {
			return false, nil
		}
		for _, s := range v[len(v)-1].Signatures {
			if t.s.opt.Now().Sub(s.At) < rule.KeepSound {
				return false, nil
			}
		}
	}
	return drafted, nil
}

// PurgeSound deletes the sound that the rule lets go of, and writes each
// deletion in the log. That there was a recording, its length and the head of
// its chain stay. The rule is asked again within each deletion.
func (x *Session) PurgeSound(ctx context.Context, rule Retention) ([]Recording, error) {
	if !x.user.Manages {
		return nil, fmt.Errorf("purge: %w", ErrRole)
	}
	list, err := x.Purgeable(ctx, rule)
	if err != nil {
		return nil, err
	}
	return x.erase(ctx, list, func(t *tx, r Recording) (bool, error) { return t.due(r, rule) })
}

// EraseWithdrawn deletes the sound of an encounter whose consent was withdrawn,
// and writes each deletion in the log; the encounter's examiner may, and whoever
// manages the record. While a hold stands nothing is deleted (ErrHeld).
func (x *Session) EraseWithdrawn(ctx context.Context, encounter string) ([]Recording, error) {
	e, err := x.Encounter(ctx, encounter)
	if err != nil {
		return nil, err
	}
	list, err := x.Recordings(ctx, encounter)
	switch {
	case err != nil:
		return nil, err
	case x.user.ID != e.Examiner.ID && !x.user.Manages:
		return nil, fmt.Errorf("erase sound: %w", ErrRole)
	case e.Consent.Withdrawn.IsZero():
		return nil, fmt.Errorf("erase sound: %w", ErrConsentHolds)
	}
	// A withdrawal stands: it is never taken back, so it need not be asked again;
	// a hold may have been put meanwhile.
	return x.erase(ctx, list, func(t *tx, r Recording) (bool, error) {
		held, err := t.held(encounter)
		if err == nil && held {
			err = ErrHeld
		}
		return r.State != RecordingPurged, err
	})
}

// erase deletes the sound of recordings that still may be, one transaction each.
func (x *Session) erase(ctx context.Context, list []Recording, still func(*tx, Recording) (bool, error)) ([]Recording, error) {
	var done []Recording
	for _, r := range list {
		err := x.write(ctx, func(t *tx) error {
			now, err := t.recording(r.ID)
			if err != nil {
				return err
			}
			if due, err := still(t, now); err != nil || !due {
				return err
			}
			if err := t.exec("DELETE FROM sound WHERE recording = ?", r.ID); err != nil {
				return err
			}
			now.State = RecordingPurged
			if err := t.putRecording(now); err != nil {
				return err
			}
			done = append(done, now)
			return t.event(x.user.ID, ActSoundPurged, r.ID, map[string]any{"samples": now.Samples, "pieces": now.pieces, "head": now.head})
		})
		if err != nil {
			return done, fmt.Errorf("purge: %w", err)
		}
	}
	return done, x.s.overwritten(ctx, len(done))
}

// overwritten finishes deletions, if there were any: what was deleted is
// overwritten in the file; its traces in the log of writes go with it, and the
// room is given back.
func (s *Store) overwritten(ctx context.Context, deletions int) error {
	if deletions == 0 {
		return nil
	}
	err := s.giveRoomBack(ctx)
	if err == nil {
		err = s.run(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	}
	if err != nil {
		return fmt.Errorf("purge: %w", err)
	}
	return nil
}

// giveRoomBack shortens the file by what is empty in it, a little at a time: a
// recording that goes on meanwhile must not wait long.
func (s *Store) giveRoomBack(ctx context.Context) error {
	for last := -1; ; {
		var empty int
		if err := s.db.QueryRowContext(ctx, "PRAGMA freelist_count").Scan(&empty); err != nil || empty == 0 || empty == last {
			return s.fault(err)
		}
		last = empty
		if err := s.run(ctx, "PRAGMA incremental_vacuum(500)"); err != nil {
			return err
		}
	}
}
