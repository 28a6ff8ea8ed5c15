package speech

import (
	"context"
	"errors"
	"math"
	"slices"
	"sync"

	"bedsaid/internal/audio"
	"bedsaid/internal/transcript"
)

// Heard is what is known of a recording that is still being made.
type Heard struct {
	// Transcript holds the words so far. Those of the piece that is still open
	// are provisional: they may change, and none of them is in what Hear returns.
	Transcript transcript.Transcript
	// Settled is the time, in seconds, up to which words will not change.
	Settled float64
	// Waiting is the number of pieces that are cut and not yet decoded.
	Waiting int
}

// Stream is a recording that is heard while it is being made. Sound is taken from
// one goroutine (Write, End) and heard in another (Hear). What Hear returns is, word
// for word, what Recognize gives for the same sound.
//
// It holds the sound of the piece that is still open and of pieces that wait to be
// decoded, no more; the words stay. With a decoder that keeps up, that is less
// than a minute of sound, however long the recording.
type Stream struct {
	opts Options
	wake chan struct{} // holds one where Hear may have something to do

	mu     sync.Mutex
	ear    *ear
	tasks  []task // cut, not yet decoded
	ended  bool
	deaf   bool // nobody hears any more: sound is counted and let go
	length int  // samples so far
	pause  pause
	now    *guessing // what is being guessed at, if anything is
}

// pause is the open piece as it stood when the speaker last paused.
type pause struct {
	task
	on    bool    // there is such a piece, and nothing was cut since
	since float64 // seconds
	asked int     // 1: a glance was taken, 2: all that can be known of it is known
}

// guessing is a guess that is under way.
type guessing struct {
	since float64 // the pause that it is of
	iv    transcript.Interval
	deep  bool // not a glance
	stop  context.CancelFunc
}

// inWay says whether a guess keeps what is more urgent waiting: a piece that is
// cut, unless the guess does the same work, or is a glance, which is soon over and
// shows the words of that piece sooner; but at the end only the draft counts.
func (s *Stream) inWay(g *guessing) bool {
	switch {
	case len(s.tasks) == 0:
		return false
	case g.deep:
		return s.tasks[0].Interval != g.iv
	}
	return s.ended || len(s.tasks) > 1
}

// NewStream begins a recording. It takes sound from now on, before there is a
// decoder.
func NewStream(opts Options) *Stream {
	opts = New(nil, opts).opts
	return &Stream{opts: opts, wake: make(chan struct{}, 1), ear: newEar(opts.PieceSeconds)}
}

// Write takes 16 kHz mono samples; it copies them and does not wait for the
// decoder. After End it does nothing.
func (s *Stream) Write(samples []int16) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ended {
		return
	}
	s.length += len(samples)
	if s.deaf {
		return
	}
	part := make([]float32, 0, earBlock)
	for len(samples) > 0 {
		n := min(len(samples), earBlock)
		part = part[:0]
		for _, v := range samples[:n] {
			part = append(part, float32(v)/32768)
		}
		samples = samples[n:]
		s.ear.add(part)
		s.collect()
	}
}

// End ends the recording.
func (s *Stream) End() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ended {
		return
	}
	s.ended = true
	if !s.deaf {
		s.ear.end()
		s.collect()
	}
	s.signal()
}

// Seconds is the length of the recording so far.
func (s *Stream) Seconds() float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return float64(s.length) / audio.Rate
}

// collect takes what the ear has cut, and the open piece where the speaker pauses.
func (s *Stream) collect() {
	if cut := s.ear.take(); len(cut) > 0 {
		s.tasks = append(s.tasks, cut...)
		s.pause = pause{}
		if s.now != nil && s.inWay(s.now) {
			s.now.stop()
		}
		s.signal()
	}
	if s.ended {
		return
	}
	if since, yes := s.ear.pausing(); yes && (!s.pause.on || since != s.pause.since) {
		s.pause = pause{task: s.ear.paused(), on: true, since: since}
		if s.now != nil && s.now.deep {
			s.now.stop() // a glance at what is new comes first
		}
		s.signal()
	}
}

func (s *Stream) signal() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// errEnough says that a guess was stopped for something better to do.
var errEnough = errors.New("a piece waits")

