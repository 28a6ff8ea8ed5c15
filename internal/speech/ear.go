package speech

import (
	"math"
	"slices"

	"bedsaid/internal/audio"
	"bedsaid/internal/transcript"
)

// earBlock is how many samples are looked at together: what comes out does not
// depend on how the sound was handed over.
const earBlock = voiceBlock * voiceHop

// pauseSeconds is how long nobody must speak for a pause in which the piece that
// is still open is worth hearing.
const pauseSeconds = 0.35

// task is a piece with all that is needed to hear it.
type task struct {
	piece
	samples []float32
	from    int   // the place of the first sample in the recording
	voice   voice // within the piece
}

// sound gives the samples of a part of the task's piece.
func (t task) sound(p piece) []float32 {
	from, to := span(p.Interval)
	return t.samples[min(max(from-t.from, 0), len(t.samples)):min(max(to-t.from, 0), len(t.samples))]
}

// span is where an interval lies in samples.
func span(iv transcript.Interval) (from, to int) {
	return int(iv.Start * audio.Rate), int(math.Ceil(iv.End * audio.Rate))
}

// ear takes sound as it comes, finds the voice and cuts pieces. It keeps sound no
// longer than a piece may need it. The same sound gives the same tasks, however it
// is handed over.
type ear struct {
	finder *finder
	cutter cutter
	kept   []float32 // sound that a piece may still need
	from   int       // the place of its first sample in the recording
	block  int       // of kept, how many samples the finder has taken
	tasks  []task    // since take
}

func newEar(aim float64) *ear {
	return &ear{finder: newFinder(), cutter: cutter{aim: aim, since: -1}}
}

// seconds is the length of the sound so far.
func (e *ear) seconds() float64 { return float64(e.from+len(e.kept)) / audio.Rate }

// add takes samples, which it copies.
func (e *ear) add(samples []float32) {
	for len(samples) > 0 {
		n := min(len(samples), earBlock-(len(e.kept)-e.block))
		e.kept = append(e.kept, samples[:n]...)
		samples = samples[n:]
		if len(e.kept)-e.block == earBlock {
			e.look()
		}
	}
}

// end takes the end of the sound.
func (e *ear) end() {
	e.look()
	e.finder.end(e.seconds())
	e.cut()
	e.cutter.end()
	e.collect()
}

// take gives the tasks of the pieces that were closed since it was last asked.
func (e *ear) take() []task {
	t := e.tasks
	e.tasks = nil
	return t
}

// pausing says whether the speaker pauses, with a piece that is still open, and
// since when, in seconds.
func (e *ear) pausing() (since float64, yes bool) {
	n := len(e.cutter.open)
	if n == 0 || e.finder.speaking() {
		return 0, false
	}
	since = e.cutter.open[n-1].End - voicePad
	return since, e.finder.now()-since >= pauseSeconds
}

// paused gives the piece that is still open while the speaker pauses.
func (e *ear) paused() task { return e.task(e.cutter.piece(len(e.cutter.open), nil)) }

func (e *ear) look() {
	e.finder.add(e.kept[e.block:])
	e.block = len(e.kept)
	e.cut()
	if !e.finder.speaking() {
		e.cutter.pause(e.finder.settled())
	}
	e.collect()
	// What lies before the open piece, and before all that may still turn out to be
	// voice, is needed no more.
	keep := e.finder.settled()
	if len(e.cutter.open) > 0 {
		keep = min(keep, e.cutter.open[0].Start)
	}
	keep -= 2 * seamOverlap
	e.finder.forget(keep)
	if n := int(keep*audio.Rate) - e.from; n > 4*audio.Rate {
		e.kept = slices.Delete(e.kept, 0, n)
		e.from += n
		e.block -= n
	}
}

func (e *ear) cut() {
	for _, u := range e.finder.take() {
		e.cutter.add(u)
	}
}

func (e *ear) collect() {
	for _, p := range e.cutter.take() {
		e.tasks = append(e.tasks, e.task(p))
	}
}

func (e *ear) task(p piece) task {
	p.End = min(p.End, e.seconds())
	from, to := span(p.Interval)
	from, to = max(from, e.from), min(to, e.from+len(e.kept))
	return task{p, slices.Clone(e.kept[from-e.from : to-e.from]), from, e.finder.voice.part(p.Start, p.End)}
}
