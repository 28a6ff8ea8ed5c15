package store

import (
	"context"
	"crypto/hmac"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"bedsaid/internal/review"
)

// Rate is the rate of recorded sound, in samples a second: mono, 16 bits.
const Rate = 16000

const (
	// piece is how much sound is written at once: half a second, so that what was
	// spoken is on the disk within a second.
	piece = Rate / 2
	// maxPiece bounds a piece on reading.
	maxPiece = Rate
)

// Recording is what is known of a recording; its sound is read apart.
type Recording struct {
	ID, Encounter string
	StartedAt     time.Time
	By            review.Person
	// Samples is how much of it is safe on the disk, at Rate a second.
	Samples int64
	State   RecordingState
	place   int64
	pieces  int64
	head    []byte
	body    []byte
}

// Seconds is the length of the recording.
func (r Recording) Seconds() float64 { return float64(r.Samples) / Rate }

// RecordingState says whether a recording goes on.
type RecordingState string

// States of a recording.
const (
	// RecordingOpen: it goes on, or was cut off by a crash and can go on.
	RecordingOpen RecordingState = "open"
	// RecordingEnded: nothing is added any more.
	RecordingEnded RecordingState = "ended"
	// RecordingPurged: its sound was deleted by the site's rule.
	RecordingPurged RecordingState = "purged"
)

type recordingBody struct {
	StartedAt time.Time     `json:"started_at"`
	By        review.Person `json:"by"`
	Rate      int           `json:"rate"`
}

const recordingColumns = "place, id, encounter, body, state, pieces, length, head, mac"

func (t *tx) scanRecording(scan func(...any) error) (Recording, error) {
	var r Recording
	var mac []byte
	if err := scan(&r.place, &r.ID, &r.Encounter, &r.body, &r.State, &r.pieces, &r.Samples, &r.head, &mac); err != nil {
		return r, err
	}
	if err := t.s.keys.check(mac, "recordings", r.place, r.ID, r.Encounter, r.body, string(r.State), r.pieces, r.Samples, r.head); err != nil {
		return r, err
	}
	var b recordingBody
	if err := decode(r.body, &b); err != nil {
		return r, err
	}
	r.StartedAt, r.By = b.StartedAt, b.By
	return r, nil
}

func (t *tx) recording(id string) (Recording, error) {
	return t.scanRecording(func(into ...any) error {
		return t.row("SELECT "+recordingColumns+" FROM recordings WHERE id = ?", []any{id}, into...)
	})
}

// audible is a recording whose sound is still there.
func (t *tx) audible(id string) (Recording, error) {
	r, err := t.recording(id)
	if err == nil && r.State == RecordingPurged {
		err = ErrPurged
	}
	return r, err
}

func (t *tx) recordings(encounter string) ([]Recording, error) {
	var out []Recording
	err := t.each("SELECT "+recordingColumns+" FROM recordings WHERE encounter = ? ORDER BY place", []any{encounter}, func(scan func(...any) error) error {
		r, err := t.scanRecording(scan)
		out = append(out, r)
		return err
	})
	return out, err
}

func (t *tx) putRecording(r Recording) error {
	mac := t.s.keys.sum("recordings", r.place, r.ID, r.Encounter, r.body, string(r.State), r.pieces, r.Samples, r.head)
	return t.exec("INSERT INTO recordings ("+recordingColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"+
		" ON CONFLICT (id) DO UPDATE SET state = excluded.state, pieces = excluded.pieces, length = excluded.length, head = excluded.head, mac = excluded.mac",
		r.place, r.ID, r.Encounter, r.body, string(r.State), r.pieces, r.Samples, r.head, mac)
}

