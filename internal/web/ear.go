package web

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"

	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
)

// Listener hears sound while it comes, as pipeline.Live does.
type Listener interface {
	// Write takes mono samples at 16 kHz, and neither waits nor drops any.
	Write(samples []int16) error
	// Finish ends the sound and gives the draft of all of it.
	Finish(ctx context.Context) (note.Draft, error)
	// Close gives up; no draft.
	Close()
}

// ear hears a recording while it goes on. It takes sound from the first sample,
// also while the engine is busy with another recording.
type ear struct {
	stop    context.CancelFunc
	ready   chan struct{} // closed when l is there, or failed is
	changed func()        // tells that nothing is heard any more

	broken atomic.Bool // nothing is heard any more

	mu      sync.Mutex
	l       Listener
	failed  error
	waiting [][]int16 // sound that came before the engine was free
	free    func()    // gives the engine back
}

var errNotHeard = errors.New("hearing was ended")

// listen begins to hear; told gets what is understood, as it changes, and changed
// is called when nothing is heard any more.
func (s *Server) listen(told func(pipeline.Update), changed func()) *ear {
	ctx, stop := context.WithCancel(context.Background()) // ends with the recording, not with a request
	e := &ear{stop: stop, ready: make(chan struct{}), changed: changed}
	s.ears.Add(1)
	go func() {
		defer close(e.ready)
		select {
		case s.hearing <- struct{}{}: // one recording is heard at a time
		case <-ctx.Done():
			s.ears.Done()
			e.fail(ctx.Err())
			return
		}
		l, err := s.opt.Live(ctx, told, e.fail)
		e.mu.Lock()
		defer e.mu.Unlock()
		if e.failed != nil && err == nil { // closed meanwhile
			l.Close()
		}
		if err != nil || e.failed != nil {
			<-s.hearing
			s.ears.Done()
			e.broke(errors.Join(e.failed, err))
			return
		}
		e.free = func() { <-s.hearing; s.ears.Done() }
		for _, samples := range e.waiting {
			e.broke(l.Write(samples))
		}
		e.l, e.waiting = l, nil
	}()
	return e
}

// live hears by the pipeline. An engine that is not there is told at once: the
// pipeline itself says so at the end.
func (s *Server) live(ctx context.Context, told func(pipeline.Update), deaf func(error)) (Listener, error) {
	d := s.drafter()
	d.Hearing = func(ctx context.Context) (pipeline.Hearing, error) {
		h, err := s.opt.Hearing(ctx)
		if err != nil {
			deaf(err)
		}
		return h, err
	}
	return d.Live(ctx, told)
}

func (e *ear) fail(err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.broke(err)
}

// broke takes an error of hearing; e.mu is held.
func (e *ear) broke(err error) {
	if err == nil || e.failed != nil {
		return
	}
	e.failed, e.waiting = err, nil
	e.broken.Store(true)
	e.changed()
}

// write hears more sound; it neither waits nor fails: what goes wrong is told by
// broken and by finish, and the recording is safe whatever happens here.
func (e *ear) write(samples []int16) {
	e.mu.Lock()
	defer e.mu.Unlock()
	switch {
	case e.failed != nil:
	case e.l == nil:
		e.waiting = append(e.waiting, append([]int16(nil), samples...))
	default:
		e.broke(e.l.Write(samples))
	}
}

// finish gives the draft of all that was written.
func (e *ear) finish(ctx context.Context) (note.Draft, error) {
	defer e.close()
	select {
	case <-e.ready:
	case <-ctx.Done():
		return note.Draft{}, ctx.Err()
	}
	e.mu.Lock()
	l, err := e.l, e.failed
	e.mu.Unlock()
	if err != nil {
		return note.Draft{}, err
	}
	return l.Finish(ctx)
}

// close ends hearing without a draft, or after it. It does not wait for what is
// being heard at that moment.
func (e *ear) close() {
	e.stop()
	e.fail(errNotHeard)
	e.mu.Lock()
	l, free := e.l, e.free
	e.l = nil
	e.mu.Unlock()
	if l == nil {
		return
	}
	go func() {
		l.Close()
		free()
	}()
}
