package web

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"bedsaid/internal/export"
	"bedsaid/internal/note"
	"bedsaid/internal/store"
)

// errOrder says that a window sent what cannot be at this point.
var errOrder = errors.New("out of order")

// mine says whether a window may do something with the recording: it is
// the one that records, or none does.
func (t *take) mine(k *socket) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return !t.state.over() && (t.from == nil || t.from == k)
}

// record begins a recording, or goes on with it.
func (t *take) record(k *socket) {
	t.do.Lock()
	defer t.do.Unlock()
	if t.mine(k) && t.open(k) {
		t.set(func() { t.state, t.trouble = takeRecording, nil })
	}
}

// open makes a window the one that records.
func (t *take) open(k *socket) bool {
	ctx := context.Background()
	t.mu.Lock()
	rec, state, by, from := t.rec, t.state, t.by, t.from
	t.mu.Unlock()
	if from == k && state == takeRecording {
		return true
	}
	var err error
	if rec != nil && from == nil && state == takeRecording {
		// The window that recorded is gone, and what was said meanwhile with it.
		err = rec.Pause(ctx, store.PauseAway)
	}
	before := rec
	switch {
	case rec == nil:
		rec, err = k.ticket.begin(ctx, t.encounter)
	case by.x.User().ID != k.ticket.x.User().ID && err == nil:
		rec, err = k.ticket.x.ResumeRecording(ctx, rec.Recording().ID, k.ticket.confirmed())
	case state != takeRecording || from == nil:
		// Sound matters more than a line in the log of a disk that is full.
		if err = errors.Join(err, rec.Resume(ctx)); err != nil {
			t.wrote(rec, err)
			err = nil
		}
	}
	if err != nil {
		p := problemOf(err)
		t.set(func() { t.trouble = &p })
		return false
	}
	if before == nil {
		r := rec.Recording()
		e := t.s.listen(t.understood, t.tell)
		t.mu.Lock()
		t.ear, t.received, t.safe = e, r.Samples, r.Samples
		t.mu.Unlock()
		if r.Samples > 0 {
			t.hearEarlier(k.ticket.x, e, r)
		}
	}
	t.mu.Lock()
	t.rec, t.by, t.from, t.window = rec, k.ticket, k, k.window
	t.mu.Unlock()
	return true
}

// hearEarlier lets the ear hear what was recorded before the program was
// started anew.
func (t *take) hearEarlier(x *store.Session, e *ear, r store.Recording) {
	const step = 60 * store.Rate
	for at := int64(0); at < r.Samples; at += step {
		samples, err := x.Sound(context.Background(), r.ID, at, at+step)
		if err != nil { // drafting from the kept recording says what it is
			e.fail(err)
			return
		}
		e.write(samples)
	}
}

// begin goes on with the recording of the encounter that was cut off, or starts
// one.
func (k *ticket) begin(ctx context.Context, encounter string) (*store.Recorder, error) {
	r, err := openRecording(ctx, k.x, encounter)
	if err != nil {
		return nil, err
	}
	if r != nil {
		return k.x.ResumeRecording(ctx, r.ID, k.confirmed())
	}
	return k.x.StartRecording(ctx, encounter, k.confirmed())
}

// openRecording gives the recording of an encounter that was not ended, or nil.
func openRecording(ctx context.Context, x *store.Session, encounter string) (*store.Recording, error) {
	all, err := x.Recordings(ctx, encounter)
	return lastOpen(all), err
}

// lastOpen gives the last recording that was not ended, which is gone on with, or
// nil.
func lastOpen(all []store.Recording) *store.Recording {
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].State == store.RecordingOpen {
			return &all[i]
		}
	}
	return nil
}

// sound takes samples that begin at a place of the recording. Those that came in
// before, on a connection that was lost, are passed over; a hole is refused.
func (t *take) sound(k *socket, at int64, samples []int16) error {
	t.do.Lock()
	defer t.do.Unlock()
	t.mu.Lock()
	ours, rec, e, received := t.from == k && t.state == takeRecording, t.rec, t.ear, t.received
	t.mu.Unlock()
	switch {
	case !ours:
		return errOrder
	case at > received:
		return fmt.Errorf("%w: sound is missing before it", errOrder)
	case at+int64(len(samples)) <= received:
		k.poke()
		return nil
	}
	samples = samples[received-at:]
	err := rec.Append(context.Background(), samples)
	switch {
	case errors.Is(err, store.ErrConsent):
		t.withdrawn()
		return nil
	case errors.Is(err, store.ErrFinished): // by another program; the page keeps what is not safe
		p := problemOf(err)
		e.close()
		t.set(func() { t.state, t.trouble, t.goTo = takeEnded, &p, "/encounters/"+t.encounter })
		t.s.forget(t)
		return nil
	}
	t.mu.Lock()
	t.received += int64(len(samples))
	t.mu.Unlock()
	t.wrote(rec, err)
	e.write(samples)
	return nil
}

// pause stops taking sound; what was sent before is on the disk first.
func (t *take) pause(k *socket, to takeState, why store.PauseWhy) {
	t.do.Lock()
	defer t.do.Unlock()
	t.mu.Lock()
	rec, goes := t.rec, t.from == k && t.state.goesOn()
	recording := t.state == takeRecording
	t.mu.Unlock()
	if !goes {
		return
	}
	if recording {
		t.wrote(rec, rec.Pause(context.Background(), why))
	}
	t.set(func() { t.state = to })
}

