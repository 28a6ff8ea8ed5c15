package speech

import (
	"math"

	"bedsaid/internal/audio"
	"bedsaid/internal/transcript"
)

// Voice activity: the power in 16 bands is compared with a floor that follows
// each band (a low percentile over the seconds before), so that hum, fans and
// hiss are floor and what rises and falls above it is voice. It prefers to call
// a noise voice over calling a voice noise. The numbers below are our own,
// tried on synthetic voices in noise (docs/speech.md).
const (
	voiceFrame  = 512 // samples: 32 ms
	voiceHop    = 256 // samples: 16 ms
	hopSeconds  = float64(voiceHop) / audio.Rate
	voiceBands  = 16
	lowestHz    = 120.0
	highestHz   = 5500.0
	voiceBlock  = 16    // hops, about a quarter of a second, that are looked at together
	firstHops   = 128   // hops, about 2 s, that the first floor is taken from
	floorHops   = 640   // hops, about 10 s, that later floors are taken from
	floorShare  = 0.10  // the percentile that is the floor
	floorBelow  = 1e-6  // a floor is never more than 60 dB below the loud so far
	floorLeast  = 1e-11 // nor below this power (full scale 1)
	bandOverDB  = 6.0   // a band this far above its floor has something in it
	bandsNeeded = 3     // and so many bands make a voice; a pure tone fills fewer
	scoreStart  = 4.0   // dB, mean over the bands, at which a voice begins
	scoreKeep   = 2.4   // dB at which it goes on
	bridgeHops  = 16    // hops, about a quarter of a second, of quiet within a word or between words
	leastHops   = 4     // hops: what is shorter is a click
	pureTone    = 0.97  // share of one frequency in the power; a voice has overtones
	toneAbove   = 400.0 // Hz: below, the fundamental of a voice can look like a tone
	voicePad    = 0.1   // seconds added on both sides
	faintHops   = 125   // hops, 2 s, that what only could be voice is waited for
)

// voice is where somebody speaks in a stretch of a recording.
type voice struct {
	// intervals are in order and do not touch; seconds.
	intervals []transcript.Interval
	// score is, for each hop from first on, how far the sound is above its floor,
	// in dB.
	score []float32
	first int
}

// within gives the parts of the intervals that lie in [from, to].
func (v voice) within(from, to float64) []transcript.Interval {
	var out []transcript.Interval
	for _, iv := range v.intervals {
		iv.Start, iv.End = max(iv.Start, from), min(iv.End, to)
		if iv.End > iv.Start {
			out = append(out, iv)
		}
	}
	return out
}

// part is the voice between from and to alone.
func (v voice) part(from, to float64) voice {
	a := max(int(from/hopSeconds), v.first)
	b := min(max(int(math.Ceil(to/hopSeconds)), a), v.first+len(v.score))
	return voice{v.within(from, to), append([]float32(nil), v.score[a-v.first:b-v.first]...), a}
}

// quietest is the moment between from and to where the sound is lowest.
func (v voice) quietest(from, to float64) float64 {
	best, at := math.Inf(1), (from+to)/2
	const reach = 6
	for i := int(from / hopSeconds); i <= int(to/hopSeconds); i++ {
		var sum float64
		for k := max(v.first, i-reach); k <= min(v.first+len(v.score)-1, i+reach); k++ {
			sum += float64(v.score[k-v.first])
		}
		if sum < best {
			best, at = sum, (float64(i)+0.5)*hopSeconds
		}
	}
	return min(max(at, from), to)
}

func lengthOf(ivs []transcript.Interval) float64 {
	var sum float64
	for _, iv := range ivs {
		sum += iv.End - iv.Start
	}
	return sum
}

// unit is a stretch of voice that is never cut: a voiced interval, or a part of
// one that is too long, in which case bare says that it touches the unit before.
type unit struct {
	transcript.Interval
	bare bool
}

// finder finds the voice in sound as it comes. What it says of a moment depends
// on the sound up to a quarter of a second after it (2 s at the very beginning,
// and where something too faint for a voice goes on), never on how the sound was
// handed over.
type finder struct {
	spectrum *spectrum
	floors   floors
	waiting  []moment // not yet looked at
	voice    voice    // what is known; what is old is dropped
	found    []unit   // since take
	hops     int      // looked at so far

	// run is the stretch without quiet that the last hop lies in.
	run struct {
		on      bool
		from    int
		tonal   []bool // for each of its hops
		speaks  bool   // some of it is loud and broad enough for a voice
		follows bool   // it goes on from a part that was voice
	}
	// open is the interval that a further run may still lengthen.
	open struct {
		on       bool
		from, to int     // hops
		start    float64 // seconds: where what is not yet in found begins
		bare     bool    // a part of it is in found
	}
}

func newFinder() *finder { return &finder{spectrum: newSpectrum()} }

// add takes samples.
func (f *finder) add(samples []float32) { f.spectrum.add(samples, f.moment) }

// end takes the end of the sound, which is seconds long.
func (f *finder) end(seconds float64) {
	f.spectrum.end(f.moment)
	if len(f.waiting) > 0 {
		f.look()
	}
	f.endRun()
	f.close(seconds)
}

