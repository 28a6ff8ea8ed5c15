// Package web is the page: it serves, on this machine alone, what a nurse needs
// at the bedside and after to see what is missing, correct a draft, and sign.
// It decides nothing itself: package pipeline drafts, package review holds the
// rules, package store keeps. docs/page.md says why it looks as it does, and
// docs/security.md what keeps others out.
package web

import (
	"context"
	"crypto/rand"
	"embed"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"io"
	"log"
	"net"
	"net/http"
	"sync"
	"time"

	"bedsaid/internal/pipeline"
	"bedsaid/internal/store"
	"bedsaid/lexicon"
)

//go:embed assets views
var files embed.FS

// DefaultLock is the time without a touch after which the page locks itself.
// 45 CFR 164.312(a)(2)(iii) asks for automatic logoff and names no time; five
// minutes are common practice, no source.
const DefaultLock = 5 * time.Minute

// bedsideHold is how long the view for the bedside, where gloved hands touch
// nothing, keeps the page from locking; it hides words instead.
const bedsideHold = time.Hour

// Options are what the page takes from the outside.
type Options struct {
	// Folder is where the record lies; Record is how it is opened.
	Folder string
	Record store.Options
	// Lexicon is what the packs say.
	Lexicon *lexicon.Lexicon
	// Hearing gives the speech engine, on first need.
	Hearing func(context.Context) (pipeline.Hearing, error)
	// Live hears a recording while it goes on; told takes what is understood, and
	// deaf why nothing is heard, as soon as that is known. nil is the pipeline's.
	Live func(ctx context.Context, told func(pipeline.Update), deaf func(error)) (Listener, error)
	// Packs reads the site's own packs, and PackFile is the pack that takes what
	// corrections teach; empty where the site has no folder of packs.
	Packs    func() ([]lexicon.File, error)
	PackFile string
	// Program is the name and version for the provenance.
	Program string
	Now     func() time.Time
	// LockAfter is the time without a touch after which the page locks itself;
	// zero is DefaultLock.
	LockAfter time.Duration
}

// Server is the page. It is safe for use by many requests at once.
type Server struct {
	opt          Options
	host, origin string
	views        *template.Template
	handler      http.Handler
	sides        map[string]string // words that name a side

	mu      sync.Mutex
	launch  map[string]bool // tokens that open a browser, each once
	devices map[string]bool // browsers that were opened
	people  map[string]*person
	record  *store.Store // open while somebody is signed in or a draft is made
	jobs    map[string]*job
	lastJob int
	takes   map[string]*take   // recordings at the bedside, by encounter
	tickets map[string]*ticket // of pages that may send sound

	taking    sync.Mutex    // one word goes into the site's pack at a time
	signingIn sync.Mutex    // one passphrase at a time: each try takes 64 MiB
	hearing   chan struct{} // one recording is heard at a time
	ears      sync.WaitGroup
	windows   chan struct{} // as many windows are connected as it holds
}

// New makes the page for the address host:port at which it is reached.
func New(address string, o Options) (*Server, error) {
	if o.LockAfter <= 0 {
		o.LockAfter = DefaultLock
	}
	s := &Server{opt: o, host: address, origin: "http://" + address, launch: map[string]bool{},
		devices: map[string]bool{}, people: map[string]*person{}, jobs: map[string]*job{}, hearing: make(chan struct{}, 1),
		takes: map[string]*take{}, tickets: map[string]*ticket{}, windows: make(chan struct{}, maxWindows),
		sides: sideWords(o.Lexicon)}
	if s.opt.Live == nil {
		s.opt.Live = s.live
	}
	var err error
	if s.views, err = template.New("").Funcs(viewFuncs()).ParseFS(files, "views/*.html"); err != nil {
		return nil, fmt.Errorf("read page: %w", err)
	}
	s.handler = s.guard(s.routes())
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Launch gives a link that opens the page in one browser, once.
func (s *Server) Launch() string {
	token := secret()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.launch[token] = true
	return s.origin + "/open?token=" + token
}

// Close puts recordings aside, locks the page for everybody and closes the record.
func (s *Server) Close() error {
	s.closeTakes()
	s.ears.Wait() // the engine is closed after this
	s.mu.Lock()
	defer s.mu.Unlock()
	for token, p := range s.people {
		p.timer.Stop()
		delete(s.people, token)
	}
	if s.record == nil {
		return nil
	}
	err := s.record.Close()
	s.record = nil
	return err
}

// Serve listens on a free port of this machine alone, tells the link by ready,
// and serves until the context ends.
func Serve(ctx context.Context, o Options, ready func(link string)) error {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return fmt.Errorf("open page: %w", err)
	}
	s, err := New(l.Addr().String(), o)
	if err != nil {
		l.Close()
		return err
	}
	h := &http.Server{Handler: s, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
		ErrorLog: log.New(io.Discard, "", 0)} // its lines may hold what a request said
	stopped := make(chan error, 1)
	go func() { stopped <- h.Serve(l) }()
	ready(s.Launch())
	select {
	case err = <-stopped:
	case <-ctx.Done():
		late, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		err = h.Shutdown(late)
		if errors.Is(err, context.DeadlineExceeded) {
			err = h.Close()
		}
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return errors.Join(err, s.Close())
}

// secret is 256 random bits that nobody guesses.
func secret() string {
	b := make([]byte, 32)
	_, _ = rand.Read(b) // never fails
	return base64.RawURLEncoding.EncodeToString(b)
}
