package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/review"
)

// Hold keeps an encounter, with its sound and notes, from every purge until it
// is lifted: a claim, a complaint or an incident asks for what there is. It
// deletes and changes nothing. (That a legal hold comes before any rule of
// retention is common practice, no source.)
type Hold struct {
	ID, Encounter string
	// Why, By and At are of who put it.
	Why string
	By  review.Person
	At  time.Time
	// Lifted is zero while the hold stands.
	Lifted   time.Time
	LiftedBy review.Person
	LiftWhy  string
}

// Stands says whether the hold was not lifted.
func (h Hold) Stands() bool { return h.Lifted.IsZero() }

type holdBody struct {
	Why string        `json:"why"`
	By  review.Person `json:"by"`
	At  time.Time     `json:"at"`
}

var (
	errNoReason = &problem{"a hold, and the end of one, need a reason", "say in a few words why"}
	errLifted   = &problem{"this hold was lifted before", "bedsaid record hold list shows which stand"}
)

// PutHold puts an encounter on hold. Every user may: it takes nothing away.
func (x *Session) PutHold(ctx context.Context, encounter, why string) (Hold, error) {
	h := Hold{Encounter: encounter, Why: strings.TrimSpace(why)}
	err := x.write(ctx, func(t *tx) error {
		if _, err := t.encounter(encounter); err != nil {
			return err
		}
		id, b, err := x.putHold(t, encounter, "", h.Why)
		h.ID, h.By, h.At = id, b.By, b.At
		return err
	})
	if err != nil {
		return Hold{}, fmt.Errorf("put on hold: %w", err)
	}
	return h, nil
}

// LiftHold ends a hold. It needs somebody who manages the record, and a reason;
// who put the hold, and why, stays readable.
func (x *Session) LiftHold(ctx context.Context, id, why string) (Hold, error) {
	if !x.user.Manages {
		return Hold{}, fmt.Errorf("lift hold: %w", ErrRole)
	}
	var h Hold
	err := x.write(ctx, func(t *tx) error {
		all, err := t.holds("")
		if err != nil {
			return err
		}
		i := slices.IndexFunc(all, func(h Hold) bool { return h.ID == id })
		if i < 0 {
			return ErrNotFound
		}
		if h = all[i]; !h.Stands() {
			return errLifted
		}
		_, b, err := x.putHold(t, h.Encounter, id, strings.TrimSpace(why))
		h.Lifted, h.LiftedBy, h.LiftWhy = b.At, b.By, b.Why
		return err
	})
	if err != nil {
		return Hold{}, fmt.Errorf("lift hold: %w", err)
	}
	return h, nil
}

// putHold writes a hold, or what lifts one. The reason may name a person: it
// stays out of the log.
func (x *Session) putHold(t *tx, encounter, lifts, why string) (string, holdBody, error) {
	b := holdBody{why, x.user.Person(), x.s.opt.Now()}
	if why == "" {
		return "", b, errNoReason
	}
	id, act, detail := newID("h"), ActHeld, map[string]string{"encounter": encounter}
	if lifts != "" {
		act, detail["hold"] = ActHoldLifted, lifts
	}
	body, err := encode(b)
	if err != nil {
		return "", b, err
	}
	place, err := t.nextPlace("holds")
	if err != nil {
		return "", b, err
	}
	if err := t.exec("INSERT INTO holds ("+holdColumns+") VALUES (?, ?, ?, ?, ?, ?)",
		place, id, encounter, lifts, body, t.s.keys.sum("holds", place, id, encounter, lifts, body)); err != nil {
		return "", b, err
	}
	return id, b, t.event(x.user.ID, act, id, detail)
}

const holdColumns = "place, id, encounter, lifts, body, mac"

// holds gives the holds of an encounter, or all for "", the first one first.
func (t *tx) holds(encounter string) ([]Hold, error) {
	query, args := "SELECT "+holdColumns+" FROM holds ORDER BY place", []any(nil)
	if encounter != "" { // not one query for both: it would not use the index
		query, args = "SELECT "+holdColumns+" FROM holds WHERE encounter = ? ORDER BY place", []any{encounter}
	}
	var out []Hold
	err := t.each(query, args, func(scan func(...any) error) error {
		var place int64
		var id, of, lifts string
		var body, mac []byte
		if err := scan(&place, &id, &of, &lifts, &body, &mac); err != nil {
			return err
		}
		if err := t.s.keys.check(mac, "holds", place, id, of, lifts, body); err != nil {
			return err
		}
		var b holdBody
		if err := decode(body, &b); err != nil {
			return err
		}
		if lifts == "" {
			out = append(out, Hold{ID: id, Encounter: of, Why: b.Why, By: b.By, At: b.At})
			return nil
		}
		i := slices.IndexFunc(out, func(h Hold) bool { return h.ID == lifts && h.Encounter == of && h.Stands() })
		if i < 0 {
			return fmt.Errorf("%w (holds)", ErrDamaged)
		}
		out[i].Lifted, out[i].LiftedBy, out[i].LiftWhy = b.At, b.By, b.Why
		return nil
	})
	return out, err
}

// held says whether a hold stands on an encounter.
func (t *tx) held(encounter string) (bool, error) {
	all, err := t.holds(encounter)
	return slices.ContainsFunc(all, Hold.Stands), err
}

// Holds lists the holds of an encounter, or of all for "", lifted ones too; the
// first one first.
func (x *Session) Holds(ctx context.Context, encounter string) ([]Hold, error) {
	var out []Hold
	err := x.s.read(ctx, func(t *tx) (err error) {
		out, err = t.holds(encounter)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list holds: %w", err)
	}
	return out, nil
}

// String keeps reasons out of logs and errors.
func (h Hold) String() string { return "hold " + h.ID }

// GoString does the same for %#v.
func (h Hold) GoString() string { return h.String() }