// Recordings lists the recordings of an encounter, the first one first.
func (x *Session) Recordings(ctx context.Context, encounter string) ([]Recording, error) {
	var out []Recording
	err := x.s.read(ctx, func(t *tx) (err error) {
		out, err = t.recordings(encounter)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list recordings: %w", err)
	}
	return out, nil
}

// Recorder adds sound to a recording. What Append was given is on the disk half
// a second later at the latest, as long as sound goes on coming in; where it
// cannot be written, it is kept in memory and tried again with the next piece.
// It is safe for use by several goroutines.
type Recorder struct {
	s     *Store
	user  string
	mu    sync.Mutex
	rec   Recording
	held  []int16
	ended bool
}

// StartRecording begins a recording. Consent must hold, and the two identifiers
// must be confirmed at that moment.
func (x *Session) StartRecording(ctx context.Context, encounter string, c Confirmed) (*Recorder, error) {
	var r Recording
	err := x.recordingAllowed(ctx, encounter, c, func(t *tx) error {
		r = Recording{ID: newID("s"), Encounter: encounter, StartedAt: x.s.opt.Now(), By: x.user.Person(), State: RecordingOpen}
		var err error
		if r.place, err = t.nextPlace("recordings"); err != nil {
			return err
		}
		if r.body, err = encode(recordingBody{r.StartedAt, r.By, Rate}); err != nil {
			return err
		}
		r.head = t.s.keys.sum("recording begins", r.ID, r.body)
		if err := t.putRecording(r); err != nil {
			return err
		}
		return t.event(x.user.ID, ActRecording, r.ID, map[string]string{"encounter": encounter})
	})
	if err != nil {
		return nil, fmt.Errorf("start recording: %w", err)
	}
	return &Recorder{s: x.s, user: x.user.ID, rec: r}, nil
}

// recordingAllowed runs f in a transaction if sound may be recorded.
func (x *Session) recordingAllowed(ctx context.Context, encounter string, c Confirmed, f func(*tx) error) error {
	if x.user.Role == review.Reviewer {
		return ErrRole
	}
	wrongPatient := false
	err := x.write(ctx, func(t *tx) error {
		e, err := t.encounter(encounter)
		if err != nil {
			return err
		}
		if !e.Consent.Holds() {
			return ErrConsent
		}
		if wrongPatient = !e.identified(c); wrongPatient {
			return t.event(x.user.ID, ActIdentityFailed, encounter, nil)
		}
		return f(t)
	})
	if err == nil && wrongPatient {
		return ErrIdentity
	}
	return err
}

// ResumeRecording goes on with a recording that was not ended, after a crash.
func (x *Session) ResumeRecording(ctx context.Context, id string, c Confirmed) (*Recorder, error) {
	var r Recording
	err := x.s.read(ctx, func(t *tx) (err error) {
		r, err = t.recording(id)
		return err
	})
	if err == nil {
		err = x.recordingAllowed(ctx, r.Encounter, c, func(t *tx) error {
			if r, err = t.recording(id); err != nil {
				return err
			}
			if r.State != RecordingOpen {
				return ErrFinished
			}
			return t.event(x.user.ID, ActRecordingOn, id, map[string]int64{"samples": r.Samples})
		})
	}
	if err != nil {
		return nil, fmt.Errorf("resume recording: %w", err)
	}
	return &Recorder{s: x.s, user: x.user.ID, rec: r}, nil
}

// Recording says what is safe on the disk.
func (w *Recorder) Recording() Recording {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.rec
}

// Unsaved gives the samples that were appended and are not on the disk, such as
// those of a recording that was ended or gone on with elsewhere: start another
// one and append them there.
func (w *Recorder) Unsaved() []int16 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return slices.Clone(w.held)
}

// Append adds samples, at Rate a second, mono. Where writing fails, the error
// says so and the samples are kept to be tried again: go on appending, and tell
// the nurse at once. Once the consent is withdrawn nothing more is taken
// (ErrConsent).
func (w *Recorder) Append(ctx context.Context, samples []int16) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ended {
		return fmt.Errorf("record sound: %w", ErrFinished)
	}
	w.held = append(w.held, samples...)
	return w.store(ctx, piece)
}

// Flush writes all that was appended and is not yet on the disk.
func (w *Recorder) Flush(ctx context.Context) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.store(ctx, 1)
}

