package web

import (
	"net/http"
	"strings"
)

// routes says what answers to what.
func (s *Server) routes() http.Handler {
	m := http.NewServeMux()
	m.HandleFunc("GET /open", s.open)
	m.HandleFunc("GET /assets/{name}", s.assets)
	m.HandleFunc("GET /sign-in", s.signIn)
	m.HandleFunc("POST /sign-in", s.signIn)
	m.HandleFunc("POST /lock", s.lockNow)
	in := func(pattern string, f func(http.ResponseWriter, *http.Request, *person)) {
		m.HandleFunc(pattern, s.signedIn(f))
	}
	in("POST /alive", s.alive)
	in("GET /{$}", s.list)
	in("GET /new", s.newForm)
	in("POST /new", s.newEncounter)
	in("GET /encounters/{id}", s.encounter)
	in("GET /encounters/{id}/jobs", s.jobParts)
	in("POST /encounters/{id}/sound", s.takeSound)
	in("POST /encounters/{id}/words", s.takeWords)
	in("POST /encounters/{id}/again", s.draftAgain)
	in("POST /encounters/{id}/consent", s.consent)
	in("POST /encounters/{id}/withdraw", s.withdraw)
	in("POST /encounters/{id}/erase", s.erase)
	in("GET /encounters/{id}/record", s.recordHere)
	in("POST /encounters/{id}/record", s.confirmRecord)
	m.HandleFunc("GET /encounters/{id}/line", s.line) // goes on while the page is locked
	in("GET /notes/{id}", s.review)
	in("GET /notes/{id}/words", s.words)
	in("GET /notes/{id}/sound", s.sound)
	in("POST /notes/{id}/decide", s.decide)
	in("POST /notes/{id}/region", s.acceptRegion)
	in("GET /notes/{id}/bedside", s.bedside)
	in("GET /notes/{id}/sign", s.signForm)
	in("POST /notes/{id}/sign", s.sign)
	in("GET /notes/{id}/final", s.final)
	in("POST /notes/{id}/print", s.print)
	in("GET /notes/{id}/compare", s.compare)
	in("GET /notes/{id}/handover", s.handover)
	in("POST /notes/{id}/handover", s.printHandover)
	in("GET /notes/{id}/course", s.course)
	in("GET /trend", s.trend)
	in("GET /proposals", s.proposals)
	in("POST /proposals", s.takeProposal)
	in("GET /notes/{id}/export", s.exportForm)
	in("POST /notes/{id}/export", s.export)
	m.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		http.Error(w, "There is no such page. Go back to the list of examinations.", http.StatusNotFound)
	})
	return m
}

// assets gives what pages load. They are held in memory, and a name with ".." in
// it is none of an embed.FS.
func (s *Server) assets(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	data, err := files.ReadFile("assets/" + name)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	kind := "text/css; charset=utf-8"
	if strings.HasSuffix(name, ".js") {
		kind = "text/javascript; charset=utf-8"
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(data) // nobody is there to be told
}
