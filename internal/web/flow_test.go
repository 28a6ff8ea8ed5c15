package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// narration has what review must ask about: as expected and not, a doubt (no
// side), talk that was not understood, and something that needs action.
const narration = "Trachea is midline. Both pupils are equal. Right pupil three millimeters. Left pupil five millimeters. " +
	"Sclera white both eyes. Drum seen, pearly gray. The flurbish wobbles on the snark today. He says I cannot breathe."

func after(t *testing.T, page string) string {
	t.Helper()
	return find(t, page, `data-after="(\d+)"`)
}

// ids gives the open items of a page.
func ids(page, class string) []string {
	var out []string
	for _, m := range regexp.MustCompile(`<li id="item-([a-z0-9]+)" class="item ([a-z ]+)"`).FindAllStringSubmatch(page, -1) {
		if !strings.Contains(m[2], "settled") && strings.Contains(m[2], class) {
			out = append(out, m[1])
		}
	}
	return out
}

// single gives the open items that are decided one by one.
func single(page string) []string {
	plain := strings.Join(ids(page, "plain"), " ") + " "
	var out []string
	for _, id := range ids(page, "") {
		if !strings.Contains(" "+plain, " "+id+" ") {
			out = append(out, id)
		}
	}
	return out
}

// decideAll walks through a note as a reviewer does, without script.
func (b *bench) decideAll(note string) {
	b.t.Helper()
	for range 200 {
		page := b.get(note)
		open := single(page)
		if len(open) == 0 {
			break
		}
		id := open[0]
		page = b.get(note + "?at=" + id)
		form := url.Values{"after": {after(b.t, page)}, "line": {id}, "kind": {"accept"}}
		switch {
		case strings.HasPrefix(id, "act"):
			form.Set("kind", "close")
			form.Set("handling", "not_applicable")
			form.Set("why", "an invented patient")
		case strings.HasPrefix(id, "talk"):
			form.Set("kind", "read")
		case strings.HasPrefix(id, "gap"):
			form.Set("kind", "listened")
		default:
			for _, m := range regexp.MustCompile(`name="mark" value="([a-z_]+)"`).FindAllStringSubmatch(page, -1) {
				form.Add("mark", m[1])
			}
		}
		b.post(http.StatusOK, note+"/decide", form)
	}
	for range 50 {
		page := b.get(note)
		m := regexp.MustCompile(`(?s)data-region="([a-z_]+)">(.*?)</form>`).FindStringSubmatch(page)
		if m == nil {
			return
		}
		form := url.Values{"after": {after(b.t, page)}, "region": {m[1]}}
		for _, l := range regexp.MustCompile(`name="line" value="([a-z0-9]+)"`).FindAllStringSubmatch(m[2], -1) {
			form.Add("line", l[1])
		}
		b.post(http.StatusOK, note+"/region", form)
	}
}

func TestFromWordsToSignature(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	note := b.draft(narration)
	page := b.get(note)
	has(t, page, "trachea", "midline", "Needs action", "Talk that was not understood", "Nobody mentioned", "5 mm", "Not a diagnosis")
	if len(ids(page, "plain")) == 0 || len(single(page)) < 3 {
		t.Fatalf("plain %v, single %v", ids(page, "plain"), single(page))
	}
	b.post(http.StatusUnprocessableEntity, note+"/sign", with(wristband, "after", "0", "kind", "sign", "passphrase", passphrase))
	has(t, b.get(note+"/sign"), "are open")

	b.decideAll(note)
	page = b.get(note)
	has(t, page, "All is decided")
	n := after(t, page)
	sign := with(wristband, "after", n, "kind", "sign", "passphrase", passphrase)
	has(t, b.post(http.StatusUnauthorized, note+"/sign", with(sign, "passphrase", "wrong words here")), "passphrase is wrong")
	has(t, b.post(http.StatusUnprocessableEntity, note+"/sign", with(sign, "second", "1900-01-01")), "wristband")
	page = b.post(http.StatusOK, note+"/sign", sign)
	has(t, page, "Signed by Anna Example, RN", "signed", "Not a diagnosis")
	if strings.Contains(page, "DRAFT") {
		t.Error("a signed note is called a draft")
	}

	// A print carries the seal, and asks for the wristband.
	b.post(http.StatusUnprocessableEntity, note+"/print", with(wristband, "first", "other"))
	has(t, b.post(http.StatusOK, note+"/print", wristband), "bedsaid-seal/1", "review by the licensed nurse", "class=\"narrow wide printable\"")

	// An addendum, then an amendment; the first version stays readable.
	count := func(page string) string { return find(t, page, `name="after" value="(\d+)"`) }
	page = b.post(http.StatusOK, note+"/sign", with(wristband, "after", count(page), "kind", "addendum", "text", "He coughed once at 4.", "passphrase", passphrase))
	has(t, page, "He coughed once at 4.")
	page = b.post(http.StatusOK, note+"/sign", url.Values{"after": {count(page)}, "kind": {"amend"}, "why": {"the pupil was 4"}})
	line := find(t, page, `<li id="item-(f\d+)"[^>]*>\s*<a[^>]*>\s*<span class="name">pupil size</span>\s*<span class="says">left eye`)
	form := url.Values{"after": {after(t, page)}, "line": {line}, "kind": {"change"}, "typed": {"left pupil four millimeters"}}
	has(t, b.post(http.StatusUnprocessableEntity, note+"/decide", with(form, "pick", "0", "understood", form.Get("typed"))), "A reason is needed")
	form.Set("why", "measured again")
	has(t, b.post(http.StatusOK, note+"/decide", form), "Understood as", "4 mm")
	b.post(http.StatusOK, note+"/decide", with(form, "pick", "0", "understood", form.Get("typed")))
	page = b.get(note + "/sign")
	page = b.post(http.StatusOK, note+"/sign", with(wristband, "after", count(page), "kind", "sign", "passphrase", passphrase))
	has(t, page, "Version 1", "Amended: the pupil was 4", "left eye: 4 mm", "left eye: 5 mm")
}

