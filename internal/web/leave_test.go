package web

import (
	"encoding/binary"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp/kb"

	"bedsaid/internal/audio"
	"bedsaid/internal/export/fhir"
	"bedsaid/internal/export/forms"
	"bedsaid/internal/store"
)

// signed drafts, decides and signs a note.
func (b *bench) signed(words string) string {
	b.t.Helper()
	note := b.draft(words)
	b.sign(note)
	return note
}

// sign decides and signs a note.
func (b *bench) sign(note string) {
	b.t.Helper()
	b.decideAll(note)
	page := b.get(note + "/sign")
	b.post(http.StatusOK, note+"/sign", with(wristband, "after", find(b.t, page, `name="after" value="(\d+)"`), "kind", "sign", "passphrase", passphrase))
}

// The patient's last signed note is found by both identifiers, and what differs
// is said in the words of the exports.
func TestCompareWithLastSigned(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	first := b.draft("Trachea is midline. Right pupil three millimeters. Left pupil three millimeters. There is a scab over the occiput.")
	has(t, b.get(first+"/compare"), "No earlier signed note")
	unsigned := b.draft("Right pupil nine millimeters.") // nobody signed it: no ground to compare on
	b.sign(first)
	now := b.draft("Right pupil three millimeters. Left pupil five millimeters. Right eardrum is pearly gray. No scab over the occiput.")

	page := b.get(now + "/compare")
	has(t, page, first+"/final", "This note is a draft")
	group := func(title string) string {
		t.Helper()
		return find(t, page, `(?s)>`+title+` <span class="sub">(.*?)</section>`)
	}
	for title, want := range map[string][]string{
		"New": {"colour of the eardrum, right ear"}, "Gone": {"occiput"}, "Changed": {"pupil size, left eye", "3 mm", "5 mm"}, "No longer assessed": {"trachea", "not mentioned"},
	} {
		has(t, group(title), want...)
	}
	if strings.Contains(page, "9 mm") || strings.Contains(group("Changed"), "right eye") {
		t.Error("it compares with a note that nobody signed, or tells of what is the same")
	}
	has(t, page, "One finding is charted alike")
	// A line leads to its place in the review.
	has(t, b.get(find(t, group("Changed"), `href="(/notes/[^"#]+)`)), `class="item line at`)
	// Another patient's note is none of this one's, whoever asks for it.
	page = b.post(http.StatusOK, "/new", url.Values{"first": {"QX-9"}, "second": {"1900-02-30"}, "read": {"yes"}, "at": {"2031-02-04T03:00"}})
	other := find(t, page, `action="(/encounters/e[0-9a-z]+)/words"`)
	b.post(http.StatusOK, other+"/words", url.Values{"text": {"Trachea is midline."}})
	stranger := b.within(other, `href="(/notes/n[0-9a-z]+)"`)
	has(t, b.get(stranger+"/compare"), "No earlier signed note")
	for _, id := range []string{first, unsigned} {
		code, _, _ := b.do(http.MethodGet, stranger+"/compare?with="+strings.TrimPrefix(id, "/notes/"), nil, nil)
		if code != http.StatusNotFound {
			t.Errorf("another patient's note can be compared with: %d", code)
		}
	}
}

func TestHandover(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	b.signed("Left pupil three millimeters. Trachea is midline.")
	note := b.draft("Left pupil five millimeters. Trachea is midline. She is full code. I will call the doctor after this. He says I cannot breathe.")
	page := b.get(note + "/handover")
	has(t, page, "By phone, in thirty seconds", "From a draft, not signed", "Situation", "Recommendation", "PRELIMINARY", "full code", "Allergies:</strong> not stated",
		"changed: pupil size, left eye: 5 mm (before: 3 mm)", "to be completed by the nurse", "Not a diagnosis")
	if words := strings.Fields(find(t, page, `(?s)thirty seconds</h2><ul>(.*?)</ul>`)); len(words) > 75 {
		t.Errorf("%d words on the phone", len(words))
	}
	if strings.Contains(page, "data-print") {
		t.Error("it prints before the wristband was read")
	}
	b.post(http.StatusUnprocessableEntity, note+"/handover", with(wristband, "first", "other"))
	has(t, b.post(http.StatusOK, note+"/handover", wristband), "data-print", "printable", "bedsaid-seal/1")
}

