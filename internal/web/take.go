package web

import (
	"context"
	"errors"
	"sync"
	"time"

	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/store"
)

// takeState is how a recording at the bedside stands.
type takeState string

const (
	takeReady     takeState = "ready"     // nothing was recorded yet
	takeCut       takeState = "cut"       // a recording was cut off and can go on
	takeRecording takeState = "recording" // sound comes in
	takeAway      takeState = "away"      // the window that recorded is lost; told, never held
	takePaused    takeState = "paused"
	takeOff       takeState = "off"       // off the record
	takeEnding    takeState = "ending"    // the last words are being heard
	takeEnded     takeState = "ended"     // the note is there
	takeWithdrawn takeState = "withdrawn" // consent ended, and with it the recording
)

// awayHold is how long a recording waits for its page before it is put aside:
// its sound is safe and it can go on, but the engine and the record's keys are
// not held for it any longer.
const awayHold = 5 * time.Minute

func (s takeState) goesOn() bool { return s == takeRecording || s == takePaused || s == takeOff }
func (s takeState) over() bool   { return s == takeEnding || s == takeEnded || s == takeWithdrawn }

// take is a recording at the bedside: where its sound comes from, what of it is
// safe, and what was understood of it so far. Sound goes to the record first and
// to the ear second.
type take struct {
	s         *Server
	encounter string
	device    string // the browser that it began in

	do sync.Mutex // held while something is done with the sound, one thing after the other

	mu       sync.Mutex
	state    takeState
	by       *ticket // in whose name it records
	rec      *store.Recorder
	ear      *ear
	from     *socket // the window that records; nil while it is lost
	window   string  // and its name, by which it is known again
	sockets  map[*socket]bool
	received int64 // samples, on the disk or not yet
	safe     int64 // of them on the disk
	trouble  *problem
	heard    *pipeline.Update
	views    int    // counts what was understood anew
	goTo     string // where the page goes when it is over
	idle     *time.Timer
}

// takeOf gives the recording of an encounter that goes on, or begins to wait for
// one.
func (s *Server) takeOf(encounter, device string, cut int64) *take {
	s.mu.Lock()
	defer s.mu.Unlock()
	if t := s.takes[encounter]; t != nil {
		return t
	}
	t := &take{s: s, encounter: encounter, device: device, state: takeReady, sockets: map[*socket]bool{}}
	if cut >= 0 {
		t.state, t.received, t.safe = takeCut, cut, cut
	}
	s.takes[encounter] = t
	return t
}

// takeNow gives the recording of an encounter that goes on, or nil.
func (s *Server) takeNow(encounter string) *take {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.takes[encounter]
}

// told is what a window is told; it holds no word of a patient.
type told struct {
	State takeState `json:"state"`
	// You says whether this window records, another one does, or none.
	You string `json:"you"`
	// Received and Safe count samples that came in, and that are on the disk.
	Received int64 `json:"received"`
	Safe     int64 `json:"safe"`
	// Views counts up whenever more was understood.
	Views  int     `json:"views"`
	Behind float64 `json:"behind"` // seconds that were not heard yet
	Deaf   bool    `json:"deaf"`   // nothing is heard now; the sound is kept
	// Problem and Hint say what keeps sound from the disk.
	Problem string `json:"problem,omitempty"`
	Hint    string `json:"hint,omitempty"`
	Go      string `json:"go,omitempty"`
	Locked  bool   `json:"locked"`
}

func (t *take) told(k *socket) told {
	locked := !t.s.signedInStill(k.ticket)
	t.mu.Lock()
	defer t.mu.Unlock()
	v := told{State: t.state, You: "none", Received: t.received, Safe: t.safe, Views: t.views, Go: t.goTo, Locked: locked}
	if t.state == takeRecording && t.from == nil {
		v.State = takeAway
	}
	switch {
	case t.from == k:
		v.You = "this"
	case t.from != nil:
		v.You = "other"
	}
	if t.trouble != nil {
		v.Problem, v.Hint = t.trouble.Text, t.trouble.Hint
	}
	if t.ear != nil {
		v.Deaf = t.ear.broken.Load()
	}
	if t.heard != nil && t.heard.Waiting > 0 {
		v.Behind = max(float64(t.received)/store.Rate-t.heard.Settled, 0)
	}
	return v
}

