package web

import (
	"bytes"
	"errors"
	"html/template"
	"net/http"
	"strings"

	"bedsaid/internal/audio"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// A request with this header asks for parts of a page, each an element with the
// id of the one that it replaces; partByItself says that no hand asked for it.
const (
	partHeader   = "X-Bedsaid-Part"
	partByItself = "by-itself"
)

// frame is what every page has.
type frame struct {
	Title, View string
	Who         string
	Lock        int // seconds without a touch until the page locks
	Caution     string
	Body        template.HTML // made by a view
}

// show writes a whole page.
func (s *Server) show(w http.ResponseWriter, r *http.Request, code int, view, title string, data any) {
	f := frame{Title: title, View: view, Caution: note.ShortCaution}
	if p := s.who(r); p != nil {
		u := p.x.User()
		f.Who, f.Lock = u.Name, int(s.opt.LockAfter.Seconds())
	}
	var body, page bytes.Buffer
	err := s.views.ExecuteTemplate(&body, view, data)
	if err == nil {
		f.Body = template.HTML(body.String())
		err = s.views.ExecuteTemplate(&page, "frame", f)
	}
	s.send(w, code, page.Bytes(), err)
}

// part is an element of a page with the view that makes it.
type part struct {
	view string
	data any
}

// showParts writes elements, each of which replaces the one with its id.
func (s *Server) showParts(w http.ResponseWriter, code int, parts ...part) {
	var b bytes.Buffer
	for _, p := range parts {
		if err := s.views.ExecuteTemplate(&b, p.view, p.data); err != nil {
			s.send(w, code, nil, err)
			return
		}
	}
	s.send(w, code, b.Bytes(), nil)
}

// send writes what was made whole: half a page is worse than none.
func (s *Server) send(w http.ResponseWriter, code int, page []byte, err error) {
	if err != nil {
		http.Error(w, "This page could not be shown. Nothing was changed; go back and try again.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	_, _ = w.Write(page) // nobody is there to be told
}

// viewFuncs are what views may call.
func viewFuncs() template.FuncMap {
	return template.FuncMap{
		"lower": strings.ToLower,
		"list":  func(s []string) string { return strings.Join(s, ", ") },
	}
}

// problem is an error for a person: what, and what to do.
type problem struct{ Text, Hint string }

// problemOf words an error. Errors hold no words of a patient by construction.
func problemOf(err error) problem {
	p := problem{Text: err.Error()}
	var sound *audio.Error
	if errors.As(err, &sound) {
		p.Hint = sound.Hint
	}
	for e := err; e != nil; e = errors.Unwrap(e) {
		if h, ok := e.(interface{ Hint() string }); ok && h.Hint() != "" {
			p.Hint = h.Hint()
		}
	}
	if i := strings.LastIndex(p.Text, ": "); i >= 0 && sound == nil {
		p.Text = p.Text[i+2:] // the innermost says it in the plainest words
	}
	if p.Text != "" {
		p.Text = strings.ToUpper(p.Text[:1]) + p.Text[1:] + "."
	}
	if p.Hint != "" {
		p.Hint = strings.ToUpper(p.Hint[:1]) + p.Hint[1:] + "."
	}
	return p
}

// statusOf gives the code of an error.
func statusOf(err error) int {
	var conflict *store.ConflictError
	var rule *review.RuleError
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, store.ErrNotFound):
		return http.StatusNotFound
	case errors.As(err, &conflict):
		return http.StatusConflict
	case errors.As(err, &rule), errors.Is(err, store.ErrConsent), errors.Is(err, store.ErrIdentity), errors.Is(err, store.ErrIncomplete):
		return http.StatusUnprocessableEntity
	case errors.Is(err, store.ErrWrongPassphrase):
		return http.StatusUnauthorized
	case errors.Is(err, store.ErrRole):
		return http.StatusForbidden
	}
	var sound *audio.Error
	if errors.As(err, &sound) {
		return http.StatusUnprocessableEntity
	}
	return http.StatusInternalServerError
}

// fail shows an error on a page of its own.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	p := problemOf(err)
	if large := new(http.MaxBytesError); errors.As(err, &large) {
		p = problem{"That is too large.", "Give one examination at a time."}
	}
	s.show(w, r, statusOf(err), "problem", "That did not work", p)
}
