// Package audio reads a recording, whatever its sample format and rate, into
// 16 kHz mono sound. It streams: only the result is held, never the source. It
// mends nothing silently; what was lost or worked around is said in notes, and
// every error carries a hint that tells the user what to do.
package audio

import (
	"fmt"
	"math"
)

const (
	// Rate is the sample rate of every Clip, in samples per second.
	Rate = 16000
	// MaxSeconds is the length of the longest recording that is read.
	MaxSeconds = 3 * 3600
	// MinSeconds is the length of the shortest recording that is read.
	MinSeconds = 0.3
)

// NoteKind says what sort of thing a Note reports.
type NoteKind int

// The kinds of notes.
const (
	NoteUnknown   NoteKind = iota
	NoteTruncated          // sound is missing at the end
	NoteClipped            // the recording was overdriven
	NoteQuiet              // the recording is very quiet
	NoteHeader             // the file's header was wrong and not relied upon
	NoteChannels           // one channel was used since mixing would have lost sound
	NoteDamaged            // samples that are no sound were replaced by silence
	NoteConverted          // the sound went through a converter
)

// Note tells the user of something that was lost or worked around. It never
// holds anything that was said in the recording.
type Note struct {
	Kind NoteKind
	Text string
}

// blockLen is the number of samples that share one scale: one second.
const blockLen = Rate

// block holds one second of sound in 16 bits, with a scale of its own, so that
// quiet passages of a 24-bit source keep their detail and 3 hours take 350 MB.
type block struct {
	scale   float32
	samples []int16
}

// Clip is a recording as 16 kHz mono sound. It is immutable.
type Clip struct {
	blocks []block
	n      int
	notes  []Note
}

// FromSamples makes a Clip of 16 kHz mono samples in [-1, 1]; it is meant for
// tests and for sound that was made. Sound that was kept is read by FromPCM.
func FromSamples(samples []float32) *Clip {
	b := newBuilder()
	b.add(samples)
	return b.clip(nil)
}

// FromPCM makes a Clip of sound as PCM gave it.
func FromPCM(pcm []int16) *Clip {
	samples := make([]float32, len(pcm))
	for i, v := range pcm {
		samples[i] = float32(v) / 32768
	}
	return FromSamples(samples)
}

// Len is the number of samples.
func (c *Clip) Len() int { return c.n }

// Seconds is the length of the clip.
func (c *Clip) Seconds() float64 { return float64(c.n) / Rate }

// Notes lists what was lost or worked around, in the order it was found.
func (c *Clip) Notes() []Note { return append([]Note(nil), c.notes...) }

// Samples copies samples [from, to), clamped to the clip, into a new slice.
func (c *Clip) Samples(from, to int) []float32 {
	from, to = max(0, from), min(c.n, to)
	if from >= to {
		return nil
	}
	out := make([]float32, 0, to-from)
	for i := from; i < to; {
		b := c.blocks[i/blockLen]
		off := i % blockLen
		end := min(len(b.samples), off+to-i)
		for _, s := range b.samples[off:end] {
			out = append(out, float32(s)*b.scale)
		}
		i += end - off
	}
	return out
}

// PCM is Samples in 16 bits, as sound is kept.
func (c *Clip) PCM(from, to int) []int16 {
	part := c.Samples(from, to)
	pcm := make([]int16, len(part))
	for i, v := range part {
		pcm[i] = int16(min(max(math.RoundToEven(float64(v)*32768), math.MinInt16), math.MaxInt16))
	}
	return pcm
}

// String keeps sound out of logs.
func (c *Clip) String() string { return fmt.Sprintf("clip of %.1f s", c.Seconds()) }

// builder gathers samples block by block.
type builder struct {
	blocks   []block
	pending  []float32
	n        int
	min, max float32
}

func newBuilder() *builder {
	return &builder{pending: make([]float32, 0, blockLen), min: float32(math.Inf(1)), max: float32(math.Inf(-1))}
}

func (b *builder) add(samples []float32) {
	for len(samples) > 0 {
		k := min(blockLen-len(b.pending), len(samples))
		for _, s := range samples[:k] {
			b.min, b.max = min(b.min, s), max(b.max, s)
		}
		b.pending = append(b.pending, samples[:k]...)
		b.n += k
		samples = samples[k:]
		if len(b.pending) == blockLen {
			b.flush()
		}
	}
}

// swing is half the distance between the lowest and the highest sample: the
// peak of the sound, whatever constant offset lies under it.
func (b *builder) swing() float64 {
	if b.n == 0 {
		return 0
	}
	return float64(b.max-b.min) / 2
}

func (b *builder) flush() {
	if len(b.pending) == 0 {
		return
	}
	var peak, high float64
	for _, s := range b.pending {
		peak, high = max(peak, math.Abs(float64(s))), max(high, float64(s))
	}
	// A power of two keeps 16-bit sources exact.
	scale := math.Ldexp(1, -60)
	if peak > 0 {
		scale = math.Ldexp(1, int(math.Ceil(math.Log2(peak)))-15)
	}
	if high < 1 && math.RoundToEven(high/scale) > math.MaxInt16 {
		scale *= 2 // 16 bits reach one step less far above zero than below
	}
	q := make([]int16, len(b.pending))
	for i, s := range b.pending {
		q[i] = int16(min(max(math.RoundToEven(float64(s)/scale), math.MinInt16), math.MaxInt16))
	}
	b.blocks = append(b.blocks, block{scale: float32(scale), samples: q})
	b.pending = b.pending[:0]
}

func (b *builder) clip(notes []Note) *Clip {
	b.flush()
	return &Clip{blocks: b.blocks, n: b.n, notes: notes}
}
