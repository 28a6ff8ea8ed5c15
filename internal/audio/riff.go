package audio

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"github.com/go-audio/riff"
)

// The container is walked with go-audio/riff. Its sister library go-audio/wav
// is not used for reading: it needs a seekable source, allocates whatever size
// a header claims, and hides the sub-format that tells integer from float
// samples. See Microsoft, "Multiple Channel Audio Data and WAVE Files" (the
// extensible form) and EBU Tech 3306 (RF64).

// unknownSize marks a data chunk whose length the header does not tell.
const unknownSize = math.MaxInt64

// format codes of the "fmt " chunk.
const (
	codePCM        = 0x0001
	codeFloat      = 0x0003
	codeExtensible = 0xFFFE
)

// header is what a WAV file says of itself, checked.
type header struct {
	rate     int
	channels int
	bits     int // bits of the container of one sample: 8, 16, 24, 32, 64
	float    bool
	dataSize int64 // bytes, or unknownSize
	notes    []Note
}

func (h header) frameBytes() int { return h.channels * h.bits / 8 }

// formatError is a WAV that holds a form of sound which needs a converter.
type formatError struct{ what string }

func (e *formatError) Error() string { return e.what }

// readHeader reads up to the first sound byte. Errors are *Error or, where a
// converter may help, *formatError.
func readHeader(r *bufio.Reader) (header, error) {
	p := riff.New(r)
	id, _, err := p.IDnSize()
	if err != nil {
		return header{}, fail(ErrEmpty, "the file is empty or cut off at its first bytes", hintRecordAgain, nil)
	}
	switch string(id[:]) {
	case "RIFF", "RF64", "BW64":
	default:
		return header{}, &formatError{"not a WAV file"}
	}
	var form [4]byte
	if _, err := io.ReadFull(r, form[:]); err != nil {
		return header{}, fail(ErrEmpty, "the file ends within its header", hintRecordAgain, nil)
	}
	if form != riff.WavFormatID {
		return header{}, &formatError{"a RIFF file that is not WAV"}
	}

	var h header
	var haveFormat bool
	longSize := int64(-1)
	for {
		id, claimed, err := p.IDnSize()
		size := int64(claimed)
		if err != nil {
			if !haveFormat {
				return header{}, fail(ErrHeader, "the header does not say what sound the file holds", hintRecordAgain, nil)
			}
			return header{}, fail(ErrEmpty, "the file holds a header and no sound", hintRecordAgain, nil)
		}
		switch {
		case string(id[:]) == "ds64" && size >= 16 && size < 1<<16:
			buf := make([]byte, size)
			if _, err := io.ReadFull(r, buf); err != nil {
				continue
			}
			if n := binary.LittleEndian.Uint64(buf[8:16]); n > 0 && n < math.MaxInt64 {
				longSize = int64(n)
			}
		case id == riff.FmtID:
			if err := h.readFormat(r, size); err != nil {
				return header{}, err
			}
			haveFormat = true
		case id == riff.DataFormatID:
			if !haveFormat {
				return header{}, fail(ErrHeader, "the sound comes before the header that describes it", hintRecordAgain, nil)
			}
			h.dataSize = size
			// Programs that write to a pipe, or that were stopped before they could
			// fill in the length, leave one of these.
			if size == 0 || size >= math.MaxUint32-1 {
				h.dataSize = unknownSize
				if longSize > 0 {
					h.dataSize = longSize
				}
			}
			return h, nil
		default:
			if _, err := io.CopyN(io.Discard, r, size); err != nil {
				continue
			}
		}
		// A chunk of odd length is followed by a byte of padding.
		if size%2 == 1 {
			_, _ = r.Discard(1)
		}
	}
}

