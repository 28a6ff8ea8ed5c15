package web

import (
	"errors"
	"net/http"
	"strings"

	"bedsaid/internal/export"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// finalView is a note as it stands, to be signed, read or printed.
type finalView struct {
	placed
	Regions    []region
	Struck     []item
	Missing    []region
	Actions    []item
	Cautions   []string
	MadeBy     string
	Signatures []string
	Versions   []versionView
	Addenda    []remarkView
	Comments   []remarkView
	After      int
	Left       int
	Seal       string
	Print      bool
	Problem    *problem
	Conflict   []string
	Typed      map[string]string // what was typed in a form that failed
	CanSign    bool
	CanCoSign  bool
	CanAmend   bool
	CanAdd     bool
	Signed     bool
	Student    bool
}

type versionView struct {
	Number int
	Why    string
	Signed []string
	Lines  []item
	Latest bool
}

type remarkView struct{ Text, By, At string }

func (s *Server) finalOf(r *http.Request, p *person, id string) (finalView, error) {
	t, err := s.load(r, p, id)
	if err != nil {
		return finalView{}, err
	}
	e, err := p.x.Encounter(r.Context(), t.info.Encounter)
	if err != nil {
		return finalView{}, err
	}
	n, u := t.n, t.person
	v := finalView{placed: placeOf(id, "final", e, n),
		Cautions: n.Draft().Cautions, MadeBy: n.Draft().Provenance.Program, After: n.Len(), Typed: map[string]string{},
		Signed: n.Status().Signed(), Student: u.Role == review.Student,
		CanSign: t.decides(), CanCoSign: n.Status().Waits() && u.Role == review.Preceptor && u.ID != n.Author().ID,
		CanAmend: n.Status().Closed() && u.ID == n.Author().ID, CanAdd: n.Status().Closed() && u.Role.Licensed()}
	v.Left = len(n.Obstacles())
	for _, reg := range t.regions {
		switch reg.ID {
		case "actions":
			v.Actions = reg.Items
			continue
		case "speech", "talk":
			continue
		}
		if len(reg.Missing) > 0 {
			v.Missing = append(v.Missing, region{Title: reg.Title, Missing: reg.Missing})
		}
		var kept []item
		for _, it := range reg.Items {
			if it.Struck {
				v.Struck = append(v.Struck, it)
			} else {
				kept = append(kept, it)
			}
		}
		if reg.Items = kept; len(kept) > 0 {
			v.Regions = append(v.Regions, reg)
		}
	}
	for i, ver := range n.Versions() {
		vv := versionView{Number: i + 1, Why: ver.Why, Latest: i == len(n.Versions())-1}
		for _, sig := range ver.Signatures {
			vv.Signed = append(vv.Signed, signature(sig))
		}
		for _, l := range ver.Lines {
			if l.State != review.Rejected {
				vv.Lines = append(vv.Lines, lineItem(n.Draft(), l))
			}
		}
		v.Versions = append(v.Versions, vv)
	}
	for _, sig := range n.Pending() {
		v.Signatures = append(v.Signatures, signature(sig))
	}
	v.Addenda, v.Comments = remarks(n.Addenda()), remarks(n.Comments())
	return v, nil
}

func signature(s review.Signature) string {
	how := "Signed by "
	if s.CoSign {
		how = "Co-signed by "
	}
	return how + named(s.By) + ", " + s.At.Local().Format(clock)
}

func remarks(rs []review.Remark) []remarkView {
	var out []remarkView
	for _, r := range rs {
		out = append(out, remarkView{r.Text, named(r.By), r.At.Local().Format(clock)})
	}
	return out
}

func (s *Server) final(w http.ResponseWriter, r *http.Request, p *person) {
	s.finalPage(w, r, p, http.StatusOK, "final", nil)
}

func (s *Server) signForm(w http.ResponseWriter, r *http.Request, p *person) {
	s.finalPage(w, r, p, http.StatusOK, "sign", nil)
}

func (s *Server) finalPage(w http.ResponseWriter, r *http.Request, p *person, code int, view string, change func(*finalView)) {
	v, err := s.finalOf(r, p, r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	if change != nil {
		change(&v)
	}
	title := "Note"
	if view == "sign" {
		title = "Sign"
	}
	s.show(w, r, code, view, title, v)
}

// sign takes what is done to a whole note: signatures, addenda, amendments,
// comments.
func (s *Server) sign(w http.ResponseWriter, r *http.Request, p *person) {
	after, ok := s.afterOf(w, r)
	if !ok {
		return
	}
	id := r.PathValue("id")
	d := review.Decision{Kind: review.ParseKind(r.PostFormValue("kind")), Text: strings.TrimSpace(r.PostFormValue("text")), Why: strings.TrimSpace(r.PostFormValue("why"))}
	c := wristbandOf(r)
	var err error
	switch d.Kind {
	case review.Sign, review.CoSign, review.Addendum:
		_, err = p.x.Sign(r.Context(), id, after, d, store.Signing{Passphrase: r.PostFormValue("passphrase"), Confirmed: c})
	case review.Amend, review.Return, review.Comment:
		_, err = p.x.Decide(r.Context(), id, after, d)
	default:
		err = store.ErrNotFound
	}
	if err == nil {
		to := "/notes/" + id + "/final"
		if d.Kind == review.Amend {
			to = "/notes/" + id
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	view := "final"
	if d.Kind == review.Sign {
		view = "sign"
	}
	s.finalPage(w, r, p, statusOf(err), view, func(v *finalView) {
		pr := problemOf(err)
		if errors.Is(err, store.ErrWrongPassphrase) {
			pr = problem{"The passphrase is wrong.", "Nothing was signed. Type your own passphrase again."}
		}
		var conflict *store.ConflictError
		if errors.As(err, &conflict) {
			pr = problem{"The note was changed in another window. Nothing was signed.", "Read what was changed, then sign again."}
			v.Conflict = changesBetween(conflict.Seen, conflict.Now)
		}
		v.Problem = &pr
		v.Typed["text"], v.Typed["why"] = d.Text, d.Why
	})
}

// print gives the note to be printed, after the identifiers were read again.
func (s *Server) print(w http.ResponseWriter, r *http.Request, p *person) {
	_, seal, err := p.x.Export(r.Context(), r.PathValue("id"), "print", wristbandOf(r))
	if err != nil {
		s.finalPage(w, r, p, statusOf(err), "final", func(v *finalView) { pr := problemOf(err); v.Problem = &pr })
		return
	}
	s.finalPage(w, r, p, http.StatusOK, "final", func(v *finalView) { v.Print, v.Seal = true, seal.String() })
}

// wordsView shows every word that was heard, and where it went.
type wordsView struct {
	ID      string
	Runs    []run
	Decides bool
	After   int
}

// run is a stretch of words that went to one place.
type run struct {
	Place, When, At string
	Words           []stripWord
}

// words shows the whole of what was heard: a missed sentence can be pulled in.
func (s *Server) words(w http.ResponseWriter, r *http.Request, p *person) {
	t, err := s.load(r, p, r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	d := t.n.Draft()
	place := make([]run, len(d.Transcript.Words))
	for i := range place {
		place[i] = run{Place: "no place"}
	}
	for _, l := range d.LeftOut {
		for i := l.Span.Start; i < l.Span.End; i++ {
			place[i] = run{Place: "left out: " + export.LeftOutWord(l.Why)}
		}
	}
	for _, l := range t.n.Lines() {
		for _, e := range l.Finding.Evidence {
			for i := e.Start; i < e.End; i++ {
				entry := entryOf(d, l.Finding)
				place[i] = run{Place: entry.Item.Name + ": " + export.Statement(entry), At: l.ID}
			}
		}
	}
	v := wordsView{ID: t.info.ID, Decides: t.decides(), After: t.n.Len()}
	for i := range place {
		k := len(v.Runs) - 1
		if k < 0 || v.Runs[k].Place != place[i].Place || v.Runs[k].At != place[i].At {
			v.Runs = append(v.Runs, place[i])
			k++
			if d.Transcript.Timed {
				v.Runs[k].When = export.ClockTime(d.Transcript.Words[i].Start)
			}
		}
		v.Runs[k].Words = append(v.Runs[k].Words, wordOf(d.Transcript, i, false))
	}
	s.show(w, r, http.StatusOK, "words", "All words", v)
}
