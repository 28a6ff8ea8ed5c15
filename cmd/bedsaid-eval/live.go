package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/audio"
	"bedsaid/internal/export"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/speech/whisper"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

const (
	// stopAfter is how long after the last sound the recording is stopped, seconds.
	stopAfter = 0.5
	// chunk is how much sound is handed over at a time, seconds.
	chunk = 0.02
	// near is how far the time of a word may stray, seconds.
	near = 0.3
)

// told is an update and when it came, in seconds since the first sample.
type told struct {
	pipeline.Update
	at float64
}

// live plays recordings as if they were spoken now and prints how soon words come
// after a pause and the draft after the last word, and whether the draft is that of
// the recording drafted at once.
func live(args []string, out io.Writer) error {
	flags := flag.NewFlagSet("live", flag.ContinueOnError)
	model := flags.String("model", "", "weights")
	speed := flags.Float64("speed", 1, "so many times as fast; times are then not printed")
	paths, err := parse(flags, args)
	if err != nil {
		return err
	}
	if len(paths) == 0 || *model == "" || !(*speed > 0) {
		return fmt.Errorf("%w: live takes -model FILE and recordings or folders of them", errUsage)
	}
	if !whisper.Built {
		return whisper.ErrNotBuilt
	}
	engine, err := whisper.Open(*model, 0)
	if err != nil {
		return err
	}
	defer engine.Close()
	d := &pipeline.Drafter{Program: "bedsaid-eval", Now: func() time.Time { return time.Time{} }, Lexicon: lexicon.Builtin,
		Hearing: func(context.Context) (pipeline.Hearing, error) { return pipeline.Hearing{Decoder: engine}, nil }}
	files, err := recordings(paths)
	if err != nil {
		return err
	}
	var short, long, last []float64
	differ := 0
	for _, file := range files {
		p, err := play(d, file, *speed)
		if err != nil {
			return fmt.Errorf("%s: %w", file, err)
		}
		short, long, last = append(short, p.pauses(0.5)...), append(long, p.pauses(1)...), append(last, p.last)
		same := "the same"
		if !p.same {
			differ++
			same = fmt.Sprintf("OTHER, in words from %.1f s on", p.differs)
		}
		fmt.Fprintf(out, "%s: %.1f s, %d words, %d findings, %d updates, at most %d pieces waiting, %.2f of a processor; the draft at once is %s\n", filepath.Base(file),
			p.seconds, len(p.words), p.findings, len(p.updates), p.waiting, p.processor/p.seconds, same)
	}
	if *speed == 1 {
		fmt.Fprintf(out, "words after a pause of 0.5 s and more: %s\nwords after a pause of 1 s and more:   %s\ndraft after the last word:              %s\n",
			spread(short), spread(long), spread(last))
	}
	if peak := peakMemory(); peak > 0 {
		fmt.Fprintf(out, "peak memory of the process, weights and engine included: %d MB\n", peak>>20)
	}
	if differ > 0 {
		return fmt.Errorf("%d of %d drafts differ from those of the recordings", differ, len(files))
	}
	return nil
}

// recordings lists the WAV files that paths name.
func recordings(paths []string) ([]string, error) {
	var files []string
	for _, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			return nil, err
		}
		if !info.IsDir() {
			files = append(files, p)
			continue
		}
		in, err := filepath.Glob(filepath.Join(p, "*.wav"))
		if err != nil {
			return nil, err
		}
		files = append(files, in...)
	}
	if len(files) == 0 {
		return nil, errors.New("no recordings there")
	}
	return files, nil
}

// played is one recording that was played.
type played struct {
	seconds, last, processor float64
	findings, waiting        int
	words                    []transcript.Word
	updates                  []told
	same                     bool
	differs                  float64 // seconds: where the first word differs
}

