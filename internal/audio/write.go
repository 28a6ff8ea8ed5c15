package audio

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// Write writes 16 kHz mono samples as a WAV file, PCM, 16 bit. Samples beyond
// [-1, 1] are cut off.
func Write(w io.Writer, samples []float32) error {
	n := len(samples) * 2
	if int64(n) > math.MaxInt32 {
		return fmt.Errorf("write recording: %d samples are too many for one file", len(samples))
	}
	le := binary.LittleEndian
	b := make([]byte, 44, 44+n)
	copy(b[0:], "RIFF")
	le.PutUint32(b[4:], uint32(36+n))
	copy(b[8:], "WAVEfmt ")
	le.PutUint32(b[16:], 16)
	le.PutUint16(b[20:], codePCM)
	le.PutUint16(b[22:], 1)
	le.PutUint32(b[24:], Rate)
	le.PutUint32(b[28:], Rate*2)
	le.PutUint16(b[32:], 2)
	le.PutUint16(b[34:], 16)
	copy(b[36:], "data")
	le.PutUint32(b[40:], uint32(n))
	for _, s := range samples {
		v := math.RoundToEven(float64(s) * (1 << 15))
		b = le.AppendUint16(b, uint16(int16(min(max(v, math.MinInt16), math.MaxInt16))))
	}
	if _, err := w.Write(b); err != nil {
		return fmt.Errorf("write recording: %w", err)
	}
	return nil
}
