package web

import (
	"net/http"
	"strings"
)

// Cookies. The port is no part of what a cookie is bound to, so the names carry
// it: two pages on one machine keep apart.
func (s *Server) cookieName(what string) string {
	return "bedsaid_" + what + "_" + s.host[strings.LastIndexByte(s.host, ':')+1:]
}

func (s *Server) setCookie(w http.ResponseWriter, what, value string) {
	age := 0
	if value == "" {
		age = -1
	}
	http.SetCookie(w, &http.Cookie{Name: s.cookieName(what), Value: value, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: age})
}

func (s *Server) cookie(r *http.Request, what string) string {
	c, err := r.Cookie(s.cookieName(what))
	if err != nil {
		return ""
	}
	return c.Value
}

// policy lets the page load only what this server sends; no script or style in
// the page's own text runs, whatever a label or a spoken word holds.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Limits of what a request may send.
const (
	maxForm  = 64 << 10
	maxWords = 2 << 20
	maxSound = 1 << 30
)

// guard lets through only what this page asks of its own server. Another name
// for the same address (a DNS name that was made to point here), another site's
// page, or a browser that was not opened by the launch link is refused before
// anything is looked at.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=(self)")
		h.Set("Cache-Control", "no-store")
		if r.Host != s.host {
			http.Error(w, "This page answers to one address only. Open the link that bedsaid serve printed.", http.StatusMisdirectedRequest)
			return
		}
		switch site := r.Header.Get("Sec-Fetch-Site"); site {
		case "", "same-origin", "none": // none: typed, or clicked in a terminal
		default:
			http.Error(w, "Another site may not use this page.", http.StatusForbidden)
			return
		}
		switch r.Method {
		case http.MethodGet, http.MethodHead:
		case http.MethodPost:
			if r.Header.Get("Origin") != s.origin {
				http.Error(w, "Another site may not use this page.", http.StatusForbidden)
				return
			}
		default:
			http.Error(w, "This page does not do that.", http.StatusMethodNotAllowed)
			return
		}
		if r.URL.Path != "/open" && !s.known(s.cookie(r, "browser")) {
			http.Error(w, "This browser was not opened by bedsaid. Start bedsaid serve and open the link that it prints; each link opens one browser, once.", http.StatusForbidden)
			return
		}
		limit := int64(maxForm)
		if strings.HasSuffix(r.URL.Path, "/words") {
			limit = maxWords
		}
		if strings.HasSuffix(r.URL.Path, "/sound") {
			limit = maxSound
		}
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		next.ServeHTTP(w, r)
	})
}

func (s *Server) known(device string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return device != "" && s.devices[device]
}

// open takes a launch token, once, and remembers the browser. Tokens are looked
// up whole in a map keyed by 256 random bits: timing tells nothing of use.
func (s *Server) open(w http.ResponseWriter, r *http.Request) {
	token := r.URL.Query().Get("token")
	s.mu.Lock()
	ok := token != "" && s.launch[token]
	delete(s.launch, token)
	device := secret()
	if ok {
		s.devices[device] = true
	}
	s.mu.Unlock()
	if !ok {
		if s.known(s.cookie(r, "browser")) { // a reload of the first page
			http.Redirect(w, r, "/", http.StatusSeeOther)
			return
		}
		http.Error(w, "This link was used already, or is not from this run of bedsaid serve. Start it again and open the link that it prints.", http.StatusForbidden)
		return
	}
	s.setCookie(w, "browser", device)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}
