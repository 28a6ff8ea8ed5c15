package web

import (
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"bedsaid/internal/packcheck"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/lexicon"
)

// as gives the page as another user has it, in a browser of her own.
func (b *bench) as(login string, role review.Role, manages bool) *bench {
	b.t.Helper()
	if _, err := b.session().AddUser(b.t.Context(), store.NewUser{Login: login, Name: login + " Example", Credentials: "RN", Role: role, Manages: manages}, passphrase); err != nil {
		b.t.Fatal(err)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		b.t.Fatal(err)
	}
	other := &bench{t: b.t, s: b.s, http: &http.Client{Jar: jar}, origin: b.origin, dir: b.dir, login: login}
	other.launch()
	other.post(http.StatusOK, "/sign-in", url.Values{"login": {login}, "passphrase": {passphrase}})
	return other
}

// withPacks serves with a folder for the site's packs.
func withPacks(t *testing.T) (*bench, string) {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "taken_from_corrections.toml")
	return serve(t, func(o *Options) {
		o.PackFile = file
		o.Packs = func() ([]lexicon.File, error) {
			data, err := os.ReadFile(file)
			if os.IsNotExist(err) {
				return nil, nil
			}
			return []lexicon.File{{Name: file, Data: data}}, err
		}
	}), file
}

// mendTalk types what talk that was not understood says, and closes the talk.
func (b *bench) mendTalk(words, typed string) string {
	b.t.Helper()
	note := b.draft(words)
	form := url.Values{"after": {after(b.t, b.get(note))}, "line": {"talk0"}, "kind": {"add"}, "typed": {typed}, "understood": {typed}, "pick": {"0"}}
	page := b.post(http.StatusOK, note+"/decide", form)
	b.post(http.StatusOK, note+"/decide", url.Values{"after": {after(b.t, page)}, "line": {"talk0"}, "kind": {"read"}})
	return note
}

// Words that people keep mending are proposed, and taken one by one with a
// sentence that is typed anew; the pack is checked before it is written.
func TestCorrectionsTeach(t *testing.T) {
	b, file := withPacks(t)
	b.signIn()
	has(t, b.get("/proposals"), "No word was mended")
	b.mendTalk("Now the zorpwind is in the middle, Quozzelby.", "trachea is midline")
	b.mendTalk("I see the zorpwind is in the middle.", "trachea is midline")
	page := b.get("/proposals")
	row := find(t, page, `(?s)<tr><th scope="row"><strong>zorpwind</strong>(.*?)</tr>`)
	has(t, row, "<td>2</td>", "trachea 2")
	if strings.Contains(page, "uozzelby") {
		t.Error("a name of one patient is proposed")
	}
	take := url.Values{"word": {"zorpwind"}, "for": {"trachea"}, "how": {"own"}, "example": {"Zorpwind midline, I found."}}
	for name, c := range map[string]struct{ key, value, says string }{
		"a patient's sentence":       {"example", "the zorpwind is in the middle", "said about a patient"},
		"no term of the packs":       {"for", "quibble", "does not know"},
		"an example that needs none": {"example", "Trachea midline.", "does not stand in the example"},
		"nothing understood":         {"example", "I like the zorpwind.", "nothing is understood"},
	} {
		page := b.post(http.StatusUnprocessableEntity, "/proposals", with(take, c.key, c.value, "write", "yes"))
		if !strings.Contains(strings.ToLower(page), c.says) {
			t.Errorf("%s: it does not say %q", name, c.says)
		}
	}
	b.post(http.StatusNotFound, "/proposals", with(take, "word", "snark", "write", "yes"))
	has(t, b.post(http.StatusOK, "/proposals", take), "would be drafted as", "midline")
	if _, err := os.Stat(file); err == nil {
		t.Fatal("it was written before it was confirmed")
	}
	has(t, b.post(http.StatusOK, "/proposals", with(take, "write", "yes")), "Written.", "in the pack")
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if info, _ := os.Stat(file); info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v", info.Mode())
	}
	for _, p := range packcheck.Check(lexicon.File{Name: file, Data: data}) {
		t.Errorf("the pack has a complaint: %v", p)
	}
	if strings.Contains(string(data), "in the middle") {
		t.Errorf("the pack holds what was said:\n%s", data)
	}
	// Nothing changes by itself: what is drafted now is drafted as before.
	has(t, b.get(b.draft("Zorpwind midline.")+"/words"), "left out")
	has(t, b.get("/proposals"), "in the pack")
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(file), ".*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}

	// Who may not take is told, and nothing is written.
	reviewer := b.as("rita", review.Reviewer, false)
	has(t, reviewer.get("/proposals"), "A licensed person who manages the record")
	student := b.as("sam", review.Student, true)
	for _, who := range []*bench{reviewer, student} {
		who.post(http.StatusForbidden, "/proposals", with(take, "write", "yes"))
	}
	if now, _ := os.ReadFile(file); string(now) != string(data) {
		t.Error("the pack was changed")
	}
}

