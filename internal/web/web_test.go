package web

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/lexicon"
)

// Everything in these tests is invented.
const passphrase = "four words nobody guesses"

// bench is a page that is served, with a record behind it and a browser of its own.
type bench struct {
	t      *testing.T
	s      *Server
	http   *http.Client
	origin string
	dir    string
	login  string // who works in this browser
}

func serve(t *testing.T, change func(*Options)) *bench {
	t.Helper()
	lex, err := lexicon.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "record")
	o := Options{Folder: dir, Record: store.Options{Now: time.Now, Outline: note.OutlineOf(lex)}, Lexicon: lex, Program: "bedsaid test", Now: time.Now,
		Hearing: func(context.Context) (pipeline.Hearing, error) { return pipeline.Hearing{}, errors.New("no engine") }}
	if change != nil {
		change(&o)
	}
	x, _, err := store.Create(t.Context(), dir, store.NewUser{Login: "anna", Name: "Anna Example", Credentials: "RN", Role: review.Examiner, Manages: true}, passphrase, o.Record)
	if err != nil {
		t.Fatal(err)
	}
	if err := x.Close(); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(l.Addr().String(), o)
	if err != nil {
		t.Fatal(err)
	}
	h := &http.Server{Handler: s}
	go func() { _ = h.Serve(l) }() // ends with Close
	t.Cleanup(func() { h.Close(); s.Close() })
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &bench{t: t, s: s, http: &http.Client{Jar: jar}, origin: s.origin, dir: dir, login: "anna"}
}

// do asks as the page's own browser does.
func (b *bench) do(method, path string, form url.Values, change func(*http.Request)) (int, string, http.Header) {
	b.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequestWithContext(b.t.Context(), method, b.origin+path, body)
	if err != nil {
		b.t.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Origin", b.origin)
	}
	if change != nil {
		change(r)
	}
	res, err := b.http.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer res.Body.Close()
	page, err := io.ReadAll(res.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return res.StatusCode, string(page), res.Header
}

func (b *bench) get(path string) string {
	b.t.Helper()
	code, page, _ := b.do(http.MethodGet, path, nil, nil)
	if code != http.StatusOK {
		b.t.Fatalf("GET %s: %d\n%s", path, code, page)
	}
	return page
}

func (b *bench) post(want int, path string, form url.Values) string {
	b.t.Helper()
	code, page, _ := b.do(http.MethodPost, path, form, nil)
	if code != want {
		b.t.Fatalf("POST %s: %d, want %d\n%s", path, code, want, page)
	}
	return page
}

func (b *bench) launch() { b.get(strings.TrimPrefix(b.s.Launch(), b.origin)) }

func (b *bench) signIn() {
	b.launch()
	b.post(http.StatusOK, "/sign-in", url.Values{"login": {"anna"}, "passphrase": {passphrase}})
}

var wristband = url.Values{"first": {"QX-4471"}, "second": {"1900-02-30"}}

func with(base url.Values, pairs ...string) url.Values {
	v := url.Values{}
	for k, s := range base {
		v[k] = s
	}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v
}

// begin opens an examination and gives its path.
func (b *bench) begin(pairs ...string) string {
	b.t.Helper()
	page := b.post(http.StatusOK, "/new", with(with(wristband, "read", "yes", "bed", "7B", "at", "2031-02-03T03:00"), pairs...))
	return find(b.t, page, `action="(/encounters/e[0-9a-z]+)/words"`)
}

// draft drafts typed words and gives the path of the note.
func (b *bench) draft(words string) string {
	b.t.Helper()
	e := b.begin()
	b.post(http.StatusOK, e+"/words", url.Values{"text": {words}})
	return b.within(e, `href="(/notes/n[0-9a-z]+)"`)
}

// within waits until a page holds something.
func (b *bench) within(path, pattern string) string {
	b.t.Helper()
	for range 1600 {
		if m := regexp.MustCompile(pattern).FindStringSubmatch(b.get(path)); m != nil {
			return m[1]
		}
		time.Sleep(25 * time.Millisecond)
	}
	b.t.Fatalf("it did not come: %s", pattern)
	return ""
}

// session is the record as somebody who is signed in has it.
func (b *bench) session() *store.Session {
	b.t.Helper()
	b.s.mu.Lock()
	defer b.s.mu.Unlock()
	for _, p := range b.s.people {
		if p.x.User().Login == b.login {
			return p.x
		}
	}
	b.t.Fatalf("%s is not signed in", b.login)
	return nil
}

func find(t *testing.T, page, pattern string) string {
	t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("the page does not hold %s:\n%s", pattern, page)
	}
	return m[1]
}