// goesOn says whether sound is taken, or will be.
func (t *take) goesOn() bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.rec != nil && t.state.goesOn()
}

// tell wakes all windows.
func (t *take) tell() {
	t.mu.Lock()
	defer t.mu.Unlock()
	for k := range t.sockets {
		k.poke()
	}
}

// set changes what is told, and tells it.
func (t *take) set(f func()) {
	t.mu.Lock()
	f()
	t.mu.Unlock()
	t.tell()
}

// understood takes what was understood so far.
func (t *take) understood(u pipeline.Update) {
	t.set(func() { t.heard = &u; t.views++ })
}

// draft gives what was understood so far.
func (t *take) draft() (note.Draft, bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.heard == nil {
		return note.Draft{}, false
	}
	return t.heard.Draft, true
}

// join adds a window. One that recorded and lost its connection goes on.
func (t *take) join(k *socket) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sockets[k] = true
	if t.window == k.window && t.state.goesOn() {
		if t.from != nil {
			t.from.drop()
		}
		t.from = k
	}
	if t.idle != nil {
		t.idle.Stop()
	}
}

// leave takes a window away. What it sent is written at once, and if it recorded
// the recording waits for it, or for another one, for a while.
func (t *take) leave(k *socket) {
	t.do.Lock()
	defer t.do.Unlock()
	t.mu.Lock()
	delete(t.sockets, k)
	mine := t.from == k
	if mine {
		t.from = nil
	}
	rec, empty := t.rec, len(t.sockets) == 0
	if rec != nil && t.from == nil && t.idle == nil {
		t.idle = time.AfterFunc(awayHold, t.putAside)
	} else if rec != nil && t.from == nil {
		t.idle.Reset(awayHold)
	}
	t.mu.Unlock()
	switch {
	case rec == nil && empty:
		t.s.forget(t)
	case mine && rec != nil:
		t.wrote(rec, rec.Flush(context.Background()))
	}
}

// wrote takes what came of a write. An error is told to the nurse at once; the
// sound is kept in memory and in the page, and tried again.
func (t *take) wrote(rec *store.Recorder, err error) {
	safe := rec.Recording().Samples
	var now *problem
	if err != nil && !errors.Is(err, store.ErrFinished) && !errors.Is(err, store.ErrConsent) {
		p := problemOf(err)
		now = &p
	}
	t.set(func() { t.trouble, t.safe = now, safe })
}

// forget removes a recording that is over, or was never begun.
func (s *Server) forget(t *take) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.takes[t.encounter] == t {
		delete(s.takes, t.encounter)
	}
	s.closeIfUnused()
}

// putAside ends a take whose page is gone, or whose server closes: what was sent
// is on the disk, and the recording stays open to be gone on with.
func (t *take) putAside() {
	t.do.Lock()
	defer t.do.Unlock()
	t.mu.Lock()
	rec, ear := t.rec, t.ear
	if t.from != nil || rec == nil || !t.state.goesOn() { // it goes on after all, or is over
		t.mu.Unlock()
		return
	}
	t.rec, t.ear, t.state = nil, nil, takeCut
	t.mu.Unlock()
	_ = rec.Flush(context.Background()) // as much as the disk takes; what it does not is not told as safe
	ear.close()
	t.s.forget(t)
	t.hangUp()
}

// hangUp closes the connections of all windows; those that stay open call again.
func (t *take) hangUp() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.from = nil
	for k := range t.sockets {
		k.drop()
	}
}
