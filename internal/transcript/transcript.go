// Package transcript holds what was heard: the words of a recording or of a
// typed text, in order, with their times. It is an immutable leaf value: every
// later stage keeps half-open spans of it, so that each finding can show, and
// replay, the words it rests on.
package transcript

import (
	"fmt"
	"log/slog"
	"strings"
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
	// EndsLine is true where the writer of a text began a new line after the word.
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

// FromText splits a typed narration at white space; the words carry no times. A
// new line counts as a pause where the writer chose it, not where lines were
// filled to a width.
func FromText(text string) Transcript {
	words := make([]Word, 0, len(text)/5)
	lines := strings.Split(text, "\n")
	filled := filled(lines)
	for i, line := range lines {
		for _, f := range strings.Fields(line) {
			words = append(words, Word{Text: f})
		}
		if n := len(words); n > 0 && (!filled || i+1 < len(lines) && strings.TrimSpace(lines[i+1]) == "") {
			words[n-1].EndsLine = true
		}
	}
	return Transcript{Words: words}
}

// filled reports lines that were broken to fit a width: nearly every line but the
// last of a paragraph would be longer than the longest with one word more.
func filled(lines []string) bool {
	longest, breaks, forced := 0, 0, 0
	for _, l := range lines {
		longest = max(longest, len(l))
	}
	for i := 0; i+1 < len(lines); i++ {
		next := strings.Fields(lines[i+1])
		if len(next) == 0 || strings.TrimSpace(lines[i]) == "" {
			continue
		}
		breaks++
		if len(lines[i])+1+len(next[0]) > longest {
			forced++
		}
	}
	return breaks > 0 && forced*10 >= breaks*9
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