// take gives the units that were found since it was last asked.
func (f *finder) take() []unit {
	u := f.found
	f.found = nil
	return u
}

// settled is the time, in seconds, before which all voice is in found.
func (f *finder) settled() float64 {
	switch {
	case f.open.on:
		return f.open.start
	case f.run.on:
		return max(0, float64(f.run.from)*hopSeconds-voicePad)
	}
	return max(0, f.now()-voicePad)
}

// now is the time, in seconds, up to which the sound was looked at.
func (f *finder) now() float64 { return float64(f.hops) * hopSeconds }

// speaking says whether somebody speaks now, or may just have stopped.
func (f *finder) speaking() bool { return f.open.on || f.run.on && f.run.speaks }

// forget drops what is known of the time before seconds.
func (f *finder) forget(seconds float64) {
	if n := min(int(seconds/hopSeconds)-f.voice.first, len(f.voice.score)); n > 60*voiceBlock {
		f.voice.score = append([]float32(nil), f.voice.score[n:]...)
		f.voice.first += n
	}
}

func (f *finder) moment(m moment) {
	f.floors.add(m.power)
	f.waiting = append(f.waiting, m)
	if f.hops == 0 && len(f.waiting) < firstHops || len(f.waiting) < voiceBlock {
		return
	}
	f.look()
}

// look compares what waits with the floor.
func (f *finder) look() {
	floor := f.floors.now()
	for _, m := range f.waiting {
		var sum float64
		filled := 0
		for b, x := range m.power {
			over := min(max(10*math.Log10(float64(x/floor[b])), 0), 25)
			sum += over
			if over > bandOverDB {
				filled++
			}
		}
		f.hop(float32(sum/voiceBands), filled >= bandsNeeded, m.tonal)
	}
	f.waiting = f.waiting[:0]
}

// hop takes what is known of one hop.
func (f *finder) hop(score float32, broad, tonal bool) {
	f.voice.score = append(f.voice.score, score)
	f.hops++
	r := &f.run
	if score < scoreKeep {
		f.endRun()
		if f.open.on && f.hops-f.open.to >= bridgeHops {
			f.close(math.Inf(1))
		}
		return
	}
	if !r.on {
		r.on, r.from, r.tonal, r.speaks, r.follows = true, f.hops-1, r.tonal[:0], false, false
	}
	r.tonal = append(r.tonal, tonal)
	r.speaks = r.speaks || score >= scoreStart && broad
	if !r.speaks && !r.follows && len(r.tonal) > faintHops {
		// What is faint for so long was no beginning of a word.
		r.from++
		r.tonal = r.tonal[:copy(r.tonal, r.tonal[1:])]
	}
	if f.open.on && r.from-f.open.to >= bridgeHops {
		f.close(math.Inf(1))
	}
	if float64(len(r.tonal))*hopSeconds > longestUnit+leastRest {
		// Talk without a pause is taken part by part.
		f.endRun()
		r.on, r.from, r.tonal, r.speaks = true, f.hops, r.tonal[:0], false
		r.follows = f.open.on && f.open.to == f.hops
	}
}

// endRun decides whether the run was voice.
func (f *finder) endRun() {
	r := &f.run
	if !r.on {
		return
	}
	r.on = false
	if !r.speaks && !r.follows || beep(r.tonal) {
		return
	}
	to := r.from + len(r.tonal)
	if f.open.on {
		f.open.to = to
		f.split()
		return
	}
	f.open.on, f.open.bare = true, false
	f.open.from, f.open.to = r.from, to
	f.open.start = max(0, float64(r.from)*hopSeconds-voicePad)
	f.split()
}

// split takes off the open interval what is too long for one unit.
func (f *finder) split() {
	for end := float64(f.open.to) * hopSeconds; end-f.open.start > longestUnit+leastRest; {
		f.cut(end)
	}
}

// cut takes one unit off the open interval, at its quietest fifth of a second in
// the second half of what may be taken.
func (f *finder) cut(end float64) {
	at := f.voice.quietest(f.open.start+longestUnit/2, min(f.open.start+longestUnit, end-leastRest))
	f.tell(unit{transcript.Interval{Start: f.open.start, End: at}, f.open.bare})
	f.open.start, f.open.bare = at, true
}

// close ends the open interval; the sound is total seconds long, if that is known.
func (f *finder) close(total float64) {
	if !f.open.on {
		return
	}
	f.open.on = false
	if f.open.to-f.open.from < leastHops {
		return
	}
	end := min(total, float64(f.open.to)*hopSeconds+voicePad)
	for end-f.open.start > longestUnit {
		f.cut(end)
	}
	f.tell(unit{transcript.Interval{Start: f.open.start, End: end}, f.open.bare})
}

func (f *finder) tell(u unit) {
	f.found = append(f.found, u)
	if n := len(f.voice.intervals); u.bare {
		f.voice.intervals[n-1].End = u.End
	} else {
		f.voice.intervals = append(f.voice.intervals, u.Interval)
	}
}

// beep says whether a stretch is one pure tone, but for its edges, which the
// smoothing draws out.
func beep(tonal []bool) bool {
	n := 0
	for _, t := range tonal {
		if t {
			n++
		}
	}
	return 3*n > len(tonal)
}
