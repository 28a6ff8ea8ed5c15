package web

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"

	"bedsaid/internal/store"
)

// phone is a window as the server sees it: a line, and what it is told.
type phone struct {
	t    *testing.T
	conn *websocket.Conn
	last told
}

// dial calls as the page does; change makes it call otherwise.
func (b *bench) dial(encounter string, change func(http.Header)) (*websocket.Conn, int, error) {
	b.t.Helper()
	u, err := url.Parse(b.origin)
	if err != nil {
		b.t.Fatal(err)
	}
	h := http.Header{"Origin": {b.origin}}
	for _, c := range b.http.Jar.Cookies(u) {
		h.Add("Cookie", c.String())
	}
	if change != nil {
		change(h)
	}
	conn, res, err := websocket.Dial(b.t.Context(), "ws://"+u.Host+"/encounters/"+encounter+"/line", &websocket.DialOptions{HTTPHeader: h})
	code := 0
	if res != nil {
		code = res.StatusCode
	}
	return conn, code, err
}

// ticket is that of the page that records.
func (b *bench) ticket(encounter string) string {
	b.t.Helper()
	return find(b.t, b.get("/encounters/"+encounter+"/record"), `data-ticket="([^"]+)"`)
}

// call opens a window that is told how things stand.
func (b *bench) call(encounter, window string) *phone {
	b.t.Helper()
	ticket := b.ticket(encounter)
	conn, _, err := b.dial(encounter, nil)
	if err != nil {
		b.t.Fatal(err)
	}
	p := &phone{t: b.t, conn: conn}
	b.t.Cleanup(func() { conn.CloseNow() })
	p.text(fmt.Sprintf(`{"ticket":%q,"window":%q}`, ticket, window))
	p.until(func(told) bool { return true })
	return p
}

func (p *phone) text(s string) {
	p.t.Helper()
	if err := p.conn.Write(p.t.Context(), websocket.MessageText, []byte(s)); err != nil {
		p.t.Fatal(err)
	}
}

func (p *phone) do(what string) { p.text(fmt.Sprintf(`{"do":%q}`, what)) }

func (p *phone) sound(at int, samples []int16) {
	p.t.Helper()
	data := binary.LittleEndian.AppendUint64(nil, uint64(at))
	for _, v := range samples {
		data = binary.LittleEndian.AppendUint16(data, uint16(v))
	}
	if err := p.conn.Write(p.t.Context(), websocket.MessageBinary, data); err != nil {
		p.t.Fatal(err)
	}
}

// until reads what is told until it is as wanted, from what was told last on.
func (p *phone) until(want func(told) bool) told {
	p.t.Helper()
	if p.last.State != "" && want(p.last) {
		return p.last
	}
	ctx, stop := context.WithTimeout(p.t.Context(), time.Minute)
	defer stop()
	for {
		_, data, err := p.conn.Read(ctx)
		if err != nil {
			p.t.Fatalf("%v; told last: %+v", err, p.last)
		}
		p.last = told{}
		if err := json.Unmarshal(data, &p.last); err != nil {
			p.t.Fatal(err)
		}
		if strings.Contains(string(data), "trachea") {
			p.t.Error("the line tells words")
		}
		if want(p.last) {
			return p.last
		}
	}
}

func (p *phone) state(s takeState) told {
	p.t.Helper()
	return p.until(func(v told) bool { return v.State == s })
}

// closed says whether the server ended the line.
func (p *phone) closed() {
	p.t.Helper()
	ctx, stop := context.WithTimeout(p.t.Context(), 10*time.Second)
	defer stop()
	for {
		if _, _, err := p.conn.Read(ctx); err != nil {
			if ctx.Err() != nil {
				p.t.Error("the line was not ended")
			}
			return
		}
	}
}

func (b *bench) withConsent() string {
	b.t.Helper()
	return strings.TrimPrefix(b.begin("from", "the patient", "how", "said aloud"), "/encounters/")
}

