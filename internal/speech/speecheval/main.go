//go:build cgo && engine

// Command speecheval drafts recordings of cases with several settings of the
// recognizer and prints, for each setting and each condition (a folder of
// recordings), what was heard and charted wrongly. scripts/eval-speech runs it.
package main

import (
	"bytes"
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
	"bedsaid/internal/corpus"
	"bedsaid/internal/eval"
	"bedsaid/internal/export"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/speech"
	"bedsaid/internal/speech/speechtest"
	"bedsaid/internal/speech/whisper"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "speecheval:", err)
		os.Exit(1)
	}
}

func run() error {
	model := flag.String("model", "", "weights")
	cases := flag.String("cases", "", "case files and folders of them, with commas between")
	out := flag.String("out", "", "folder for what was heard and which pieces were doubted (default: none kept)")
	settings := flag.String("settings", "region", "with commas between: region, static, bare (the prompt); then, with slashes before: beam5, piece12 and so on")
	asked := flag.String("asked", "", "hear one recording and write, to this folder, the pieces and the prompt that the engine was first asked with")
	noise := flag.String("noise", "", "hear recordings in which nobody examines, under the prompts of these regions (all: every one)")
	second := flag.Bool("second", false, "ask the sound again at every spot that a finding may hang on, and print a line for each")
	misheard := flag.Bool("misheard", false, "list the terms that an earlier run (-out) heard as something else: the folders hold ID.json")
	calibrated := flag.Bool("calibrate", false, "how well the engine's probabilities tell right words: fitted on the drafts that an earlier run (-out) kept in the first folder, tested on the others")
	picture := flag.String("picture", "", "with -calibrate: draw it to this SVG file")
	again := flag.Bool("again", false, "draft again from the words that an earlier run kept (-out): the folders hold ID.json")
	threads := flag.Int("threads", 2, "threads of the engine")
	flag.Parse()
	if flag.NArg() == 0 {
		return fmt.Errorf("name folders of recordings, ID.wav for each case")
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	lex, err := lexicon.Builtin()
	if err != nil {
		return err
	}
	var engine *whisper.Engine
	if !*again && !*misheard && !*calibrated {
		if engine, err = whisper.Open(*model, *threads); err != nil {
			return err
		}
		defer engine.Close()
	}
	if *asked != "" {
		return writeAsked(ctx, engine, flag.Arg(0), *asked)
	}
	if *noise != "" {
		return hearNoise(ctx, engine, lex, *noise, flag.Args())
	}
	list, err := corpus.Load(strings.Split(*cases, ",")...)
	if err != nil {
		return err
	}
	if *calibrated {
		return calibrate(list, flag.Args(), *picture)
	}
	if *misheard {
		return listMisheard(lex, list, flag.Args())
	}
	if *second {
		for _, folder := range flag.Args() {
			if err := secondOpinion(ctx, engine, lex, list, folder); err != nil {
				return err
			}
		}
		return nil
	}
	every, err := corpus.Load("testdata/cases")
	if err != nil {
		return err
	}
	judged := eval.Judged(lex, append(every, list...)) // what any case speaks of
	terms := speechtest.Terms(lex)
	fmt.Println(strings.Join([]string{"setting", "condition", "words", "WER %", "terms", "term err %", "F1", "prec", "rec", "wrong side (unmarked)", "wrong value (unmarked)", "false expected (unmarked)", "right marked %", "lost s", "sound s", "taken s"}, "\t"))
	for _, setting := range strings.Split(*settings, ",") {
		d := &pipeline.Drafter{
			Now: time.Now, Lexicon: func() (*lexicon.Lexicon, error) { return lex, nil },
			Hearing: func(context.Context) (pipeline.Hearing, error) { return pipeline.Hearing{Decoder: engine}, nil },
		}
		if err := set(d, lex, setting); err != nil {
			return err
		}
		var whole row
		for _, folder := range flag.Args() {
			r, err := hearFolder(ctx, d, judged, terms, list, folder, *again, *out, setting)
			if err != nil {
				return err
			}
			fmt.Println(r.line(setting, filepath.Base(folder)))
			whole.add(r)
		}
		if flag.NArg() > 1 {
			fmt.Println(whole.line(setting, "all"))
		}
	}
	return nil
}

// asker hands questions on to the engine and writes down those with a prompt,
// which are the first of each piece.
type asker struct {
	engine speech.Decoder
	folder string
	n      int
}

func (a *asker) Decode(ctx context.Context, samples []float32, req speech.Request) (speech.Decoded, error) {
	if req.Prompt != "" {
		f, err := os.Create(filepath.Join(a.folder, fmt.Sprintf("%03d.wav", a.n)))
		if err != nil {
			return speech.Decoded{}, err
		}
		defer f.Close()
		if err := audio.Write(f, samples); err != nil {
			return speech.Decoded{}, err
		}
		if err := os.WriteFile(filepath.Join(a.folder, "prompt.txt"), []byte(req.Prompt), 0o600); err != nil {
			return speech.Decoded{}, err
		}
		a.n++
	}
	return a.engine.Decode(ctx, samples, req)
}

func writeAsked(ctx context.Context, engine speech.Decoder, path, folder string) error {
	d := &pipeline.Drafter{
		Now: time.Now, Lexicon: lexicon.Builtin,
		Hearing: func(context.Context) (pipeline.Hearing, error) {
			return pipeline.Hearing{Decoder: &asker{engine: engine, folder: folder}}, nil
		},
	}
	_, err := d.Draft(ctx, pipeline.Input{Path: path})
	return err
}

// set makes a Drafter hear with a setting.
func set(d *pipeline.Drafter, lex *lexicon.Lexicon, setting string) error {
	for i, part := range strings.Split(setting, "/") {
		beam, isBeam := strings.CutPrefix(part, "beam")
		piece, isPiece := strings.CutPrefix(part, "piece")
		var n int
		var err error
		if isBeam {
			n, err = strconv.Atoi(beam)
		} else if isPiece {
			n, err = strconv.Atoi(piece)
		}
		switch {
		case i == 0 && part == "region":
		case i == 0 && part == "static":
			all := pipeline.Vocabulary(lex)(nil)
			d.Vocabulary = func([]transcript.Word) []string { return all }
		case i == 0 && part == "bare":
			d.Vocabulary = func([]transcript.Word) []string { return nil }
		case isBeam && err == nil:
			d.Speech.Beam = n
		case isPiece && err == nil:
			d.Speech.PieceSeconds = float64(n)
		default:
			return fmt.Errorf("unknown setting %q in %q", part, setting)
		}
	}
	return nil
}

// row is a line of the table.
type row struct {
	words              speechtest.WordErrors
	terms, termErrors  int
	score              eval.Counts
	lost, sound, taken float64
}

func (r *row) add(o row) {
	r.words.Add(o.words)
	r.score.Add(o.score)
	r.terms, r.termErrors = r.terms+o.terms, r.termErrors+o.termErrors
	r.lost, r.sound, r.taken = r.lost+o.lost, r.sound+o.sound, r.taken+o.taken
}

func (r *row) line(setting, condition string) string {
	s := r.score
	return fmt.Sprintf("%s\t%s\t%d\t%.1f\t%d\t%.1f\t%.3f\t%.3f\t%.3f\t%d (%d)\t%d (%d)\t%d (%d)\t%.1f\t%.1f\t%.0f\t%.1f",
		setting, condition, r.words.Words, 100*r.words.Rate(), r.terms, 100*float64(r.termErrors)/float64(max(r.terms, 1)),
		s.F1(), s.Precision(), s.Recall(), s.WrongSide, s.WrongSideUnmarked, s.WrongValue, s.WrongValueUnmarked,
		s.FalseExpected, s.FalseExpectedUnmarked, 100*float64(s.RightMarked)/float64(max(s.Right, 1)), r.lost, r.sound, r.taken)
}

// hearFolder drafts the recording of each case that the folder holds.
func hearFolder(ctx context.Context, d *pipeline.Drafter, judged func(c corpus.Case, id string) (*lexicon.Finding, bool), terms map[string]bool, cases []corpus.Case, folder string, again bool, out, setting string) (row, error) {
	var all row
	heard := 0
	for _, c := range cases {
		path := filepath.Join(folder, c.ID+".wav")
		if again {
			path = strings.TrimSuffix(path, "wav") + "json"
		}
		if _, err := os.Stat(path); err != nil {
			continue
		}
		heard++
		var events []string
		d.Speech.Observe = func(e speech.Event) {
			events = append(events, fmt.Sprintf("%d@%.1f-%.1f", e.Kind, e.Start, e.End))
		}
		begin := time.Now()
		n, err := d.Draft(ctx, pipeline.Input{Path: path})
		if err != nil {
			return row{}, err
		}
		compared := eval.Draft(c, n, judged)
		r := row{taken: time.Since(begin).Seconds(), sound: n.Transcript.Recording.Seconds, score: compared.Counts}
		r.lost = transcript.Seconds(n.Untranscribed())
		if r.words, err = speechtest.CompareWords(ctx, c.Text, n.Transcript.Text()); err != nil {
			return row{}, err
		}
		r.terms, r.termErrors = speechtest.MissedTerms(terms, c.Text, n.Transcript.Text())
		all.add(r)
		if err := keep(out, setting, filepath.Base(folder), c.ID, n, events, compared.Notes); err != nil {
			return row{}, err
		}
	}
	if heard == 0 {
		return row{}, fmt.Errorf("%s holds no recording of these cases", folder)
	}
	return all, nil
}

// keep writes the draft, which pieces were doubted and how the findings differ
// from the case's, for a person who asks why.
func keep(out, setting, condition, id string, n note.Draft, events, notes []string) error {
	if out == "" {
		return nil
	}
	folder := filepath.Join(out, strings.ReplaceAll(setting, "/", "-"), condition)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	name := filepath.Join(folder, id)
	var b bytes.Buffer
	if err := export.JSON(&b, n); err != nil {
		return err
	}
	if err := os.WriteFile(name+".json", b.Bytes(), 0o600); err != nil {
		return err
	}
	if err := os.WriteFile(name+".notes", []byte(strings.Join(notes, "\n")+"\n"), 0o600); err != nil {
		return err
	}
	return os.WriteFile(name+".events", []byte(strings.Join(events, "\n")+"\n"), 0o600)
}
