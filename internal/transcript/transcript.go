// Package transcript holds what was heard: the words of a recording or of a
// typed text, in order, with their times. It is an immutable leaf value: every
// later stage keeps half-open spans of it, so that each finding can show, and
// replay, the words it rests on.
package transcript

import (
	"fmt"
	"log/slog"
	"strings"
	"unicode/utf8"
)

// Word is one token of the transcript, verbatim, with its punctuation
// ("pupils," is one Word).
type Word struct {
	Text string
	// Start and End are seconds from the start of the recording. They mean
	// nothing where Transcript.Timed is false.
	Start, End float64
	// P is the recognizer's probability, 0 to 1; meaningless where Timed is false.
	P float64
	// Heard is the first wording where a word was repaired, else empty.
	Heard string
	// EndsLine is true where the writer of a text began a new line after the word,
	// and not because the line was full.
	EndsLine bool
}

// Span is a half-open range of word indices: words [Start, End).
type Span struct{ Start, End int }

// Len is the number of words in the span.
func (s Span) Len() int { return s.End - s.Start }

// Interval is a stretch of the recording, in seconds.
type Interval struct{ Start, End float64 }

// Seconds is how long stretches that do not overlap are together.
func Seconds(all []Interval) float64 {
	var sum float64
	for _, i := range all {
		sum += i.End - i.Start
	}
	return sum
}

// Recording says how much sound there was and how much of it gave words.
type Recording struct {
	// Seconds is the length of the recording.
	Seconds float64
	// VoicedSeconds is how much of it holds a voice.
	VoicedSeconds float64
	// Untranscribed are voiced stretches that no word covers.
	Untranscribed []Interval
}

// Transcript is what was heard, in order. The zero value is an empty text.
type Transcript struct {
	Words []Word
	// Timed is true where words carry times and probabilities (a recording was
	// heard), false where a text was read.
	Timed bool
	// Recording is nil where a text was read.
	Recording *Recording
}

// FromText splits a typed narration at white space; the words carry no times,
// but tell where a line was ended on purpose: where an empty line follows, or the
// next word would have fitted on the longest line. Where most lines end so, all do.
func FromText(text string) Transcript {
	type line struct {
		last, length int // its last word; letters
		onPurpose    bool
	}
	words := make([]Word, 0, len(text)/6+1)
	var lines []line
	width := 0
	for s := range strings.Lines(text) {
		fields := strings.Fields(s)
		if len(fields) == 0 {
			if n := len(lines); n > 0 {
				lines[n-1].onPurpose = true
			}
			continue
		}
		for _, f := range fields {
			words = append(words, Word{Text: f})
		}
		n := utf8.RuneCountInString(strings.TrimSpace(s))
		lines, width = append(lines, line{last: len(words) - 1, length: n}), max(width, n)
	}
	onPurpose := 0
	for i := 0; i+1 < len(lines); i++ { // the last ends anyhow
		l := &lines[i]
		l.onPurpose = l.onPurpose || l.length+1+utf8.RuneCountInString(words[l.last+1].Text) <= width
		if l.onPurpose {
			onPurpose++
		}
	}
	for i := 0; i+1 < len(lines); i++ {
		words[lines[i].last].EndsLine = lines[i].onPurpose || onPurpose*2 > len(lines)-1
	}
	return Transcript{Words: words}
}

// Lines is the text with an empty line where one was ended on purpose: FromText
// gives the same words back.
func (t Transcript) Lines() string {
	var b strings.Builder
	for i, w := range t.Words {
		b.WriteString(w.Text)
		switch {
		case i+1 == len(t.Words):
		case w.EndsLine:
			b.WriteString("\n\n")
		default:
			b.WriteByte(' ')
		}
	}
	return b.String()
}

// Text joins all words with single spaces.
func (t Transcript) Text() string { return t.Quote(Span{0, len(t.Words)}) }

// Quote joins the words of a span with single spaces.
func (t Transcript) Quote(s Span) string {
	var b strings.Builder
	for i := s.Start; i < s.End; i++ {
		if i > s.Start {
			b.WriteByte(' ')
		}
		b.WriteString(t.Words[i].Text)
	}
	return b.String()
}

// Times gives the start of the first and the end of the last word of a span,
// in seconds; ok is false where the transcript carries no times.
func (t Transcript) Times(s Span) (start, end float64, ok bool) {
	if !t.Timed || s.Len() <= 0 {
		return 0, 0, false
	}
	return t.Words[s.Start].Start, t.Words[s.End-1].End, true
}

// String keeps patients' words out of logs and errors.
func (t Transcript) String() string { return fmt.Sprintf("transcript of %d words", len(t.Words)) }

// GoString does the same for %#v.
func (t Transcript) GoString() string { return t.String() }

// LogValue does the same for structured logs.
func (t Transcript) LogValue() slog.Value { return slog.StringValue(t.String()) }
