package web

import (
	"net/http"

	"bedsaid/internal/export"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// recordView is the page that records at the bedside.
type recordView struct {
	ID, Bed, Login string
	Patient        [2]store.Identifier
	// Confirmed says that the wristband was read since signing in.
	Confirmed bool
	// Live is a recording that goes on, or was cut off.
	Live    *liveNow
	Line    lineView
	Now     bedsideView
	Problem *problem
}

// lineView is what the script needs to connect.
type lineView struct{ ID, Ticket string }

// recordHere shows the page that records, or the parts of it that changed.
func (s *Server) recordHere(w http.ResponseWriter, r *http.Request, p *person) {
	e, err := p.x.Encounter(r.Context(), r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	if !e.Consent.Holds() && r.Header.Get(partHeader) == "" {
		http.Redirect(w, r, "/encounters/"+e.ID, http.StatusSeeOther)
		return
	}
	s.recordPage(w, r, p, http.StatusOK, e, nil)
}

func (s *Server) recordPage(w http.ResponseWriter, r *http.Request, p *person, code int, e store.Encounter, pr *problem) {
	v := recordView{ID: e.ID, Bed: e.Bed, Login: p.x.User().Login, Patient: e.Patient, Problem: pr, Confirmed: s.readWristband(p, e.ID)}
	all, err := p.x.Recordings(r.Context(), e.ID)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v.Live = s.liveNow(e.ID, all)
	v.Line = lineView{ID: e.ID, Ticket: s.ticketFor(p, s.cookie(r, "person"), e.ID)}
	v.Now = s.liveView(p, e.ID)
	v.Now.Hidden = r.FormValue("hide") != ""
	if r.Header.Get(partHeader) != "" {
		s.showParts(w, code, part{"line", v.Line}, part{"bedside-now", v.Now})
		return
	}
	s.show(w, r, code, "record", "Record", v)
}

// liveView is what was understood so far of a recording that goes on.
func (s *Server) liveView(p *person, encounter string) bedsideView {
	if t := s.takeNow(encounter); t != nil {
		if d, ok := t.draft(); ok {
			return s.bedsideOf(s.lay(store.NoteInfo{}, review.Begin(d, p.x.User().Person()), p.x.User().Person()))
		}
	}
	v := bedsideView{Fresh: true}
	for _, r := range s.opt.Lexicon.Regions() {
		v.Regions = append(v.Regions, bedsideRegion{Title: r.Title})
	}
	return v
}

// confirmRecord takes the identifiers, read off the wristband before recording.
func (s *Server) confirmRecord(w http.ResponseWriter, r *http.Request, p *person) {
	e, err := p.x.Encounter(r.Context(), r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	c := wristbandOf(r)
	if err := p.x.Confirm(r.Context(), e.ID, c); err != nil {
		pr := problemOf(err)
		s.recordPage(w, r, p, statusOf(err), e, &pr)
		return
	}
	s.confirm(p, e.ID, c)
	http.Redirect(w, r, "/encounters/"+e.ID+"/record", http.StatusSeeOther)
}

// liveNow is a recording that goes on, or was cut off, on the examination's page.
type liveNow struct {
	Goes       bool
	ID, Length string
}

func (s *Server) liveNow(encounter string, all []store.Recording) *liveNow {
	if t := s.takeNow(encounter); t != nil {
		if v := t.live(); v != nil {
			return v
		}
	}
	if r := lastOpen(all); r != nil {
		return &liveNow{false, r.ID, export.ClockTime(r.Seconds())}
	}
	return nil
}

// live gives what is recorded now, or nil. It asks and reads in one: the take may
// be put aside at any moment.
func (t *take) live() *liveNow {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.rec == nil || !t.state.goesOn() {
		return nil
	}
	return &liveNow{true, t.rec.Recording().ID, export.ClockTime(float64(t.safe) / store.Rate)}
}

// erase deletes the sound of an encounter whose consent was withdrawn.
func (s *Server) erase(w http.ResponseWriter, r *http.Request, p *person) {
	id := r.PathValue("id")
	if r.PostFormValue("asked") == "" {
		s.encounterPage(w, r, p, http.StatusUnprocessableEntity, &problem{"Nothing was erased.", "Tick the box first: policy and law may want the sound kept."})
		return
	}
	if _, err := p.x.EraseWithdrawn(r.Context(), id); err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	http.Redirect(w, r, "/encounters/"+id, http.StatusSeeOther)
}
