package pipeline

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"bedsaid/internal/export"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// maxText is far above any narration: an hour of speech is about 60 kB of text
// and 1 MB of the program's own JSON.
const maxText = 64 << 20

// InputError says why an input cannot be drafted from. It never holds what the
// file says.
type InputError struct{ Problem, Advice string }

func (e *InputError) Error() string { return "read input: " + e.Problem }

// Hint says what the user can do.
func (e *InputError) Hint() string { return e.Advice }

const (
	adviceText  = "save it as plain text in UTF-8, and give that"
	adviceEmpty = "give a recording, or a text with what was said"
)

// IsText reports, by its name, whether a file is read as words and not as sound.
func IsText(path string) bool {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".txt", ".json":
		return true
	}
	return false
}

// readWords reads a typed narration or the program's own JSON.
func readWords(in Input) (note.Source, error) {
	r := in.Text
	own := strings.EqualFold(filepath.Ext(in.Path), ".json")
	if r == nil {
		f, err := os.Open(in.Path)
		if err != nil {
			return note.Source{}, openError(err)
		}
		defer f.Close()
		r = f
	}
	data, err := io.ReadAll(io.LimitReader(r, maxText+1))
	switch {
	case err != nil:
		return note.Source{}, openError(err)
	case len(data) > maxText:
		return note.Source{}, &InputError{"the text is longer than 64 MB", "give one examination a file"}
	}
	text, err := decodeText(data)
	if err != nil {
		return note.Source{}, err
	}
	if in.Text != nil { // without a name, the form tells
		own = strings.HasPrefix(strings.TrimSpace(text), "{")
	}
	src := note.Source{Transcript: transcript.FromText(text)}
	if own {
		if src, err = export.ReadTranscript(strings.NewReader(text)); err != nil {
			return note.Source{}, err
		}
	}
	// A recording in which nothing was understood still drafts: its report of
	// speech without words is what matters then.
	if len(src.Transcript.Words) == 0 && src.Transcript.Recording == nil {
		return note.Source{}, &InputError{"there are no words in it", adviceEmpty}
	}
	return src, nil
}

func openError(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err // the path is said by the caller
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &InputError{"there is no such file", "check the name; a name with spaces needs quotation marks"}
	case errors.Is(err, fs.ErrPermission):
		return &InputError{"you may not read the file", "check who may read it"}
	}
	return &InputError{err.Error(), "check that this is a file, not a folder or a device"}
}

// decodeText takes UTF-8, with or without a mark, and UTF-16 with its mark, as
// text editors write it. Anything else is refused: a guess could change words.
func decodeText(data []byte) (string, error) {
	var order binary.ByteOrder
	switch {
	case bytes.HasPrefix(data, []byte{0xEF, 0xBB, 0xBF}):
		data = data[3:]
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}):
		order = binary.LittleEndian
	case bytes.HasPrefix(data, []byte{0xFE, 0xFF}):
		order = binary.BigEndian
	}
	if order != nil {
		data = data[2:]
		units := make([]uint16, len(data)/2)
		for i := range units {
			units[i] = order.Uint16(data[2*i:])
		}
		if len(data)%2 != 0 {
			return "", &InputError{"it ends in the middle of a character", adviceText}
		}
		data = []byte(string(utf16.Decode(units)))
	}
	if !utf8.Valid(data) || bytes.IndexByte(data, 0) >= 0 {
		return "", &InputError{"it is not plain text", adviceText}
	}
	return string(data), nil
}
