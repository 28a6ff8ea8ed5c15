package export

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode"

	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// FormatError says what is wrong with a file that should hold the program's
// own JSON. It never holds the file's words.
type FormatError struct{ Problem, Advice string }

func (e *FormatError) Error() string { return "read draft: " + e.Problem }

// Hint says what the user can do.
func (e *FormatError) Hint() string { return e.Advice }

const adviceOwn = "give a file that `bedsaid draft --json` wrote, or a plain text (.txt) of what was said"

// ReadTranscript reads back what JSON wrote: the transcript with its
// recording, and the part of the provenance that belongs to them (engine,
// model, recorded_at). Findings are not read: they are drafted anew from the
// words. Keys it does not know are ignored. Anything that would have to be
// guessed is a FormatError.
func ReadTranscript(r io.Reader) (note.Source, error) {
	_, src, err := readDraft(r, Format)
	return src, err
}

// jsonDraft is the whole object; the findings are decoded where they are wanted.
type jsonDraft struct {
	Format     *string `json:"format"`
	Transcript *struct {
		Text  *string    `json:"text"`
		Words []jsonWord `json:"words"`
	} `json:"transcript"`
	Recording   *jsonRecording  `json:"recording"`
	Provenance  *jsonProvenance `json:"provenance"`
	Findings    json.RawMessage `json:"findings"`
	LeftOut     json.RawMessage `json:"left_out"`
	Unmentioned json.RawMessage `json:"unmentioned"`
	Attention   json.RawMessage `json:"attention"`
	Cautions    json.RawMessage `json:"cautions"`
}

// readDraft reads the words and where they came from, in the draft's form or in
// the note's, which has all keys of it.
func readDraft(r io.Reader, format string) (j jsonDraft, src note.Source, err error) {
	fail := func(problem, advice string) (jsonDraft, note.Source, error) {
		return jsonDraft{}, note.Source{}, &FormatError{problem, advice}
	}
	if err := decode(r, &j); err != nil {
		return j, src, err
	}
	family, _, _ := strings.Cut(format, "/")
	switch {
	case j.Format == nil:
		return fail("no format named in the file", adviceOwn)
	case *j.Format != format && strings.HasPrefix(*j.Format, family+"/"):
		return fail("the file is of another version of the format than "+format, "draft the recording again with this program")
	case *j.Format != format:
		return fail("the format is not "+format, adviceOwn)
	case j.Transcript == nil || j.Transcript.Words == nil:
		return fail("no transcript in the file", adviceOwn)
	}
	t := transcript.Transcript{Words: make([]transcript.Word, len(j.Transcript.Words)), Timed: j.Recording != nil}
	if format == NoteFormat && len(t.Words) > 0 && j.Transcript.Words[0].Start == nil {
		t.Timed = false // a note that came by FHIR has words without times
	}
	for i, w := range j.Transcript.Words {
		if w.Text == "" || strings.ContainsFunc(w.Text, unicode.IsSpace) {
			return fail(fmt.Sprintf("word %d of the transcript is empty or holds a space", i), adviceOwn)
		}
		t.Words[i] = transcript.Word{Text: w.Text, Heard: w.Heard, EndsLine: w.EndsLine}
		if !t.Timed {
			continue
		}
		if w.Start == nil || w.End == nil || w.P == nil {
			return fail(fmt.Sprintf("word %d of a recording has no time or probability", i), adviceOwn)
		}
		if !(*w.Start >= 0 && *w.End >= 0 && *w.P >= 0 && *w.P <= 1) {
			return fail(fmt.Sprintf("word %d has a time or probability out of range", i), adviceOwn)
		}
		t.Words[i].Start, t.Words[i].End, t.Words[i].P = *w.Start, *w.End, *w.P
	}
	// The words are what is drafted from. Somebody who edits the text alone
	// would see the edit ignored without a word.
	if j.Transcript.Text != nil && *j.Transcript.Text != t.Text() {
		return fail("the transcript's text and its words differ", "edit a copy as plain text (.txt) and draft from that")
	}
	src = note.Source{Provenance: provenanceOf(j.Provenance)}
	if j.Recording != nil {
		src.Notices = j.Recording.Notices
		rec, ok := recordingOf(*j.Recording)
		if !ok {
			return fail("the recording's seconds are out of order", adviceOwn)
		}
		t.Recording = rec
	}
	src.Transcript = t
	return j, src, nil
}

// decode reads the one value of a file; its errors hold none of the text.
func decode(r io.Reader, into any) error {
	dec := json.NewDecoder(r)
	if err := dec.Decode(into); err != nil {
		return &FormatError{describe(err), adviceOwn}
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return &FormatError{"more than one JSON value in the file", adviceOwn}
	}
	return nil
}

func recordingOf(j jsonRecording) (*transcript.Recording, bool) {
	r := &transcript.Recording{Seconds: j.Seconds, VoicedSeconds: j.VoicedSeconds}
	ok := j.Seconds >= 0 && !math.IsInf(j.Seconds, 0) && j.VoicedSeconds >= 0
	for _, u := range j.Untranscribed {
		ok = ok && u.Start >= 0 && u.End >= u.Start
		r.Untranscribed = append(r.Untranscribed, transcript.Interval(u))
	}
	return r, ok
}

func provenanceOf(j *jsonProvenance) note.Provenance {
	var p note.Provenance
	if j == nil {
		return p
	}
	p.Engine, p.Model, p.ModelSHA256 = orEmpty(j.Engine), orEmpty(j.Model), orEmpty(j.ModelSHA256)
	if j.RecordedAt != nil {
		if at, err := time.Parse(time.RFC3339, *j.RecordedAt); err == nil {
			p.RecordedAt = at
		}
	}
	return p
}

func orEmpty(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// describe words a decoding error without the text it stumbled over.
func describe(err error) string {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.Is(err, io.EOF):
		return "the file is empty"
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "the file ends in the middle"
	case errors.As(err, &syntax):
		return fmt.Sprintf("not JSON at byte %d", syntax.Offset)
	case errors.As(err, &kind):
		return fmt.Sprintf("a value of another kind than the format has, at byte %d", kind.Offset)
	}
	return "cannot be read"
}
