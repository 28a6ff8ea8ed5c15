package eval

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode"

	"bedsaid/internal/extract"
	"bedsaid/internal/transcript"
)

// Negation is one row of the NegEx test kit (Chapman et al. 2001, doi
// 10.1006/jbin.2001.1029): a phrase in a sentence of a report, and whether two
// physicians read it as denied.
type Negation struct {
	// Row is the number in the file.
	Row string
	// Text is the sentence, Phrase the words of it that were judged.
	Text   transcript.Transcript
	Phrase transcript.Span
	Denied bool
}

// ReadNegations reads rows of number, phrase, sentence and Affirmed or Negated,
// parted by tabs, in Latin-1. The judged phrase stands in the sentence in
// capitals. A row of another form is an error: a row left out would flatter.
func ReadNegations(r io.Reader) ([]Negation, error) {
	var out []Negation
	in := bufio.NewScanner(r)
	in.Buffer(nil, 1<<20)
	for line := 1; in.Scan(); line++ {
		cells := strings.Split(latin1(in.Bytes()), "\t")
		if len(cells) < 4 {
			return nil, fmt.Errorf("read negations: line %d has %d cells, not 4", line, len(cells))
		}
		label := strings.TrimSpace(cells[3])
		if label != "Negated" && label != "Affirmed" {
			if line == 1 {
				continue // a heading
			}
			return nil, fmt.Errorf("read negations: line %d is neither Affirmed nor Negated", line)
		}
		n := Negation{Row: cells[0], Text: transcript.FromText(unquote(cells[2])), Denied: label == "Negated"}
		n.Phrase = find(n.Text, unquote(cells[1]))
		out = append(out, n)
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("read negations: %w", err)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("read negations: no rows")
	}
	return out, nil
}

func latin1(b []byte) string {
	runes := make([]rune, len(b))
	for i, c := range b {
		runes[i] = rune(c)
	}
	return string(runes)
}

// unquote takes the quotes off a cell that was written as CSV.
func unquote(s string) string {
	s = strings.TrimSpace(s)
	if len(s) > 1 && strings.HasPrefix(s, `"`) && strings.HasSuffix(s, `"`) {
		s = strings.ReplaceAll(s[1:len(s)-1], `""`, `"`)
	}
	return s
}

// find gives the words of a sentence that hold a phrase: where it stands in
// capitals, else where it stands at all. A few phrases of the kit go on into a
// sentence that the row leaves out: then the words that are there, and an empty
// span where none is.
func find(t transcript.Transcript, phrase string) transcript.Span {
	text := t.Text()
	words := strings.Fields(phrase)
	for ; len(words) > 0; words = words[:len(words)-1] {
		part := strings.Join(words, " ")
		at := indexWord(text, strings.ToUpper(part))
		if at < 0 {
			at = indexWord(strings.ToLower(text), strings.ToLower(part))
		}
		if at >= 0 {
			first := strings.Count(text[:at], " ")
			return transcript.Span{Start: first, End: first + len(words)}
		}
	}
	return transcript.Span{}
}

// indexWord finds a part that neither begins nor ends inside a word.
func indexWord(text, part string) int {
	inWord := func(i int) bool {
		return i >= 0 && i < len(text) && (text[i] == '\'' || unicode.IsLetter(rune(text[i])) || unicode.IsDigit(rune(text[i])))
	}
	for from := 0; ; {
		i := strings.Index(text[from:], part)
		if i < 0 {
			return -1
		}
		if i += from; !inWord(i-1) && !inWord(i+len(part)) {
			return i
		}
		from = i + 1
	}
}

// Agreement counts how often a reading agrees with the kit's label; a denial is
// the positive class, as in the kit's own figures.
type Agreement struct{ TruePositive, FalsePositive, FalseNegative, TrueNegative int }

// Add counts one reading.
func (a *Agreement) Add(want, got bool) {
	switch {
	case want && got:
		a.TruePositive++
	case got:
		a.FalsePositive++
	case want:
		a.FalseNegative++
	default:
		a.TrueNegative++
	}
}

// Precision is the share of denials read that are denials, 0 to 1.
func (a Agreement) Precision() float64 { return share(a.TruePositive, a.TruePositive+a.FalsePositive) }

// Recall is the share of denials that were read, 0 to 1.
func (a Agreement) Recall() float64 { return share(a.TruePositive, a.TruePositive+a.FalseNegative) }

// F1 is the harmonic mean of the two.
func (a Agreement) F1() float64 {
	return share(2*a.TruePositive, 2*a.TruePositive+a.FalsePositive+a.FalseNegative)
}

func share(part, whole int) float64 {
	if whole == 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// Negations reads every row with the product's own cues and scopes. wrong, if
// not nil, is told of each row read otherwise than it is labelled.
func Negations(x *extract.Extractor, rows []Negation, wrong func(Negation)) Agreement {
	var a Agreement
	for _, n := range rows {
		got := x.Denied(n.Text, n.Phrase)
		a.Add(n.Denied, got)
		if got != n.Denied && wrong != nil {
			wrong(n)
		}
	}
	return a
}
