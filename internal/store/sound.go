package store

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"io"
)

// Sound is packed without loss: what is left of each sample after a fixed
// prediction from those before it (of order 0 to 2, the one with the smallest
// rest, as in lossless audio coding since Shorten, 1994), then Deflate
// (RFC 1951) over its high and its low bytes apart.

// packSound gives the stored form of samples.
func packSound(samples []int16) []byte {
	order, rest := 0, samples
	best := weight(samples)
	left := samples
	for o := 1; o <= 2; o++ {
		left = differences(left)
		if w := weight(left); w < best {
			order, rest, best = o, left, w
		}
	}
	planes := make([]byte, 2*len(rest))
	for i, v := range rest {
		z := uint16(v<<1) ^ uint16(v>>15) // small rests of either sign get a high byte of 0
		planes[i], planes[len(rest)+i] = byte(z>>8), byte(z)
	}
	var out bytes.Buffer
	out.WriteByte(byte(order))
	out.Write(binary.AppendUvarint(nil, uint64(len(samples))))
	deflate(&out, planes)
	return out.Bytes()
}

// unpackSound reverses packSound.
func unpackSound(data []byte) ([]int16, error) {
	bad := fmt.Errorf("%w (sound)", ErrDamaged)
	if len(data) < 2 || data[0] > 2 {
		return nil, bad
	}
	n, k := binary.Uvarint(data[1:])
	if k <= 0 || n > maxPiece {
		return nil, bad
	}
	planes, err := inflate(data[1+k:], int64(2*n))
	if err != nil || uint64(len(planes)) != 2*n {
		return nil, bad
	}
	out := make([]int16, n)
	for i := range out {
		z := uint16(planes[i])<<8 | uint16(planes[int(n)+i])
		out[i] = int16(z>>1) ^ -int16(z&1)
	}
	for range data[0] {
		for i := 1; i < len(out); i++ {
			out[i] += out[i-1]
		}
	}
	return out, nil
}

// differences wraps around, which loses nothing.
func differences(s []int16) []int16 {
	out := make([]int16, len(s))
	var prev int16
	for i, v := range s {
		out[i], prev = v-prev, v
	}
	return out
}

func weight(s []int16) (sum int64) {
	for _, v := range s {
		sum += max(int64(v), -int64(v))
	}
	return sum
}

// deflate cannot fail: it writes to memory at a level that exists.
func deflate(out *bytes.Buffer, data []byte) {
	w, err := flate.NewWriter(out, flate.DefaultCompression)
	if err == nil {
		_, err = w.Write(data)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		panic(err)
	}
}

func inflate(data []byte, most int64) ([]byte, error) {
	out, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(data)), most+1))
	if err != nil || int64(len(out)) > most {
		return nil, fmt.Errorf("%w (packed)", ErrDamaged)
	}
	return out, nil
}