func has(t *testing.T, page string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(page, w) {
			t.Errorf("the page does not say %q:\n%s", w, page)
		}
	}
}

// Whatever is not this page in a browser that the link opened is refused, and
// learns nothing.
func TestStrangersAreRefused(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	e := b.begin("bed", "Planted-77")
	cookies := b.http.Jar
	for name, c := range map[string]struct {
		method, path string
		change       func(*http.Request)
		want         int
	}{
		"another host name":          {"GET", "/", func(r *http.Request) { r.Host = "evil.example" }, 421},
		"a name that points here":    {"GET", "/", func(r *http.Request) { r.Host = "localhost:" + r.URL.Port() }, 421},
		"another port":               {"GET", "/", func(r *http.Request) { r.Host = "127.0.0.1:1" }, 421},
		"another site's link":        {"GET", "/", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, 403},
		"another port's link":        {"GET", "/", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") }, 403},
		"another site's form":        {"POST", e + "/words", func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") }, 403},
		"a form without an origin":   {"POST", e + "/words", func(r *http.Request) { r.Header.Del("Origin") }, 403},
		"a form of a hidden origin":  {"POST", "/lock", func(r *http.Request) { r.Header.Set("Origin", "null") }, 403},
		"another method":             {"DELETE", e, nil, 405},
		"preflight of another site":  {"OPTIONS", e, func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") }, 405},
		"out of the folder":          {"GET", "/assets/..%2f..%2fweb.go", nil, 404},
		"out of the folder, encoded": {"GET", "/assets/%2e%2e/views/frame.html", nil, 404},
		"a note that is none":        {"GET", "/notes/..%2f..%2fetc", nil, 404},
		"a page that is none":        {"GET", "/nowhere", nil, 404},
	} {
		code, page, h := b.do(c.method, c.path, nil, c.change)
		if code != c.want || strings.Contains(page, "Planted-77") {
			t.Errorf("%s: %d, want %d:\n%s", name, code, c.want, page)
		}
		if h.Get("Access-Control-Allow-Origin") != "" || !strings.Contains(h.Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s: headers %v", name, h)
		}
	}
	// A browser that was not opened gets nowhere, not even to the form.
	for _, jar := range []http.CookieJar{nil, mustJar(t)} {
		b.http.Jar = jar
		for _, path := range []string{"/", "/sign-in", e, "/assets/page.js"} {
			if code, page, _ := b.do(http.MethodGet, path, nil, nil); code != http.StatusForbidden || strings.Contains(page, "Planted") {
				t.Errorf("without the browser's cookie %s: %d", path, code)
			}
		}
	}
	// A person's cookie in another opened browser is worth nothing.
	u, _ := url.Parse(b.origin)
	b.http.Jar = mustJar(t)
	b.launch()
	for _, c := range cookies.Cookies(u) {
		if strings.Contains(c.Name, "person") {
			b.http.Jar.SetCookies(u, []*http.Cookie{c})
		}
	}
	if page := b.get(e); strings.Contains(page, "Planted-77") {
		t.Error("a stolen cookie opened the page in another browser")
	}
}

func mustJar(t *testing.T) http.CookieJar {
	t.Helper()
	j, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func TestLaunchLinkWorksOnce(t *testing.T) {
	b := serve(t, nil)
	link := strings.TrimPrefix(b.s.Launch(), b.origin)
	b.get(link)
	b.get(link) // a reload in the browser that it opened
	b.http.Jar = mustJar(t)
	for _, path := range []string{link, "/open", "/open?token=", "/open?token=AAAA", link + "x"} {
		if code, _, _ := b.do(http.MethodGet, path, nil, nil); code != http.StatusForbidden {
			t.Errorf("%s: %d, want it refused", path, code)
		}
	}
}

func TestCookiesAreHeldTight(t *testing.T) {
	b := serve(t, nil)
	b.http.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	_, _, h := b.do(http.MethodGet, strings.TrimPrefix(b.s.Launch(), b.origin), nil, nil)
	_, _, h2 := b.do(http.MethodPost, "/sign-in", url.Values{"login": {"anna"}, "passphrase": {passphrase}}, nil)
	all := append(h["Set-Cookie"], h2["Set-Cookie"]...)
	if len(all) != 2 {
		t.Fatalf("cookies %d, want two", len(all))
	}
	for _, c := range all {
		if !strings.Contains(c, "HttpOnly") || !strings.Contains(c, "SameSite=Strict") || strings.Contains(c, "Domain") {
			t.Errorf("a cookie is not held tight: %s", regexp.MustCompile(`=[^;]+`).ReplaceAllString(c, "=..."))
		}
	}
	if h2.Get("Cache-Control") != "no-store" {
		t.Error("pages may be kept by the browser")
	}
	// Where to go after signing in stays on this page.
	for _, back := range []string{"//evil.example", "https://evil.example", "/\\evil.example"} {
		_, _, h := b.do(http.MethodPost, "/sign-in", url.Values{"login": {"anna"}, "passphrase": {passphrase}, "back": {back}}, nil)
		if h.Get("Location") != "/" {
			t.Errorf("back to %q went to %q", back, h.Get("Location"))
		}
	}
}

// What a label, a bed or spoken words hold is shown as text.
func TestWordsNeverBecomeScript(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	const evil = `"><script>alert(1)</script><img src=x onerror=alert(2)>`
	note := b.draft("The pupils are equal. " + evil + " trachea is midline, he said " + evil)
	e := b.begin("bed", evil, "first", evil, "from", evil, "how", evil)
	for _, path := range []string{"/", e, note, note + "/words", note + "/bedside", note + "/final", note + "/sign", "/sign-in?back=/" + url.QueryEscape(evil) + "&login=" + url.QueryEscape(evil)} {
		page := b.get(path)
		if strings.Contains(page, "<script>") || strings.Contains(page, "<img") || strings.Contains(page, "alert(1)</script") {
			t.Errorf("%s holds the script as it was given", path)
		}
	}
	has(t, b.get(note+"/words"), "alert(1)&lt;/script&gt;")
}

func TestTooMuchIsRefusedAndServingGoesOn(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	e := b.begin("from", "the patient", "how", "said aloud")
	if page := b.post(http.StatusRequestEntityTooLarge, e+"/words", url.Values{"text": {strings.Repeat("word ", maxWords/4)}}); !strings.Contains(page, "too large") {
		t.Error("it does not say that it was too large")
	}
	b.post(http.StatusUnprocessableEntity, "/new", url.Values{"bed": {strings.Repeat("x", maxForm+1)}})
	code, _, _ := b.do(http.MethodGet, "/"+strings.Repeat("a", 2<<20), nil, nil)
	if code < 400 {
		t.Errorf("a path of 2 MB: %d", code)
	}
	// No sound, something that is no sound, and a form that is none.
	for _, body := range []string{"", "not a form", "--x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.wav\"\r\n\r\nno sound at all\r\n--x--\r\n"} {
		code, page, _ := b.do(http.MethodPost, e+"/sound", nil, func(r *http.Request) {
			r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
			r.Body, r.ContentLength = io.NopCloser(strings.NewReader(body)), int64(len(body))
		})
		if code != http.StatusUnprocessableEntity || !strings.Contains(page, `role="alert"`) {
			t.Errorf("%q: %d\n%s", body, code, page)
		}
	}
	// A thousand connections that say nothing, and one that works.
	var conns []net.Conn
	for range 1000 {
		c, err := (&net.Dialer{}).DialContext(t.Context(), "tcp4", b.s.host)
		if err != nil {
			break // the system's own limit
		}
		conns = append(conns, c)
	}
	t.Logf("%d connections held open", len(conns))
	b.get("/")
	for _, c := range conns {
		c.Close()
	}
	b.get("/")
}

func TestWrongPassphraseLetsNobodyIn(t *testing.T) {
	b := serve(t, nil)
	b.launch()
	for _, v := range []url.Values{{"login": {"anna"}, "passphrase": {"wrong"}}, {"login": {"nobody"}, "passphrase": {passphrase}}, {}} {
		if page := b.post(http.StatusUnauthorized, "/sign-in", v); !strings.Contains(page, "wrong") {
			t.Errorf("it does not say what is wrong: %s", page)
		}
	}
	has(t, b.get("/"), "Passphrase")
	if b.s.record != nil {
		t.Error("the record is open while nobody is signed in")
	}
}

// The page locks itself, and what a page asks by itself does not hold it open.
func TestLocksItself(t *testing.T) {
	b := serve(t, func(o *Options) { o.LockAfter = 3 * time.Second })
	b.signIn()
	note := b.draft("Trachea midline.")
	for range 10 { // a hand holds it open
		time.Sleep(500 * time.Millisecond)
		b.post(http.StatusNoContent, "/alive", url.Values{})
	}
	has(t, b.get(note), "trachea")
	locked := false
	for range 12 {
		time.Sleep(500 * time.Millisecond)
		code, _, _ := b.do(http.MethodGet, note+"/bedside", nil, func(r *http.Request) { r.Header.Set(partHeader, partByItself) })
		locked = locked || code == http.StatusUnauthorized
	}
	if !locked {
		t.Error("asking by itself held the page open")
	}
	if page := b.get(note); strings.Contains(page, "trachea") || !strings.Contains(page, "Passphrase") {
		t.Error("the page shows a note while it is locked")
	}
	b.s.mu.Lock()
	open := b.s.record != nil
	b.s.mu.Unlock()
	if open {
		t.Error("the record is open while the page is locked")
	}
	b.post(http.StatusOK, "/sign-in", url.Values{"login": {"anna"}, "passphrase": {passphrase}, "back": {note}})
	has(t, b.get(note), "trachea")
	b.post(http.StatusOK, "/lock", url.Values{})
	if page := b.get(note); strings.Contains(page, "trachea") {
		t.Error("locked by hand, and shows a note")
	}
}

// The bedside view holds the page open without a touch, and not for ever.
func TestBedsideHoldsThePageOpenForAnHour(t *testing.T) {
	var ahead atomic.Int64
	b := serve(t, func(o *Options) {
		o.LockAfter = 3 * time.Second
		o.Now = func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) }
	})
	b.signIn()
	ping := func() int {
		code, _, _ := b.do(http.MethodPost, "/alive?bedside=1", url.Values{}, func(r *http.Request) { r.Header.Set(partHeader, partByItself) })
		return code
	}
	for range 10 {
		time.Sleep(500 * time.Millisecond)
		if code := ping(); code != http.StatusNoContent {
			t.Fatalf("the bedside view was locked: %d", code)
		}
	}
	ahead.Store(int64(bedsideHold + time.Minute))
	code := 0
	for range 12 {
		time.Sleep(500 * time.Millisecond)
		code = ping()
	}
	if code != http.StatusUnauthorized {
		t.Errorf("after more than an hour without a touch: %d, want it locked", code)
	}
}

func TestManyAtOnce(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	note := b.draft("Trachea midline. Left pupil four millimeters.")
	var wg sync.WaitGroup
	for range 40 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			r, _ := http.NewRequestWithContext(t.Context(), http.MethodGet, b.origin+note, nil)
			res, err := b.http.Do(r)
			if err != nil || res.StatusCode != http.StatusOK {
				t.Errorf("%v", err)
				return
			}
			res.Body.Close()
		}()
	}
	wg.Wait()
}
