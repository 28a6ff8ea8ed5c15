package store

import (
	"context"
	"crypto/hmac"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
)

// Report is what a verification found.
type Report struct {
	Users, Encounters, Recordings, Notes, Signed, Decisions, Events int
	// Seconds of sound that was read and checked.
	Seconds float64
	// Problems is empty where all is whole.
	Problems []Problem
}

// Problem is one thing that is not as it was written. It holds no word of a
// patient.
type Problem struct {
	// Subject is the id of what is concerned, or the name of a part of the record.
	Subject string
	What    string
}

func (p Problem) String() string { return p.Subject + ": " + p.What }

// Verify reads the whole record and checks it: the database's own structure,
// every keyed hash, every chain, and that all that the log says was made is
// there. It goes on after a problem, to find them all.
func (x *Session) Verify(ctx context.Context) (Report, error) {
	r, err := x.s.verify(ctx)
	if err != nil {
		return Report{}, fmt.Errorf("verify record: %w", err)
	}
	return r, nil
}

func (s *Store) verify(ctx context.Context) (Report, error) {
	v := newVerifier()
	err := s.read(ctx, func(t *tx) error {
		v.t = t
		return v.all()
	})
	return v.r, err
}

type verifier struct {
	t *tx
	r Report
	// made are the things that the log says were made and that were not met yet.
	made map[string]Act
	// gone are the things that were deleted by the site's rule.
	gone map[string]bool
	// heads are the links of each note's chain that the log names, versions the
	// last version of each encounter and user.
	heads    map[string][]noteHead
	versions map[string]int
}

func newVerifier() *verifier {
	return &verifier{made: map[string]Act{}, gone: map[string]bool{}, heads: map[string][]noteHead{}, versions: map[string]int{}}
}

type noteHead struct {
	Seq     int    `json:"seq"`
	Head    []byte `json:"head"`
	Version int    `json:"version"`
}

// version compares the last version of something with the one in the log.
func (v *verifier) version(id string, have int) {
	if want := v.versions[id]; have < want {
		v.problem(id, fmt.Sprintf("it stands at version %d and was at %d: the last change was dropped", have, want))
	}
}

func (v *verifier) all() error {
	for _, step := range []func() error{v.structure, v.log, v.meta, v.users, v.encounters, v.recordings, v.holds, v.drafts, v.notes} {
		if err := step(); err != nil && !v.note("record", err) {
			return err
		}
	}
	for _, id := range slices.Sorted(maps.Keys(v.made)) {
		v.problem(id, "it is in the log ("+string(v.made[id])+") and not in the record")
	}
	return nil
}

func (v *verifier) problem(subject, what string) {
	v.r.Problems = append(v.r.Problems, Problem{subject, what})
}

// note writes a damage down as a problem; any other error it leaves alone.
func (v *verifier) note(subject string, err error) bool {
	if err = translate(err); errors.Is(err, ErrDamaged) || errors.Is(err, ErrNotFound) {
		v.problem(subject, err.Error())
		return true
	}
	return false
}

func (v *verifier) structure() error {
	orphans := 0
	err := v.t.each("PRAGMA foreign_key_check", nil, func(func(...any) error) error {
		orphans++
		return nil
	})
	if orphans > 0 {
		v.problem(recordName, fmt.Sprintf("%d rows belong to what is not there", orphans))
	}
	if err != nil {
		return err
	}
	return v.t.each("PRAGMA integrity_check", nil, func(scan func(...any) error) error {
		var line string
		if err := scan(&line); err != nil {
			return err
		}
		if line != "ok" {
			v.problem(recordName, "the database's structure is damaged") // its own words may quote a row
		}
		return nil
	})
}

