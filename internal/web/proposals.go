package web

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/internal/teach"
	"bedsaid/lexicon"
)

// proposalsView lists the words that reviewers keep mending.
type proposalsView struct {
	Notes int
	// File takes them, empty where the site has no folder of packs.
	File    string
	CanTake bool
	Rows    []proposalRow
	// Tried is the one that was tried; nothing was written yet.
	Tried   *triedView
	Written string // the word that was written just now
	Problem *problem
	// Complaints are those of the check of packs.
	Complaints []string
}

type proposalRow struct {
	Word                     string
	Mended, Said, Encounters int
	Instead                  string
	// Taken says that the site's packs know it by now.
	Taken bool
	Open  bool
	Form  teach.Pair
}

// triedView is a pair as it would be read.
type triedView struct {
	teach.Pair
	Understood []proposal
}

// mayTake says whether somebody may add to the site's pack: it is for all who
// work here, so a licensed person who manages the record does it.
func mayTake(u store.User) bool { return u.Manages && u.Role.Licensed() }

func (s *Server) proposals(w http.ResponseWriter, r *http.Request, p *person) {
	v, _, err := s.proposalsOf(r, p, "")
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "teach", "Words that reviewers mend", v)
}

// proposalsOf counts over the newest notes. quoted says that an example stands in
// one of them, word for word.
func (s *Server) proposalsOf(r *http.Request, p *person, example string) (v proposalsView, quoted bool, err error) {
	survey := teach.New(s.opt.Lexicon)
	err = p.x.Survey(r.Context(), surveyed, func(i store.NoteInfo, n review.Note) error {
		survey.Add(i.Encounter, n)
		quoted = quoted || example != "" && teach.Quoted(n.Draft().Transcript, example)
		return nil
	})
	if err != nil {
		return v, quoted, err
	}
	v = proposalsView{Notes: survey.Notes(), File: s.opt.PackFile, CanTake: mayTake(p.x.User()) && s.opt.PackFile != ""}
	now := s.opt.Lexicon
	if _, packs, err := s.packs(); err == nil {
		if lex, err := lexicon.With(packs...); err == nil {
			now = lex
		}
	}
	for _, one := range survey.Proposals() {
		row := proposalRow{Word: one.Word, Mended: one.Mended, Said: one.Said, Encounters: one.Encounters, Taken: now.Knows(one.Word), Form: teach.Pair{Said: one.Word}}
		var names []string
		for _, c := range one.Instead {
			names = append(names, fmt.Sprintf("%s %d", s.opt.Record.Outline.Item(c.ID).Name, c.N))
		}
		row.Instead = strings.Join(names, ", ")
		v.Rows = append(v.Rows, row)
	}
	return v, quoted, nil
}

// packs gives the pack that takes proposals, and all of the site's packs with it.
func (s *Server) packs() (taking lexicon.File, all []lexicon.File, err error) {
	taking = lexicon.File{Name: s.opt.PackFile}
	if s.opt.Packs == nil {
		return taking, nil, nil
	}
	if all, err = s.opt.Packs(); err != nil {
		return taking, nil, err
	}
	if i := slices.IndexFunc(all, func(f lexicon.File) bool { return f.Name == s.opt.PackFile }); i >= 0 {
		taking = all[i]
	}
	return taking, all, nil
}

// takeProposal tries a word, and once its reading was seen and confirmed writes it
// into the site's pack. What is written counts from the next start on.
func (s *Server) takeProposal(w http.ResponseWriter, r *http.Request, p *person) {
	if !mayTake(p.x.User()) {
		s.fail(w, r, store.ErrRole)
		return
	}
	s.taking.Lock()
	defer s.taking.Unlock()
	pair := teach.Pair{Said: r.PostFormValue("word"), For: strings.TrimSpace(r.PostFormValue("for")), Misheard: r.PostFormValue("how") != "own", Example: strings.TrimSpace(r.PostFormValue("example"))}
	v, quoted, err := s.proposalsOf(r, p, pair.Example)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	i := slices.IndexFunc(v.Rows, func(row proposalRow) bool { return row.Word == pair.Said })
	if i < 0 || s.opt.PackFile == "" {
		s.fail(w, r, store.ErrNotFound)
		return
	}
	v.Rows[i].Open, v.Rows[i].Form = true, pair
	code := http.StatusOK
	trial, err := s.tryPair(pair, quoted)
	switch {
	case err == nil && r.PostFormValue("write") != "":
		if err = keep(s.opt.PackFile, trial.Pack.Data); err == nil {
			v.Written, v.Rows[i].Open, v.Rows[i].Taken = pair.Said, false, true
		}
	case err == nil:
		v.Tried = &triedView{pair, propose(entriesOf(trial.Draft))}
	}
	if err != nil {
		pr := problemOf(err)
		v.Problem, code = &pr, http.StatusUnprocessableEntity
		var refused *teach.Refusal
		if errors.As(err, &refused) {
			for _, c := range refused.Problems {
				v.Complaints = append(v.Complaints, filepath.Base(c.File)+": "+c.What)
			}
		}
	}
	s.show(w, r, code, "teach", "Words that reviewers mend", v)
}

func (s *Server) tryPair(pair teach.Pair, quoted bool) (teach.Trial, error) {
	if quoted {
		return teach.Trial{}, &teach.Refusal{What: "the example is a sentence that was said about a patient", Help: "type one of your own: the pack lies in the clear, outside the record"}
	}
	taking, all, err := s.packs()
	if err != nil {
		return teach.Trial{}, err
	}
	others := slices.DeleteFunc(slices.Clone(all), func(f lexicon.File) bool { return f.Name == taking.Name })
	return teach.Try(taking, others, pair)
}

// keep puts a whole file in place at once: a stop leaves the old one.
func keep(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".pack-*")
	if err != nil {
		return notWritten{}
	}
	defer os.Remove(f.Name()) // gone where it got its name
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return notWritten{}
	}
	return nil
}

type notWritten struct{}

func (notWritten) Error() string { return "the pack could not be written" }
func (notWritten) Hint() string {
	return "see that the folder of packs may be written to and that the disk is not full; nothing was changed"
}