// A line that is lost and found again leaves no hole and nothing twice, and what
// is told as safe is there after the server is gone.
func TestLostLineLosesNothing(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e := b.withConsent()
	all := babble(6, store.Rate)
	p := b.call(e, "one")
	if v := p.last; v.State != takeReady || v.You != "none" {
		t.Fatalf("before it begins: %+v", v)
	}
	p.do("record")
	p.until(func(v told) bool { return v.State == takeRecording && v.You == "this" })
	p.sound(0, all[:store.Rate])
	p.sound(store.Rate, all[store.Rate:2*store.Rate+333])
	p.until(func(v told) bool { return v.Received == 2*store.Rate+333 })
	p.conn.CloseNow()

	// The same window calls again, and sends from where it knows to be safe.
	p = b.call(e, "one")
	v := p.until(func(v told) bool { return v.You == "this" })
	if v.State != takeRecording || v.Received != 2*store.Rate+333 {
		t.Fatalf("after the line was lost: %+v", v)
	}
	p.sound(store.Rate, all[store.Rate:3*store.Rate])
	p.sound(3*store.Rate, all[3*store.Rate:4*store.Rate])
	v = p.until(func(v told) bool { return v.Received == 4*store.Rate })
	if v.Safe > v.Received || v.Safe < 4*store.Rate-store.Rate/2 {
		t.Errorf("safe %d of %d", v.Safe, v.Received)
	}
	// The server goes, and another one takes its place.
	b.s.Close()
	b2 := b.again()
	b2.signIn()
	if page := b2.get("/encounters/" + e); !strings.Contains(page, "cut off") || !strings.Contains(page, "0:04") {
		t.Errorf("the page does not say what is safe: %s", page)
	}
	b2.post(http.StatusUnprocessableEntity, "/encounters/"+e+"/record", with(wristband, "first", "another"))
	b2.post(http.StatusOK, "/encounters/"+e+"/record", wristband)
	p = b2.call(e, "two")
	if v := p.last; v.State != takeCut || v.Safe != 4*store.Rate {
		t.Fatalf("after the server was started anew: %+v", v)
	}
	p.do("record")
	p.until(func(v told) bool { return v.State == takeRecording })
	p.sound(4*store.Rate, all[4*store.Rate:])
	p.do("stop")
	v = p.until(func(v told) bool { return v.Go != "" })
	r, pcm := b2.recorded(e)
	if !slices.Equal(pcm, all) || r.State != store.RecordingEnded {
		t.Errorf("%d samples are kept, want %d, %s", len(pcm), len(all), r.State)
	}
	// The note says that the recording was cut off.
	has(t, b2.get(v.Go), "About the recording", "the program was stopped", "after 0:04")
}

// What a pause, off the record, and a page that is closed leave behind.
func TestPausesKeepNothingAndAreTold(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e := b.withConsent()
	all := babble(4, store.Rate)
	p := b.call(e, "one")
	for i, how := range []string{"pause", "off", "lost"} {
		p.do("record")
		p.state(takeRecording)
		p.sound(i*store.Rate, all[i*store.Rate:(i+1)*store.Rate])
		p.do(how)
		v := p.until(func(v told) bool { return v.State == takePaused || v.State == takeOff })
		if v.Safe != int64(i+1)*store.Rate {
			t.Errorf("%s: %d samples are safe, want all", how, v.Safe)
		}
	}
	p.do("record")
	p.state(takeRecording)
	p.conn.CloseNow()
	p = b.call(e, "another page")
	p.until(func(v told) bool { return v.State == takeAway && v.You == "none" })
	p.do("record")
	p.state(takeRecording)
	p.sound(3*store.Rate, all[3*store.Rate:])
	p.do("stop")
	v := p.until(func(v told) bool { return v.Go != "" })
	if _, pcm := b.recorded(e); !slices.Equal(pcm, all) {
		t.Errorf("%d samples are kept, want %d", len(pcm), len(all))
	}
	has(t, b.get(v.Go), "after 0:01: paused", "after 0:02: off the record", "after 0:03: the microphone was gone", "after 0:03: the page that recorded was closed or lost")
	// Sound that comes while it is paused ends the line and is not kept.
	e = b.withConsent()
	p = b.call(e, "one")
	p.do("record")
	p.state(takeRecording)
	p.do("pause")
	p.state(takePaused)
	p.sound(0, all[:store.Rate])
	p.closed()
	if r, _ := b.recorded(e); r.Samples != 0 {
		t.Errorf("%d samples of a pause are kept", r.Samples)
	}
}

