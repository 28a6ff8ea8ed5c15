package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os/exec"
	"runtime"
	"strings"
	"time"
	"unicode"

	"github.com/spf13/cobra"

	"bedsaid/internal/audio"
	"bedsaid/internal/speech"
	"bedsaid/internal/speech/whisper"
	"bedsaid/models"
)

// selftestSound is spoken by a synthetic voice; selftest.md tells how it was made.
//
//go:embed selftest.wav
var selftestSound []byte

const selftestWords = "The pupils are equal and round. The trachea is in the middle. There is no swelling of the neck, and the carotid pulses are strong on both sides."

// selftestEnough is the share of the self-test's words that must be heard: a
// broken engine or model hears next to none, a small model misses a few.
const selftestEnough = 0.7

func (m *Main) doctorCommand() *cobra.Command {
	var model, dir string
	c := &cobra.Command{
		Use:   "doctor",
		Short: "Check what is installed, and that it works",
		Long: `Doctor lists what the program needs, what each thing is for and what is missing,
and then has the speech engine listen to ten seconds of a synthetic voice, to
see whether it works and how fast. It ends with exit code 4 where recordings
cannot be drafted.`,
		Example: "  bedsaid doctor\n  bedsaid doctor --model ggml-small.en.bin",
		Args:    exactly(0, "no arguments"),
		RunE:    func(cmd *cobra.Command, _ []string) error { return m.doctor(cmd.Context(), model, dir) },
	}
	m.modelFlags(c, &model, &dir)
	return c
}

// doctor prints one line for each thing. It goes on after a failure, so that
// one run tells all.
func (m *Main) doctor(ctx context.Context, model, dir string) error {
	say := func(state, what, detail string) { fmt.Fprintf(m.Stdout, "%-8s %-14s %s\n", state, what, detail) }
	more := func(detail string) { fmt.Fprintf(m.Stdout, "%-8s %-14s %s\n", "", "", detail) }

	say("ok", "program", fmt.Sprintf("%s, %s/%s, %d processors", program(), runtime.GOOS, runtime.GOARCH, runtime.NumCPU()))
	if lex, err := m.lexicon(""); err != nil {
		return err
	} else {
		var packs []string
		for _, p := range lex.Packs() {
			packs = append(packs, p.Name+" "+p.Version)
		}
		say("ok", "lexicon", fmt.Sprintf("%s: %d findings", strings.Join(packs, ", "), len(lex.Findings())))
		more("turns words into findings")
	}

	broken := 0
	if whisper.Built {
		say("ok", "speech engine", "whisper.cpp, built in")
	} else {
		broken++
		say("MISSING", "speech engine", "this program was built without it: scripts/build builds it in")
	}
	more("hears recordings; typed words need none")

	w, err := m.weights(ctx, model, dir)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	switch {
	case errors.Is(err, models.ErrMissing):
		broken++
		s, _ := m.store(dir) // weights has been through it
		say("MISSING", "model", "none that fits in "+s.Dir)
		more("scripts/setup brings the standard one")
	case err != nil:
		broken++
		say("BAD", "model", err.Error())
	default:
		say("ok", "model", fmt.Sprintf("%s, %s, checksum checked", w.Name, megabytes(w.Size)))
		more(w.Path)
	}
	more("the weights that the speech engine hears with")

	if path, err := exec.LookPath("ffmpeg"); err == nil {
		say("ok", "ffmpeg", path)
	} else {
		say("absent", "ffmpeg", "install it with: apt install ffmpeg   (macOS: brew install ffmpeg)")
	}
	more("reads m4a, ogg, mp3 and other sound; WAV needs none")

	if broken > 0 {
		say("SKIPPED", "self-test", "it needs the engine and a model")
		return failed(exitMissing, errors.New("recordings cannot be drafted")).
			hint("see what is MISSING above; typed words (.txt) can be drafted as it is")
	}
	return m.selftest(ctx, model, dir, say)
}

func (m *Main) selftest(ctx context.Context, model, dir string, say func(state, what, detail string)) error {
	clip, err := audio.Read(ctx, bytes.NewReader(selftestSound), int64(len(selftestSound)), nil)
	if err != nil {
		return fmt.Errorf("read the self-test's sound: %w", err)
	}
	e := m.hearing(model, dir)
	defer e.close()
	h, err := e.open(ctx)
	if err != nil {
		return err
	}
	began := m.Now()
	t, err := speech.New(h.Decoder, speech.Options{}).Recognize(ctx, clip, nil, nil)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return missing(fmt.Errorf("self-test: %w", err))
	}
	spent := max(m.Now().Sub(began), time.Millisecond)
	share := wordsHeard(selftestWords, t.Text())
	detail := fmt.Sprintf("heard %.0f %% of the words of a %.0f s recording in %.1f s: %.1f x real time",
		100*share, clip.Seconds(), spent.Seconds(), clip.Seconds()/spent.Seconds())
	if share < selftestEnough {
		say("BAD", "self-test", detail)
		return failed(exitMissing, errors.New("the recognizer does not hear what was said")).
			hint("bedsaid model verify checks the model; scripts/setup brings engine and model anew")
	}
	say("ok", "self-test", detail)
	return nil
}

// wordsHeard is the share of the spoken words that were heard, in order; case
// and punctuation aside.
func wordsHeard(spoken, heard string) float64 {
	split := func(s string) []string {
		return strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	}
	a, b := split(spoken), split(heard)
	// Longest common subsequence, row by row.
	row := make([]int, len(b)+1)
	for _, w := range a {
		diagonal := 0
		for j, v := range b {
			above := row[j+1]
			if w == v {
				row[j+1] = diagonal + 1
			} else {
				row[j+1] = max(above, row[j])
			}
			diagonal = above
		}
	}
	return float64(row[len(b)]) / float64(max(len(a), 1))
}