// store writes pieces as long as that many samples are held. What was held for
// long, as after a full disk, is written in one transaction.
func (w *Recorder) store(ctx context.Context, least int) error {
	if len(w.held) < least {
		return nil
	}
	r, left := w.rec, w.held
	err := w.s.write(ctx, func(t *tx) error {
		if err := t.stillOpen(r); err != nil {
			return err
		}
		e, err := t.encounter(r.Encounter)
		if err != nil {
			return err
		}
		if !e.Consent.Holds() {
			return ErrConsent
		}
		for len(left) >= least {
			n := min(len(left), piece)
			if r, err = t.addPiece(r, left[:n]); err != nil {
				return err
			}
			left = left[n:]
		}
		return t.putRecording(r)
	})
	if errors.Is(err, ErrConsent) {
		w.held = nil // spoken after the consent ended
	}
	if err != nil {
		return fmt.Errorf("record sound: %w", err)
	}
	w.rec = r
	w.held = append(w.held[:0], left...)
	return nil
}

// stillOpen refuses a recording that was ended, or gone on with elsewhere, since
// it was read.
func (t *tx) stillOpen(r Recording) error {
	now, err := t.recording(r.ID)
	if err == nil && (now.pieces != r.pieces || now.State != RecordingOpen) {
		err = ErrFinished
	}
	return err
}

func (t *tx) addPiece(r Recording, samples []int16) (Recording, error) {
	r.pieces++
	start, body := r.Samples, packSound(samples)
	r.Samples += int64(len(samples))
	r.head = t.s.keys.sum("sound", r.head, r.ID, r.pieces, start, len(samples), body)
	return r, t.exec("INSERT INTO sound (recording, seq, start, length, body, hash) VALUES (?, ?, ?, ?, ?, ?)", r.ID, r.pieces, start, len(samples), body, r.head)
}

// Finish writes what is left and ends the recording.
func (w *Recorder) Finish(ctx context.Context) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ended {
		return nil
	}
	if err := w.store(ctx, 1); err != nil && !errors.Is(err, ErrConsent) {
		return err
	}
	r := w.rec
	r.State = RecordingEnded
	err := w.s.write(ctx, func(t *tx) error {
		if err := t.stillOpen(r); err != nil {
			return err
		}
		if err := t.putRecording(r); err != nil {
			return err
		}
		return t.event(w.user, ActRecordingEnd, r.ID, map[string]int64{"samples": r.Samples})
	})
	if err != nil {
		return fmt.Errorf("end recording: %w", err)
	}
	w.rec, w.ended = r, true
	return nil
}

// Clip is sound in memory, at Rate a second, mono.
type Clip interface {
	Len() int
	// PCM gives samples [from, to), cut to the clip's length.
	PCM(from, to int) []int16
}

// KeepSound makes a recording of a clip, minute by minute, and gives its id.
// Consent and identifiers are asked as by StartRecording.
func (x *Session) KeepSound(ctx context.Context, encounter string, c Confirmed, clip Clip) (string, error) {
	w, err := x.StartRecording(ctx, encounter, c)
	if err != nil {
		return "", err
	}
	const step = 60 * Rate
	for at := 0; at < clip.Len(); at += step {
		if err := w.Append(ctx, clip.PCM(at, at+step)); err != nil {
			return "", err
		}
	}
	return w.Recording().ID, w.Finish(ctx)
}

