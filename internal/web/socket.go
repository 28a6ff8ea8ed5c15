package web

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/coder/websocket"

	"bedsaid/internal/store"
)

// Limits of the line over which sound comes in.
const (
	// maxFrame bounds a message: eight bytes of place, and two seconds of sound.
	maxFrame = 8 + 2*2*store.Rate
	// maxWindows bounds the windows that are connected at once, all told.
	maxWindows = 16
	helloTime  = 5 * time.Second
	// pulse is how often a silent line is tried.
	pulse = 10 * time.Second
)

// ticket lets the windows of one page connect: what a person opened it, for
// which encounter, in which browser. It outlives the lock, so that recording
// does: whoever holds it can send sound, and is shown nothing.
type ticket struct {
	encounter, device string
	person            string // the token that she is signed in by
	s                 *Server
	p                 *person
	x                 *store.Session
}

func (k *ticket) confirmed() store.Confirmed { return k.s.confirmed(k.p, k.encounter, "", "") }

// ticketFor gives the token of a person's page for an encounter.
func (s *Server) ticketFor(p *person, person, encounter string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	for token, k := range s.tickets {
		if k.p == p && k.encounter == encounter {
			return token
		}
	}
	token := secret()
	s.tickets[token] = &ticket{encounter: encounter, device: p.device, person: person, s: s, p: p, x: p.x}
	return token
}

// ticketOf gives the ticket of a token, where it is of this browser and encounter,
// and she is signed in, or a recording of hers goes on.
func (s *Server) ticketOf(token, device, encounter string) *ticket {
	s.mu.Lock()
	defer s.mu.Unlock()
	k := s.tickets[token]
	if k == nil || k.device != device || k.encounter != encounter {
		return nil
	}
	return k
}

// dropTickets takes away the tickets of somebody who is signed out, but for
// recordings that go on; s.mu is held.
func (s *Server) dropTickets(p *person) {
	for token, k := range s.tickets {
		if t := s.takes[k.encounter]; k.p == p && (t == nil || !t.holds(k)) {
			delete(s.tickets, token)
		}
	}
}

// holds says whether a recording goes on by a ticket.
func (t *take) holds(k *ticket) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.by == k && t.rec != nil
}

// signedInStill says whether the person of a ticket has not been locked out.
func (s *Server) signedInStill(k *ticket) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.people[k.person] == k.p
}

// socket is the line of one window.
type socket struct {
	conn   *websocket.Conn
	ticket *ticket
	window string
	wake   chan struct{}
	end    context.CancelFunc
}

// poke has the window told how things stand.
func (k *socket) poke() {
	select {
	case k.wake <- struct{}{}:
	default: // it is about to be told
	}
}

// drop ends the line.
func (k *socket) drop() { k.end() }

// hello is the first message of a window.
type hello struct {
	Ticket string `json:"ticket"`
	// Window names the page as it was loaded: a line that was lost and found
	// again is the same window, a page that was loaded again is not.
	Window string `json:"window"`
}

type order struct {
	Do string `json:"do"`
}

// line is the connection over which a window sends sound and orders, and is told
// how the recording stands. A browser sends no form's token with it, so the page's
// ticket comes as the first message.
func (s *Server) line(w http.ResponseWriter, r *http.Request) {
	if r.Header.Get("Origin") != s.origin {
		http.Error(w, "Another site may not use this page.", http.StatusForbidden)
		return
	}
	if !strings.EqualFold(r.Header.Get("Upgrade"), "websocket") {
		http.Error(w, "This address is for the page itself.", http.StatusUpgradeRequired)
		return
	}
	encounter, device := r.PathValue("id"), s.cookie(r, "browser")
	if t := s.takeNow(encounter); s.who(r) == nil && (t == nil || t.device != device) {
		http.Error(w, "Sign in first.", http.StatusUnauthorized)
		return
	}
	select {
	case s.windows <- struct{}{}:
		defer func() { <-s.windows }()
	default:
		http.Error(w, "Too many windows are connected. Close some.", http.StatusServiceUnavailable)
		return
	}
	conn, err := websocket.Accept(w, r, nil)
	if err != nil {
		return // it was answered
	}
	defer conn.CloseNow()
	conn.SetReadLimit(maxFrame)
	ctx, end := context.WithCancel(context.Background()) // the request's own ends with the upgrade
	defer end()
	k, err := s.greet(ctx, conn, encounter, device)
	if err != nil {
		_ = conn.Close(websocket.StatusPolicyViolation, "this page is not known; load it again") // nobody is there to be told
		return
	}
	k.end = end
	t := s.takeOf(encounter, device, cutOff(ctx, k.ticket.x, encounter))
	t.join(k)
	defer t.leave(k)
	defer t.tell()
	go k.tellAll(ctx, t)
	t.tell()
	if k.listen(ctx, t) != nil {
		_ = conn.Close(websocket.StatusPolicyViolation, "that was not understood") // nobody is there to be told
	}
}

