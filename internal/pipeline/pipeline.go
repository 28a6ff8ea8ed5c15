// Package pipeline is the whole flow of the program in one place; read it
// first. A recording is heard, or a text is read; its words are understood; a
// draft note is composed:
//
//	sound --audio--> Clip --speech--> Transcript --extract--> Set --note--> Draft
//	                 text or own JSON ---^
//
// Nothing flows back, and no stage knows the ones after it. Package export
// prints the Draft; cmd/bedsaid wires it all together.
package pipeline

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"sync"
	"time"

	"bedsaid/internal/audio"
	"bedsaid/internal/extract"
	"bedsaid/internal/note"
	"bedsaid/internal/speech"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Hearing is a speech engine with the names that go into the provenance.
type Hearing struct {
	Decoder                    speech.Decoder
	Engine, Model, ModelSHA256 string
}

// Stage is a part of the work that takes time, named for a person.
type Stage string

// The stages that report progress.
const (
	Reading   Stage = "reading the sound"
	Loading   Stage = "loading the model"
	Listening Stage = "listening"
)

// Drafter turns inputs into drafts. What is costly is made once, on first
// need: a text never loads a model. Goroutines may share it where the decoder
// and Progress allow it.
type Drafter struct {
	// Program is the name and version for the provenance.
	Program string
	// Exam narrows the scope of what counts as not mentioned; "" leaves it to
	// what the words say.
	Exam     string
	Now      func() time.Time
	Lexicon  func() (*lexicon.Lexicon, error)
	Hearing  func(context.Context) (Hearing, error)
	Progress func(stage Stage, share float64)
	// Speech are the recognizer's settings; the zero value is what ships.
	Speech speech.Options
	// Vocabulary, where not nil, is used in place of the one that follows the
	// examination: for measurements.
	Vocabulary speech.Vocabulary

	lexOnce, hearingOnce sync.Mutex // guard what is made once
	lex                  *lexicon.Lexicon
	hearing              *Hearing
}

// Input names what to draft from. Text or Sound, where not nil, is taken in
// place of the file at Path.
type Input struct {
	Path  string
	Text  io.Reader
	Sound *audio.Clip
}

// Draft drafts one input. It returns a whole draft or an error, never a part.
func (d *Drafter) Draft(ctx context.Context, in Input) (note.Draft, error) {
	lex, err := d.words()
	if err != nil {
		return note.Draft{}, err
	}
	src, err := d.source(ctx, lex, in)
	if err != nil {
		return note.Draft{}, err
	}
	src.Name = filepath.Base(in.Path)
	return d.compose(ctx, lex, src)
}

// compose understands the words of a source and makes the draft.
func (d *Drafter) compose(ctx context.Context, lex *lexicon.Lexicon, src note.Source) (note.Draft, error) {
	set := doubt(lex, extract.New(lex).Extract(src.Transcript, extract.Options{Exam: d.Exam}), src.Transcript)
	if err := ctx.Err(); err != nil {
		return note.Draft{}, err
	}
	src.Provenance.Program = d.Program
	src.Provenance.DraftedAt = d.Now()
	src.Provenance.Packs = nil
	for _, p := range lex.Packs() {
		src.Provenance.Packs = append(src.Provenance.Packs, note.Pack(p))
	}
	return note.Compose(src, set, note.OutlineOf(lex)), nil
}

// words gives the lexicon.
func (d *Drafter) words() (*lexicon.Lexicon, error) {
	d.lexOnce.Lock()
	defer d.lexOnce.Unlock()
	if d.lex == nil {
		lex, err := d.Lexicon()
		if err != nil {
			return nil, fmt.Errorf("load lexicon: %w", err)
		}
		d.lex = lex
	}
	return d.lex, nil
}

// ears gives the speech engine.
func (d *Drafter) ears(ctx context.Context) (Hearing, error) {
	d.hearingOnce.Lock()
	defer d.hearingOnce.Unlock()
	if d.hearing == nil {
		d.at(Loading)(0)
		h, err := d.Hearing(ctx)
		if err != nil {
			return Hearing{}, err
		}
		d.hearing = &h
	}
	return *d.hearing, nil
}

func (d *Drafter) source(ctx context.Context, lex *lexicon.Lexicon, in Input) (note.Source, error) {
	if in.Sound != nil {
		return d.hear(ctx, lex, in.Sound)
	}
	if in.Text != nil || IsText(in.Path) {
		return readWords(in)
	}
	// The sound is read before a model is loaded: a bad file is told at once.
	clip, err := audio.Open(ctx, in.Path, d.at(Reading))
	if err != nil {
		return note.Source{}, err
	}
	return d.hear(ctx, lex, clip)
}

func (d *Drafter) hear(ctx context.Context, lex *lexicon.Lexicon, clip *audio.Clip) (note.Source, error) {
	ears, err := d.ears(ctx)
	if err != nil {
		return note.Source{}, err
	}
	listen := d.at(Listening)
	t, err := speech.New(ears.Decoder, d.Speech).Recognize(ctx, clip, d.vocabulary(lex), func(p speech.Progress) {
		if p.Total > 0 {
			listen(p.Done / p.Total)
		}
	})
	if err != nil {
		return note.Source{}, err
	}
	src := heard(ears, t)
	for _, n := range clip.Notes() {
		src.Notices = append(src.Notices, n.Text)
	}
	return src, nil
}

// heard makes a source of what was heard. When the sound was recorded stays
// unknown: a file's own time says when it was last copied or edited, and a wrong
// time in a chart is worse than none.
func heard(by Hearing, t transcript.Transcript) note.Source {
	// Four digits are all that the JSON needs, and understanding must see what the
	// JSON holds: drafting again from it gives the same draft.
	for i := range t.Words {
		t.Words[i].P = math.Round(t.Words[i].P*1e4) / 1e4
	}
	return note.Source{Transcript: t, Provenance: note.Provenance{
		Engine: by.Engine, Model: by.Model, ModelSHA256: by.ModelSHA256,
	}}
}

func (d *Drafter) vocabulary(lex *lexicon.Lexicon) speech.Vocabulary {
	if d.Vocabulary != nil {
		return d.Vocabulary
	}
	return Vocabulary(lex)
}

func (d *Drafter) at(s Stage) func(float64) {
	return func(share float64) {
		if d.Progress != nil {
			d.Progress(s, share)
		}
	}
}
