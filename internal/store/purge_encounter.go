package store

import (
	"context"
	"fmt"
	"time"

	"bedsaid/internal/review"
)

// purgedEncounter is what the log keeps of an encounter that was deleted: no
// word of the patient, and enough to know again what was exported of it.
type purgedEncounter struct {
	Version    int               `json:"version"`
	Notes      []purgedNote      `json:"notes"`
	Recordings []purgedRecording `json:"recordings"`
	Holds      []string          `json:"holds"`
}

type purgedNote struct {
	ID     string `json:"id"`
	Length int    `json:"length"`
	Head   []byte `json:"head"`
}

type purgedRecording struct {
	ID      string `json:"id"`
	Samples int64  `json:"samples"`
	Head    []byte `json:"head"`
}

// PurgeableEncounters lists the encounters that the site's rule lets go of
// whole: none where it keeps them for ever.
func (x *Session) PurgeableEncounters(ctx context.Context) ([]Encounter, error) {
	var out []Encounter
	err := x.s.read(ctx, func(t *tx) error {
		ids, err := t.ids("SELECT id FROM encounters ORDER BY place")
		for _, id := range ids {
			if err != nil {
				return err
			}
			var e Encounter
			var due bool
			if e, due, err = t.encounterDue(id); due {
				out = append(out, e)
			}
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("purge: %w", err)
	}
	return out, nil
}

// encounterDue says whether the site's rule lets go of a whole encounter: it
// has a signed note, none that waits or is being amended, no hold stands, and
// nothing was entered for as long as the rule says.
func (t *tx) encounterDue(id string) (Encounter, bool, error) {
	site, err := t.site()
	if err != nil {
		return Encounter{}, false, err
	}
	row, err := t.encounter(id)
	if err != nil || site.KeepYears <= 0 {
		return row.Encounter, false, err
	}
	if held, err := t.held(id); err != nil || held {
		return row.Encounter, false, err
	}
	var b encounterBody
	if err := decode(row.body, &b); err != nil {
		return row.Encounter, false, err
	}
	last := later(later(row.ExaminedAt, row.EnteredAt), b.ChangedAt)
	recordings, err := t.recordings(id)
	if err != nil {
		return row.Encounter, false, err
	}
	for _, r := range recordings {
		last = later(last, r.StartedAt.Add(time.Duration(r.Seconds()*float64(time.Second))))
	}
	notes, err := t.noteInfos(id)
	if err != nil {
		return row.Encounter, false, err
	}
	signed := false
	for _, n := range notes {
		l, err := t.load(n.ID)
		if err != nil {
			return row.Encounter, false, err
		}
		switch s := l.note.Status(); {
		case s.Closed():
			signed = true
		case s != review.Preliminary: // it waits for somebody
			return row.Encounter, false, nil
		}
		last = later(last, n.DraftedAt)
		for _, d := range l.note.Decisions() {
			last = later(last, d.At)
		}
	}
	return row.Encounter, signed && last.AddDate(site.KeepYears, 0, 0).Before(t.s.opt.Now()), nil
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// PurgeEncounters deletes the encounters that the site's rule lets go of, with
// their sound, drafts, notes and decisions, and writes each deletion in the
// log, which keeps the last link of each note's chain. Each is asked again
// within its deletion.
func (x *Session) PurgeEncounters(ctx context.Context) ([]Encounter, error) {
	if !x.user.Manages {
		return nil, fmt.Errorf("purge: %w", ErrRole)
	}
	list, err := x.PurgeableEncounters(ctx)
	if err != nil {
		return nil, err
	}
	var done []Encounter
	for _, e := range list {
		gone := false
		err := x.write(ctx, func(t *tx) error {
			now, due, err := t.encounterDue(e.ID)
			if err != nil || !due {
				return err
			}
			gone = true
			left, err := t.deleteEncounter(now)
			if err != nil {
				return err
			}
			return t.event(x.user.ID, ActEncounterPurged, e.ID, left)
		})
		if err != nil {
			return done, fmt.Errorf("purge: %w", err)
		}
		if gone {
			done = append(done, e)
		}
	}
	return done, x.s.overwritten(ctx, len(done))
}

func (t *tx) deleteEncounter(e Encounter) (purgedEncounter, error) {
	left := purgedEncounter{Version: e.Version}
	notes, err := t.noteInfos(e.ID)
	if err != nil {
		return left, err
	}
	for _, n := range notes {
		left.Notes = append(left.Notes, purgedNote{n.ID, n.Length, n.head})
	}
	recordings, err := t.recordings(e.ID)
	if err != nil {
		return left, err
	}
	for _, r := range recordings {
		left.Recordings = append(left.Recordings, purgedRecording{r.ID, r.Samples, r.head})
	}
	left.Holds, err = t.ids("SELECT id FROM holds WHERE encounter = ? ORDER BY place", e.ID)
	// What refers to a row goes before it.
	for _, query := range []string{
		"DELETE FROM signed WHERE note IN (SELECT id FROM notes WHERE encounter = ?)",
		"DELETE FROM decisions WHERE note IN (SELECT id FROM notes WHERE encounter = ?)",
		"DELETE FROM notes WHERE encounter = ?",
		"DELETE FROM drafts WHERE encounter = ?",
		"DELETE FROM sound WHERE recording IN (SELECT id FROM recordings WHERE encounter = ?)",
		"DELETE FROM recordings WHERE encounter = ?",
		"DELETE FROM holds WHERE encounter = ?",
		"DELETE FROM encounters_before WHERE id = ?",
		"DELETE FROM encounters WHERE id = ?",
	} {
		if err == nil {
			err = t.exec(query, e.ID)
		}
	}
	return left, err
}
