package store

import (
	"context"
	"crypto/hmac"
	"errors"
	"fmt"
	"time"
)

// Act is what an event of the log says was done.
type Act string

// Acts of the log.
const (
	ActCreated         Act = "record_created"
	ActSignedIn        Act = "signed_in"
	ActAnchorLost      Act = "anchor_made_anew"
	ActUserAdded       Act = "user_added"
	ActUserChanged     Act = "user_changed"
	ActPassphrase      Act = "passphrase_changed"
	ActKeyringOn       Act = "keyring_trusted"
	ActKeyringOff      Act = "keyring_distrusted"
	ActRecovered       Act = "recovered"
	ActEncounter       Act = "encounter_opened"
	ActEncounterEdit   Act = "encounter_changed"
	ActConsentEnd      Act = "consent_withdrawn"
	ActRecording       Act = "recording_started"
	ActRecordingPause  Act = "recording_paused"
	ActRecordingOn     Act = "recording_resumed"
	ActRecordingEnd    Act = "recording_ended"
	ActDraft           Act = "draft_saved"
	ActViewed          Act = "note_viewed"
	ActSurveyed        Act = "notes_surveyed"
	ActDecided         Act = "decided"
	ActSigned          Act = "signed"
	ActExported        Act = "exported"
	ActSoundPurged     Act = "sound_purged"
	ActEncounterPurged Act = "encounter_purged"
	ActHeld            Act = "held"
	ActHoldLifted      Act = "hold_lifted"
	ActSite            Act = "site_rules_set"
	ActBackup          Act = "backed_up"
	ActRestored        Act = "restored"
	ActIdentityFailed  Act = "identity_not_confirmed"
)

// Event is one line of the log of the record: who did what to what, when. It
// holds no word of a patient.
type Event struct {
	Seq int64
	At  time.Time
	// By is the id of the user.
	By  string
	Act Act
	// Subject is the id of what it was done to.
	Subject string
	// Detail is a short JSON object; what it holds depends on the act.
	Detail string
}

// event adds to the log; each line is chained to the one before.
func (t *tx) event(by string, act Act, subject string, detail any) error {
	text := []byte("{}")
	if detail != nil {
		var err error
		if text, err = encode(detail); err != nil {
			return err
		}
	}
	var seq int64
	var prev []byte
	err := t.row("SELECT seq, hash FROM events ORDER BY seq DESC LIMIT 1", nil, &seq, &prev)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	seq++
	at := stamp(t.s.opt.Now())
	return t.exec("INSERT INTO events (seq, at, by, act, subject, detail, hash) VALUES (?, ?, ?, ?, ?, ?, ?)",
		seq, at, by, string(act), subject, text, t.s.keys.sum("events", prev, seq, at, by, string(act), subject, text))
}

// events reads the whole log and checks its chain.
func (t *tx) events(visit func(Event) error) error {
	var prev []byte
	want := int64(1)
	return t.each("SELECT seq, at, by, act, subject, detail, hash FROM events ORDER BY seq", nil, func(scan func(...any) error) error {
		var e Event
		var at, act string
		var detail, hash []byte
		if err := scan(&e.Seq, &at, &e.By, &act, &e.Subject, &detail, &hash); err != nil {
			return err
		}
		if e.Seq != want || !hmac.Equal(hash, t.s.keys.sum("events", prev, e.Seq, at, e.By, act, e.Subject, detail)) {
			return fmt.Errorf("%w (events %d)", ErrDamaged, want)
		}
		prev, want = hash, want+1
		e.Act, e.Detail = Act(act), string(detail)
		var err error
		if e.At, err = unstamp(at); err != nil {
			return err
		}
		return visit(e)
	})
}

// Log reads the whole log of the record, checking its chain on the way.
func (x *Session) Log(ctx context.Context, visit func(Event) error) error {
	return x.s.read(ctx, func(t *tx) error { return t.events(visit) })
}