func play(d *pipeline.Drafter, file string, speed float64) (played, error) {
	ctx := context.Background()
	clip, err := audio.Open(ctx, file, nil)
	if err != nil {
		return played{}, err
	}
	pcm := untilQuiet(clip.PCM(0, clip.Len()))
	p := played{seconds: float64(len(pcm)) / audio.Rate}
	used, begin := processorTime(), time.Now()
	since := func() float64 { return time.Since(begin).Seconds() }
	l, err := d.Live(ctx, func(u pipeline.Update) { p.updates = append(p.updates, told{u, since()}) })
	if err != nil {
		return p, err
	}
	defer l.Close()
	const size = int(chunk * audio.Rate)
	for at := 0; at < len(pcm); at += size {
		end := min(at+size, len(pcm))
		// A sample can be handed over when it has been spoken.
		time.Sleep(time.Duration((float64(end)/audio.Rate/speed - since()) * float64(time.Second)))
		if err := l.Write(pcm[at:end]); err != nil {
			return p, err
		}
	}
	draft, err := l.Finish(ctx)
	finished := since()
	if err != nil {
		return p, err
	}
	p.processor = (processorTime() - used).Seconds()
	p.words, p.findings = draft.Transcript.Words, len(draft.Findings())
	for _, u := range p.updates {
		p.waiting = max(p.waiting, u.Waiting)
	}
	if n := len(p.words); n > 0 {
		p.last = finished - p.words[n-1].End
	}
	whole, err := d.Draft(ctx, pipeline.Input{Sound: audio.FromPCM(pcm)})
	if err != nil {
		return p, err
	}
	p.same, err = sameDraft(draft, whole)
	for i, w := range p.words {
		if i >= len(whole.Transcript.Words) || w != whole.Transcript.Words[i] {
			p.differs = w.Start
			break
		}
	}
	return p, err
}

// sameDraft compares two drafts to the last letter, but for what the file says of
// itself.
func sameDraft(a, b note.Draft) (bool, error) {
	a.Name, a.Notices = b.Name, b.Notices
	var x, y bytes.Buffer
	if err := errors.Join(export.JSON(&x, a), export.JSON(&y, b)); err != nil {
		return false, err
	}
	return bytes.Equal(x.Bytes(), y.Bytes()), nil
}

// untilQuiet ends a recording shortly after its last sound: whoever examines does
// not wait before she stops it.
func untilQuiet(pcm []int16) []int16 {
	most := 0.0
	for _, v := range pcm {
		most = max(most, math.Abs(float64(v)))
	}
	end := len(pcm)
	for end > 0 && math.Abs(float64(pcm[end-1])) < 0.05*most {
		end--
	}
	return pcm[:min(len(pcm), end+int(stopAfter*audio.Rate))]
}

// pauses gives, for each pause so long, how many seconds after it began all words
// before it were told.
func (p played) pauses(least float64) []float64 {
	var out []float64
	for i := 0; i+1 < len(p.words); i++ {
		end := p.words[i].End
		if p.words[i+1].Start-end < least {
			continue
		}
		came := math.Inf(1) // with the draft only
		for _, u := range p.updates {
			if w := u.Draft.Transcript.Words; len(w) > 0 && w[len(w)-1].End >= end-near {
				came = u.at - end
				break
			}
		}
		out = append(out, came)
	}
	return out
}

// spread prints the middle, the 95th of a hundred and the worst.
func spread(s []float64) string {
	if len(s) == 0 {
		return "none"
	}
	slices.Sort(s)
	at := func(share float64) float64 { return s[int(math.Ceil(share*float64(len(s))))-1] }
	return fmt.Sprintf("median %.2f s, 95 of 100 within %.2f s, longest %.2f s, of %d", at(0.5), at(0.95), s[len(s)-1], len(s))
}

// peakMemory is the most memory, in bytes, that the process has held; 0 where the
// system does not tell.
func peakMemory() int64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(status)) {
		var kB int64
		if n, _ := fmt.Sscanf(line, "VmHWM: %d kB", &kB); n == 1 {
			return kB << 10
		}
	}
	return 0
}
