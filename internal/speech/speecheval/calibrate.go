//go:build cgo && engine

package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"bedsaid/internal/corpus"
	"bedsaid/internal/export"
	"bedsaid/internal/speech/speechtest"
)

// judgedWord is a heard word: the engine's probability, and whether it was spoken.
type judgedWord struct {
	p     float64
	right bool
}

// platt turns a probability into a calibrated one (Platt 1999): a and b were fitted
// by logistic regression on the logarithm of the odds.
type platt struct{ a, b float64 }

func odds(p float64) float64 {
	p = min(max(p, 0.001), 0.999)
	return math.Log(p / (1 - p))
}

func (c platt) of(p float64) float64 { return 1 / (1 + math.Exp(-c.a*odds(p)-c.b)) }

// fitPlatt goes down the slope of the loss until it hardly moves.
func fitPlatt(words []judgedWord) platt {
	c := platt{1, 0}
	for range 5000 {
		var da, db float64
		for _, w := range words {
			d := c.of(w.p)
			if w.right {
				d--
			}
			da, db = da+d*odds(w.p), db+d
		}
		n := float64(len(words))
		c.a, c.b = c.a-0.1*da/n, c.b-0.4*db/n
	}
	return c
}

// bin is a tenth of the scale: how many words, their mean probability, and how many
// of them are right.
type bin struct {
	n          int
	said, true float64
}

// reliability sorts words into tenths; apart is the expected calibration error.
func reliability(words []judgedWord, of func(float64) float64) (bins [10]bin, apart float64) {
	for _, w := range words {
		q := of(w.p)
		b := &bins[min(int(q*10), 9)]
		b.n++
		b.said += q
		if w.right {
			b.true++
		}
	}
	for _, b := range bins {
		apart += math.Abs(b.said-b.true) / float64(len(words))
	}
	return bins, apart
}

// calibrate fits on the drafts of one folder and reports on those of others.
func calibrate(cases []corpus.Case, folders []string, picture string) error {
	if len(folders) < 2 {
		return fmt.Errorf("name a folder to fit on and others to test on")
	}
	fit, err := judgedWords(cases, folders[:1])
	if err != nil {
		return err
	}
	test, err := judgedWords(cases, folders[1:])
	if err != nil {
		return err
	}
	c := fitPlatt(fit)
	raw, rawApart := reliability(test, func(p float64) float64 { return p })
	fitted, apart := reliability(test, c.of)
	fmt.Printf("fitted on %d words: a %.3f, b %.3f; tested on %d: calibration error %.3f as the engine gives it, %.3f fitted\n", len(fit), c.a, c.b, len(test), rawApart, apart)
	fmt.Println("from\twords\tmean, engine\tright\twords\tmean, fitted\tright")
	for i := range raw {
		r, f := raw[i], fitted[i]
		fmt.Printf("%.1f\t%d\t%.2f\t%.2f\t%d\t%.2f\t%.2f\n", float64(i)/10, r.n, r.said/float64(max(r.n, 1)), r.true/float64(max(r.n, 1)), f.n, f.said/float64(max(f.n, 1)), f.true/float64(max(f.n, 1)))
	}
	if picture == "" {
		return nil
	}
	return os.WriteFile(picture, []byte(plot(raw, fitted)), 0o644)
}

func judgedWords(cases []corpus.Case, folders []string) ([]judgedWord, error) {
	var out []judgedWord
	for _, folder := range folders {
		for _, c := range cases {
			f, err := os.Open(filepath.Join(folder, c.ID+".json"))
			if os.IsNotExist(err) {
				continue
			}
			if err != nil {
				return nil, err
			}
			src, err := export.ReadTranscript(f)
			f.Close()
			if err != nil {
				return nil, err
			}
			var heard []string
			for _, w := range src.Transcript.Words {
				heard = append(heard, w.Text)
			}
			for i, spoken := range speechtest.Opposite(c.Text, heard) {
				if speechtest.Plain(heard[i]) != "" {
					out = append(out, judgedWord{src.Transcript.Words[i].P, spoken == speechtest.Plain(heard[i])})
				}
			}
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no drafts of these cases in %s", strings.Join(folders, ", "))
	}
	return out, nil
}

// plot draws how often words are right over how likely they were said to be.
func plot(raw, fitted [10]bin) string {
	const side, edge = 300.0, 45.0
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %[1]g %[2]g" font-family="sans-serif" font-size="11" role="img">
<title>How often heard words are right, over the probability given for them</title>
<rect width="%[1]g" height="%[2]g" fill="#fff"/>
`, side+2*edge, side+2*edge)
	x := func(v float64) float64 { return edge + v*side }
	y := func(v float64) float64 { return edge + (1-v)*side }
	for i := 0; i <= 10; i += 2 {
		v := float64(i) / 10
		fmt.Fprintf(&b, "<path d=\"M%g %gH%g M%g %gV%g\" stroke=\"#ddd\"/><text x=\"%g\" y=\"%g\" text-anchor=\"middle\">%.1f</text><text x=\"%g\" y=\"%g\" text-anchor=\"end\">%.1f</text>\n",
			x(0), y(v), x(1), x(v), y(0), y(1), x(v), y(0)+16, v, x(0)-6, y(v)+4, v)
	}
	fmt.Fprintf(&b, "<path d=\"M%g %gL%g %g\" stroke=\"#888\" stroke-dasharray=\"4 4\"/>\n", x(0), y(0), x(1), y(1))
	for _, s := range []struct {
		bins        [10]bin
		color, name string
		row         float64
	}{{raw, "#b34700", "as the engine gives it", 0}, {fitted, "#004e9e", "fitted", 1}} {
		d := "M"
		for _, k := range s.bins {
			if k.n < 10 {
				continue // too few to say
			}
			px, py := x(k.said/float64(k.n)), y(k.true/float64(k.n))
			d += fmt.Sprintf("%.1f %.1f L", px, py)
			fmt.Fprintf(&b, "<circle cx=\"%.1f\" cy=\"%.1f\" r=\"3.5\" fill=\"%s\"/>\n", px, py, s.color)
		}
		fmt.Fprintf(&b, "<path d=\"%s\" fill=\"none\" stroke=\"%s\"/><text x=\"%g\" y=\"%g\" fill=\"%s\">%s</text>\n", strings.TrimSuffix(d, " L"), s.color, x(0)+8, y(1)+14+15*s.row, s.color, s.name)
	}
	fmt.Fprintf(&b, "<text x=\"%g\" y=\"%g\" text-anchor=\"middle\">probability</text><text x=\"%g\" y=\"%g\">share of words heard right</text>\n</svg>\n", x(0.5), y(0)+34, x(0), y(1)-12)
	return b.String()
}