// readFormat reads the "fmt " chunk of the given size.
func (h *header) readFormat(r io.Reader, size int64) error {
	var raw [40]byte
	n := min(size, int64(len(raw)))
	if size < 16 {
		return fail(ErrHeader, fmt.Sprintf("the description of the sound is %d bytes long, at least 16 are needed", size), hintRecordAgain, nil)
	}
	if _, err := io.ReadFull(r, raw[:n]); err != nil {
		return fail(ErrEmpty, "the file ends within its header", hintRecordAgain, nil)
	}
	if _, err := io.CopyN(io.Discard, r, size-n); err != nil {
		return fail(ErrEmpty, "the file ends within its header", hintRecordAgain, nil)
	}
	le := binary.LittleEndian
	code := le.Uint16(raw[0:])
	h.channels, h.rate, h.bits = int(le.Uint16(raw[2:])), int(le.Uint32(raw[4:])), int(le.Uint16(raw[14:]))
	align, byteRate := int(le.Uint16(raw[12:])), int(le.Uint32(raw[8:]))
	if code == codeExtensible && n >= 26 {
		// The first two bytes of the sub-format's GUID are the format code.
		code = le.Uint16(raw[24:])
	}
	switch code {
	case codePCM:
	case codeFloat:
		h.float = true
	default:
		return &formatError{fmt.Sprintf("a WAV file with sound of kind 0x%04x", code)}
	}
	if h.channels < 1 || h.channels > 64 {
		return fail(ErrHeader, fmt.Sprintf("the header says %d channels; 1 to 64 can be read", h.channels), hintRecordAgain, nil)
	}
	if h.rate < 8000 || h.rate > 192000 {
		return fail(ErrHeader, fmt.Sprintf("the header says %d samples per second; 8000 to 192000 can be read", h.rate), hintRecordAgain, nil)
	}
	// The bits that count may be fewer than the bytes that hold them (20 in 24).
	if !h.float && h.bits%8 != 0 && align == h.channels*((h.bits+7)/8) {
		h.bits = (h.bits + 7) / 8 * 8
	}
	ok := h.bits == 8 || h.bits == 16 || h.bits == 24 || h.bits == 32
	if h.float {
		ok = h.bits == 32 || h.bits == 64
	}
	if !ok {
		return fail(ErrHeader, fmt.Sprintf("the header says %d bits per sample (float: %t), which cannot be read", h.bits, h.float),
			"save the recording as WAV, PCM, 16 bit", nil)
	}
	if align != h.frameBytes() || (byteRate != 0 && byteRate != h.rate*h.frameBytes()) {
		h.notes = append(h.notes, Note{NoteHeader, "the file's header contradicts itself; its channels, rate and bits per sample were believed: listen to a passage"})
	}
	return nil
}

// dataReader gives the bytes of the data chunk. Where the chunk ends early and
// what follows is no chunk, the header has lied and the rest is sound too.
type dataReader struct {
	r      *bufio.Reader
	left   int64 // bytes that the header still promises
	odd    bool
	beyond bool // reading beyond what the header promised
	lied   bool
}

func newDataReader(r *bufio.Reader, size int64) *dataReader {
	return &dataReader{r: r, left: size, odd: size%2 == 1, beyond: size == unknownSize}
}

func (d *dataReader) Read(p []byte) (int, error) {
	if d.beyond {
		return d.r.Read(p)
	}
	if d.left == 0 {
		if d.atEnd() {
			return 0, io.EOF
		}
		d.beyond, d.lied = true, true
		return d.r.Read(p)
	}
	n, err := d.r.Read(p[:min(int64(len(p)), d.left)])
	d.left -= int64(n)
	return n, err
}

// atEnd says whether the data chunk is over: nothing, or a chunk, follows.
func (d *dataReader) atEnd() bool {
	next, _ := d.r.Peek(9)
	if len(next) < 9 {
		return true
	}
	// After a chunk of odd length a byte of padding should follow.
	return chunkHead(next[:8]) || d.odd && chunkID(next[1:5])
}

// chunkHead says whether eight bytes can begin a chunk that follows the sound;
// such chunks hold names and dates, and are small.
func chunkHead(b []byte) bool {
	return chunkID(b[:4]) && binary.LittleEndian.Uint32(b[4:]) < 16<<20
}

// chunkID says whether four bytes can name a chunk: letters, digits, spaces.
func chunkID(b []byte) bool {
	for _, c := range b {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == ' ', c == '_':
		default:
			return false
		}
	}
	return true
}