// lostSome writes in the log that sound was lost on its way: how much, the clock
// tells.
func (t *take) lostSome(k *socket) {
	t.do.Lock()
	defer t.do.Unlock()
	t.mu.Lock()
	rec, goes := t.rec, t.from == k && t.state == takeRecording
	t.mu.Unlock()
	if !goes {
		return
	}
	ctx := context.Background()
	err := rec.Pause(ctx, store.PauseBusy)
	if err == nil {
		err = rec.Resume(ctx)
	}
	t.wrote(rec, err)
}

// stop ends the recording; the draft of it is made, and the page goes there.
func (t *take) stop(k *socket) {
	t.do.Lock()
	defer t.do.Unlock()
	t.mu.Lock()
	state := t.state
	t.mu.Unlock()
	if !t.mine(k) || state == takeReady || state == takeCut && !t.open(k) {
		return
	}
	t.mu.Lock()
	rec, e, x := t.rec, t.ear, t.by.x
	t.mu.Unlock()
	if err := rec.Finish(context.Background()); err != nil {
		t.wrote(rec, err)
		return
	}
	r := rec.Recording()
	t.set(func() { t.state, t.trouble, t.safe = takeEnding, nil, r.Samples })
	t.s.work(t.encounter, r.ID, func(j *job) error {
		id, err := t.s.keepLive(x, j, t.encounter, r, e)
		t.set(func() {
			t.state, t.goTo = takeEnded, "/notes/"+id
			if err != nil {
				t.goTo = "/encounters/" + t.encounter
			}
		})
		t.s.forget(t)
		return err
	})
}

// keepLive keeps what was heard while the recording went on as its draft. Where
// hearing failed, the recording is drafted from the record.
func (s *Server) keepLive(x *store.Session, j *job, encounter string, r store.Recording, e *ear) (string, error) {
	ctx := context.Background() // what was begun is finished, whatever the browser does
	s.at(j)("hearing the last words", 0)
	d, err := e.finish(ctx)
	if err == nil {
		return s.keepDraft(ctx, x, encounter, r.ID, d)
	}
	in, err := keptSound(ctx, x, r)
	if err != nil {
		return "", err
	}
	return s.makeDraft(x, j, encounter, r.ID, in)
}

// keepDraft saves a draft, with the pauses of its recording said in it.
func (s *Server) keepDraft(ctx context.Context, x *store.Session, encounter, recording string, d note.Draft) (string, error) {
	if recording != "" {
		pauses, err := x.Pauses(ctx, recording)
		if err != nil {
			return "", err
		}
		d = d.WithNotices(pauseWords(pauses)...)
	}
	n, err := x.SaveDraft(ctx, encounter, recording, d)
	return n.ID, err
}

var pauseReasons = map[store.PauseWhy]string{
	store.PauseAsked: "paused", store.PauseOffRecord: "off the record", store.PauseNoMic: "the microphone was gone",
	store.PauseAway: "the page that recorded was closed or lost", store.PauseCut: "the program was stopped",
}

// pauseWords says what the times of a recording do not show.
func pauseWords(pauses []store.Pause) []string {
	var out []string
	for _, p := range pauses {
		if p.Why == store.PauseBusy {
			out = append(out, fmt.Sprintf("sound was lost in pieces before %s, about %s in all: the computer was too busy", export.ClockTime(p.Seconds()), lasting(p.To.Sub(p.From))))
			continue
		}
		out = append(out, fmt.Sprintf("nothing was recorded for %s after %s: %s (%s to %s)", lasting(p.To.Sub(p.From)), export.ClockTime(p.Seconds()),
			pauseReasons[p.Why], p.From.Local().Format(time.TimeOnly), p.To.Local().Format(time.TimeOnly)))
	}
	return out
}

// lasting says how long something was.
func lasting(d time.Duration) string {
	switch s := int(d.Round(time.Second).Seconds()); {
	case s == 1:
		return "1 second"
	case s < 120:
		return fmt.Sprintf("%d seconds", s)
	default:
		return fmt.Sprintf("%d minutes", (s+30)/60)
	}
}

// withdraw ends the consent, and with it the recording.
func (t *take) withdraw(k *socket) {
	if _, err := k.ticket.x.WithdrawConsent(context.Background(), t.encounter); err != nil {
		p := problemOf(err)
		t.set(func() { t.trouble = &p })
		return
	}
	t.do.Lock()
	defer t.do.Unlock()
	t.withdrawn()
}

// withdrawn ends a recording whose consent ended. Nothing more is taken, nothing
// is drafted; t.do is held.
func (t *take) withdrawn() {
	t.mu.Lock()
	rec, e, state := t.rec, t.ear, t.state
	t.mu.Unlock()
	if state.over() {
		return
	}
	if rec != nil {
		t.wrote(rec, rec.Finish(context.Background())) // takes nothing that came after
		e.close()
	}
	t.set(func() { t.state, t.goTo, t.heard = takeWithdrawn, "/encounters/"+t.encounter, nil; t.views++ })
	t.s.forget(t)
}

// closeTakes puts aside all that is being recorded: the server ends.
func (s *Server) closeTakes() {
	s.mu.Lock()
	all := slices.Collect(maps.Values(s.takes))
	s.mu.Unlock()
	for _, t := range all {
		t.hangUp()
		t.putAside()
	}
}
