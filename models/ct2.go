package models

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// CTranslate2 numbers element types so in model.bin.
const (
	ct2Float32 = 0
	ct2Float16 = 4
)

// ct2Tensor is one variable of a CTranslate2 model and where its data lies.
type ct2Tensor struct {
	dims   []int
	kind   uint8
	offset int64
	size   int64
}

// ct2File is the index of a CTranslate2 model.bin; data is read when asked for.
type ct2File struct {
	data    io.ReaderAt
	tensors map[string]ct2Tensor
}

// openCT2 reads the index of a version 6 model.bin of the Whisper kind.
func openCT2(data io.ReaderAt, size int64) (*ct2File, error) {
	r := &ct2Reader{r: bufio.NewReader(io.NewSectionReader(data, 0, size)), data: data, size: size}
	if version := r.uint32(); r.err == nil && version != 6 {
		return nil, fmt.Errorf("read CTranslate2 model: version %d, only version 6 is known", version)
	}
	if spec := r.text(); r.err == nil && spec != "WhisperSpec" {
		return nil, fmt.Errorf("read CTranslate2 model: it is not a Whisper model")
	}
	r.uint32() // revision of the spec
	count := r.uint32()
	if r.err == nil && count > 1<<16 {
		return nil, fmt.Errorf("read CTranslate2 model: %d variables, too many", count)
	}
	file := &ct2File{data: data, tensors: make(map[string]ct2Tensor)}
	for i := uint32(0); i < count && r.err == nil; i++ {
		name := r.text()
		tensor := ct2Tensor{dims: make([]int, r.byte())}
		for d := range tensor.dims {
			tensor.dims[d] = int(r.uint32())
		}
		tensor.kind = r.byte()
		tensor.size = int64(r.uint32())
		tensor.offset = r.at
		r.skip(tensor.size)
		file.tensors[name] = tensor
	}
	if r.err != nil {
		return nil, fmt.Errorf("read CTranslate2 model: %w", r.err)
	}
	return file, nil
}

// tensor returns a float16 or float32 variable of the wanted rank.
func (f *ct2File) tensor(name string, rank int) (ct2Tensor, error) {
	t, ok := f.tensors[name]
	if !ok {
		return t, fmt.Errorf("read CTranslate2 model: variable %s is missing", name)
	}
	width := int64(0)
	switch t.kind {
	case ct2Float32:
		width = 4
	case ct2Float16:
		width = 2
	default:
		return t, fmt.Errorf("read CTranslate2 model: variable %s is not in half or single precision", name)
	}
	if len(t.dims) != rank {
		return t, fmt.Errorf("read CTranslate2 model: variable %s has %d dimensions, not %d", name, len(t.dims), rank)
	}
	want := width
	for _, d := range t.dims {
		want *= int64(d)
	}
	if want != t.size {
		return t, fmt.Errorf("read CTranslate2 model: variable %s holds %d bytes, not %d", name, t.size, want)
	}
	return t, nil
}

// values reads count elements of t from element first on into dst.
func (f *ct2File) values(t ct2Tensor, first, count int, buffer []byte, dst []float32) ([]byte, error) {
	width := 2
	if t.kind == ct2Float32 {
		width = 4
	}
	if cap(buffer) < count*width {
		buffer = make([]byte, count*width)
	}
	buffer = buffer[:count*width]
	if _, err := f.data.ReadAt(buffer, t.offset+int64(first*width)); err != nil {
		return buffer, fmt.Errorf("read CTranslate2 model: %w", err)
	}
	for i := range count {
		if width == 4 {
			dst[i] = math.Float32frombits(binary.LittleEndian.Uint32(buffer[4*i:]))
		} else {
			dst[i] = halfToFloat(binary.LittleEndian.Uint16(buffer[2*i:]))
		}
	}
	return buffer, nil
}

// ct2Reader reads little-endian fields and keeps the first error.
type ct2Reader struct {
	r    *bufio.Reader
	data io.ReaderAt
	at   int64
	size int64
	err  error
}

func (r *ct2Reader) bytes(n int) []byte {
	b := make([]byte, n)
	if r.err != nil {
		return b
	}
	_, r.err = io.ReadFull(r.r, b)
	r.at += int64(n)
	return b
}

func (r *ct2Reader) byte() uint8    { return r.bytes(1)[0] }
func (r *ct2Reader) uint32() uint32 { return binary.LittleEndian.Uint32(r.bytes(4)) }

// text reads a string: a 16-bit length that counts the closing NUL, then bytes.
func (r *ct2Reader) text() string {
	n := binary.LittleEndian.Uint16(r.bytes(2))
	b := r.bytes(int(n))
	if n > 0 && b[n-1] == 0 {
		b = b[:n-1]
	}
	return string(b)
}

// skip passes over n bytes of data without reading them.
func (r *ct2Reader) skip(n int64) {
	if r.err != nil {
		return
	}
	r.at += n
	if r.at > r.size {
		r.err = io.ErrUnexpectedEOF
		return
	}
	r.r.Reset(io.NewSectionReader(r.data, r.at, r.size-r.at))
}