// Every form that the command line writes goes out from the page, with what was
// chosen and nothing else, and only after the wristband was read.
func TestExports(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	b.signed("Left pupil three millimeters.")
	first := b.draft("Left pupil five millimeters. The weather is lovely today my dear <script>alert(1)</script>. Trachea is midline.")
	get := func(to string, more ...string) (string, http.Header) {
		t.Helper()
		code, body, h := b.do(http.MethodPost, first+"/export", with(wristband, append([]string{"to", to}, more...)...), nil)
		if code != http.StatusOK {
			t.Fatalf("%s: %d\n%s", to, code, body)
		}
		if d := h.Get("Content-Disposition"); !regexp.MustCompile(`^attachment; filename="n[0-9a-z]+\.[a-z.]+"$`).MatchString(d) {
			t.Errorf("%s: %s", to, d)
		}
		return body, h
	}
	page := b.get(first + "/export")
	for _, f := range forms.All() {
		has(t, page, `name="to" value="`+f.Name+`"`)
		body, h := get(f.Name)
		if h.Get("Content-Type") != f.Type {
			t.Errorf("%s: %s", f.Name, h.Get("Content-Type"))
		}
		if strings.Contains(body, "weather") || strings.Contains(body, "<script>alert") {
			t.Errorf("%s: what was said went out unasked, or a script with it", f.Name)
		}
		if f.Name != "pdf" && !strings.Contains(strings.ToLower(body), "preliminary") {
			t.Errorf("%s does not say that nobody signed it", f.Name)
		}
		code, refused, _ := b.do(http.MethodPost, first+"/export", with(wristband, "to", f.Name, "second", "1900-01-01"), nil)
		if code != http.StatusUnprocessableEntity || strings.Contains(refused, "midline") {
			t.Errorf("%s for another wristband: %d", f.Name, code)
		}
	}
	if body, _ := get("text", "talk", "yes"); !strings.Contains(body, "weather") {
		t.Error("what was said was chosen and is not there")
	}
	compact, _ := get("text")
	complete, _ := get("text", "complete", "yes")
	if compact == complete {
		t.Error("the complete text is the compact one")
	}
	a4, _ := get("html")
	letter, _ := get("html", "letter", "yes")
	if a4 == letter {
		t.Error("Letter is A4")
	}
	since := find(t, page, `name="since" value="(n[0-9a-z]+)"`)
	if body, _ := get("text", "since", since); !strings.Contains(body, "before: 3 mm") {
		t.Errorf("what changed was chosen and is not there:\n%s", body)
	}
	b.post(http.StatusNotFound, first+"/export", with(wristband, "to", "text", "since", strings.TrimPrefix(first, "/notes/")))
	body, _ := get("fhir")
	doc, err := fhir.Read(strings.NewReader(body), "page", b.s.opt.Record.Outline)
	if err != nil || len(doc.Draft.Findings()) != 2 {
		t.Errorf("the FHIR document does not read back: %v", err)
	}
	code, _, _ := b.do(http.MethodPost, first+"/export", with(wristband, "to", "sound"), nil)
	if code != http.StatusNotFound {
		t.Errorf("sound of typed words: %d", code)
	}
}

// The recording goes out as it was kept, once the wristband was read.
func TestExportsSound(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	clip, err := audio.Open(t.Context(), "../../cmd/bedsaid/selftest.wav", nil)
	if err != nil {
		t.Fatal(err)
	}
	path := b.keep(b.drafted("Trachea is midline."), clip)
	code, body, _ := b.do(http.MethodPost, path+"/export", with(wristband, "to", "sound", "first", "other"), nil)
	if code != http.StatusUnprocessableEntity || strings.HasPrefix(body, "RIFF") {
		t.Errorf("another wristband: %d", code)
	}
	code, body, h := b.do(http.MethodPost, path+"/export", with(wristband, "to", "sound"), nil)
	if code != http.StatusOK || h.Get("Content-Type") != "audio/wav" || len(body) != 44+2*clip.Len() {
		t.Fatalf("%d, %s, %d bytes of %d samples", code, h.Get("Content-Type"), len(body), clip.Len())
	}
	for i, want := range clip.PCM(0, clip.Len()) {
		if got := int16(binary.LittleEndian.Uint16([]byte(body)[44+2*i:])); got != want {
			t.Fatalf("sample %d is %d, was %d", i, got, want)
		}
	}
	b.wantExports(1)
}

// Beside the review, too, everything is done by keyboard.
func TestKeyboardBesideTheReview(t *testing.T) {
	b, file := withPacks(t)
	c := chromium(t, b)
	c.enter()
	b.signIn()
	b.signed("Left pupil three millimeters. Trachea is midline.")
	b.mendTalk("Now the zorpwind is in the middle.", "trachea is midline")
	b.mendTalk("I see the zorpwind is in the middle.", "trachea is midline")
	note := b.draft("Left pupil five millimeters. Trachea is midline.")
	c.open(note)
	c.tabTo("a[href$='/compare']")
	c.keys(kb.Enter)
	c.until("document.querySelector('h1').innerText.startsWith('Compare')")
	c.tabTo(".changes a")
	c.keys(kb.Enter)
	c.until("document.querySelector('.item.at') && document.querySelector('.item.at').innerText.includes('5 mm')")
	c.tabTo("a[href$='/handover']")
	c.keys(kb.Enter)
	c.until("document.querySelector('.phone')")
	c.tabTo("summary")
	c.keys(kb.Enter)
	c.tabTo("input[name=first]")
	c.keys("QX-4471", kb.Tab, "1900-02-30", kb.Enter)
	c.until("document.querySelector('[data-print]')")
	c.tabTo("a[href$='/course']")
	c.keys(kb.Enter)
	c.until("document.querySelector('#technique')")
	c.tabTo("a.home")
	c.keys(kb.Enter)
	c.until("document.querySelector('a[href=\"/proposals\"]')")
	c.tabTo("a[href='/proposals']")
	c.keys(kb.Enter)
	c.until("document.querySelector('.take')")
	c.tabTo(".take summary")
	c.keys(kb.Enter)
	c.tabTo("input[name=for]")
	c.keys("trachea", kb.Tab, kb.ArrowDown, kb.Tab, "Zorpwind midline, I found.", kb.Enter)
	c.until("document.body.innerText.includes('would be drafted as')")
	c.tabTo("button[name=write]")
	c.keys(kb.Enter)
	c.until("document.body.innerText.includes('Written.')")
	if data, err := os.ReadFile(file); err != nil || !strings.Contains(string(data), "[[alias]]") {
		t.Errorf("the pack: %v\n%s", err, data)
	}
}

// wantExports says how often the log tells that something left the record.
func (b *bench) wantExports(want int) {
	b.t.Helper()
	n := 0
	if err := b.session().Log(b.t.Context(), func(e store.Event) error {
		if e.Act == store.ActExported {
			n++
		}
		return nil
	}); err != nil {
		b.t.Fatal(err)
	}
	if n != want {
		b.t.Errorf("the log tells of %d exports, want %d", n, want)
	}
}
