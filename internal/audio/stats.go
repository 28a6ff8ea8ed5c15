package audio

import "fmt"

// clipRun is how many samples in a row at full scale count as overdriven.
const clipRun = 3

// damagedAbove is the largest float sample that can be sound: 24 dB over full.
const damagedAbove = 16

// stats watches the source for overdriven and damaged samples, and for channels
// that cancel each other.
type stats struct {
	channels int
	run      []int
	sum, sq  []float64 // by channel, the mix last
	samples  int64
	clipped  int64
	damaged  int64
}

func newStats(channels int) *stats {
	return &stats{channels: channels, run: make([]int, channels), sum: make([]float64, channels+1), sq: make([]float64, channels+1)}
}

// see looks at interleaved frames and silences samples that are no sound.
func (s *stats) see(frames []float32) {
	for i := 0; i < len(frames); i += s.channels {
		var mixed float64
		for c := range s.channels {
			x := frames[i+c]
			if !(x >= -damagedAbove && x <= damagedAbove) { // true for NaN too
				frames[i+c], x = 0, 0
				s.damaged++
			}
			if x >= 0.9999 || x <= -0.9999 {
				s.run[c]++
				if s.run[c] == clipRun {
					s.clipped += clipRun
				} else if s.run[c] > clipRun {
					s.clipped++
				}
			} else {
				s.run[c] = 0
			}
			v := float64(x)
			s.sum[c] += v
			s.sq[c] += v * v
			mixed += v
		}
		mixed /= float64(s.channels)
		s.sum[s.channels] += mixed
		s.sq[s.channels] += mixed * mixed
	}
	s.samples += int64(len(frames))
}

func (s *stats) notes() []Note {
	var out []Note
	if s.samples == 0 {
		return nil
	}
	if share := float64(s.clipped) / float64(s.samples); s.clipped >= 30 && share > 0.0001 {
		out = append(out, Note{NoteClipped, fmt.Sprintf("the recording is overdriven (%.2g %% of its samples are cut off at full scale): hold the microphone farther away or lower its level; words may be misheard", 100*share)})
	}
	if s.damaged > 0 {
		out = append(out, Note{NoteDamaged, fmt.Sprintf("%d samples are damaged and were replaced by silence", s.damaged)})
	}
	return out
}

// lostInMix gives the loudest channel where the mix of all is more than 12 dB
// below it, as where two channels are of opposite phase; else mixAll.
func (s *stats) lostInMix() int {
	frames := float64(s.samples) / float64(s.channels)
	if s.channels < 2 || frames == 0 {
		return mixAll
	}
	power := func(c int) float64 {
		mean := s.sum[c] / frames
		return s.sq[c]/frames - mean*mean
	}
	best := 0
	for c := range s.channels {
		if power(c) > power(best) {
			best = c
		}
	}
	// An idle channel among n costs 20 log n dB; that is no cancelling.
	if power(best) > 1e-9 && power(s.channels)*float64(s.channels*s.channels) < power(best)/16 {
		return best
	}
	return mixAll
}
