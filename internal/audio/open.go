package audio

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// Open hears the recording at path: a WAV by itself, another sound file by way
// of ffmpeg where that is installed. progress, which may be nil, is called with
// the share done, 0 to 1. Every error is an *Error.
func Open(ctx context.Context, path string, progress func(float64)) (*Clip, error) {
	f, err := os.Open(path)
	if err != nil {
		hint := "check the name and that you may read the file"
		if errors.Is(err, os.ErrNotExist) {
			hint = "check the name; a name with spaces needs quotation marks"
		}
		// The cause without the path, which the user has just typed.
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return nil, fail(ErrUnreadable, "the file cannot be opened", hint, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return nil, fail(ErrUnreadable, "this is not a file", "name a recording, not a folder or a device", nil)
	}
	if info.Size() == 0 {
		return nil, fail(ErrEmpty, "the file is empty", hintRecordAgain, nil)
	}
	head := make([]byte, 64)
	n, err := f.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fail(ErrUnreadable, "the file cannot be read", "copy the file to this computer's own disk and try again", nil)
	}
	kind := sniff(head[:n])
	switch kind.name {
	case "":
		return nil, fail(ErrNotSound, "this is not a sound file of a kind that is known here",
			"give a WAV recording, or another sound file (m4a, ogg, mp3, flac and more) with ffmpeg installed", nil)
	case "WAV":
	default:
		return convert(ctx, path, kind, progress)
	}
	got, err := twoPasses(func(pick int) (*source, error) {
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return nil, fail(ErrUnreadable, "the file cannot be read", "copy the file to this computer's own disk and try again", nil)
		}
		return readSource(ctx, f, info.Size(), pick, progress)
	})
	var fe *formatError
	if errors.As(err, &fe) {
		return convert(ctx, path, kind, progress)
	}
	if err != nil {
		return nil, err
	}
	return got.clip()
}

// twoPasses reads the mix of all channels, and one channel where the mix would
// lose what is said.
func twoPasses(read func(pick int) (*source, error)) (*source, error) {
	got, err := read(mixAll)
	if err != nil || got.loudest == mixAll {
		return got, err
	}
	pick := got.loudest
	got, err = read(pick)
	if err != nil {
		return nil, err
	}
	got.notes = append(got.notes, Note{NoteChannels, fmt.Sprintf("the channels cancel each other when mixed; channel %d alone was used", pick+1)})
	return got, nil
}

// soundKind is a kind of sound file: what people call it, and ffmpeg's name.
type soundKind struct{ name, demuxer string }

// sniff tells the kind from the first bytes; the zero value where it is none.
func sniff(b []byte) soundKind {
	at := func(off int, s string) bool { return len(b) >= off+len(s) && string(b[off:off+len(s)]) == s }
	switch {
	case (at(0, "RIFF") || at(0, "RF64") || at(0, "BW64")) && (at(8, "WAVE") || len(b) < 12):
		return soundKind{"WAV", "wav"}
	case at(4, "ftyp"):
		return soundKind{"m4a or mp4", "mov"}
	case at(0, "OggS"):
		return soundKind{"ogg", "ogg"}
	case at(0, "fLaC"):
		return soundKind{"flac", "flac"}
	case at(0, "ID3"):
		return soundKind{"mp3", "mp3"}
	case at(0, "#!AMR"):
		return soundKind{"amr", "amr"}
	case at(0, "FORM") && (at(8, "AIFF") || at(8, "AIFC")):
		return soundKind{"aiff", "aiff"}
	case at(0, "caff"):
		return soundKind{"caf", "caf"}
	case at(0, "RIFX"):
		return soundKind{"big-endian WAV", "wav"}
	case bytes.HasPrefix(b, []byte{0x1A, 0x45, 0xDF, 0xA3}):
		return soundKind{"webm or mkv", "matroska"}
	case bytes.HasPrefix(b, []byte{0x30, 0x26, 0xB2, 0x75}):
		return soundKind{"wma", "asf"}
	case len(b) > 2 && b[0] == 0xFF && b[1]&0xF6 == 0xF0:
		return soundKind{"aac", "aac"}
	case len(b) > 2 && b[0] == 0xFF && b[1]&0xE0 == 0xE0:
		return soundKind{"mp3", "mp3"}
	}
	return soundKind{}
}

// hintConvert holds the line that converts a file by hand.
func hintConvert(in, why string) string {
	if in == "" {
		in = "RECORDING"
	}
	out := strings.TrimSuffix(in, filepath.Ext(in)) + ".wav"
	if out == in {
		out = strings.TrimSuffix(in, ".wav") + "-16k.wav"
	}
	return why + "convert it, then give the result: ffmpeg -i " + quote(in) + " -ac 1 -ar 16000 -c:a pcm_s16le " + quote(out)
}

// quote makes one word for a POSIX shell.
func quote(s string) string {
	if strings.HasPrefix(s, "-") {
		s = "./" + s
	}
	if s != "" && strings.IndexFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("./_-+:", r))
	}) < 0 {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}
