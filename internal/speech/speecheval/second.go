//go:build cgo && engine

package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/corpus"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/speech"
	"bedsaid/internal/speech/speechtest"
	"bedsaid/internal/speech/whisper"
	"bedsaid/lexicon"
)

// witness keeps what the engine was first asked about each piece and what it
// answered.
type witness struct {
	engine *whisper.Engine
	pieces []heardPiece
}

type heardPiece struct {
	samples []float32
	prompt  string
	words   []heardWord
}

type heardWord struct {
	text string
	p    float64
}

func (w *witness) Decode(ctx context.Context, samples []float32, req speech.Request) (speech.Decoded, error) {
	d, err := w.engine.Decode(ctx, samples, req)
	if err != nil || req.Prompt == "" {
		return d, err
	}
	h := heardPiece{samples: samples, prompt: req.Prompt}
	for _, tok := range d.Tokens {
		if n := len(h.words); n == 0 || strings.HasPrefix(tok.Text, " ") {
			h.words = append(h.words, heardWord{strings.TrimSpace(tok.Text), tok.P})
		} else {
			h.words[n-1].text += tok.Text
			h.words[n-1].p = min(h.words[n-1].p, tok.P)
		}
	}
	w.pieces = append(w.pieces, h)
	return d, nil
}

// spot is a heard word with its rivals, found by rule and not by hand.
type spot struct {
	kind   string
	at     int      // the word in its piece
	width  int      // how many words it stands for
	rivals []string // without the wording heard
}

// spots finds what hangs on one word: sides, small numbers, negations, and words
// that no pack knows but that sound like one of its hard words, or like a side.
func spots(lex *lexicon.Lexicon, words []heardWord) []spot {
	var out []spot
	plain := func(i int) string { return speechtest.Plain(words[i].text) }
	for i := range words {
		w := plain(i)
		switch w {
		case "right":
			out = append(out, spot{"side", i, 1, []string{"left"}})
			continue
		case "left":
			out = append(out, spot{"side", i, 1, []string{"right"}})
			continue
		}
		if k := slices.Index(numbers, w); k > 0 && k < len(numbers)-1 {
			rivals := []string{numbers[k-1], numbers[k+1]}
			if strings.ContainsAny(words[i].text, "0123456789") {
				rivals = []string{fmt.Sprint(k), fmt.Sprint(k + 2)}
			}
			out = append(out, spot{"number", i, 1, rivals})
			continue
		}
		if (w == "no" || w == "not") && i+1 < len(words) {
			out = append(out, spot{"negation", i, 2, []string{words[i+1].text}})
			continue
		}
		if len(w) < 4 || strings.Contains(w, " ") {
			continue
		}
		if rivals := alike(lex, w); len(rivals) > 0 {
			out = append(out, spot{"term", i, 1, rivals})
		}
	}
	return out
}

var numbers = strings.Fields("one two three four five six seven eight nine ten eleven twelve")

// alike gives the hard words and sides that sound most like a word that no pack
// knows.
func alike(lex *lexicon.Lexicon, w string) []string {
	if !slices.ContainsFunc(lexicon.Normalize(w), func(f lexicon.Form) bool { return !lex.Knows(f.Text) }) {
		return nil
	}
	code := lexicon.Sound(w)
	type near struct {
		word string
		far  float64
	}
	var all []near
	for _, h := range append(hardWords(lex), "right", "left", "pupil", "bruit", "nares", "lips") {
		if other := lexicon.Sound(strings.ReplaceAll(h, " ", "")); h != w {
			if d := lexicon.SoundDistance(code, other) / float64(max(len(code), len(other))); d < 0.45 {
				all = append(all, near{h, d})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b near) int { return int(1000 * (a.far - b.far)) })
	var out []string
	for _, n := range all[:min(3, len(all))] {
		out = append(out, n.word)
	}
	return out
}

// hardWords are the long words of the lexicon's bare terms.
func hardWords(lex *lexicon.Lexicon) []string {
	seen := map[string]bool{}
	var out []string
	for _, term := range lex.Vocabulary("") {
		for _, w := range strings.Fields(term) {
			if len(w) > 5 && !seen[w] {
				seen[w] = true
				out = append(out, w)
			}
		}
	}
	return out
}

// secondOpinion hears the cases, asks the sound about each spot, and prints a
// line for each: what was spoken, whether a rival is it, and by how much the
// wording heard is ahead of the best rival, as it is and against silence.
func secondOpinion(ctx context.Context, engine *whisper.Engine, lex *lexicon.Lexicon, cases []corpus.Case, folder string) error {
	for _, c := range cases {
		path := filepath.Join(folder, c.ID+".wav")
		if _, err := os.Stat(path); err != nil {
			continue
		}
		w := &witness{engine: engine}
		d := &pipeline.Drafter{
			Now: time.Now, Lexicon: func() (*lexicon.Lexicon, error) { return lex, nil },
			Hearing: func(context.Context) (pipeline.Hearing, error) { return pipeline.Hearing{Decoder: w}, nil },
		}
		if _, err := d.Draft(ctx, pipeline.Input{Path: path}); err != nil {
			return err
		}
		var heard []string
		for _, p := range w.pieces {
			for _, x := range p.words {
				heard = append(heard, x.text)
			}
		}
		spoken := speechtest.Opposite(c.Text, heard)
		from := 0
		for _, p := range w.pieces {
			if err := weighPiece(ctx, engine, lex, p, spoken[from:from+len(p.words)], filepath.Base(folder)+"\t"+c.ID); err != nil {
				return err
			}
			from += len(p.words)
		}
	}
	return nil
}

func weighPiece(ctx context.Context, engine *whisper.Engine, lex *lexicon.Lexicon, p heardPiece, spoken []string, name string) error {
	found := spots(lex, p.words)
	if len(found) == 0 {
		return nil
	}
	text := func(i, j int) string {
		var b strings.Builder
		for _, w := range p.words[max(0, i):min(j, len(p.words))] {
			b.WriteString(" " + w.text)
		}
		return b.String()
	}
	ask := make([]whisper.Spot, len(found))
	for k, s := range found {
		ask[k] = whisper.Spot{Before: text(0, s.at), After: text(s.at+s.width, s.at+s.width+2), Readings: []string{text(s.at, s.at+s.width)}}
		tail := p.words[s.at+s.width-1].text
		tail = tail[len(strings.TrimRight(tail, ".,;?!")):]
		for _, r := range s.rivals {
			ask[k].Readings = append(ask[k].Readings, " "+strings.TrimRight(r, ".,;?!")+tail)
		}
	}
	sound, err := engine.Weigh(ctx, p.samples, p.prompt, ask)
	if err != nil {
		return err
	}
	silence, err := engine.Weigh(ctx, make([]float32, len(p.samples)), p.prompt, ask)
	if err != nil {
		return err
	}
	for k, s := range found {
		ahead := func(share float64) (float64, string) {
			best, which := -1e9, ""
			for r := 1; r < len(sound[k]); r++ {
				if v := sound[k][r] - share*silence[k][r]; v > best {
					best, which = v, s.rivals[r-1]
				}
			}
			return sound[k][0] - share*silence[k][0] - best, which
		}
		raw, rawRival := ahead(0)
		net, netRival := ahead(0.75)
		said := strings.Join(spoken[s.at:s.at+s.width], " ")
		fmt.Printf("%s\t%s\t%q\t%q\t%.2f\t%s\t%.2f\t%s\t%.2f\t%v\n", name, s.kind, strings.TrimSpace(text(s.at, s.at+s.width)), said, p.words[s.at].p, rawRival, raw, netRival, net, s.rivals)
	}
	return nil
}
