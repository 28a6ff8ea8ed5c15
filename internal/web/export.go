package web

import (
	"bytes"
	"net/http"
	"slices"

	"bedsaid/internal/export"
	"bedsaid/internal/export/forms"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// exportView offers every form in which a note leaves the program.
type exportView struct {
	placed
	Forms []formChoice
	// With is the last signed note before this one; nil where there is none.
	With *earlier
	// Draft says that the note is not signed; Sound that its recording is kept.
	Draft, Sound                  bool
	Talk, Since, Complete, Letter bool
	Cautions                      []string
	Problem                       *problem
}

type formChoice struct{ Name, Title, For string }

// formTitles say what each form is for.
var formTitles = map[string][2]string{
	"text": {"Text", "to be pasted into a chart"}, "markdown": {"Markdown", "text with headings"}, "html": {"HTML", "a page to be printed"},
	"pdf": {"PDF", "to be printed; tagged for screen readers"}, "fhir": {"FHIR R4", "a document for an interface"}, "csv": {"CSV", "a row for each finding"},
	"json": {"JSON", "everything, for programs"}, "handoff": {"Hand-off", "one page for the next nurse; it quotes what was said of code status, allergies and plans"},
}

func (s *Server) exportForm(w http.ResponseWriter, r *http.Request, p *person) {
	s.exportPage(w, r, p, http.StatusOK, nil)
}

func (s *Server) exportPage(w http.ResponseWriter, r *http.Request, p *person, code int, err error) {
	o, all, oerr := s.openBeside(r, p, "export")
	if oerr != nil {
		s.fail(w, r, oerr)
		return
	}
	v := exportView{placed: o.placed, Draft: !o.n.Status().Signed(), Cautions: o.doc.Head.Cautions(),
		Talk: r.PostFormValue("talk") != "", Since: r.PostFormValue("since") != "", Complete: r.PostFormValue("complete") != "", Letter: r.PostFormValue("letter") != ""}
	if err != nil {
		pr := problemOf(err)
		v.Problem = &pr
	}
	for _, f := range forms.All() {
		t := formTitles[f.Name]
		v.Forms = append(v.Forms, formChoice{f.Name, t[0], t[1]})
	}
	if len(all) > 0 {
		v.With = &all[0]
	}
	if v.Sound, oerr = s.soundKept(r, p, o.info); oerr != nil {
		s.fail(w, r, oerr)
		return
	}
	s.show(w, r, code, "export", "Export", v)
}

func (s *Server) soundKept(r *http.Request, p *person, info store.NoteInfo) (bool, error) {
	if info.Recording == "" {
		return false, nil
	}
	all, err := p.x.Recordings(r.Context(), info.Encounter)
	return slices.ContainsFunc(all, func(x store.Recording) bool { return x.ID == info.Recording && x.State != store.RecordingPurged }), err
}

// export sends a note as a file, after the identifiers were read again.
func (s *Server) export(w http.ResponseWriter, r *http.Request, p *person) {
	id, to := r.PathValue("id"), r.PostFormValue("to")
	c := wristbandOf(r)
	if to == "sound" {
		s.exportSound(w, r, p, c)
		return
	}
	f, ok := forms.Find(to)
	if !ok {
		s.fail(w, r, store.ErrNotFound)
		return
	}
	n, seal, err := p.x.Export(r.Context(), id, f.Name+" to the browser", c)
	if err != nil {
		s.exportPage(w, r, p, statusOf(err), err)
		return
	}
	var b bytes.Buffer
	if err := s.writeForm(&b, r, p, f, n, seal); err != nil {
		s.exportPage(w, r, p, statusOf(err), err)
		return
	}
	attach(w, id+f.Ending, f.Type)
	_, _ = w.Write(b.Bytes()) // nobody is there to be told
}

// writeForm writes a note as it was chosen.
func (s *Server) writeForm(b *bytes.Buffer, r *http.Request, p *person, f forms.Form, n review.Note, seal store.Seal) error {
	info, err := p.x.NoteInfo(r.Context(), seal.Note)
	if err != nil {
		return err
	}
	e, err := p.x.Encounter(r.Context(), info.Encounter)
	if err != nil {
		return err
	}
	doc := s.documentOf(n, e, seal)
	if since := r.PostFormValue("since"); since != "" {
		all, err := s.earlier(r, p, seal.Note)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(all, func(x earlier) bool { return x.ID == since })
		if i < 0 {
			return store.ErrNotFound
		}
		if doc.Changes, err = s.changesSince(r, p, doc, all[i]); err != nil {
			return err
		}
	}
	return f.Write(b, doc, forms.Choice{Complete: r.PostFormValue("complete") != "", Letter: r.PostFormValue("letter") != "", Talk: r.PostFormValue("talk") != ""}, s.opt.Lexicon)
}

// exportSound sends the recording. Nothing is sent before the identifiers agree.
func (s *Server) exportSound(w http.ResponseWriter, r *http.Request, p *person, c store.Confirmed) {
	info, err := p.x.NoteInfo(r.Context(), r.PathValue("id"))
	if err == nil && info.Recording == "" {
		err = store.ErrNotFound
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	out := &lateWriter{w: w, begin: func() { attach(w, info.Recording+".wav", "audio/wav") }}
	if err := p.x.ExportSound(r.Context(), info.Recording, "sound to the browser", c, out); err != nil && !out.begun {
		s.exportPage(w, r, p, statusOf(err), err)
	}
}

// lateWriter says what comes only once something comes.
type lateWriter struct {
	w     http.ResponseWriter
	begin func()
	begun bool
}

func (l *lateWriter) Write(b []byte) (int, error) {
	if !l.begun {
		l.begun = true
		l.begin()
	}
	return l.w.Write(b)
}

// attach makes the answer a file to be kept: it is never shown as a page.
func attach(w http.ResponseWriter, name, kind string) {
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", `attachment; filename="`+export.FileName(name)+`"`)
}
