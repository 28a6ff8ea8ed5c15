package store

import (
	"bytes"
	"context"
	"crypto/hmac"
	"errors"
	"fmt"
	"strings"
	"time"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
)

// NoteInfo is what is known of a note without reading its words.
type NoteInfo struct {
	ID, Encounter string
	// Recording is the id of the recording it was drafted from; empty where words
	// were typed.
	Recording string
	Author    review.Person
	DraftedAt time.Time
	Status    review.Status
	// Length is the number of decisions.
	Length int
	place  int64
	draft  string
	head   []byte
	body   []byte
}

// Seal names the note's chain as it stands.
func (n NoteInfo) Seal() Seal { return Seal{n.ID, n.Length, n.head} }

type noteBody struct {
	Recording string        `json:"recording"`
	Author    review.Person `json:"author"`
	DraftedAt string        `json:"drafted_at"`
	Name      string        `json:"name"`
}

const noteColumns = "place, id, encounter, draft, body, status, length, head, mac"

func (t *tx) scanNote(scan func(...any) error) (NoteInfo, error) {
	var n NoteInfo
	var status string
	var mac []byte
	if err := scan(&n.place, &n.ID, &n.Encounter, &n.draft, &n.body, &status, &n.Length, &n.head, &mac); err != nil {
		return n, err
	}
	if err := t.s.keys.check(mac, "notes", n.place, n.ID, n.Encounter, n.draft, n.body, status, n.Length, n.head); err != nil {
		return n, err
	}
	n.Status = review.ParseStatus(status)
	var b noteBody
	err := decode(n.body, &b)
	if err == nil {
		n.Recording, n.Author = b.Recording, b.Author
		n.DraftedAt, err = unstamp(b.DraftedAt)
	}
	return n, err
}

func (t *tx) noteInfo(id string) (NoteInfo, error) {
	return t.scanNote(func(into ...any) error {
		return t.row("SELECT "+noteColumns+" FROM notes WHERE id = ?", []any{id}, into...)
	})
}

func (t *tx) noteInfos(encounter string) ([]NoteInfo, error) {
	var out []NoteInfo
	err := t.each("SELECT "+noteColumns+" FROM notes WHERE encounter = ? ORDER BY place", []any{encounter}, func(scan func(...any) error) error {
		n, err := t.scanNote(scan)
		out = append(out, n)
		return err
	})
	return out, err
}

func (t *tx) putNote(n NoteInfo) error {
	mac := t.s.keys.sum("notes", n.place, n.ID, n.Encounter, n.draft, n.body, n.Status.String(), n.Length, n.head)
	return t.exec("INSERT INTO notes ("+noteColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"+
		" ON CONFLICT (id) DO UPDATE SET status = excluded.status, length = excluded.length, head = excluded.head, mac = excluded.mac",
		n.place, n.ID, n.Encounter, n.draft, n.body, n.Status.String(), n.Length, n.head, mac)
}

// SaveDraft keeps a draft of an encounter, with its transcript, and begins a
// note of it. The recording is empty where words were typed. A draft is never
// changed: hearing or understanding anew makes another note.
func (x *Session) SaveDraft(ctx context.Context, encounter, recording string, d note.Draft) (NoteInfo, error) {
	fail := func(err error) (NoteInfo, error) { return NoteInfo{}, fmt.Errorf("save draft: %w", err) }
	if x.user.Role == review.Reviewer {
		return fail(ErrRole)
	}
	var plain, packed bytes.Buffer
	if err := export.JSON(&plain, d); err != nil {
		return fail(err)
	}
	deflate(&packed, plain.Bytes())
	n := NoteInfo{ID: newID("n"), Encounter: encounter, Recording: recording, DraftedAt: d.Provenance.DraftedAt, Status: review.Preliminary, draft: newID("d")}
	err := x.write(ctx, func(t *tx) error {
		e, err := t.encounter(encounter)
		if err != nil {
			return err
		}
		if recording != "" {
			r, err := t.recording(recording)
			if err != nil {
				return err
			}
			if r.Encounter != encounter {
				return ErrNotFound
			}
		}
		n.Author = e.Examiner
		mac := t.s.keys.sum("drafts", n.draft, encounter, recording, packed.Bytes())
		if err := t.exec("INSERT INTO drafts (id, encounter, recording, body, mac) VALUES (?, ?, ?, ?, ?)", n.draft, encounter, recording, packed.Bytes(), mac); err != nil {
			return err
		}
		if n.body, err = encode(noteBody{Recording: recording, Author: n.Author, DraftedAt: stamp(n.DraftedAt), Name: d.Name}); err != nil {
			return err
		}
		if n.place, err = t.nextPlace("notes"); err != nil {
			return err
		}
		n.head = t.s.keys.sum("note begins", n.ID, encounter, n.draft, mac, n.body)
		if err := t.putNote(n); err != nil {
			return err
		}
		return t.event(x.user.ID, ActDraft, n.ID, map[string]string{"encounter": encounter})
	})
	if err != nil {
		return fail(err)
	}
	return n, nil
}

