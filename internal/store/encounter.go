package store

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"bedsaid/internal/review"
)

// Identifier is one of the two by which a patient is told from all others, of
// the site's choosing: the kind ("record number", "date of birth") and the
// value on the wristband.
type Identifier struct {
	Kind  string `json:"kind"`
	Value string `json:"value"`
}

// Consent to recording: from whom, how, when; and when it was withdrawn.
type Consent struct {
	// From is who gave it: "the patient", "the mother, who decides for him".
	From string `json:"from"`
	// How: "said aloud", "signed form".
	How string    `json:"how"`
	At  time.Time `json:"at"`
	// Withdrawn is zero while it holds.
	Withdrawn time.Time `json:"withdrawn"`
}

// Holds says whether recording is consented to now.
func (c Consent) Holds() bool {
	return strings.TrimSpace(c.From) != "" && strings.TrimSpace(c.How) != "" && !c.At.IsZero() && c.Withdrawn.IsZero()
}

// Details are what a person enters about an encounter.
type Details struct {
	Patient [2]Identifier `json:"patient"`
	Bed     string        `json:"bed"`
	// ExaminedAt is when the patient was examined; the time of entry is kept
	// beside it.
	ExaminedAt time.Time `json:"examined_at"`
	Consent    Consent   `json:"consent"`
}

// Encounter is one examination of one patient by one examiner.
type Encounter struct {
	ID string
	// Version counts the changes, from 1 on.
	Version int
	Details
	// Examiner is who opened it, and the author of its notes.
	Examiner review.Person
	// EnteredAt is when it was opened.
	EnteredAt time.Time
	place     int64
}

// Confirmed are the values of the two identifiers, as read off the wristband at
// that moment, in the encounter's order.
type Confirmed [2]string

type encounterBody struct {
	Details   Details       `json:"details"`
	Examiner  review.Person `json:"examiner"`
	EnteredAt time.Time     `json:"entered_at"`
	ChangedAt time.Time     `json:"changed_at"`
	ChangedBy string        `json:"changed_by"`
	Why       string        `json:"why"`
}

func (d Details) check() error {
	for _, p := range d.Patient {
		if strings.TrimSpace(p.Kind) == "" || strings.TrimSpace(p.Value) == "" {
			return ErrIncomplete
		}
	}
	if d.ExaminedAt.IsZero() || d.Patient[0] == d.Patient[1] {
		return ErrIncomplete
	}
	return nil
}

// NewEncounter opens an encounter; its examiner is the session's user, who
// reads both identifiers off the wristband.
func (x *Session) NewEncounter(ctx context.Context, d Details) (Encounter, error) {
	if x.user.Role == review.Reviewer {
		return Encounter{}, fmt.Errorf("open encounter: %w", ErrRole)
	}
	if err := d.check(); err != nil {
		return Encounter{}, fmt.Errorf("open encounter: %w", err)
	}
	e := Encounter{ID: newID("e"), Version: 1, Details: d, Examiner: x.user.Person(), EnteredAt: x.s.opt.Now()}
	err := x.write(ctx, func(t *tx) error {
		var err error
		if e.place, err = t.nextPlace("encounters"); err != nil {
			return err
		}
		body, err := encode(encounterBody{Details: d, Examiner: e.Examiner, EnteredAt: e.EnteredAt})
		if err != nil {
			return err
		}
		mac := t.s.keys.sum("encounters", e.place, e.ID, e.Version, body)
		if err := t.exec("INSERT INTO encounters (place, id, version, body, mac) VALUES (?, ?, ?, ?, ?)", e.place, e.ID, e.Version, body, mac); err != nil {
			return err
		}
		return t.event(x.user.ID, ActEncounter, e.ID, nil)
	})
	if err != nil {
		return Encounter{}, fmt.Errorf("open encounter: %w", err)
	}
	return e, nil
}

// encounterRow is an encounter with its stored form.
type encounterRow struct {
	Encounter
	body, mac []byte
}

const encounterColumns = "place, id, version, body, mac"

