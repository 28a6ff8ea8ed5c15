//go:build cgo && engine

// Command speecheval hears recordings with several settings and writes, for each
// setting, what was heard in the form that sclite scores. scripts/eval-speech
// runs it.
package main

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"bedsaid/internal/audio"
	"bedsaid/internal/speech"
	"bedsaid/internal/speech/whisper"
	"bedsaid/internal/transcript"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "speecheval:", err)
		os.Exit(1)
	}
}

func run() error {
	model := flag.String("model", "", "weights")
	terms := flag.String("terms", "", "file with one vocabulary term a line")
	out := flag.String("out", ".", "folder for the results")
	settings := flag.String("settings", "20/prompt/1", "piece seconds / prompt or bare / beam, with commas between")
	threads := flag.Int("threads", 2, "threads of the engine")
	flag.Parse()
	if flag.NArg() == 0 {
		return fmt.Errorf("name recordings; beside NAME-VOICE.wav lies NAME.txt with what was said")
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	engine, err := whisper.Open(*model, *threads)
	if err != nil {
		return err
	}
	defer engine.Close()
	text, err := os.ReadFile(*terms)
	if err != nil {
		return err
	}
	vocabulary := strings.Split(strings.TrimSpace(string(text)), "\n")
	for _, setting := range strings.Split(*settings, ",") {
		var piece float64
		var prompt string
		var beam int
		if _, err := fmt.Sscanf(strings.ReplaceAll(setting, "/", " "), "%g %s %d", &piece, &prompt, &beam); err != nil {
			return fmt.Errorf("read setting %q: %w", setting, err)
		}
		var vocab speech.Vocabulary
		if prompt == "prompt" {
			vocab = func([]transcript.Word) []string { return vocabulary }
		}
		if err := sweep(ctx, engine, strings.ReplaceAll(setting, "/", "-"), *out, speech.Options{PieceSeconds: piece, Beam: beam}, vocab, flag.Args()); err != nil {
			return err
		}
	}
	return nil
}

// sweep hears all recordings with one setting; it writes SETTING.hyp.trn and
// ref.trn, and prints a line for each recording.
func sweep(ctx context.Context, engine *whisper.Engine, name, out string, opts speech.Options, vocab speech.Vocabulary, files []string) error {
	var hyp, ref strings.Builder
	for _, file := range files {
		base := strings.TrimSuffix(filepath.Base(file), ".wav")
		said, err := os.ReadFile(filepath.Join(filepath.Dir(file), base[:max(0, strings.LastIndex(base, "-"))]+".txt"))
		if err != nil {
			return err
		}
		clip, err := audio.Open(ctx, file, nil)
		if err != nil {
			return err
		}
		var events []string
		opts.Observe = func(e speech.Event) {
			events = append(events, fmt.Sprintf("%d@%.1f-%.1f", e.Kind, e.Start, e.End))
		}
		begin := time.Now()
		got, err := speech.New(engine, opts).Recognize(ctx, clip, vocab, nil)
		if err != nil {
			return err
		}
		took := time.Since(begin).Seconds()
		fmt.Printf("%s\t%s\t%.1f s\t%.1f s taken\t%d words\tuntranscribed %.1f\tevents %s\n", name, base, clip.Seconds(), took, len(got.Words), got.Recording.Untranscribed, strings.Join(events, " "))
		id := strings.ReplaceAll(base, "-", "_")
		voice := base[strings.LastIndex(base, "-")+1:]
		fmt.Fprintf(&hyp, "%s (%s_%s)\n", plain(got.Text()), voice, id)
		fmt.Fprintf(&ref, "%s (%s_%s)\n", plain(string(said)), voice, id)
		if err := writeTimes(filepath.Join(out, name+"."+base+".tsv"), got); err != nil {
			return err
		}
	}
	if err := os.WriteFile(filepath.Join(out, name+".hyp.trn"), []byte(hyp.String()), 0o600); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(out, "ref.trn"), []byte(ref.String()), 0o600)
}

func writeTimes(path string, t transcript.Transcript) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	w := bufio.NewWriter(f)
	for _, word := range t.Words {
		fmt.Fprintf(w, "%.2f\t%.2f\t%.3f\t%s\n", word.Start, word.End, word.P, word.Text)
	}
	return w.Flush()
}

// plain brings two spellings of the same words together: lower case, no
// punctuation, numbers and units in words.
func plain(text string) string {
	text = strings.ToLower(strings.NewReplacer("’", "'", "-", " ", "–", " ", "°", " degrees", "%", " percent", "+", " plus ", "/", " over ").Replace(text))
	var out []string
	for _, w := range strings.Fields(text) {
		w = strings.Trim(w, `.,;:!?"()[]'`)
		w = strings.NewReplacer("'", "").Replace(w)
		switch w {
		case "":
		case "mm":
			out = append(out, "millimeters")
		case "cm":
			out = append(out, "centimeters")
		case "x":
			out = append(out, "by")
		case "millimeter", "centimeter", "degree":
			out = append(out, w+"s")
		case "grey":
			out = append(out, "gray")
		default:
			for _, unit := range []string{"mm", "cm"} {
				if n, ok := strings.CutSuffix(w, unit); ok && number(n) != "" {
					w = n
					out = append(out, number(w))
					w = map[string]string{"mm": "millimeters", "cm": "centimeters"}[unit]
				}
			}
			if n := number(w); n != "" {
				w = n
			}
			out = append(out, w)
		}
	}
	return strings.Join(out, " ")
}

// number writes a whole number below 100, or a time of day, in words; empty
// where w is neither.
func number(w string) string {
	if h, m, ok := strings.Cut(w, ":"); ok {
		h, m = number(h), number(m)
		if h == "" || m == "" {
			return ""
		}
		return h + " " + m
	}
	n, err := strconv.Atoi(w)
	if err != nil || n < 0 || n >= 100 {
		return ""
	}
	ones := strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens := strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
	switch {
	case n < 20:
		return ones[n]
	case n%10 == 0:
		return tens[n/10]
	}
	return tens[n/10] + " " + ones[n%10]
}