// Notes lists the notes of an encounter, the first one first.
func (x *Session) Notes(ctx context.Context, encounter string) ([]NoteInfo, error) {
	var out []NoteInfo
	err := x.s.read(ctx, func(t *tx) (err error) {
		out, err = t.noteInfos(encounter)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list notes: %w", err)
	}
	return out, nil
}

// NoteInfo gives what is known of one note without its words.
func (x *Session) NoteInfo(ctx context.Context, id string) (NoteInfo, error) {
	var n NoteInfo
	err := x.s.read(ctx, func(t *tx) (err error) {
		n, err = t.noteInfo(id)
		return err
	})
	if err != nil {
		return NoteInfo{}, fmt.Errorf("read note: %w", err)
	}
	return n, nil
}

// Note reads a note: its draft with transcript and evidence, its lines as they
// stand, and all decisions. The first reading in a session is written in the log.
func (x *Session) Note(ctx context.Context, id string) (review.Note, error) {
	var n loaded
	err := x.s.read(ctx, func(t *tx) (err error) {
		n, err = t.load(id)
		return err
	})
	if err == nil && x.firstView(id) {
		err = x.write(ctx, func(t *tx) error { return t.event(x.user.ID, ActViewed, id, nil) })
		if unwritable(err) {
			err = nil // what cannot be written must still be readable
		}
	}
	if err != nil {
		return review.Note{}, fmt.Errorf("read note: %w", err)
	}
	return n.note, nil
}

// loaded is a note with what is known of its rows.
type loaded struct {
	note review.Note
	info NoteInfo
	// heads are the links of the chain: heads[i] after i decisions.
	heads [][]byte
	// patients are the encounter's versions that signatures were made for.
	patients []patientBody
}

// load reads a note and checks all it rests on: the draft's hash, each link of
// the chain of decisions, their number, and what was signed.
func (t *tx) load(id string) (loaded, error) {
	info, err := t.noteInfo(id)
	if err != nil {
		return loaded{}, err
	}
	d, mac, err := t.draft(info)
	if err != nil {
		return loaded{}, err
	}
	l := loaded{info: info, heads: [][]byte{t.s.keys.sum("note begins", id, info.Encounter, info.draft, mac, info.body)}}
	var decisions []review.Decision
	err = t.each("SELECT seq, body, hash FROM decisions WHERE note = ? ORDER BY seq", []any{id}, func(scan func(...any) error) error {
		var seq int
		var body, hash []byte
		if err := scan(&seq, &body, &hash); err != nil {
			return err
		}
		if seq != len(decisions)+1 || !hmac.Equal(hash, t.link(l.heads[len(l.heads)-1], id, seq, body)) {
			return fmt.Errorf("%w (decisions)", ErrDamaged)
		}
		x, patient, err := decodeDecision(body, len(d.Transcript.Words))
		if err != nil {
			return err
		}
		if patient != nil {
			l.patients = append(l.patients, *patient)
		}
		decisions = append(decisions, x)
		l.heads = append(l.heads, hash)
		return nil
	})
	if err != nil {
		return loaded{}, err
	}
	if len(decisions) != info.Length || !hmac.Equal(l.heads[info.Length], info.head) {
		return loaded{}, fmt.Errorf("%w (decisions are missing)", ErrDamaged)
	}
	l.note, err = review.Replay(d, info.Author, decisions)
	if err != nil || l.note.Status() != info.Status {
		return loaded{}, fmt.Errorf("%w (decisions cannot be followed)", ErrDamaged)
	}
	return l, t.checkSigned(l)
}

func (t *tx) link(prev []byte, note string, seq int, body []byte) []byte {
	return t.s.keys.sum("decisions", prev, note, seq, body)
}

func (t *tx) draft(info NoteInfo) (note.Draft, []byte, error) {
	var encounter, recording string
	var packed, mac []byte
	if err := t.row("SELECT encounter, recording, body, mac FROM drafts WHERE id = ?", []any{info.draft}, &encounter, &recording, &packed, &mac); err != nil {
		return note.Draft{}, nil, err
	}
	if err := t.s.keys.check(mac, "drafts", info.draft, encounter, recording, packed); err != nil {
		return note.Draft{}, nil, err
	}
	if d, ok := t.s.drafts.get(mac); ok {
		return d, mac, nil
	}
	plain, err := inflate(packed, 1<<28)
	if err != nil {
		return note.Draft{}, nil, err
	}
	d, err := export.ReadDraft(bytes.NewReader(plain), t.s.opt.Outline)
	if err != nil {
		return note.Draft{}, nil, fmt.Errorf("%w (draft)", ErrDamaged)
	}
	var b noteBody
	if err := decode(info.body, &b); err != nil {
		return note.Draft{}, nil, err
	}
	d.Name = b.Name
	t.s.drafts.put(mac, d)
	return d, mac, nil
}

// checkSigned compares what was kept at each signature with what following the
// decisions gives: a program that follows them otherwise must not show its
// reading as what was signed.
func (t *tx) checkSigned(l loaded) error {
	kept := map[int][]byte{}
	err := t.each("SELECT seq, body, mac FROM signed WHERE note = ? ORDER BY seq", []any{l.info.ID}, func(scan func(...any) error) error {
		var seq int
		var body, mac []byte
		if err := scan(&seq, &body, &mac); err != nil {
			return err
		}
		kept[seq] = body
		return t.s.keys.check(mac, "signed", l.info.ID, seq, body)
	})
	if err != nil {
		return err
	}
	versions := l.note.Versions()
	for _, v := range versions {
		body, err := encodeSigned(l.note.Draft().Transcript, v.Lines, v.Why)
		if err != nil {
			return err
		}
		if seq := v.Signatures[len(v.Signatures)-1].Seq; !bytes.Equal(body, kept[seq]) {
			return fmt.Errorf("%w (signed)", ErrDamaged)
		}
	}
	if len(kept) != len(versions) {
		return fmt.Errorf("%w (signed)", ErrDamaged)
	}
	return nil
}

// Decide adds a decision to a note of which the caller has seen the first
// `after` decisions (Note.Len). Where somebody decided meanwhile nothing is
// written and the error is a *ConflictError; a forbidden decision is a
// *review.RuleError. By and At are filled in. What needs a passphrase (Sign,
// CoSign, Addendum) goes through Sign.
func (x *Session) Decide(ctx context.Context, id string, after int, d review.Decision) (review.Note, error) {
	switch d.Kind {
	case review.Sign, review.CoSign, review.Addendum:
		return review.Note{}, fmt.Errorf("decide: %w", &problem{"this needs the passphrase", "sign with name and passphrase"})
	}
	return x.decide(ctx, id, after, d, nil)
}

// Signing is what a signature needs beside the decision.
type Signing struct {
	// Passphrase is the user's own, given again.
	Passphrase string
	// Confirmed are the patient's identifiers, read again.
	Confirmed Confirmed
}

// errNoCredentials: what a licensed nurse signs names her licence. (The ANA
// Principles for Nursing Documentation, 2010, ask for entries whose author is
// identified; that the credentials stand with it is common practice, no source.)
var errNoCredentials = &problem{"your credentials are not in the record, and a signature names them", "whoever manages the record adds them: bedsaid record user change LOGIN --credentials RN"}

// Sign signs a note, co-signs it, or adds a signed addendum to it (the kinds
// Sign, CoSign and Addendum); the rest is as with Decide.
func (x *Session) Sign(ctx context.Context, id string, after int, d review.Decision, with Signing) (review.Note, error) {
	switch d.Kind {
	case review.Sign, review.CoSign, review.Addendum:
	default:
		return review.Note{}, fmt.Errorf("sign: %w", &problem{"this is no signature", "decide without the passphrase"})
	}
	if u := x.user; u.Role.Licensed() && strings.TrimSpace(u.Credentials) == "" {
		return review.Note{}, fmt.Errorf("sign: %w", errNoCredentials)
	}
	if err := x.confirm(with.Passphrase); err != nil {
		return review.Note{}, fmt.Errorf("sign: %w", err)
	}
	return x.decide(ctx, id, after, d, &with.Confirmed)
}

func (x *Session) decide(ctx context.Context, id string, after int, d review.Decision, c *Confirmed) (review.Note, error) {
	var next review.Note
	wrongPatient := false
	err := x.write(ctx, func(t *tx) error {
		l, err := t.load(id)
		if err != nil {
			return err
		}
		d.By, d.At, d.ObservedAt = x.user.Person(), keepZone(x.s.opt.Now()), keepZone(d.ObservedAt)
		d.Closing.At = keepZone(d.Closing.At)
		if l.info.Length != after {
			return conflict(l, after, d)
		}
		var patient *patientBody
		act := ActDecided
		if c != nil {
			e, err := t.encounter(l.info.Encounter)
			if err != nil {
				return err
			}
			if wrongPatient = !e.identified(*c); wrongPatient {
				return t.event(x.user.ID, ActIdentityFailed, id, nil)
			}
			patient, act = &patientBody{e.Version, e.mac}, ActSigned
		}
		if d, next, err = x.s.judged(l.note, d); err != nil {
			return err
		}
		return x.put(t, l, next, d, patient, act)
	})
	var con *ConflictError
	var rule *review.RuleError
	switch {
	case errors.As(err, &con), errors.As(err, &rule):
		return review.Note{}, err
	case err != nil:
		return review.Note{}, fmt.Errorf("decide: %w", err)
	case wrongPatient:
		return review.Note{}, fmt.Errorf("sign: %w", ErrIdentity)
	}
	return next, nil
}

// judged applies a decision, with what the packs' rules say of the finding that
// it leaves: it is kept with the decision, and later packs do not change it.
func (s *Store) judged(n review.Note, d review.Decision) (review.Decision, review.Note, error) {
	d.Attention = nil
	next, err := n.Apply(d)
	if err != nil || s.opt.Attention == nil {
		return d, next, err
	}
	switch d.Kind {
	case review.Change, review.Add:
	case review.Accept:
		if l, _ := n.Line(d.Line); l.State != review.Rejected {
			return d, next, nil
		}
	default:
		return d, next, nil
	}
	l, _ := next.Decided()
	d.Attention = append([]finding.Attention{}, s.opt.Attention(n.Draft().Transcript, l.Finding)...)
	next, err = n.Apply(d)
	return d, next, err
}

// put writes a decision that was allowed.
func (x *Session) put(t *tx, l loaded, next review.Note, d review.Decision, patient *patientBody, act Act) error {
	n, seq := l.info, l.info.Length+1
	tr := next.Draft().Transcript
	body, err := encodeDecision(tr, d, patient)
	if err != nil {
		return err
	}
	n.head = t.link(n.head, n.ID, seq, body)
	n.Length, n.Status = seq, next.Status()
	if err := t.exec("INSERT INTO decisions (note, seq, body, hash) VALUES (?, ?, ?, ?)", n.ID, seq, body, n.head); err != nil {
		return err
	}
	if v := next.Versions(); len(v) > len(l.note.Versions()) {
		last := v[len(v)-1]
		body, err := encodeSigned(tr, last.Lines, last.Why)
		if err != nil {
			return err
		}
		if err := t.exec("INSERT INTO signed (note, seq, body, mac) VALUES (?, ?, ?, ?)", n.ID, seq, body, t.s.keys.sum("signed", n.ID, seq, body)); err != nil {
			return err
		}
	}
	if err := t.putNote(n); err != nil {
		return err
	}
	return t.event(x.user.ID, act, n.ID, map[string]any{"kind": d.Kind.String(), "seq": seq, "head": n.head})
}

// conflict gives both versions of the note.
func conflict(l loaded, after int, d review.Decision) error {
	if after < 0 || after > l.info.Length {
		return ErrNotFound
	}
	seen, err := review.Replay(l.note.Draft(), l.note.Author(), l.note.Decisions()[:after])
	if err != nil {
		return fmt.Errorf("%w (decisions cannot be followed)", ErrDamaged)
	}
	return &ConflictError{Seen: seen, Now: l.note, Yours: d}
}

// firstView says whether a note is read for the first time in this session.
func (x *Session) firstView(id string) bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.viewed[id] {
		return false
	}
	x.viewed[id] = true
	return true
}

// String keeps what it was made from out of logs and errors.
func (n NoteInfo) String() string { return "note " + n.ID }

// GoString does the same for %#v.
func (n NoteInfo) GoString() string { return n.String() }