// greet takes the first message.
func (s *Server) greet(ctx context.Context, conn *websocket.Conn, encounter, device string) (*socket, error) {
	ctx, cancel := context.WithTimeout(ctx, helloTime)
	defer cancel()
	var h hello
	if err := readOrder(ctx, conn, &h); err != nil {
		return nil, err
	}
	t := s.ticketOf(h.Ticket, device, encounter)
	if t == nil || h.Window == "" {
		return nil, errOrder
	}
	return &socket{conn: conn, ticket: t, window: h.Window, wake: make(chan struct{}, 1)}, nil
}

func readOrder(ctx context.Context, conn *websocket.Conn, into any) error {
	kind, data, err := conn.Read(ctx)
	if err != nil {
		return err
	}
	if kind != websocket.MessageText {
		return errOrder
	}
	return strict(data, into)
}

// strict takes what is meant and nothing else.
func strict(data []byte, into any) error {
	d := json.NewDecoder(strings.NewReader(string(data)))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil || d.More() {
		return errOrder
	}
	return nil
}

// listen does what the window sends, until its line is lost, or it sends what
// makes no sense.
func (k *socket) listen(ctx context.Context, t *take) error {
	for {
		kind, data, err := k.conn.Read(ctx)
		if err != nil {
			return nil
		}
		if kind == websocket.MessageBinary {
			err = k.takeSound(t, data)
		} else {
			err = k.obey(t, data)
		}
		if errors.Is(err, errOrder) {
			return err
		}
	}
}

// takeSound reads a place in the recording (samples, 64 bits, little-endian) and
// the samples from there on (16 bits each, little-endian).
func (k *socket) takeSound(t *take, data []byte) error {
	if len(data) < 10 || len(data)%2 != 0 {
		return errOrder
	}
	at := binary.LittleEndian.Uint64(data)
	if at > 1<<40 { // two years of sound
		return errOrder
	}
	samples := make([]int16, (len(data)-8)/2)
	for i := range samples {
		samples[i] = int16(binary.LittleEndian.Uint16(data[8+2*i:]))
	}
	return t.sound(k, int64(at), samples)
}

func (k *socket) obey(t *take, data []byte) error {
	var o order
	if err := strict(data, &o); err != nil {
		return err
	}
	switch o.Do {
	case "record":
		t.record(k)
	case "pause":
		t.pause(k, takePaused, store.PauseAsked)
	case "lost":
		t.pause(k, takePaused, store.PauseNoMic)
	case "busy":
		t.lostSome(k)
	case "off":
		t.pause(k, takeOff, store.PauseOffRecord)
	case "stop":
		t.stop(k)
	case "withdraw":
		t.withdraw(k)
	default:
		return errOrder
	}
	k.poke()
	return nil
}

// tellAll tells the window how things stand whenever that changes.
func (k *socket) tellAll(ctx context.Context, t *take) {
	defer k.end()
	beat := time.NewTicker(pulse)
	defer beat.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-k.wake:
			data, err := json.Marshal(t.told(k))
			if err != nil || k.try(ctx, func(ctx context.Context) error { return k.conn.Write(ctx, websocket.MessageText, data) }) != nil {
				return
			}
		case <-beat.C:
			if k.try(ctx, k.conn.Ping) != nil {
				return
			}
		}
	}
}

// try does something with the line that must not take long.
func (k *socket) try(ctx context.Context, f func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, pulse)
	defer cancel()
	return f(ctx)
}

// cutOff gives the length, in samples, of the recording of an encounter that was
// not ended; -1 where there is none.
func cutOff(ctx context.Context, x *store.Session, encounter string) int64 {
	r, err := openRecording(ctx, x, encounter)
	if err != nil || r == nil {
		return -1
	}
	return r.Samples
}
