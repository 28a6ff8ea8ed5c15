package store

import (
	"context"
	"encoding/json"
	"fmt"
	"time"
)

// PauseWhy says why no sound was recorded for a time.
type PauseWhy string

// Reasons of a pause.
const (
	// PauseAsked: somebody paused.
	PauseAsked PauseWhy = "paused"
	// PauseOffRecord: somebody asked that nothing be kept.
	PauseOffRecord PauseWhy = "off_the_record"
	// PauseNoMic: the microphone was unplugged or taken away.
	PauseNoMic PauseWhy = "no_microphone"
	// PauseBusy: the computer was too busy, and sound was lost on its way, in pieces,
	// before this place.
	PauseBusy PauseWhy = "too_busy"
	// PauseAway: the page that recorded was closed or lost.
	PauseAway PauseWhy = "page_away"
	// PauseCut: the program was ended, killed, or lost its power.
	PauseCut PauseWhy = "cut_off"
)

// Pause is a time during a recording in which no sound was recorded. Nothing
// stands for it in the sound: times of the recording count recorded sound alone.
type Pause struct {
	// Samples is where in the sound it lies, at Rate a second.
	Samples int64
	// From and To are by the clock of this machine.
	From, To time.Time
	Why      PauseWhy
}

// Seconds is where in the sound it lies.
func (p Pause) Seconds() float64 { return float64(p.Samples) / Rate }

type pauseDetail struct {
	Samples int64    `json:"samples"`
	Why     PauseWhy `json:"why,omitempty"`
}

// Pause writes what is held, and writes in the log that no sound is recorded
// from here on. Where the held sound cannot be written, nothing is logged.
func (w *Recorder) Pause(ctx context.Context, why PauseWhy) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	err := w.store(ctx, 1)
	if err == nil {
		err = w.log(ctx, ActRecordingPause, pauseDetail{Samples: w.rec.Samples, Why: why})
	}
	if err != nil {
		return fmt.Errorf("pause recording: %w", err)
	}
	return nil
}

// Resume writes in the log that sound is recorded again after a Pause.
func (w *Recorder) Resume(ctx context.Context) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.log(ctx, ActRecordingOn, pauseDetail{Samples: w.rec.Samples}); err != nil {
		return fmt.Errorf("resume recording: %w", err)
	}
	return nil
}

func (w *Recorder) log(ctx context.Context, act Act, d pauseDetail) error {
	return w.s.write(ctx, func(t *tx) error { return t.event(w.user, act, w.rec.ID, d) })
}

// Pauses lists the pauses of a recording, the first one first; one that still
// goes on is none. Where a recording was cut off, From is reckoned from how much
// sound there is. The whole log is read, and checked on the way.
func (x *Session) Pauses(ctx context.Context, recording string) ([]Pause, error) {
	var out []Pause
	var since time.Time // when sound was recorded last from
	var from int64      // its place in the sound
	why := PauseCut
	err := x.Log(ctx, func(e Event) error {
		if e.Subject != recording {
			return nil
		}
		var d pauseDetail
		if err := json.Unmarshal([]byte(e.Detail), &d); err != nil {
			return fmt.Errorf("%w (events %d)", ErrDamaged, e.Seq)
		}
		switch e.Act {
		case ActRecording:
			since = e.At
		case ActRecordingPause:
			why = d.Why
		case ActRecordingOn:
			spoken := time.Duration(d.Samples-from) * time.Second / Rate
			out = append(out, Pause{Samples: d.Samples, From: since.Add(min(spoken, e.At.Sub(since))), To: e.At, Why: why})
			since, from, why = e.At, d.Samples, PauseCut
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read pauses: %w", err)
	}
	return out, nil
}