// A second window looks on, and can go on where the first one is gone.
func TestOneWindowRecords(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e := b.withConsent()
	one, two := b.call(e, "one"), b.call(e, "two")
	one.do("record")
	one.until(func(v told) bool { return v.You == "this" })
	two.until(func(v told) bool { return v.You == "other" && v.State == takeRecording })
	for _, what := range []string{"record", "pause", "off", "stop"} {
		two.do(what)
	}
	one.sound(0, babble(1, store.Rate))
	if v := two.until(func(v told) bool { return v.Received == store.Rate }); v.State != takeRecording || v.You != "other" {
		t.Errorf("the second window changed it: %+v", v)
	}
	two.sound(store.Rate, babble(1, store.Rate))
	two.closed()
	three := b.call(e, "three")
	one.conn.CloseNow()
	three.until(func(v told) bool { return v.State == takeAway && v.You == "none" })
	three.do("record")
	three.until(func(v told) bool { return v.State == takeRecording && v.You == "this" })
}

// A withdrawn consent ends it at once, drafts nothing, and offers to erase.
func TestWithdrawnConsentEndsTheRecording(t *testing.T) {
	for _, by := range []string{"the window", "another page"} {
		b := serve(t, hears(spoken...))
		b.signIn()
		e := b.withConsent()
		p := b.call(e, "one")
		p.do("record")
		p.state(takeRecording)
		p.sound(0, babble(2, store.Rate))
		if by == "the window" {
			p.do("withdraw")
		} else {
			b.post(http.StatusOK, "/encounters/"+e+"/withdraw", url.Values{})
		}
		v := p.state(takeWithdrawn)
		page := b.get(v.Go)
		has(t, page, "Consent was withdrawn", "Erase the sound")
		if strings.Contains(page, "/notes/") || strings.Contains(page, "/record") {
			t.Errorf("%s: a note was made, or recording is offered", by)
		}
		b.post(http.StatusUnprocessableEntity, "/encounters/"+e+"/erase", url.Values{})
		has(t, b.post(http.StatusOK, "/encounters/"+e+"/erase", url.Values{"asked": {"yes"}}), "No sound is kept")
		all, err := b.session().Recordings(t.Context(), e)
		if err != nil || len(all) != 1 || all[0].State != store.RecordingPurged {
			t.Errorf("%s: %v %v", by, all, err)
		}
	}
}

