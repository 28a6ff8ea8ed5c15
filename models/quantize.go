package models

import (
	"encoding/binary"
	"math"
)

const (
	// blockValues is how many weights share one scale in Q8_0.
	blockValues = 32
	// blockBytes is a Q8_0 block on disk: a binary16 scale and 32 signed bytes.
	blockBytes = 2 + blockValues
)

// appendQ8 appends values to dst as Q8_0 blocks: in each block of 32 the scale
// is the largest magnitude over 127 and every weight is rounded, halves away
// from zero, to a multiple of it. len(values) must be a multiple of 32.
func appendQ8(dst []byte, values []float32) []byte {
	for ; len(values) >= blockValues; values = values[blockValues:] {
		block := values[:blockValues]
		var peak float32
		for _, v := range block {
			if v < 0 {
				v = -v
			}
			if v > peak {
				peak = v
			}
		}
		scale := peak / 127
		var inverse float32
		if scale != 0 {
			inverse = 1 / scale
		}
		dst = binary.LittleEndian.AppendUint16(dst, floatToHalf(scale))
		for _, v := range block {
			dst = append(dst, byte(int8(math.Round(float64(v*inverse)))))
		}
	}
	return dst
}
