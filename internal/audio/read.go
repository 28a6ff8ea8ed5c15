package audio

import (
	"bufio"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// readFrames is how many sample frames are read at once.
const readFrames = 4096

// Read hears a WAV from r to its end. size is the number of bytes that r holds,
// or 0 where that is not known; progress, which may be nil, is called with the
// share done, 0 to 1, where it is. Every error is an *Error.
func Read(ctx context.Context, r io.Reader, size int64, progress func(float64)) (*Clip, error) {
	got, err := readSource(ctx, r, size, mixAll, progress)
	if err != nil {
		var fe *formatError
		if errors.As(err, &fe) {
			return nil, fail(ErrFormat, fe.what, hintConvert("", ""), nil)
		}
		return nil, err
	}
	if got.loudest != mixAll { // what streams by cannot be read a second time
		return nil, fail(ErrFormat, "its channels cancel each other when mixed",
			fmt.Sprintf("take channel %d alone: ffmpeg -i RECORDING -af 'pan=mono|c0=c%d' RECORDING-mono.wav", got.loudest+1, got.loudest), nil)
	}
	return got.clip()
}

// mixAll asks for the mean of all channels.
const mixAll = -1

// source is what one pass over a WAV gave.
type source struct {
	builder *builder
	notes   []Note
	// loudest is the channel to use instead of the mix, or mixAll.
	loudest int
}

// clip makes the last checks on the whole.
func (s *source) clip() (*Clip, error) {
	seconds := float64(s.builder.n) / Rate
	if s.builder.n == 0 {
		return nil, fail(ErrEmpty, "the file holds a header and no sound", hintRecordAgain, nil)
	}
	if seconds < MinSeconds {
		return nil, fail(ErrTooShort, fmt.Sprintf("only %.2f seconds of sound; at least %.1f are needed", seconds, MinSeconds), hintRecordAgain, nil)
	}
	swing := s.builder.swing()
	notes := s.notes
	switch {
	case swing < 1.0/16384:
		return nil, fail(ErrSilent, fmt.Sprintf("%.0f seconds of silence and nothing else", seconds), hintMicrophone, nil)
	case swing < 0.01:
		notes = append(notes, Note{NoteQuiet, fmt.Sprintf("the recording is very quiet (its loudest moment is %.0f dB below full scale): hold the microphone closer", -20*math.Log10(swing))})
	}
	return s.builder.clip(notes), nil
}

// readSource does one pass. pick is the channel to keep, or mixAll.
func readSource(ctx context.Context, r io.Reader, size int64, pick int, progress func(float64)) (*source, error) {
	counted := &countReader{r: r}
	buffered := bufio.NewReaderSize(counted, 1<<16)
	h, err := readHeader(buffered)
	if err != nil {
		if counted.err != nil {
			return nil, fail(ErrUnreadable, "the file could not be read to its end", "copy the file to this computer's own disk and try again", counted.err)
		}
		return nil, err
	}
	perSecond := int64(h.rate * h.frameBytes())
	tooLong := fail(ErrTooLong, fmt.Sprintf("longer than %d hours", MaxSeconds/3600), "cut the recording into parts of at most 3 hours and hear each", nil)
	if size > 0 && h.dataSize != unknownSize && min(h.dataSize, size)/perSecond > MaxSeconds {
		return nil, tooLong
	}

	data := newDataReader(buffered, h.dataSize)
	st := newStats(h.channels)
	rs := newResampler(h.rate)
	out := &source{builder: newBuilder(), notes: h.notes, loudest: mixAll}
	raw := make([]byte, readFrames*h.frameBytes())
	frames := make([]float32, readFrames*h.channels)
	mono := make([]float32, readFrames)
	var resampled []float32
	var total int64
	for {
		if err := ctx.Err(); err != nil {
			return nil, fail(ErrInterrupted, "stopped before the end", "start again", err)
		}
		n, err := io.ReadFull(data, raw)
		k := n / h.frameBytes()
		decode(frames[:k*h.channels], raw, h)
		st.see(frames[:k*h.channels])
		mix(mono[:k], frames, h.channels, pick)
		resampled = rs.feed(resampled[:0], mono[:k])
		out.builder.add(resampled)
		if total += int64(k); total > int64(h.rate)*MaxSeconds {
			return nil, tooLong
		}
		if progress != nil && size > 0 {
			progress(min(1, float64(counted.n)/float64(size)))
		}
		if err != nil {
			break
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, fail(ErrInterrupted, "stopped before the end", "start again", err)
	}
	if counted.err != nil {
		// What was read is kept only if the user can be told; a disk fault is not
		// the same as a file that ends early, and may be cured by copying.
		return nil, fail(ErrUnreadable, "the file could not be read to its end", "copy the file to this computer's own disk and try again", counted.err)
	}
	out.builder.add(rs.finish(nil))
	if data.lied && total*int64(h.frameBytes())-h.dataSize > perSecond/10 {
		out.notes = append(out.notes, Note{NoteHeader, "the file holds more sound than its header says; all of it was read"})
	}
	if !data.beyond && data.left > perSecond/100 {
		lost := float64(data.left) / float64(perSecond)
		text := fmt.Sprintf("the file is cut off: its header promises %.1f seconds more than it holds; the %.1f seconds that are there were read", lost, float64(total)/float64(h.rate))
		if lost > MaxSeconds {
			text = fmt.Sprintf("the file's header promises more sound than a file can hold; the %.1f seconds that are there were read", float64(total)/float64(h.rate))
		}
		out.notes = append(out.notes, Note{NoteTruncated, text})
	}
	out.notes = append(out.notes, st.notes()...)
	if pick == mixAll {
		out.loudest = st.lostInMix()
	}
	return out, nil
}

// mix makes mono of interleaved frames.
func mix(mono, frames []float32, channels, pick int) {
	switch {
	case channels == 1:
		copy(mono, frames)
	case pick >= 0:
		for i := range mono {
			mono[i] = frames[i*channels+pick]
		}
	default:
		g := 1 / float32(channels)
		for i := range mono {
			var s float32
			for _, x := range frames[i*channels : (i+1)*channels] {
				s += x
			}
			mono[i] = s * g
		}
	}
}

// decode turns little-endian samples into floats; full scale is 1.
func decode(dst []float32, raw []byte, h header) {
	le := binary.LittleEndian
	switch {
	case h.float && h.bits == 32:
		for i := range dst {
			dst[i] = math.Float32frombits(le.Uint32(raw[4*i:]))
		}
	case h.float:
		for i := range dst {
			dst[i] = float32(math.Float64frombits(le.Uint64(raw[8*i:])))
		}
	case h.bits == 8: // unsigned, as the format has it
		for i := range dst {
			dst[i] = float32(int(raw[i])-128) / (1 << 7)
		}
	case h.bits == 16:
		for i := range dst {
			dst[i] = float32(int16(le.Uint16(raw[2*i:]))) / (1 << 15)
		}
	case h.bits == 24:
		for i := range dst {
			b := raw[3*i : 3*i+3]
			dst[i] = float32(int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24)) / (1 << 31)
		}
	default:
		for i := range dst {
			dst[i] = float32(int32(le.Uint32(raw[4*i:]))) / (1 << 31)
		}
	}
}

// countReader counts bytes and keeps the first error that is not an end.
type countReader struct {
	r   io.Reader
	n   int64
	err error
}

func (c *countReader) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	if err != nil && !errors.Is(err, io.EOF) && c.err == nil {
		c.err = err
	}
	return n, err
}