// The lock hides words and keeps recording; the key to the record is held as long.
func TestLockKeepsRecording(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e := b.withConsent()
	all := babble(3, store.Rate)
	p := b.call(e, "one")
	p.do("record")
	p.state(takeRecording)
	p.sound(0, all[:store.Rate])
	ticket := b.ticket(e)
	b.post(http.StatusOK, "/lock", url.Values{})
	p.until(func(v told) bool { return v.Locked })
	p.sound(store.Rate, all[store.Rate:2*store.Rate])
	p.until(func(v told) bool { return v.Received == 2*store.Rate })
	code, page, _ := b.do(http.MethodGet, "/encounters/"+e+"/record", nil, func(r *http.Request) { r.Header.Set(partHeader, partByItself) })
	if code != http.StatusUnauthorized || strings.Contains(page, "trachea") {
		t.Errorf("locked, and it shows: %d %s", code, page)
	}
	// A line that is lost meanwhile is found again by the page's ticket.
	p.conn.CloseNow()
	conn, _, err := b.dial(e, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.CloseNow()
	p = &phone{t: t, conn: conn}
	p.text(fmt.Sprintf(`{"ticket":%q,"window":"one"}`, ticket))
	p.until(func(v told) bool { return v.You == "this" && v.Locked })
	p.sound(2*store.Rate, all[2*store.Rate:])
	p.do("stop")
	p.until(func(v told) bool { return v.Go != "" })
	for range 200 { // nobody is signed in and nothing goes on: the record closes
		b.s.mu.Lock()
		open := b.s.record != nil
		b.s.mu.Unlock()
		if !open {
			break
		}
		time.Sleep(25 * time.Millisecond)
	}
	b.s.mu.Lock()
	if b.s.record != nil {
		t.Error("the record is open while nothing goes on")
	}
	b.s.mu.Unlock()
	b.post(http.StatusOK, "/sign-in", url.Values{"login": {"anna"}, "passphrase": {passphrase}})
	if _, pcm := b.recorded(e); !slices.Equal(pcm, all) {
		t.Errorf("%d samples are kept, want %d", len(pcm), len(all))
	}
}

// A write that fails is told at once with what to do, and so is that it works again.
func TestDiskTroubleIsTold(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e := b.withConsent()
	p := b.call(e, "one")
	p.do("record")
	p.state(takeRecording)
	at := b.s.takeNow(e)
	at.wrote(at.rec, fmt.Errorf("record sound: %w", store.ErrFull))
	v := p.until(func(v told) bool { return v.Problem != "" })
	if v.Problem != "The disk is full; what was saved before is safe." || v.Hint == "" || v.State != takeRecording {
		t.Errorf("told %+v", v)
	}
	p.sound(0, babble(1, store.Rate))
	p.until(func(v told) bool { return v.Problem == "" && v.Safe == store.Rate })
}

// Hearing that fails leaves the recording whole, and a draft is tried from it.
func TestDeafPageKeepsTheSound(t *testing.T) {
	b := serve(t, nil) // its engine fails, live and afterwards
	b.signIn()
	e := b.withConsent()
	p := b.call(e, "one")
	p.do("record")
	p.until(func(v told) bool { return v.Deaf })
	all := babble(1, store.Rate)
	p.sound(0, all)
	p.do("stop")
	if v := p.until(func(v told) bool { return v.Go != "" }); v.Go != "/encounters/"+e {
		t.Errorf("it goes to %s", v.Go)
	}
	has(t, b.get("/encounters/"+e), "The sound is kept", "Draft from it")
	if _, pcm := b.recorded(e); !slices.Equal(pcm, all) {
		t.Error("the sound is not what was sent")
	}
}

// What is no line of this page is refused, and serving goes on.
func TestStrangeLinesAreRefused(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e, other := b.withConsent(), b.withConsent()
	ticket := b.ticket(e)
	for name, c := range map[string]struct {
		change func(http.Header)
		want   int
	}{
		"another site":       {func(h http.Header) { h.Set("Origin", "http://evil.example") }, 403},
		"no origin":          {func(h http.Header) { h.Del("Origin") }, 403},
		"a hidden origin":    {func(h http.Header) { h.Set("Origin", "null") }, 403},
		"begun elsewhere":    {func(h http.Header) { h.Set("Sec-Fetch-Site", "cross-site") }, 403},
		"no cookies":         {func(h http.Header) { h.Del("Cookie") }, 403},
		"not signed in":      {func(h http.Header) { h.Set("Cookie", h.Values("Cookie")[0]) }, 0},
		"a cookie made up":   {func(h http.Header) { h.Set("Cookie", strings.Replace(h.Get("Cookie"), "=", "=x", 1)) }, 403},
		"no line, but a get": {func(h http.Header) { h.Set("Upgrade", "none") }, 0},
	} {
		conn, code, err := b.dial(e, c.change)
		if err == nil {
			conn.CloseNow()
			if c.want != 0 {
				t.Errorf("%s: it was let in", name)
			}
			continue
		}
		if c.want != 0 && code != c.want {
			t.Errorf("%s: %d, want %d", name, code, c.want)
		}
	}
	// The first message must be the ticket of this page.
	for name, first := range map[string]string{
		"no ticket": `{"window":"w"}`, "a ticket made up": `{"ticket":"AAAA","window":"w"}`, "no json": `hello`, "more than asked": `{"ticket":"` + ticket + `","window":"w","role":"admin"}`,
		"two at once": `{"ticket":"` + ticket + `","window":"w"}{}`, "no window": `{"ticket":"` + ticket + `"}`, "the ticket of another encounter": `{"ticket":"` + b.ticket(other) + `","window":"w"}`,
	} {
		conn, _, err := b.dial(e, nil)
		if err != nil {
			t.Fatal(err)
		}
		p := &phone{t: t, conn: conn}
		p.text(first)
		if _, data, err := conn.Read(t.Context()); err == nil {
			t.Errorf("%s: it was told %s", name, data)
		}
		conn.CloseNow()
	}
	// Messages that make no sense end the line; the recording goes on without it.
	for name, send := range map[string]func(*phone){
		"sound before it begins":   func(p *phone) { p.sound(0, make([]int16, 100)) },
		"a hole":                   func(p *phone) { p.do("record"); p.state(takeRecording); p.sound(1, make([]int16, 100)) },
		"half a sample":            func(p *phone) { _ = p.conn.Write(t.Context(), websocket.MessageBinary, make([]byte, 13)) },
		"no sample":                func(p *phone) { _ = p.conn.Write(t.Context(), websocket.MessageBinary, make([]byte, 8)) },
		"a place beyond all sound": func(p *phone) { p.sound(1<<62, make([]int16, 100)) },
		"too long":                 func(p *phone) { _ = p.conn.Write(t.Context(), websocket.MessageBinary, make([]byte, maxFrame+2)) },
		"an order that is none":    func(p *phone) { p.do("erase") },
		"text without sense":       func(p *phone) { p.text(strings.Repeat("{", 4000)) },
	} {
		p := b.call(e, name)
		send(p)
		p.closed()
		if t.Failed() {
			t.Fatalf("after %s", name)
		}
	}
	b.get("/encounters/" + e + "/record")
}

// Of a thousand windows, a few are let in and the rest are told so.
func TestThousandWindows(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e := b.withConsent()
	p := b.call(e, "one")
	p.do("record")
	p.state(takeRecording)
	in, full := 0, 0
	for range 1000 {
		conn, code, err := b.dial(e, nil)
		switch {
		case err == nil:
			in++
			defer conn.CloseNow()
		case code == http.StatusServiceUnavailable:
			full++
		default:
			t.Fatalf("%d %v", code, err)
		}
	}
	if in != maxWindows-1 || full != 1000-in {
		t.Errorf("%d were let in and %d told that it is full", in, full)
	}
	p.sound(0, babble(1, store.Rate))
	p.until(func(v told) bool { return v.Received == store.Rate })
	b.get("/")
}

// A consent can be noted after the examination was begun; one that was withdrawn
// stays so.
func TestConsentNotedLater(t *testing.T) {
	b := serve(t, hears(spoken...))
	b.signIn()
	e := b.begin()
	if strings.Contains(b.get(e), "/record") {
		t.Error("recording is offered without a consent")
	}
	has(t, b.post(http.StatusUnprocessableEntity, e+"/consent", url.Values{"from": {"the patient"}}), "half noted")
	has(t, b.post(http.StatusOK, e+"/consent", url.Values{"from": {"the patient"}, "how": {"said aloud"}, "others": {"yes"}}), "Record with the microphone", "others in the room were told")
	b.post(http.StatusOK, e+"/withdraw", url.Values{})
	b.post(http.StatusUnprocessableEntity, e+"/consent", url.Values{"from": {"the patient"}, "how": {"said aloud"}})
	if strings.Contains(b.get(e), "/record\"") {
		t.Error("recording is offered after the consent was withdrawn")
	}
}