// A pack that cannot be written leaves nothing behind and says so.
func TestProposalsWithoutAPlace(t *testing.T) {
	b, file := withPacks(t)
	b.signIn()
	b.mendTalk("Now the zorpwind is in the middle.", "trachea is midline")
	b.mendTalk("I see the zorpwind is in the middle.", "trachea is midline")
	if err := os.Remove(filepath.Dir(file)); err != nil {
		t.Fatal(err)
	}
	take := url.Values{"word": {"zorpwind"}, "for": {"trachea"}, "how": {"misheard"}, "example": {"Zorpwind midline, I found."}, "write": {"yes"}}
	code, page, _ := b.do(http.MethodPost, "/proposals", take, nil)
	if code < 400 || !strings.Contains(page, "could not be written") {
		t.Errorf("%d: %s", code, page)
	}
	// Without a folder of packs nothing can be taken.
	b.s.opt.PackFile = ""
	has(t, b.get("/proposals"), "--lexicon")
	b.post(http.StatusNotFound, "/proposals", take)
}

const student = "I am washing my hands. Trachea is midline. I will dim the lights now. Right pupil three millimeters. Left pupil three millimeters. " +
	"Both pupils react briskly to light. Right carotid two plus. Left carotid two plus. No JVD."

// The preceptor sees the course of the student's examination; what was not stated
// is not called not done, and no mark is given.
func TestCourseOfAStudent(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	s := b.as("sam", review.Student, false)
	note := s.keep(s.drafted(student), nil)
	p := b.as("petra", review.Preceptor, false)
	page := p.get(note + "/course")
	has(t, page, "of a student", "not stated is not the same as not done", "I am washing my hands.", "I will dim the lights now.", "<svg", "regions have something charted")
	for name, stated := range map[string]bool{"hand hygiene": true, "room dimmed for the pupils": true, "one carotid at a time": false, "angle of the bed with the neck veins": false} {
		said := find(t, page, `(?s)<dt>`+name+`</dt><dd>(.*?)</dd>`)
		if strings.Contains(said, "not stated") == stated {
			t.Errorf("%s: %s", name, said)
		}
	}
	order := regexp.MustCompile(`<li><strong>([^<]+)</strong> [0-9:]+ to`).FindAllStringSubmatch(page, -1)
	var got []string
	for _, m := range order {
		got = append(got, m[1])
	}
	if strings.Join(got, ", ") != "Neck, Eyes, Neck" {
		t.Errorf("order %v", got)
	}
	if regexp.MustCompile(`(?i)out of (ten|10)|score|grade|not done\b.*:`).MatchString(page) {
		t.Error("it gives a mark")
	}
	// Typed words have an order and no times.
	typed := b.get(b.draft("Trachea is midline. Right pupil three millimeters.") + "/course")
	has(t, typed, "carry no times", "<strong>Neck</strong> 1 finding", "<strong>Eyes</strong> 1 finding")
	if strings.Contains(typed, "<svg") {
		t.Error("times are drawn that nobody knows")
	}
}