// Nothing accepts what must be decided alone, or what was not shown as it stands.
func TestRegionTakesPlainShownLinesOnly(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	note := b.draft(narration)
	page := b.get(note)
	for _, id := range single(page) {
		if !strings.HasPrefix(id, "f") {
			continue
		}
		for _, region := range []string{"eyes", "ears", "neck"} {
			code, _, _ := b.do(http.MethodPost, note+"/region", url.Values{"after": {after(t, page)}, "region": {region}, "line": {id}}, nil)
			if code < 400 {
				t.Errorf("%s was accepted with its region", id)
			}
		}
	}
	plain := ids(page, "plain")
	m := regexp.MustCompile(`(?s)data-region="([a-z_]+)">(.*?)</form>`).FindStringSubmatch(page)
	line := find(t, m[2], `name="line" value="([a-z0-9]+)"`)
	b.s.mu.Lock()
	for _, p := range b.s.people {
		p.shown = map[string]map[string]string{} // as in a window that never showed it
	}
	b.s.mu.Unlock()
	code, page, _ := b.do(http.MethodPost, note+"/region", url.Values{"after": {"0"}, "region": {m[1]}, "line": {line}}, nil)
	if code < 400 {
		t.Errorf("a line that was not shown was accepted")
	}
	has(t, page, "was not shown")
	if got := ids(b.get(note), "plain"); len(got) != len(plain) {
		t.Errorf("%d plain lines, had %d", len(got), len(plain))
	}
}

func TestTwoWindowsOnOneNote(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	note := b.draft(narration)
	page := b.get(note)
	line := ids(page, "plain")[0]
	first := url.Values{"after": {after(t, page)}, "line": {line}, "kind": {"reject"}}
	b.post(http.StatusOK, note+"/decide", first)
	page = b.post(http.StatusConflict, note+"/decide", with(first, "kind", "accept"))
	has(t, page, "changed in another window", "Struck:", "Nothing of yours was written")
	page = b.get(note)
	if got, _ := strconv.Atoi(after(t, page)); got != 1 {
		t.Errorf("%d decisions, want the first alone", got)
	}
	b.post(http.StatusOK, note+"/decide", url.Values{"after": {"1"}, "kind": {"undo"}})
	if got := ids(b.get(note), "plain"); got[0] != line {
		t.Errorf("after it was taken back the line is not open: %v", got)
	}
}

func TestAddByAPlainSentence(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	note := b.draft("Trachea is midline.")
	page := b.get(note)
	form := url.Values{"after": {after(t, page)}, "kind": {"add"}, "typed": {"right eardrum is pearly gray"}}
	page = b.post(http.StatusOK, note+"/decide", form)
	has(t, page, "Understood as", "pearly gray")
	if strings.Contains(page, "added by you") {
		t.Error("it was added before it was confirmed")
	}
	// What was typed anew after something was shown is shown again first.
	page = b.post(http.StatusOK, note+"/decide", with(form, "pick", "0", "understood", "left eardrum is pearly gray"))
	has(t, page, "Understood as")
	if strings.Contains(page, "added by you") {
		t.Error("something was added that was not shown")
	}
	page = b.post(http.StatusOK, note+"/decide", with(form, "pick", "0", "understood", form.Get("typed")))
	has(t, page, "added by you", "right ear: pearly gray")
	has(t, b.post(http.StatusUnprocessableEntity, note+"/decide", with(form, "after", after(t, page), "typed", "hello there")), "No finding was understood")
	has(t, b.get(note+"/bedside"), "colour of the eardrum, right ear: pearly gray")
	// The side of a finding, at once.
	line := find(t, page, `<li id="item-(a\d+)"`)
	page = b.post(http.StatusOK, note+"/decide", url.Values{"after": {after(t, page)}, "line": {line}, "kind": {"change"}, "side": {"left"}})
	has(t, page, "left ear: pearly gray")
}

func TestBedsideHidesWords(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	note := b.draft(narration)
	page := b.get(note + "/bedside")
	has(t, page, "Charted last", "Needs action", "nobody has mentioned", "not begun")
	hidden := b.get(note + "/bedside?hide=1")
	for _, word := range []string{"midline", "5 mm", "breathe", "nystagmus"} {
		if strings.Contains(hidden, word) {
			t.Errorf("with words hidden it says %q", word)
		}
	}
	has(t, hidden, "left")
}

func TestConsentComesBeforeSound(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	e := b.begin()
	send := func(path string) (int, string) {
		code, page, _ := b.do(http.MethodPost, path+"/sound", url.Values{}, nil)
		return code, page
	}
	if code, page := send(e); code != http.StatusUnprocessableEntity || !strings.Contains(page, "no consent") {
		t.Errorf("without consent: %d", code)
	}
	e = b.begin("from", "the patient", "how", "said aloud", "others", "yes")
	has(t, b.get(e), "others in the room were told")
	b.post(http.StatusOK, e+"/withdraw", url.Values{})
	if code, _ := send(e); code != http.StatusUnprocessableEntity {
		t.Errorf("after it was withdrawn: %d", code)
	}
	has(t, b.get(e), "Consent was withdrawn")
	b.post(http.StatusUnprocessableEntity, "/new", with(wristband, "at", "2031-02-03T03:00", "first", "A", "second", "B"))
	b.post(http.StatusUnprocessableEntity, "/new", with(wristband, "at", "2031-02-03T03:00", "read", "yes", "from", "the patient"))
}
