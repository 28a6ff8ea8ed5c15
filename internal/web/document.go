package web

import (
	"net/http"

	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// placed is what every page about one note shows: whose it is, and the way to the
// others.
type placed struct {
	ID, Here             string
	Encounter            store.Encounter
	When, Author, Status string
}

func placeOf(id, here string, e store.Encounter, n review.Note) placed {
	return placed{ID: id, Here: here, Encounter: e, When: e.ExaminedAt.Local().Format(clock), Author: named(n.Author()), Status: statusWords[n.Status()]}
}

// openNote is a note with its encounter and how it leaves the program.
type openNote struct {
	placed
	info store.NoteInfo
	n    review.Note
	doc  note.Document
}

func (s *Server) openNote(r *http.Request, p *person, here string) (openNote, error) {
	id := r.PathValue("id")
	n, err := p.x.Note(r.Context(), id)
	if err != nil {
		return openNote{}, err
	}
	info, err := p.x.NoteInfo(r.Context(), id)
	if err != nil {
		return openNote{}, err
	}
	e, err := p.x.Encounter(r.Context(), info.Encounter)
	if err != nil {
		return openNote{}, err
	}
	return openNote{info: info, n: n, doc: s.documentOf(n, e, info.Seal()), placed: placeOf(id, here, e, n)}, nil
}

// openBeside is a note to be shown beside the patient's earlier signed ones.
func (s *Server) openBeside(r *http.Request, p *person, here string) (openNote, []earlier, error) {
	o, err := s.openNote(r, p, here)
	if err != nil {
		return openNote{}, nil, err
	}
	all, err := s.earlier(r, p, o.ID)
	return o, all, err
}

func (s *Server) documentOf(n review.Note, e store.Encounter, seal store.Seal) note.Document {
	return n.Document(e.Head(seal.Note, seal), s.opt.Record.Outline)
}

// earlier is a signed note of the patient before the one that is open.
type earlier struct{ ID, When, Author string }

// earlier gives the signed notes of the patient before this one, the last one
// first.
func (s *Server) earlier(r *http.Request, p *person, id string) ([]earlier, error) {
	all, err := p.x.SignedBefore(r.Context(), id)
	var out []earlier
	for _, n := range all {
		out = append(out, earlier{n.ID, n.Of.ExaminedAt.Local().Format(clock), named(n.Author)})
	}
	return out, err
}

// earlierDraft reads an earlier note as it was signed last.
func (s *Server) earlierDraft(r *http.Request, p *person, e earlier) (note.Draft, error) {
	n, err := p.x.Note(r.Context(), e.ID)
	if err != nil {
		return note.Draft{}, err
	}
	return n.Document(note.Head{}, s.opt.Record.Outline).Draft, nil
}