// A student cannot sign alone, a reviewer comments and no more, and nobody may
// decide on another's note.
func TestRolesOnThePage(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	s := b.as("sam", review.Student, false)
	note := s.draft("Trachea is midline.")
	s.decideAll(note)
	page := s.post(http.StatusOK, note+"/sign", with(wristband, "after", after(t, s.get(note)), "kind", "sign", "passphrase", passphrase))
	has(t, page, "waits for the preceptor", "DRAFT")
	has(t, s.get(note+"/handover"), "PRELIMINARY")
	_, body, _ := s.do(http.MethodPost, note+"/export", with(wristband, "to", "text"), nil)
	has(t, body, "PRELIMINARY")
	count := find(t, page, `name="after" value="(\d+)"`)
	s.post(http.StatusUnprocessableEntity, note+"/sign", with(wristband, "after", count, "kind", "cosign", "passphrase", passphrase))
	r := b.as("rita", review.Reviewer, false)
	r.post(http.StatusUnprocessableEntity, note+"/sign", with(wristband, "after", count, "kind", "cosign", "passphrase", passphrase))
	own := b.draft("Trachea is midline.")
	for _, who := range []*bench{s, r} {
		who.post(http.StatusUnprocessableEntity, own+"/decide", url.Values{"after": {"0"}, "line": {"f1"}, "kind": {"accept"}})
		who.post(http.StatusUnprocessableEntity, own+"/sign", with(wristband, "after", "0", "kind", "sign", "passphrase", passphrase))
	}
	code, _, _ := r.do(http.MethodPost, "/new", with(wristband, "read", "yes", "at", "2031-02-03T03:00"), nil)
	if code < 400 {
		t.Error("a reviewer opens an examination")
	}
	has(t, r.post(http.StatusOK, own+"/sign", url.Values{"after": {"0"}, "kind": {"comment"}, "text": {"please look at the neck again"}}), "please look at the neck again")
	p := b.as("petra", review.Preceptor, false)
	has(t, p.post(http.StatusOK, note+"/sign", with(wristband, "after", count, "kind", "cosign", "passphrase", passphrase)), "Co-signed by petra Example")
}

// The plot counts drafts and holds no word and no name.
func TestTrend(t *testing.T) {
	b := serve(t, nil)
	b.signIn()
	has(t, b.get("/trend"), "There is no draft yet")
	b.signed("Trachea is midline. Drum seen, pearly gray.")
	b.draft("Trachea is midline.")
	page := b.get("/trend")
	has(t, page, "newest 2 notes, 1 of them signed", "Marks", "Corrections", "Omissions", "<svg", "<circle")
	for _, word := range []string{"midline", "trachea", "QX-4471", "7B"} {
		if strings.Contains(page, word) {
			t.Errorf("it holds %q", word)
		}
	}
	week := time.Date(2031, 2, 3, 0, 0, 0, 0, time.UTC) // a Monday
	at := func(day, marks int, signed bool) drafted {
		return drafted{at: week.AddDate(0, 0, day).Add(5 * time.Hour), marks: marks, mended: marks, signed: signed}
	}
	v := trendOf([]drafted{at(0, 2, true), at(6, 4, false), at(7, 9, true)})
	if len(v.Weeks) != 2 || v.Weeks[0] != (weekRow{"3 Feb 2031", 2, 1, "3", "2", "0"}) || v.Weeks[1] != (weekRow{"10 Feb 2031", 1, 1, "9", "9", "0"}) {
		t.Errorf("weeks %+v", v.Weeks)
	}
	marks := v.Plots[0].Chart
	if len(marks.Points) != 3 || marks.Points[0].X != 44 || marks.Points[2] != (chartPoint{700, 12}) || len(v.Plots[1].Chart.Points) != 2 {
		t.Errorf("points %+v", marks.Points)
	}
}

// Script in a label or in what was said is shown as it is written, on every page
// about a note, and no address holds a word of a patient.
func TestScriptInWordsIsEscaped(t *testing.T) {
	b, _ := withPacks(t)
	b.signIn()
	const script = `<script>alert("x")</script><img src=x onerror=alert(1)>`
	page := b.post(http.StatusOK, "/new", with(wristband, "read", "yes", "bed", script, "at", "2031-02-03T03:00", "first", "QX-4471"+script))
	e := find(t, page, `action="(/encounters/e[0-9a-z]+)/words"`)
	b.post(http.StatusOK, e+"/words", url.Values{"text": {"Trachea is midline. I wash my hands " + script + " now. Now the zorpwind " + script + " is in the middle."}})
	note := b.within(e, `href="(/notes/n[0-9a-z]+)"`)
	for _, path := range []string{"", "/final", "/sign", "/compare", "/handover", "/export", "/course", "/words"} {
		page := b.get(note + path)
		if strings.Contains(page, "<script>alert") || strings.Contains(page, "<img src=x") {
			t.Errorf("%s: a script gets into the page", path)
		}
		for _, m := range regexp.MustCompile(`(?:href|action)="([^"]*)"`).FindAllStringSubmatch(page, -1) {
			if strings.Contains(m[1], "QX-") || strings.Contains(m[1], "midline") || strings.Contains(m[1], "zorp") {
				t.Errorf("%s: an address holds a word: %s", path, m[1])
			}
		}
	}
}