// Hear hears the recording until End and gives its transcript; vocab may be nil.
// told, which may be nil, is told of new words from this goroutine. An error is the
// decoder's or the context's; then there is no transcript, and sound that comes
// later is counted and let go. It is called once.
func (s *Stream) Hear(ctx context.Context, dec Decoder, vocab Vocabulary, told func(Heard)) (transcript.Transcript, error) {
	defer s.Deafen()
	if told == nil {
		told = func(Heard) {}
	}
	h := newHearing(ctx, &Recognizer{dec, s.opts}, vocab)
	var so []transcript.Word // what is known: settled words, then provisional ones
	settled, upTo := 0.0, 0.0
	for {
		t, g, more := s.next()
		if !more {
			return account(h.words, s.ear.finder.voice, s.Seconds()), nil
		}
		var err error
		switch {
		case t == nil:
			select {
			case <-s.wake:
				continue
			case <-ctx.Done():
				err = ctx.Err()
			}
		case g == nil:
			if err = h.settle(*t); err == nil {
				settled = t.settles()
				// What is known of the sound after the piece is known still.
				so = slices.Concat(h.words, so[len(before(so, t.End)):])
			}
		default:
			var words []transcript.Word
			if words, err = s.guess(h, *t, g, so, upTo); err == nil {
				so = words
			}
		}
		switch {
		case errors.Is(err, errEnough):
			continue
		case err != nil:
			return transcript.Transcript{}, err
		}
		upTo = max(upTo, t.speaks())
		told(s.heard(slices.Clone(so), settled, upTo))
	}
}

// speaks is the end of the voice in a task.
func (t task) speaks() float64 {
	if n := len(t.voice.intervals); n > 0 {
		return t.voice.intervals[n-1].End
	}
	return t.End
}

// settles is the time up to which words do not change once the task is heard.
func (t task) settles() float64 {
	if !math.IsNaN(t.cutEnd) { // the next piece may change what is near the seam
		return t.cutEnd - seamOverlap - 0.3
	}
	return t.End
}

// next gives what is to be done: a piece to settle, or else one to guess at; nil
// where there is nothing to do yet, and false where there will be nothing more.
func (s *Stream) next() (*task, *guessing, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.tasks) > 0 {
		t := s.tasks[0]
		s.tasks[0] = task{} // its sound can go when it is heard
		s.tasks = s.tasks[1:]
		return &t, nil, true
	}
	if s.ended {
		return nil, nil, false
	}
	if s.pause.on && s.pause.asked == 0 {
		t := s.pause.task
		return &t, &guessing{since: s.pause.since}, true
	}
	if since, yes := s.ear.pausing(); yes && s.pause.on && s.pause.since == since && s.pause.asked == 1 {
		t := s.ear.paused() // with what has come after the last word meanwhile
		return &t, &guessing{since: since, iv: t.Interval, deep: true}, true
	}
	return nil, nil, true
}

// guess guesses at the open piece; errEnough where there is better to do.
func (s *Stream) guess(h *hearing, t task, g *guessing, so []transcript.Word, upTo float64) ([]transcript.Word, error) {
	ctx, stop := context.WithCancel(h.ctx)
	defer stop()
	g.stop = stop
	s.mu.Lock()
	if s.inWay(g) {
		s.mu.Unlock()
		return nil, errEnough
	}
	s.now = g
	s.mu.Unlock()
	var words []transcript.Word
	var err error
	if g.deep {
		words, err = h.guess(ctx, t)
	} else {
		words, err = h.glance(ctx, t, so, upTo)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = nil
	if err != nil && h.ctx.Err() == nil && ctx.Err() != nil {
		return nil, errEnough
	}
	if s.pause.on && s.pause.since == g.since {
		s.pause.asked = 1
		if g.deep {
			s.pause.asked = 2
		}
	}
	return words, err
}

// heard tells what is known when words reach up to until.
func (s *Stream) heard(words []transcript.Word, settled, until float64) Heard {
	s.mu.Lock()
	defer s.mu.Unlock()
	v := voice{intervals: s.ear.finder.voice.within(0, until)}
	return Heard{account(words, v, float64(s.length)/audio.Rate), settled, len(s.tasks)}
}

// Deafen says that nobody hears the recording any more: sound is counted and let
// go from now on.
func (s *Stream) Deafen() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.deaf, s.tasks, s.pause = true, nil, pause{}
	s.ear.kept = nil
}
