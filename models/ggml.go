package models

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
)

// ErrNotModel marks a file that is not a whole ggml Whisper file.
var ErrNotModel = errors.New("not a whole ggml Whisper file")

// Network is what a ggml file says of itself.
type Network struct {
	// Size is OpenAI's name for it: tiny, base, small, medium, large; or
	// "unknown size".
	Size string
	// Multilingual is false for the English-only variants.
	Multilingual bool
	// Precision is the element type of the weights, for example q8_0 or f16.
	Precision string
	// Mels is the number of frequency bands the sound is cut into.
	Mels int
}

// elementType is one of ggml's: so many bytes for so many values.
type elementType struct {
	name          string
	values, bytes int64
}

// elementTypes are those a whisper file may be made of, by ggml's number. The
// numbers and sizes are those of ggml.h and ggml-common.h, whisper.cpp 1.9.1.
func elementTypes() map[uint32]elementType {
	return map[uint32]elementType{
		0:  {"f32", 1, 4},
		1:  {"f16", 1, 2},
		2:  {"q4_0", 32, 18},
		3:  {"q4_1", 32, 20},
		6:  {"q5_0", 32, 22},
		7:  {"q5_1", 32, 24},
		8:  {"q8_0", 32, 34},
		10: {"q2_k", 256, 84},
		11: {"q3_k", 256, 110},
		12: {"q4_k", 256, 144},
		13: {"q5_k", 256, 176},
		14: {"q6_k", 256, 210},
	}
}

// Inspect walks a ggml Whisper file from header to last tensor without reading
// the weights, and returns an error that wraps ErrNotModel unless every size
// fits and the file ends where it should. The engine trusts its input; nothing
// that fails here may reach it.
func Inspect(path string) (Network, error) {
	f, err := os.Open(path)
	if err != nil {
		return Network{}, fmt.Errorf("open model: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return Network{}, fmt.Errorf("open model: %w", err)
	}
	if !info.Mode().IsRegular() {
		return Network{}, fmt.Errorf("open model: %s is not a file", path)
	}
	network, err := inspect(f, info.Size())
	if err != nil {
		return Network{}, fmt.Errorf("open model: %s is %w", path, err)
	}
	return network, nil
}

// ggmlReader walks a file and keeps the first problem.
type ggmlReader struct {
	r    *bufio.Reader
	f    io.ReadSeeker
	at   int64
	size int64
	err  error
}

func (r *ggmlReader) fail(format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("%w: %s", ErrNotModel, fmt.Sprintf(format, args...))
	}
}

func (r *ggmlReader) uint32() uint32 {
	var b [4]byte
	if r.err != nil {
		return 0
	}
	if _, err := io.ReadFull(r.r, b[:]); err != nil {
		r.fail("it ends too early")
		return 0
	}
	r.at += 4
	return binary.LittleEndian.Uint32(b[:])
}

// within reads a number that must lie in [low, high].
func (r *ggmlReader) within(what string, low, high uint32) int64 {
	n := r.uint32()
	if r.err == nil && (n < low || n > high) {
		r.fail("%s is %d", what, n)
	}
	return int64(n)
}

func (r *ggmlReader) skip(n int64) {
	if r.err != nil {
		return
	}
	if n > r.size-r.at {
		r.fail("it ends too early")
		return
	}
	r.at += n
	if n <= int64(r.r.Buffered()) {
		_, _ = r.r.Discard(int(n)) // held in the buffer, so it cannot fail
		return
	}
	if _, err := r.f.Seek(r.at, io.SeekStart); err != nil {
		r.fail("it cannot be read")
		return
	}
	r.r.Reset(r.f)
}

func inspect(f io.ReadSeeker, size int64) (Network, error) {
	r := &ggmlReader{r: bufio.NewReader(f), f: f, size: size}
	if r.uint32() != ggmlMagic {
		r.fail("it does not begin as one")
	}
	vocab := r.within("the vocabulary", 50000, 60000)
	r.within("the sound context", 1500, 1500)
	audioState := r.within("the encoder's width", 64, 4096)
	r.within("the encoder's heads", 1, 64)
	audioLayers := r.within("the number of encoder layers", 1, 64)
	r.within("the text context", 448, 448)
	textState := r.within("the decoder's width", 64, 4096)
	r.within("the decoder's heads", 1, 64)
	textLayers := r.within("the number of decoder layers", 1, 64)
	mels := r.within("the number of bands", 80, 128)
	r.uint32() // file type; the engine and we go by the tensors' own types
	if r.err == nil && audioState != textState {
		r.fail("encoder and decoder differ in width")
	}

	filters := r.within("the number of filters", uint32(mels), uint32(mels))
	bins := r.within("the number of frequencies", fourierBins, fourierBins)
	r.skip(filters * bins * 4)
	words := r.within("the number of words", 50000, uint32(vocab))
	for i := int64(0); i < words && r.err == nil; i++ {
		r.skip(r.within("the length of a word", 0, 128))
	}

	kinds := elementTypes()
	weights := map[string]int64{}
	tensors := int64(0)
	for r.err == nil && r.at < r.size {
		dims := r.within("the number of dimensions", 1, 3)
		name := r.within("the length of a name", 1, 128)
		kind, ok := kinds[r.uint32()]
		if r.err == nil && !ok {
			r.fail("a tensor has an unknown type")
		}
		count := int64(1)
		for i := int64(0); i < dims && r.err == nil; i++ {
			n := r.within("a dimension", 1, 1<<20)
			if i == 0 && ok && n%kind.values != 0 {
				r.fail("a row is cut")
			}
			if count *= n; count > 1<<33 {
				r.fail("a tensor is too large")
			}
		}
		r.skip(name)
		if r.err == nil {
			r.skip(count / kind.values * kind.bytes)
			weights[kind.name] += count
			tensors++
		}
	}
	// Three tables, two convolutions and two norms of two tensors each; blocks
	// of 15 tensors in the encoder and of 24 in the decoder.
	if want := 3 + 8 + 15*audioLayers + 24*textLayers; r.err == nil && tensors != want {
		r.fail("it holds %d tensors, not %d", tensors, want)
	}
	if r.err != nil {
		return Network{}, r.err
	}
	return Network{
		Size:         sizeName(audioLayers, textLayers),
		Multilingual: vocab >= 51865,
		Precision:    commonest(weights),
		Mels:         int(mels),
	}, nil
}

// sizeName gives OpenAI's name for a number of layers.
func sizeName(audioLayers, textLayers int64) string {
	if audioLayers == 32 && textLayers == 4 {
		return "large turbo"
	}
	switch audioLayers {
	case 4:
		return "tiny"
	case 6:
		return "base"
	case 12:
		return "small"
	case 24:
		return "medium"
	case 32:
		return "large"
	}
	return "unknown size"
}

func commonest(weights map[string]int64) string {
	name, most := "", int64(-1)
	for n, count := range weights {
		if count > most || count == most && n < name {
			name, most = n, count
		}
	}
	return name
}
