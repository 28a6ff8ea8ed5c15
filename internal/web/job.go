package web

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/audio"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/store"
	"bedsaid/lexicon"
)

// job is a draft being made. It goes on while the page is locked or closed.
type job struct {
	id, encounter string
	nr            int
	stage         pipeline.Stage
	share         float64
	problem       *problem
	done          bool
}

type jobView struct {
	Stage   string
	Percent int
	Problem *problem
}

// draft makes a draft in the background and keeps it.
func (s *Server) draft(p *person, encounter, recording string, in pipeline.Input) {
	s.work(encounter, recording, func(j *job) error {
		_, err := s.makeDraft(p.x, j, encounter, recording, in)
		return err
	})
}

// work does something in the background that ends in a draft.
func (s *Server) work(encounter, recording string, f func(*job) error) {
	s.mu.Lock()
	for id, old := range s.jobs { // what failed before is told of no more
		if old.encounter == encounter && old.done {
			delete(s.jobs, id)
		}
	}
	s.lastJob++
	j := &job{id: fmt.Sprintf("job%d", s.lastJob), nr: s.lastJob, encounter: encounter, stage: "waiting for its turn"}
	s.jobs[j.id] = j
	s.mu.Unlock()
	go func() {
		err := f(j)
		s.mu.Lock()
		defer s.mu.Unlock()
		j.done = true
		if err != nil {
			pr := problemOf(err)
			if recording != "" {
				pr.Text += " The sound is kept."
			}
			j.problem = &pr
		}
		s.closeIfUnused()
	}()
}

// at takes how far a job has come.
func (s *Server) at(j *job) func(pipeline.Stage, float64) {
	return func(stage pipeline.Stage, share float64) {
		s.mu.Lock()
		defer s.mu.Unlock()
		j.stage, j.share = stage, share
	}
}

// makeDraft makes a draft, keeps it, and gives the id of its note.
func (s *Server) makeDraft(x *store.Session, j *job, encounter, recording string, in pipeline.Input) (string, error) {
	if in.Sound != nil { // words need no turn: they take no time
		s.hearing <- struct{}{}
		defer func() { <-s.hearing }()
	}
	d := s.drafter()
	d.Progress = s.at(j)
	ctx := context.Background() // what was begun is finished, whatever the browser does
	n, err := d.Draft(ctx, in)
	if err != nil {
		return "", err
	}
	return s.keepDraft(ctx, x, encounter, recording, n)
}

func (s *Server) drafter() *pipeline.Drafter {
	return &pipeline.Drafter{Program: s.opt.Program, Now: s.opt.Now, Hearing: s.opt.Hearing,
		Lexicon: func() (*lexicon.Lexicon, error) { return s.opt.Lexicon, nil }}
}

// keptSound is a recording of the record, to be drafted.
func keptSound(ctx context.Context, x *store.Session, r store.Recording) (pipeline.Input, error) {
	pcm, err := x.Sound(ctx, r.ID, 0, r.Samples)
	return pipeline.Input{Path: "recording", Sound: audio.FromPCM(pcm)}, err
}

// jobsOf gives the drafts of an encounter that are being made or failed.
func (s *Server) jobsOf(encounter string) []jobView {
	s.mu.Lock()
	defer s.mu.Unlock()
	var js []*job
	for _, j := range s.jobs {
		if j.encounter == encounter && (!j.done || j.problem != nil) {
			js = append(js, j)
		}
	}
	slices.SortFunc(js, func(a, b *job) int { return a.nr - b.nr })
	var out []jobView
	for _, j := range js {
		out = append(out, jobView{string(j.stage), int(j.share * 100), j.problem})
	}
	return out
}

// typedWords is what a person typed, as input. A brace at its beginning would be
// read as the program's own form.
func typedWords(text string) pipeline.Input {
	return pipeline.Input{Path: "typed.txt", Text: strings.NewReader(strings.TrimLeft(text, "{ \t\r\n"))}
}

// understand reads a typed sentence as speech is read. The entries carry the
// doubts that there are about it.
func (s *Server) understand(ctx context.Context, text string) ([]note.Entry, error) {
	d, err := s.drafter().Draft(ctx, typedWords(text))
	if err != nil {
		return nil, err
	}
	return entriesOf(d), nil
}

func entriesOf(d note.Draft) []note.Entry {
	var out []note.Entry
	for _, sec := range d.Sections {
		out = append(out, sec.Entries...)
	}
	return out
}
