// Package audiotest makes recordings for tests: tones and noise, WAV files of
// every sample format, and files that are damaged in a reproducible way.
package audiotest

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
)

// Format describes the samples of a WAV file.
type Format struct {
	Rate, Channels, Bits int
	Float, Extensible    bool
}

// String names the format, as "48000 Hz, 2 ch, 24 bit".
func (f Format) String() string {
	s := fmt.Sprintf("%d Hz, %d ch, %d bit", f.Rate, f.Channels, f.Bits)
	if f.Float {
		s += " float"
	}
	if f.Extensible {
		s += ", extensible"
	}
	return s
}

// Encode makes a WAV file; at gives the sample of a channel at frame i, in
// [-1, 1].
func Encode(f Format, frames int, at func(i, channel int) float64) []byte {
	le := binary.LittleEndian
	code := uint16(1)
	if f.Float {
		code = 3
	}
	fmtChunk := le.AppendUint16(nil, code)
	if f.Extensible {
		fmtChunk = le.AppendUint16(nil, 0xFFFE)
	}
	align := f.Channels * f.Bits / 8
	fmtChunk = le.AppendUint16(fmtChunk, uint16(f.Channels))
	fmtChunk = le.AppendUint32(fmtChunk, uint32(f.Rate))
	fmtChunk = le.AppendUint32(fmtChunk, uint32(f.Rate*align))
	fmtChunk = le.AppendUint16(fmtChunk, uint16(align))
	fmtChunk = le.AppendUint16(fmtChunk, uint16(f.Bits))
	if f.Extensible {
		fmtChunk = le.AppendUint16(fmtChunk, 22)
		fmtChunk = le.AppendUint16(fmtChunk, uint16(f.Bits))
		fmtChunk = le.AppendUint32(fmtChunk, 0)
		fmtChunk = le.AppendUint16(fmtChunk, code)
		fmtChunk = append(fmtChunk, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71)
	}
	var data []byte
	for i := range frames {
		for c := range f.Channels {
			x := at(i, c)
			full := math.Ldexp(1, f.Bits-1)
			v := int64(min(max(math.RoundToEven(x*full), -full), full-1))
			switch {
			case f.Float && f.Bits == 32:
				data = le.AppendUint32(data, math.Float32bits(float32(x)))
			case f.Float:
				data = le.AppendUint64(data, math.Float64bits(x))
			case f.Bits == 8:
				data = append(data, byte(v+128))
			case f.Bits == 16:
				data = le.AppendUint16(data, uint16(v))
			case f.Bits == 24:
				data = append(data, byte(v), byte(v>>8), byte(v>>16))
			default:
				data = le.AppendUint32(data, uint32(v))
			}
		}
	}
	return Container("RIFF", Chunk("fmt ", fmtChunk), Chunk("data", data))
}

// Chunk makes one RIFF chunk, padded to an even length.
func Chunk(id string, data []byte) []byte {
	b := append([]byte(id), binary.LittleEndian.AppendUint32(nil, uint32(len(data)))...)
	b = append(b, data...)
	if len(data)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

// Container makes a file of chunks.
func Container(id string, chunks ...[]byte) []byte {
	body := []byte("WAVE")
	for _, c := range chunks {
		body = append(body, c...)
	}
	b := append([]byte(id), binary.LittleEndian.AppendUint32(nil, uint32(len(body)))...)
	return append(b, body...)
}

// Tone gives a sine of the frequency in Hz and the peak amplitude.
func Tone(rate int, hz, amplitude float64) func(i, channel int) float64 {
	return func(i, _ int) float64 { return amplitude * math.Sin(2*math.Pi*hz*float64(i)/float64(rate)) }
}

// Damaged is one broken file.
type Damaged struct {
	Name string
	Data []byte
}

// Malformed makes n files that are cut, flipped or lied about in their headers,
// always the same for a seed.
func Malformed(seed uint64, n int) []Damaged {
	rng := rand.New(rand.NewPCG(seed, 0))
	formats := []Format{
		{Rate: 8000, Channels: 1, Bits: 8}, {Rate: 16000, Channels: 1, Bits: 16},
		{Rate: 44100, Channels: 2, Bits: 24, Extensible: true}, {Rate: 48000, Channels: 2, Bits: 32, Float: true},
		{Rate: 22050, Channels: 1, Bits: 64, Float: true, Extensible: true}, {Rate: 11025, Channels: 3, Bits: 32},
	}
	odd32 := []uint32{0, 1, 3, 7, 15, 17, 0x7FFF, 0xFFFF, 0x10000, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF}
	out := make([]Damaged, 0, n)
	for i := range n {
		f := formats[rng.IntN(len(formats))]
		frames := f.Rate/2 + rng.IntN(f.Rate/2)
		b := Encode(f, frames, Tone(f.Rate, 300+500*rng.Float64(), 0.3))
		head := 44
		if f.Extensible {
			head = 68
		}
		var what string
		switch i % 6 {
		case 0:
			k := rng.IntN(len(b))
			if rng.IntN(2) == 0 {
				k = rng.IntN(head + 8)
			}
			b, what = b[:k], fmt.Sprintf("cut after %d bytes", k)
		case 1:
			k := 1 + rng.IntN(8)
			for range k {
				b[rng.IntN(head)] ^= 1 << rng.IntN(8)
			}
			what = fmt.Sprintf("%d bits of the header flipped", k)
		case 2:
			k := 1 + rng.IntN(2000)
			for range k {
				b[rng.IntN(len(b))] ^= byte(1 + rng.IntN(255))
			}
			what = fmt.Sprintf("%d bytes flipped anywhere", k)
		case 3:
			at := []int{4, 16, 24, 28, head - 4}[rng.IntN(5)]
			v := odd32[rng.IntN(len(odd32))]
			binary.LittleEndian.PutUint32(b[at:], v)
			what = fmt.Sprintf("number at byte %d set to %d", at, v)
		case 4:
			at := []int{20, 22, 32, 34}[rng.IntN(4)]
			v := uint16(odd32[rng.IntN(len(odd32))])
			if rng.IntN(2) == 0 {
				v = uint16(rng.IntN(1 << 16))
			}
			binary.LittleEndian.PutUint16(b[at:], v)
			what = fmt.Sprintf("short number at byte %d set to %d", at, v)
		default:
			// A piece taken out or put in twice, so that all after it is shifted.
			from := rng.IntN(len(b))
			to := min(len(b), from+rng.IntN(3000))
			if rng.IntN(2) == 0 {
				b = append(append([]byte(nil), b[:from]...), b[to:]...)
				what = fmt.Sprintf("%d bytes missing at %d", to-from, from)
			} else {
				b = append(append([]byte(nil), b[:to]...), b[from:]...)
				what = fmt.Sprintf("%d bytes doubled at %d", to-from, from)
			}
		}
		out = append(out, Damaged{Name: fmt.Sprintf("%03d %s: %s", i, f, what), Data: b})
	}
	return out
}
