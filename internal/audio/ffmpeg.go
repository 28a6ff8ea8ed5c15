package audio

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os/exec"
	"path/filepath"
	"time"
)

// convert has ffmpeg decode path and hears its output from a pipe: nothing is
// written to disk. The demuxer is named, so that no file can pass itself off as
// a play list that points elsewhere, and only local files may be opened.
func convert(ctx context.Context, path string, kind soundKind, progress func(float64)) (*Clip, error) {
	program, err := exec.LookPath("ffmpeg")
	if err != nil {
		return nil, fail(ErrFormat, fmt.Sprintf("a sound file of kind %s, which needs the program ffmpeg", kind.name),
			"install ffmpeg (Debian, Ubuntu: sudo apt-get install ffmpeg; macOS: brew install ffmpeg); or, where it is installed, "+hintConvert(path, ""), nil)
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fail(ErrUnreadable, "the file cannot be found", "give its full path", err)
	}
	// ffmpeg does not tell the share done; better none than a wrong one.
	_ = progress
	var complained bool
	got, err := twoPasses(func(pick int) (*source, error) {
		src, loud, err := runFFmpeg(ctx, program, abs, kind.demuxer, pick)
		complained = loud
		return src, err
	})
	var own *Error
	if errors.As(err, &own) && own.Kind != ErrConversion && own.Kind != ErrEmpty {
		return nil, own
	}
	if err != nil {
		return nil, fail(ErrConversion, fmt.Sprintf("ffmpeg could make no sound of this file of kind %s", kind.name),
			"see what it complains of: "+hintConvert(path, ""), nil)
	}
	got.notes = append([]Note{{NoteConverted, "the recording was decoded by ffmpeg"}}, got.notes...)
	if complained {
		got.notes = append(got.notes, Note{NoteTruncated, fmt.Sprintf("ffmpeg found faults in the file; the %.1f seconds that it could decode were read, and sound may be missing", float64(got.builder.n)/Rate)})
	}
	return got.clip()
}

// runFFmpeg decodes one file; complained is true where ffmpeg reported faults.
func runFFmpeg(ctx context.Context, program, abs, demuxer string, pick int) (src *source, complained bool, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, "-nostdin", "-hide_banner", "-v", "error",
		"-protocol_whitelist", "file,pipe", "-f", demuxer, "-i", "file:"+abs,
		"-map", "0:a:0", "-vn", "-sn", "-dn", "-t", fmt.Sprint(MaxSeconds+10),
		"-c:a", "pcm_f32le", "-f", "wav", "pipe:1")
	cmd.WaitDelay = 2 * time.Second
	var complaints limitedBuffer
	cmd.Stderr = &complaints
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		return nil, false, fail(ErrConversion, "ffmpeg cannot be run", "reinstall ffmpeg", err)
	}
	if err := cmd.Start(); err != nil {
		return nil, false, fail(ErrConversion, "ffmpeg cannot be run", "reinstall ffmpeg", err)
	}
	src, readErr := readSource(ctx, pipe, 0, pick, nil)
	if readErr != nil {
		cancel()
	}
	waitErr := cmd.Wait()
	if readErr != nil {
		return nil, false, readErr
	}
	return src, waitErr != nil || complaints.Len() > 0, nil
}

// limitedBuffer keeps the first 4 KB that are written to it.
type limitedBuffer struct{ bytes.Buffer }

func (b *limitedBuffer) Write(p []byte) (int, error) {
	if room := 4096 - b.Len(); room > 0 {
		b.Buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}