func (v *verifier) log() error {
	made := map[Act]bool{ActUserAdded: true, ActEncounter: true, ActRecording: true, ActDraft: true, ActSite: true, ActHeld: true, ActHoldLifted: true}
	return v.t.events(func(e Event) error {
		v.r.Events++
		if made[e.Act] {
			v.made[e.Subject] = e.Act
		}
		var h noteHead
		switch e.Act {
		case ActEncounterPurged:
			return v.purged(e)
		case ActDecided, ActSigned, ActEncounterEdit, ActConsentEnd, ActUserChanged:
			if err := decode([]byte(e.Detail), &h); err != nil {
				return err
			}
		default:
			return nil
		}
		if h.Head != nil {
			v.heads[e.Subject] = append(v.heads[e.Subject], h)
		} else {
			v.versions[e.Subject] = max(v.versions[e.Subject], h.Version)
		}
		return nil
	})
}

// purged takes what was deleted by the rule off the list of what must be there.
func (v *verifier) purged(e Event) error {
	var p purgedEncounter
	if err := decode([]byte(e.Detail), &p); err != nil {
		return err
	}
	ids := append(p.Holds, e.Subject)
	for _, n := range p.Notes {
		ids = append(ids, n.ID)
		v.heads[n.ID] = append(v.heads[n.ID], noteHead{Seq: n.Length, Head: n.Head})
	}
	for _, r := range p.Recordings {
		ids = append(ids, r.ID)
	}
	for _, id := range ids {
		delete(v.made, id)
		v.gone[id] = true
	}
	return nil
}

// there notes that something was met.
func (v *verifier) there(id string) {
	delete(v.made, id)
	if v.gone[id] {
		v.problem(id, "it was deleted by the site's rule and is there again")
	}
}

func (v *verifier) meta() error {
	names, err := v.t.ids("SELECT name FROM meta ORDER BY name")
	for _, name := range append(names, "record", "writes") {
		if _, err := v.t.meta(name); err != nil {
			return fmt.Errorf("%w (meta)", ErrDamaged)
		}
		delete(v.made, name)
	}
	return err
}

func (v *verifier) users() error {
	all, err := v.t.users()
	v.r.Users = len(all)
	for _, u := range all {
		delete(v.made, u.ID)
		_, version, err := v.t.user(u.ID)
		if err != nil {
			return err
		}
		v.version(u.ID, version)
	}
	return err
}

// drafts that no note is made of would be passed over by the notes, and so would
// earlier versions of an encounter that is gone.
func (v *verifier) drafts() error {
	ids, err := v.t.ids("SELECT id FROM drafts WHERE id NOT IN (SELECT draft FROM notes) ORDER BY id")
	for _, id := range ids {
		v.problem(id, "a draft without its note")
	}
	if err == nil {
		ids, err = v.t.ids("SELECT DISTINCT id FROM encounters_before WHERE id NOT IN (SELECT id FROM encounters) ORDER BY id")
	}
	for _, id := range ids {
		v.problem(id, "earlier versions of an encounter that is not there")
	}
	return err
}

func (v *verifier) holds() error {
	if _, err := v.t.holds(""); err != nil {
		return err
	}
	ids, err := v.t.ids("SELECT id FROM holds ORDER BY place")
	for _, id := range ids {
		v.there(id)
	}
	return err
}

func (v *verifier) encounters() error {
	ids, err := v.t.ids("SELECT id FROM encounters ORDER BY place")
	for _, id := range ids {
		v.r.Encounters++
		v.there(id)
		h, err := v.t.encounterHistory(id)
		if err != nil && !v.note(id, err) {
			return err
		}
		v.version(id, len(h))
	}
	return err
}

func (v *verifier) recordings() error {
	ids, err := v.t.ids("SELECT id FROM recordings ORDER BY place")
	for _, id := range ids {
		v.r.Recordings++
		v.there(id)
		r, err := v.t.recording(id)
		if err == nil && r.State != RecordingPurged {
			err = v.t.pieces(r, 1, nil, func(_ int64, samples []int16) error {
				v.r.Seconds += float64(len(samples)) / Rate
				return nil
			})
		}
		if err != nil && !v.note(id, err) {
			return err
		}
	}
	return err
}