func (t *tx) scanEncounter(scan func(...any) error) (encounterRow, error) {
	var e encounterRow
	if err := scan(&e.place, &e.ID, &e.Version, &e.body, &e.mac); err != nil {
		return e, err
	}
	if err := t.s.keys.check(e.mac, "encounters", e.place, e.ID, e.Version, e.body); err != nil {
		return e, err
	}
	var b encounterBody
	if err := decode(e.body, &b); err != nil {
		return e, err
	}
	e.Details, e.Examiner, e.EnteredAt = b.Details, b.Examiner, b.EnteredAt
	return e, nil
}

func (t *tx) encounter(id string) (encounterRow, error) {
	return t.scanEncounter(func(into ...any) error {
		return t.row("SELECT "+encounterColumns+" FROM encounters WHERE id = ?", []any{id}, into...)
	})
}

// Encounter gives one encounter as it stands.
func (x *Session) Encounter(ctx context.Context, id string) (Encounter, error) {
	var e encounterRow
	err := x.s.read(ctx, func(t *tx) (err error) {
		e, err = t.encounter(id)
		return err
	})
	if err != nil {
		return Encounter{}, fmt.Errorf("read encounter: %w", err)
	}
	return e.Encounter, nil
}

// EncounterHistory gives an encounter as it stood at each version, the first one
// first.
func (x *Session) EncounterHistory(ctx context.Context, id string) ([]Encounter, error) {
	var out []Encounter
	err := x.s.read(ctx, func(t *tx) (err error) {
		out, err = t.encounterHistory(id)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read encounter: %w", err)
	}
	return out, nil
}

func (t *tx) encounterHistory(id string) ([]Encounter, error) {
	var out []Encounter
	for _, table := range []string{"encounters_before", "encounters"} {
		err := t.each("SELECT "+encounterColumns+" FROM "+table+" WHERE id = ? ORDER BY version", []any{id}, func(scan func(...any) error) error {
			e, err := t.scanEncounter(scan)
			out = append(out, e.Encounter)
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	for i, e := range out {
		if e.Version != i+1 {
			return nil, fmt.Errorf("%w (an earlier version of the encounter is missing)", ErrDamaged)
		}
	}
	if out == nil {
		return nil, ErrNotFound
	}
	return out, nil
}

// UpdateEncounter changes an encounter that the caller read at that version;
// where somebody changed it since, the error is an *EncounterConflict. What it
// was stays readable. A change of the patient's identifiers needs a reason.
func (x *Session) UpdateEncounter(ctx context.Context, id string, version int, d Details, why string) (Encounter, error) {
	return x.updateEncounter(ctx, id, version, d, why, ActEncounterEdit)
}

// WithdrawConsent ends the consent to recording. What was recorded before stays
// until it is purged; no recording begins or goes on after it.
func (x *Session) WithdrawConsent(ctx context.Context, id string) (Encounter, error) {
	e, err := x.Encounter(ctx, id)
	if err != nil {
		return Encounter{}, err
	}
	e.Consent.Withdrawn = x.s.opt.Now()
	return x.updateEncounter(ctx, id, e.Version, e.Details, "consent withdrawn", ActConsentEnd)
}

func (x *Session) updateEncounter(ctx context.Context, id string, version int, d Details, why string, act Act) (Encounter, error) {
	fail := func(err error) (Encounter, error) { return Encounter{}, fmt.Errorf("change encounter: %w", err) }
	if x.user.Role == review.Reviewer {
		return fail(ErrRole)
	}
	if err := d.check(); err != nil {
		return fail(err)
	}
	var e encounterRow
	err := x.write(ctx, func(t *tx) error {
		var err error
		if e, err = t.encounter(id); err != nil {
			return err
		}
		if e.Version != version {
			return &EncounterConflict{Yours: d, Now: e.Encounter}
		}
		moved := e.Patient != d.Patient
		if moved && strings.TrimSpace(why) == "" {
			return &problem{"the patient's identifiers are changed without a reason", "say why they were wrong"}
		}
		if err := t.exec("INSERT INTO encounters_before (id, version, place, body, mac) VALUES (?, ?, ?, ?, ?)", e.ID, e.Version, e.place, e.body, e.mac); err != nil {
			return err
		}
		e.Version++
		e.Details = d
		body, err := encode(encounterBody{Details: d, Examiner: e.Examiner, EnteredAt: e.EnteredAt, ChangedAt: x.s.opt.Now(), ChangedBy: x.user.ID, Why: why})
		if err != nil {
			return err
		}
		mac := t.s.keys.sum("encounters", e.place, e.ID, e.Version, body)
		if err := t.exec("UPDATE encounters SET version = ?, body = ?, mac = ? WHERE id = ?", e.Version, body, mac, id); err != nil {
			return err
		}
		return t.event(x.user.ID, act, id, map[string]any{"version": e.Version, "identifiers_changed": moved})
	})
	if err != nil {
		var c *EncounterConflict
		if errors.As(err, &c) {
			return Encounter{}, c
		}
		return fail(err)
	}
	return e.Encounter, nil
}

// identified compares identifiers read off a wristband with the encounter's.
// Case and spacing do not count; all else does.
func (e Encounter) identified(c Confirmed) bool {
	for i, p := range e.Patient {
		if !sameText(c[i], p.Value) {
			return false
		}
	}
	return true
}

// Confirm compares identifiers read off a wristband with the encounter's; where
// they differ, that is written in the log.
func (x *Session) Confirm(ctx context.Context, encounter string, c Confirmed) error {
	e, err := x.Encounter(ctx, encounter)
	if err != nil || e.identified(c) {
		return err
	}
	err = x.write(ctx, func(t *tx) error { return t.event(x.user.ID, ActIdentityFailed, encounter, nil) })
	if err == nil {
		err = ErrIdentity
	}
	return fmt.Errorf("confirm identifiers: %w", err)
}

// Summary is one line of the list of encounters.
type Summary struct {
	Encounter
	Notes      []NoteInfo
	Recordings []Recording
	// Held says that a hold keeps it from every purge.
	Held bool
}

// Page asks for part of the list: the newest first.
type Page struct {
	// Limit is the most lines; 0 is 100.
	Limit int
	// Before continues after an earlier page: the Next of its last line.
	Before int64
}

// Next continues the list after this encounter (Page.Before).
func (e Encounter) Next() int64 { return e.place }

// Encounters lists encounters with their recordings and notes, the newest first.
func (x *Session) Encounters(ctx context.Context, p Page) ([]Summary, error) {
	if p.Limit <= 0 {
		p.Limit = 100
	}
	if p.Before <= 0 {
		p.Before = 1 << 62
	}
	var out []Summary
	err := x.s.read(ctx, func(t *tx) error {
		err := t.each("SELECT "+encounterColumns+" FROM encounters WHERE place < ? ORDER BY place DESC LIMIT ?", []any{p.Before, p.Limit}, func(scan func(...any) error) error {
			e, err := t.scanEncounter(scan)
			out = append(out, Summary{Encounter: e.Encounter})
			return err
		})
		for i := range out {
			if err == nil {
				out[i].Recordings, err = t.recordings(out[i].ID)
			}
			if err == nil {
				out[i].Notes, err = t.noteInfos(out[i].ID)
			}
			if err == nil {
				out[i].Held, err = t.held(out[i].ID)
			}
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list encounters: %w", err)
	}
	return out, nil
}

// String keeps the patient's identifiers out of logs and errors.
func (d Details) String() string { return "details of an encounter" }

// GoString does the same for %#v.
func (d Details) GoString() string { return d.String() }

// LogValue does the same for structured logs.
func (d Details) LogValue() slog.Value { return slog.StringValue(d.String()) }

// String keeps the patient's identifiers out of logs and errors.
func (e Encounter) String() string { return "encounter " + e.ID }

// GoString does the same for %#v.
func (e Encounter) GoString() string { return e.String() }

// LogValue does the same for structured logs.
func (e Encounter) LogValue() slog.Value { return slog.StringValue(e.String()) }

// String keeps the patient's identifiers out of logs and errors.
func (i Identifier) String() string { return "identifier of the kind " + i.Kind }

// GoString does the same for %#v.
func (i Identifier) GoString() string { return i.String() }

// String keeps the patient's identifiers out of logs and errors.
func (c Confirmed) String() string { return "two identifiers" }

// GoString does the same for %#v.
func (c Confirmed) GoString() string { return c.String() }

// String keeps names of relatives out of logs and errors.
func (c Consent) String() string { return "consent" }

// GoString does the same for %#v.
func (c Consent) GoString() string { return c.String() }
