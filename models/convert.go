package models

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
)

// Precision is how the weights of a converted file are stored.
type Precision int

const (
	// Unknown precision is refused.
	Unknown Precision = iota
	// Half is IEEE 754 binary16, the precision of the source.
	Half
	// Quantized is Q8_0: blocks of 32 signed bytes with a common scale.
	Quantized
)

// ggml's numbers for element types and for the file types made of them.
const (
	ggmlMagic      = 0x67676d6c
	ggmlFloat32    = 0
	ggmlFloat16    = 1
	ggmlQ8         = 8
	fileHalf       = 1
	fileQ8         = 7
	formatVersion  = 2    // of ggml's quantized blocks
	formatMultiple = 1000 // the version is kept as version × 1000 + file type
)

// chunkValues bounds the memory of a conversion: values in flight at once.
// It is a multiple of blockValues.
const chunkValues = 1 << 16

// Convert writes the CTranslate2 model of size bytes, with the vocabulary of
// its tokenizer.json, to w as a ggml file that whisper.cpp reads.
func Convert(ctx context.Context, w io.Writer, model io.ReaderAt, size int64, tokenizer io.Reader, precision Precision) error {
	if precision != Half && precision != Quantized {
		return fmt.Errorf("convert model: unknown precision")
	}
	file, err := openCT2(model, size)
	if err != nil {
		return err
	}
	s, err := shapeOf(file)
	if err != nil {
		return err
	}
	words, err := readVocabulary(tokenizer)
	if err != nil {
		return err
	}
	if len(words) > s.vocab {
		return fmt.Errorf("convert model: tokenizer has %d tokens, the model %d", len(words), s.vocab)
	}
	out := bufio.NewWriterSize(w, 1<<20)
	if _, err := out.Write(header(s, words, precision)); err != nil {
		return fmt.Errorf("write model: %w", err)
	}
	for _, p := range layout(s) {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := writePiece(out, file, p, precision); err != nil {
			return err
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write model: %w", err)
	}
	return nil
}

// header is all that precedes the tensors: sizes, filters and vocabulary.
func header(s shape, words [][]byte, precision Precision) []byte {
	fileType := fileHalf
	if precision == Quantized {
		fileType = formatVersion*formatMultiple + fileQ8
	}
	b := binary.LittleEndian.AppendUint32(nil, ggmlMagic)
	for _, n := range []int{
		s.vocab, s.audioCtx, s.audioState, s.audioHeads, s.audioLayers,
		s.textCtx, s.textState, s.textHeads, s.textLayers, s.mels, fileType,
		s.mels, fourierBins,
	} {
		b = binary.LittleEndian.AppendUint32(b, uint32(n))
	}
	for _, weight := range melFilters(s.mels) {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(weight))
	}
	b = binary.LittleEndian.AppendUint32(b, uint32(len(words)))
	for _, word := range words {
		b = binary.LittleEndian.AppendUint32(b, uint32(len(word)))
		b = append(b, word...)
	}
	return b
}

// writePiece writes one tensor: its own small header, then its values.
func writePiece(out io.Writer, file *ct2File, p piece, precision Precision) error {
	source, err := file.tensor(p.source, p.sourceRank)
	if err != nil {
		return err
	}
	have := 1
	for _, d := range source.dims {
		have *= d
	}
	if p.first+p.count() > have {
		return fmt.Errorf("read CTranslate2 model: variable %s is too small", p.source)
	}
	kind := ggmlFloat16
	switch {
	case p.exact:
		kind = ggmlFloat32
	// The rule of whisper.cpp's own tool: matrices only, position tables and
	// the columns of convolution biases spared (both are exact here).
	case precision == Quantized && len(p.dims) == 2:
		kind = ggmlQ8
		if p.dims[1]%blockValues != 0 {
			return fmt.Errorf("convert model: rows of %s are no multiple of %d", p.name, blockValues)
		}
	}
	var head []byte
	for _, n := range []int{len(p.dims), len(p.name), kind} {
		head = binary.LittleEndian.AppendUint32(head, uint32(n))
	}
	for i := len(p.dims) - 1; i >= 0; i-- {
		head = binary.LittleEndian.AppendUint32(head, uint32(p.dims[i]))
	}
	if _, err := out.Write(append(head, p.name...)); err != nil {
		return fmt.Errorf("write model: %w", err)
	}

	values := make([]float32, min(chunkValues, p.count()))
	var raw, encoded []byte
	for done := 0; done < p.count(); done += len(values) {
		values = values[:min(len(values), p.count()-done)]
		if raw, err = file.values(source, p.first+done, len(values), raw, values); err != nil {
			return err
		}
		encoded = appendValues(encoded[:0], values, kind)
		if _, err := out.Write(encoded); err != nil {
			return fmt.Errorf("write model: %w", err)
		}
	}
	return nil
}

func appendValues(dst []byte, values []float32, kind int) []byte {
	switch kind {
	case ggmlQ8:
		return appendQ8(dst, values)
	case ggmlFloat16:
		for _, v := range values {
			dst = binary.LittleEndian.AppendUint16(dst, floatToHalf(v))
		}
	default:
		for _, v := range values {
			dst = binary.LittleEndian.AppendUint32(dst, math.Float32bits(v))
		}
	}
	return dst
}
