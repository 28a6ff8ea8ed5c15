package web

import (
	"net/http"

	"bedsaid/internal/export"
	"bedsaid/internal/note"
)

// handoverView is what the next nurse must know, and what to say by phone.
type handoverView struct {
	placed
	Sheet export.Handed
	// With is the earlier note that changes are told against; nil where there is
	// none.
	With    *earlier
	Print   bool
	Problem *problem
}

func (s *Server) handover(w http.ResponseWriter, r *http.Request, p *person) {
	s.handoverPage(w, r, p, http.StatusOK, nil)
}

// printHandover gives the hand-off to be printed, after the identifiers were read
// again.
func (s *Server) printHandover(w http.ResponseWriter, r *http.Request, p *person) {
	_, _, err := p.x.Export(r.Context(), r.PathValue("id"), "hand-off to print", wristbandOf(r))
	if err != nil {
		pr := problemOf(err)
		s.handoverPage(w, r, p, statusOf(err), func(v *handoverView) { v.Problem = &pr })
		return
	}
	s.handoverPage(w, r, p, http.StatusOK, func(v *handoverView) { v.Print = true })
}

func (s *Server) handoverPage(w http.ResponseWriter, r *http.Request, p *person, code int, change func(*handoverView)) {
	o, all, err := s.openBeside(r, p, "handover")
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := handoverView{placed: o.placed}
	if len(all) > 0 {
		v.With = &all[0]
		if o.doc.Changes, err = s.changesSince(r, p, o.doc, all[0]); err != nil {
			s.fail(w, r, err)
			return
		}
	}
	v.Sheet = export.HandoffOf(o.doc)
	if change != nil {
		change(&v)
	}
	s.show(w, r, code, "handover", "Hand over", v)
}

// changesSince gives what differs from an earlier note, never nil: compared, and
// nothing differs, is another thing than not compared.
func (s *Server) changesSince(r *http.Request, p *person, doc note.Document, e earlier) ([]note.Change, error) {
	before, err := s.earlierDraft(r, p, e)
	if err != nil {
		return nil, err
	}
	return append([]note.Change{}, note.Compare(before, doc.Draft)...), nil
}