func (v *verifier) notes() error {
	ids, err := v.t.ids("SELECT id FROM notes ORDER BY place")
	for _, id := range ids {
		v.r.Notes++
		v.there(id)
		l, err := v.t.load(id)
		if err != nil {
			if !v.note(id, err) {
				return err
			}
			continue
		}
		v.r.Decisions += l.info.Length
		if l.note.Status().Signed() {
			v.r.Signed++
		}
		if err := v.patients(l); err != nil {
			return err
		}
		for _, h := range v.heads[id] {
			if problem := l.holds(h.Seq, h.Head); problem != "" {
				v.problem(id, problem)
				break
			}
		}
	}
	return err
}

// patients finds signatures that were made for another state of the encounter
// than the record has.
func (v *verifier) patients(l loaded) error {
	for _, p := range l.patients {
		var mac []byte
		err := v.t.row(`SELECT mac FROM encounters WHERE id = ?1 AND version = ?2
			UNION ALL SELECT mac FROM encounters_before WHERE id = ?1 AND version = ?2`, []any{l.info.Encounter, p.Version}, &mac)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		if err != nil || !hmac.Equal(mac, p.MAC) {
			v.problem(l.info.ID, "it was signed for the encounter as it stood at a version that is not there")
		}
	}
	return nil
}

// holds says what is wrong where a note's chain does not hold that link.
func (l loaded) holds(length int, head []byte) string {
	switch {
	case length < 0 || length >= len(l.heads):
		return fmt.Sprintf("it has %d decisions and had %d: decisions were dropped from its end", l.info.Length, length)
	case !hmac.Equal(l.heads[length], head):
		return fmt.Sprintf("its first %d decisions are not those that it had", length)
	}
	return ""
}

// Seal names a note's chain at one moment: how long it was, and its last link.
// It stands on every signed export, so that a record from which the end was
// taken, which shows nothing by itself, can be told from the paper.
type Seal struct {
	Note   string
	Length int
	Head   []byte
}

// String gives the line that stands on an export.
func (s Seal) String() string {
	return fmt.Sprintf("bedsaid-seal/1 %s %d %s", s.Note, s.Length, hex.EncodeToString(s.Head))
}

var sealLine = regexp.MustCompile(`bedsaid-seal/1\s+(n[0-9a-z]{16})\s+(\d{1,9})\s+([0-9a-f]{64})`)

// ParseSeals finds all seals in the text of an export.
func ParseSeals(text string) []Seal {
	var out []Seal
	for _, m := range sealLine.FindAllStringSubmatch(text, -1) {
		length, err1 := strconv.Atoi(m[2])
		head, err2 := hex.DecodeString(m[3])
		if err1 == nil && err2 == nil {
			out = append(out, Seal{m[1], length, head})
		}
	}
	return out
}

// VerifyAgainst compares the record with seals printed on exports. Of notes that
// the site's rule deleted the log has the links that they are compared with;
// their ids are purged.
func (x *Session) VerifyAgainst(ctx context.Context, seals []Seal) (problems []Problem, purged []string, err error) {
	if len(seals) == 0 {
		return nil, nil, nil // the log need not be read for nothing
	}
	v := newVerifier()
	err = x.s.read(ctx, func(t *tx) error {
		v.t = t
		if err := v.log(); err != nil && !errors.Is(err, ErrDamaged) { // Verify tells of that
			return err
		}
		for _, s := range seals {
			l, err := t.load(s.Note)
			if errors.Is(err, ErrNotFound) {
				switch {
				case !v.gone[s.Note]:
					v.problem(s.Note, "the note is not in this record")
				case !v.logged(s):
					v.problem(s.Note, "it was deleted by the site's rule, and the log does not name this seal")
				default:
					purged = append(purged, s.Note)
				}
				continue
			}
			if err != nil {
				if !v.note(s.Note, err) {
					return err
				}
				continue
			}
			if problem := l.holds(s.Length, s.Head); problem != "" {
				v.problem(s.Note, problem)
			}
		}
		return nil
	})
	if err != nil {
		return nil, nil, fmt.Errorf("verify against export: %w", err)
	}
	return v.r.Problems, purged, nil
}

// logged says whether the log names a link of a note's chain.
func (v *verifier) logged(s Seal) bool {
	return slices.ContainsFunc(v.heads[s.Note], func(h noteHead) bool { return h.Seq == s.Length && hmac.Equal(h.Head, s.Head) })
}
