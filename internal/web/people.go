package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"bedsaid/internal/store"
)

// person is somebody who is signed in, in one browser.
type person struct {
	x      *store.Session
	device string
	timer  *time.Timer
	// touched is when she last did something herself.
	touched time.Time
	// confirmed are identifiers that she read off the wristband, by encounter.
	confirmed map[string]store.Confirmed
	// shown are the lines that she was shown, with what they said, by note.
	shown map[string]map[string]string
}

// who gives who is signed in in this browser, or nil.
func (s *Server) who(r *http.Request) *person {
	s.mu.Lock()
	defer s.mu.Unlock()
	p := s.people[s.cookie(r, "person")]
	if p == nil || p.device != s.cookie(r, "browser") {
		return nil
	}
	return p
}

// touch puts the lock off. The bedside view holds it off without a touch, for
// bedsideHold.
func (s *Server) touch(p *person, byHand bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.opt.Now()
	if byHand {
		p.touched = now
	}
	if byHand || now.Sub(p.touched) < bedsideHold {
		p.timer.Reset(s.opt.LockAfter)
	}
}

// begin signs somebody in. The record is opened with the first one, and closed
// with the last: while nobody is signed in, no key is in memory.
func (s *Server) begin(ctx context.Context, device, login, passphrase string) (token string, err error) {
	s.signingIn.Lock()
	defer s.signingIn.Unlock()
	s.mu.Lock()
	record := s.record
	s.mu.Unlock()
	var x *store.Session
	if record != nil {
		x, err = record.SignIn(ctx, login, passphrase)
		if errors.Is(err, store.ErrClosed) {
			record = nil
		}
	}
	if record == nil {
		x, err = store.Open(ctx, s.opt.Folder, login, passphrase, s.opt.Record)
	}
	if err != nil {
		return "", err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.record != nil && s.record != x.Store() { // it was closed meanwhile
		s.record.Close()
	}
	s.record = x.Store()
	token = secret()
	p := &person{x: x, device: device, touched: s.opt.Now(), confirmed: map[string]store.Confirmed{}, shown: map[string]map[string]string{}}
	p.timer = time.AfterFunc(s.opt.LockAfter, func() { s.lock(token) })
	s.people[token] = p
	return token, nil
}

// lock signs somebody out.
func (s *Server) lock(token string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if p := s.people[token]; p != nil {
		p.timer.Stop()
		delete(s.people, token)
		s.dropTickets(p)
		for _, t := range s.takes { // their windows hide their words, and record on
			t.tell()
		}
	}
	s.closeIfUnused()
}

// closeIfUnused closes the record where nobody is signed in and nothing is being
// recorded or drafted; s.mu is held.
func (s *Server) closeIfUnused() {
	for _, t := range s.takes {
		if t.goesOn() {
			return
		}
	}
	for _, j := range s.jobs {
		if !j.done {
			return
		}
	}
	if len(s.people) == 0 && s.record != nil {
		_ = s.record.Close() // what was told of as written is written
		s.record = nil
	}
}

// signIn shows the form, and takes it.
func (s *Server) signIn(w http.ResponseWriter, r *http.Request) {
	back := r.FormValue("back")
	if !strings.HasPrefix(back, "/") || strings.HasPrefix(back, "//") || strings.Contains(back, "\\") {
		back = "/"
	}
	view, code := map[string]any{"Back": back, "Login": r.FormValue("login")}, http.StatusOK
	if r.Method == http.MethodPost {
		token, err := s.begin(r.Context(), s.cookie(r, "browser"), r.PostFormValue("login"), r.PostFormValue("passphrase"))
		if err == nil {
			s.setCookie(w, "person", token)
			http.Redirect(w, r, back, http.StatusSeeOther)
			return
		}
		view["Problem"] = problemOf(err)
		code = statusOf(err)
	}
	s.show(w, r, code, "sign-in", "Sign in", view)
}

func (s *Server) lockNow(w http.ResponseWriter, r *http.Request) {
	s.lock(s.cookie(r, "person"))
	s.setCookie(w, "person", "")
	http.Redirect(w, r, "/sign-in", http.StatusSeeOther)
}

// signedIn lets through who is signed in, and asks everybody else to. What a
// page asks by itself, without a touch, does not put off the lock.
func (s *Server) signedIn(f func(http.ResponseWriter, *http.Request, *person)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p := s.who(r)
		if p == nil {
			if r.Header.Get(partHeader) != "" {
				http.Error(w, "locked", http.StatusUnauthorized)
				return
			}
			back := "/"
			if r.Method == http.MethodGet {
				back = r.URL.RequestURI()
			}
			http.Redirect(w, r, "/sign-in?back="+url.QueryEscape(back), http.StatusSeeOther)
			return
		}
		if r.Header.Get(partHeader) != partByItself {
			s.touch(p, true)
		}
		f(w, r, p)
	}
}

// alive is what the page says while somebody works in it, and the bedside view
// while it is open.
func (s *Server) alive(w http.ResponseWriter, r *http.Request, p *person) {
	s.touch(p, r.FormValue("bedside") == "")
	w.WriteHeader(http.StatusNoContent)
}