// Sound gives samples [from, to) of a recording, cut to its length. Each piece
// is checked; one that is not as it was written is an ErrDamaged.
func (x *Session) Sound(ctx context.Context, id string, from, to int64) ([]int16, error) {
	var out []int16
	err := x.s.read(ctx, func(t *tx) error {
		r, err := t.audible(id)
		if err != nil {
			return err
		}
		from, to := max(from, 0), min(to, r.Samples)
		if from >= to {
			return nil
		}
		// Pieces are at most half a second long; only a flush makes shorter ones, so
		// the first one wanted lies at this place or after it.
		first := from/piece + 1
		var prev []byte
		if first > 1 {
			if err := t.row("SELECT hash FROM sound WHERE recording = ? AND seq = ?", []any{id, first - 1}, &prev); err != nil {
				return fmt.Errorf("%w (sound is missing)", ErrDamaged)
			}
		}
		err = t.pieces(r, first, prev, func(start int64, samples []int16) error {
			lo, hi := max(from-start, 0), min(to-start, int64(len(samples)))
			if lo < hi {
				out = append(out, samples[lo:hi]...)
			}
			if start+int64(len(samples)) >= to {
				return errEnough
			}
			return nil
		})
		if err == nil && int64(len(out)) != to-from {
			err = fmt.Errorf("%w (sound is missing)", ErrDamaged)
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read sound: %w", err)
	}
	return out, nil
}

// errEnough ends a walk early.
var errEnough = errors.New("enough")

// pieces walks the pieces of a recording from a number on, checking each, and
// that none is missing up to the recording's head.
func (t *tx) pieces(r Recording, first int64, prev []byte, visit func(start int64, samples []int16) error) error {
	if first == 1 {
		prev = t.s.keys.sum("recording begins", r.ID, r.body)
	}
	want := first
	err := t.each("SELECT seq, start, length, body, hash FROM sound WHERE recording = ? AND seq >= ? ORDER BY seq", []any{r.ID, first}, func(scan func(...any) error) error {
		var seq, start, length int64
		var body, hash []byte
		if err := scan(&seq, &start, &length, &body, &hash); err != nil {
			return err
		}
		if seq != want || !hmac.Equal(hash, t.s.keys.sum("sound", prev, r.ID, seq, start, length, body)) {
			return fmt.Errorf("%w (sound)", ErrDamaged)
		}
		samples, err := unpackSound(body)
		if err != nil {
			return err
		}
		if int64(len(samples)) != length {
			return fmt.Errorf("%w (sound)", ErrDamaged)
		}
		prev = hash
		want++
		return visit(start, samples)
	})
	if errors.Is(err, errEnough) {
		return nil
	}
	if err == nil && (want != r.pieces+1 || !hmac.Equal(prev, r.head)) {
		err = fmt.Errorf("%w (sound is missing)", ErrDamaged)
	}
	return err
}

// WriteWAV writes a recording as a WAV file (PCM, 16 bits, mono), to be heard
// or drafted from.
func (x *Session) WriteWAV(ctx context.Context, id string, w io.Writer) error {
	err := x.s.read(ctx, func(t *tx) error {
		r, err := t.audible(id)
		if err != nil {
			return err
		}
		if _, err := w.Write(WAVHeader(r.Samples)); err != nil {
			return err
		}
		return t.pieces(r, 1, nil, func(_ int64, samples []int16) error {
			b := make([]byte, 0, 2*len(samples))
			for _, v := range samples {
				b = binary.LittleEndian.AppendUint16(b, uint16(v))
			}
			_, err := w.Write(b)
			return err
		})
	})
	if err != nil {
		return fmt.Errorf("write sound: %w", err)
	}
	return nil
}

// WAVHeader is the 44 bytes before PCM sound (Microsoft and IBM, Multimedia
// Programming Interface and Data Specifications 1.0, 1991).
func WAVHeader(samples int64) []byte {
	data := uint32(2 * samples)
	b := append([]byte("RIFF"), binary.LittleEndian.AppendUint32(nil, 36+data)...)
	b = append(b, "WAVEfmt "...)
	b = binary.LittleEndian.AppendUint32(b, 16)
	b = binary.LittleEndian.AppendUint16(b, 1) // PCM
	b = binary.LittleEndian.AppendUint16(b, 1) // channels
	b = binary.LittleEndian.AppendUint32(b, Rate)
	b = binary.LittleEndian.AppendUint32(b, 2*Rate)
	b = binary.LittleEndian.AppendUint16(b, 2)
	b = binary.LittleEndian.AppendUint16(b, 16)
	b = append(b, "data"...)
	return binary.LittleEndian.AppendUint32(b, data)
}

// String keeps what it was made from out of logs and errors.
func (r Recording) String() string { return "recording " + r.ID }

// GoString does the same for %#v.
func (r Recording) GoString() string { return r.String() }

// String keeps sound out of logs.
func (w *Recorder) String() string { return "recorder" }

// GoString does the same for %#v.
func (w *Recorder) GoString() string { return w.String() }
