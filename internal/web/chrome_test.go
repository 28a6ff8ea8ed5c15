package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"maps"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"bedsaid/internal/audio"
	"bedsaid/internal/extract"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/store"
	"bedsaid/internal/transcript"
)

// need skips a test that needs something that is not installed, or fails where
// everything must be.
func need(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("BEDSAID_REQUIRE_CHECKS") != "" {
		t.Fatalf("%s is missing", what)
	}
	t.Skipf("%s is missing; skipped", what)
}

// browser is a tab of a real Chromium. Whatever it asks of another address, and
// every error of a script, fails the test.
type browser struct {
	t *testing.T
	b *bench
	context.Context
}

func chromium(t *testing.T, b *bench, more ...chromedp.ExecAllocatorOption) *browser {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil && path == "" {
			path = p
		}
	}
	if path == "" {
		need(t, "Chromium")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("mute-audio", true),
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.WSURLReadTimeout(2*time.Minute))
	ctx, stop := chromedp.NewExecAllocator(t.Context(), append(options, more...)...)
	t.Cleanup(stop)
	return (&browser{t, b, ctx}).window()
}

// window opens another window of the same browser.
func (c *browser) window() *browser {
	c.t.Helper()
	ctx, stop := chromedp.NewContext(c.Context)
	c.t.Cleanup(stop)
	w := &browser{c.t, c.b, ctx}
	chromedp.ListenTarget(ctx, func(ev any) {
		switch ev := ev.(type) {
		case *network.EventRequestWillBeSent:
			u, err := url.Parse(ev.Request.URL)
			if err != nil || u.Scheme != "data" && u.Scheme != "about" && u.Host != w.b.s.host {
				c.t.Errorf("the page asked something of %s", u.Host)
			}
		case *runtime.EventExceptionThrown:
			c.t.Errorf("a script failed: %s", ev.ExceptionDetails.Error())
		}
	})
	// The first run starts the window: a deadline on it would end it.
	if err := chromedp.Run(ctx, network.Enable(), runtime.Enable()); err != nil {
		c.t.Fatalf("start the browser: %v", err)
	}
	return w
}

func (c *browser) do(actions ...chromedp.Action) {
	c.t.Helper()
	ctx, stop := context.WithTimeout(c.Context, 2*time.Minute)
	defer stop()
	if err := chromedp.Run(ctx, actions...); err != nil {
		c.t.Fatalf("the browser: %v\n%s", err, c.text("location.href"))
	}
}

func (c *browser) open(path string) {
	c.t.Helper()
	c.do(chromedp.Navigate(c.b.origin+path), chromedp.WaitReady("footer"))
}

// text evaluates an expression to a string.
func (c *browser) text(expression string) string {
	c.t.Helper()
	var out string
	ctx, stop := context.WithTimeout(c.Context, time.Minute)
	defer stop()
	if err := chromedp.Run(ctx, chromedp.Evaluate("String("+expression+")", &out)); err != nil {
		c.t.Fatalf("evaluate: %v", err)
	}
	return out
}

// until waits for an expression to be true.
func (c *browser) until(expression string) {
	c.t.Helper()
	var ok bool
	for range 1600 { // a machine that does other work is slow
		if err := chromedp.Run(c.Context, chromedp.Evaluate("Boolean("+expression+")", &ok)); err == nil && ok {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	c.t.Fatalf("it did not come true: %s\n%s", expression, c.text("document.body.innerText.slice(0, 2000)"))
}

func (c *browser) keys(s ...string) {
	c.t.Helper()
	for _, k := range s {
		c.do(chromedp.KeyEvent(k))
	}
}

// tabTo presses Tab until the element has the focus, as a hand on the keyboard
// does.
func (c *browser) tabTo(selector string) {
	c.t.Helper()
	for range 400 {
		if c.text(fmt.Sprintf("document.activeElement.matches(%q)", selector)) == "true" {
			return
		}
		c.keys(kb.Tab)
	}
	c.t.Fatalf("Tab does not reach %s", selector)
}

// spoken keeps the demo's recording with a note on it. Its words are the demo's
// script, spread evenly over the sound: times serve to show and replay, no more.
func (b *bench) spoken() string {
	b.t.Helper()
	folder := filepath.Join("..", "..", "testdata", "demo")
	data, err := os.ReadFile(filepath.Join(folder, "exam.json"))
	if err != nil {
		b.t.Fatal(err)
	}
	var script struct{ Text string }
	if err := json.Unmarshal(data, &script); err != nil {
		b.t.Fatal(err)
	}
	clip, err := audio.Open(b.t.Context(), filepath.Join(folder, "exam.wav"), nil)
	if err != nil {
		b.t.Fatal(err)
	}
	tr := transcript.FromText(script.Text)
	tr.Timed = true
	step := clip.Seconds() / float64(len(tr.Words)+1)
	for i := range tr.Words {
		tr.Words[i].Start, tr.Words[i].End, tr.Words[i].P = float64(i)*step, float64(i+1)*step, 0.9
	}
	tr.Recording = &transcript.Recording{Seconds: clip.Seconds(), VoicedSeconds: clip.Seconds() - 1, Untranscribed: []transcript.Interval{{Start: 61.2, End: 63.4}}}
	set := extract.New(b.s.opt.Lexicon).Extract(tr, extract.Options{})
	i := slices.IndexFunc(set.Findings, func(f finding.Finding) bool { return f.ID == "eye.conjunctiva" })
	if i < 0 {
		b.t.Fatal("the demo has no conjunctiva any more")
	}
	set.Findings[i].Marks = []finding.Mark{{Kind: finding.Respelled, Why: "heard as another word, read as conjunctiva", Alternatives: []string{"pale", "red"}}}
	d := note.Compose(note.Source{Name: "exam.wav", Transcript: tr, Notices: []string{"the file ends early"}, Provenance: note.Provenance{Program: "bedsaid test", DraftedAt: time.Date(2031, 2, 3, 3, 20, 0, 0, time.UTC)}},
		set, note.OutlineOf(b.s.opt.Lexicon))
	return b.keep(d, clip)
}

// drafted drafts words as times of a recording would have them, a third of a
// second for each.
func (b *bench) drafted(text string) note.Draft {
	tr := transcript.FromText(text)
	tr.Timed = true
	for i := range tr.Words {
		tr.Words[i].Start, tr.Words[i].End, tr.Words[i].P = float64(i)/3, float64(i+1)/3, 0.9
	}
	tr.Recording = &transcript.Recording{Seconds: float64(len(tr.Words)+1) / 3, VoicedSeconds: float64(len(tr.Words)) / 3}
	return note.Compose(note.Source{Name: "exam.wav", Transcript: tr, Provenance: note.Provenance{Program: "bedsaid test", DraftedAt: time.Date(2031, 2, 3, 3, 20, 0, 0, time.UTC)}},
		extract.New(b.s.opt.Lexicon).Extract(tr, extract.Options{}), note.OutlineOf(b.s.opt.Lexicon))
}

// keep puts a draft, and its sound, into the record as a note of the signed-in user.
func (b *bench) keep(d note.Draft, clip *audio.Clip) string {
	b.t.Helper()
	x := b.session()
	at := time.Date(2031, 2, 3, 3, 0, 0, 0, time.UTC)
	e, err := x.NewEncounter(b.t.Context(), store.Details{Patient: [2]store.Identifier{{Kind: "record number", Value: "QX-4471"}, {Kind: "date of birth", Value: "1900-02-30"}},
		Bed: "9", ExaminedAt: at, Consent: store.Consent{From: "the patient", How: "said aloud", At: at}})
	if err != nil {
		b.t.Fatal(err)
	}
	recording := ""
	if clip != nil {
		if recording, err = x.KeepSound(b.t.Context(), e.ID, store.Confirmed{"QX-4471", "1900-02-30"}, clip); err != nil {
			b.t.Fatal(err)
		}
	}
	n, err := x.SaveDraft(b.t.Context(), e.ID, recording, d)
	if err != nil {
		b.t.Fatal(err)
	}
	return "/notes/" + n.ID
}

func (c *browser) enter() {
	c.t.Helper()
	c.do(chromedp.Navigate(c.b.s.Launch()), chromedp.WaitReady("input[name=login]"))
	c.tabTo("input[name=login]")
	c.keys("anna", kb.Tab, passphrase, kb.Enter)
	c.until("document.querySelector('h1').innerText === 'Examinations'")
}

// All by keyboard, as a nurse would: begin, type, review, sign, read.
func TestKeyboardAlone(t *testing.T) {
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	c.tabTo("a[href='/new']")
	c.keys(kb.Enter)
	c.until("document.querySelector('input[name=first]')")
	c.tabTo("input[name=first]")
	c.keys("QX-4471", kb.Tab, "1900-02-30", kb.Tab, " ", kb.Tab, "7B")
	c.tabTo("button.main")
	c.keys(kb.Enter)
	c.until("document.querySelector('textarea')")
	c.tabTo("textarea")
	c.keys(narration)
	c.tabTo("form[action$='/words'] button")
	c.keys(kb.Enter)
	c.until("document.querySelector('a[href^=\"/notes/\"]')") // comes by itself
	c.tabTo("a.main[href^='/notes/']")
	c.keys(kb.Enter)
	c.until("document.querySelector('.item.at')")
	c.reviewByKeys()
	c.tabTo("a.main[href$='/sign']")
	c.keys(kb.Enter)
	c.until("document.querySelector('input[name=passphrase]')")
	c.tabTo("input[name=first]")
	c.keys("QX-4471", kb.Tab, "1900-02-30", kb.Tab, passphrase, kb.Enter)
	c.until("document.body.innerText.includes('Signed by Anna Example')")
	// A correction after it was signed, with its reason, and signed anew.
	c.tabTo("details:has(input[value=amend]) > summary")
	c.keys(kb.Enter)
	c.tabTo("details input[name=why]")
	c.keys("the left pupil was read wrongly", kb.Enter)
	c.until("document.querySelector('.review-work')")
	row := c.text("Array.from(document.querySelectorAll('.item')).find(el => el.innerText.includes('5 mm')).dataset.item")
	c.tabTo("[data-open='" + row + "']")
	c.keys(kb.Enter)
	c.until(fmt.Sprintf("openId() === %q", row))
	c.until("ready()")
	c.keys("e", "measured again", kb.Tab, "left pupil four millimeters", kb.Enter)
	c.until("document.activeElement.matches('.proposals button')")
	c.keys(kb.Enter)
	c.until(fmt.Sprintf("document.getElementById('item-%s').innerText.includes('changed')", row))
	c.tabTo("a.main[href$='/sign']")
	c.keys(kb.Enter)
	c.until("document.querySelector('input[name=passphrase]')")
	c.tabTo("input[name=first]")
	c.keys("QX-4471", kb.Tab, "1900-02-30", kb.Tab, passphrase, kb.Enter)
	c.until("document.body.innerText.includes('Amended: the left pupil was read wrongly') && document.querySelector('.paper').innerText.includes('4 mm')")
	c.tabTo("[data-lock-now]")
	c.keys(kb.Escape, kb.Escape)
	c.until("document.querySelector('input[name=login]')")
	if strings.Contains(c.text("document.body.innerText"), "midline") {
		t.Error("locked, and a finding is on the screen")
	}
}

// reviewByKeys decides everything by the keys that the page names.
func (c *browser) reviewByKeys() {
	c.t.Helper()
	for range 200 {
		if c.text("document.querySelector('#bar').dataset.next") == "" {
			break
		}
		after := c.text("document.querySelector('#bar').dataset.after")
		if was := c.text("openId()"); c.text("document.querySelector('.item.at').classList.contains('settled')") == "true" {
			c.keys("j")
			c.until(fmt.Sprintf("openId() !== %q", was))
		}
		if c.text("document.querySelector('.item.at').classList.contains('action')") == "true" {
			c.tabTo(".item.at input[name=handling]")
			c.tabTo(".item.at input[name=to]")
			c.keys("the doctor on call")
			c.tabTo(".item.at button.main")
			c.keys(kb.Enter)
		} else {
			c.until("ready()")
			c.keys("a")
		}
		c.until("document.querySelector('#bar').dataset.after !== " + fmt.Sprintf("%q", after))
	}
	for range 40 {
		if c.text("document.querySelector('[data-seen]') === null") == "true" {
			break
		}
		after := c.text("document.querySelector('#bar').dataset.after")
		region := c.text("document.querySelector('[data-region]').dataset.region")
		// Its lines are read by walking through them.
		for id := range strings.FieldsSeq(c.text("Array.from(document.querySelectorAll('[data-region=\"" + region + "\"] input[name=line]')).map(i => i.value).join(' ')")) {
			c.tabTo("[data-open='" + id + "']")
			c.until("seen.has(" + fmt.Sprintf("%q", id) + ")")
		}
		c.tabTo("[data-region='" + region + "'] [data-seen]")
		c.keys(kb.Enter)
		c.until("document.querySelector('#bar').dataset.after !== " + fmt.Sprintf("%q", after))
	}
	c.until("document.querySelector('#bar').innerText.includes('All is decided')")
}

// A region's button waits until each of its lines was on the screen.
func TestRegionWaitsUntilRead(t *testing.T) {
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	path := b.spoken()
	c.do(emulation.SetDeviceMetricsOverride(1200, 500, 1, false))
	c.open(path)
	c.until("document.querySelector('[data-seen]')")
	far := "Array.from(document.querySelectorAll('[data-seen]')).at(-1)"
	if c.text(far+".disabled") != "true" {
		t.Error("a region can be accepted before its lines were on the screen")
	}
	c.do(chromedp.Evaluate(far+".closest('.region').querySelectorAll('[data-plain]').forEach((el, i) => setTimeout(() => el.scrollIntoView({block: 'center'}), 700 * i))", nil))
	c.until("!" + far + ".disabled")
}

// One key replays the sound of the line, and it is the sound that was recorded.
func TestReplaysSoundByOneKey(t *testing.T) {
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	path := b.spoken()
	c.open(path + "?at=f1")
	c.until("document.querySelector('.item.at [data-sound]')")
	c.keys(" ")
	c.until("document.querySelector('#player').currentTime > 0.3")
	c.until("document.querySelector('.words .now')")
	c.keys(" ")
	c.until("document.querySelector('#player').paused")
	got := c.text("new URL(document.querySelector('#player').src).pathname")
	if got != path+"/sound" {
		t.Errorf("it played %s", got)
	}
}

// Two windows: the second is told, and nothing is written over.
func TestSecondWindowIsTold(t *testing.T) {
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	path := b.spoken()
	c.open(path + "?at=f1")
	c.until("document.querySelector('.body').innerText.includes('the file ends early')")
	two := c.window()
	two.open(path + "?at=f1")
	c.until("ready()")
	c.keys("a", "a", "a") // a hand that trembles decides one line
	c.until("document.querySelector('#bar').dataset.after === '1'")
	two.until("ready()")
	two.keys("x")
	two.until("document.body.innerText.includes('changed in another window')")
	if !strings.Contains(two.text("document.querySelector('#item-f1').innerText"), "accepted") {
		t.Error("the second window does not show what was decided")
	}
	// What was decided on another line is shown as well.
	c.keys("j")
	c.until("ready()")
	c.keys("a")
	c.until("document.querySelector('#bar').dataset.after === '2'")
	other := c.text("Array.from(document.querySelectorAll('.item.settled')).map(el => el.id).find(id => id !== 'item-f1')")
	two.until("ready()")
	two.keys("x")
	two.until("document.querySelector('#bar').dataset.after === '2' && document.getElementById('" + other + "').classList.contains('settled')")
	two.until("ready()")
	two.keys("x")
	two.until("document.querySelector('#bar').dataset.after === '3'")
	two.keys("z")
	two.until("document.querySelector('#bar').dataset.after === '4'")
	two.until("document.querySelector('#item-f1').innerText.includes('accepted')")
}

// views are the pages that are looked at: for pictures and for axe.
func (c *browser) views(path string) map[string]string {
	e := find(c.t, c.b.get2(path), `href="(/encounters/e[0-9a-z]+)"`)
	return map[string]string{"list": "/", "begin": "/new", "examination": e, "review": path + "?at=" + c.b.doubtful(path), "words": path + "/words", "read": path + "/sign",
		"bedside": path + "/bedside", "hidden": path + "/bedside?hide=1"}
}

// afterwards are the pages about a note beside its review. An earlier note is
// signed, so that there is something to compare with.
func (c *browser) afterwards(path string) map[string]string {
	c.b.get2(path)
	c.b.signed("Trachea is midline. Both pupils four millimeters. Both ear canals clear.")
	c.b.mendTalk("Now the zorpwind is in the middle.", "trachea is midline")
	c.b.mendTalk("I see the zorpwind is in the middle.", "trachea is midline")
	return map[string]string{"compare": path + "/compare", "handover": path + "/handover", "export": path + "/export", "course": path + "/course",
		"trend": "/trend", "teach": "/proposals"}
}

// get2 gets a page past the browser's cookies: the bench signs in by itself.
func (b *bench) get2(path string) string {
	b.t.Helper()
	if _, page, _ := b.do("GET", path, nil, nil); strings.Contains(page, "footer") && !strings.Contains(page, "Passphrase") {
		return page
	}
	b.signIn()
	return b.get(path)
}

// doubtful is a finding that carries a doubt.
func (b *bench) doubtful(path string) string {
	b.t.Helper()
	return find(b.t, b.get2(path), `(?s)<li id="item-(f\d+)" class="item line"[^>]*>\s*<a[^>]*>\s*<span class="name">[^<]*</span>\s*<span class="says">[^<]*</span>\s*<span class="flags">(?:<em class="odd">[^<]*</em>)?<em class="doubt">`)
}

// axe-core finds nothing serious on any view (https://github.com/dequelabs/axe-core,
// rules of WCAG 2.2 A and AA); the bedside view has a contrast of 7:1 (WCAG 2.2,
// 1.4.6) and everything that is touched is at least 44 px wide and high (WCAG
// 2.2, 2.5.5).
func TestViewsAreForEverybody(t *testing.T) {
	b, _ := withPacks(t)
	c := chromium(t, b)
	source := axeSource(t)
	c.enter()
	path := b.spoken()
	look := func(name, path string, width int64, dark bool) {
		c.do(emulation.SetDeviceMetricsOverride(width, 900, 1, false))
		c.open(path)
		c.forEverybody(source, fmt.Sprintf("%s, %d px, dark %v", name, width, dark), name == "bedside" || name == "hidden")
	}
	views := c.views(path)
	for _, dark := range []bool{false, true} {
		c.theme(dark)
		for name, path := range views {
			for _, width := range []int64{360, 1440} {
				look(name, path, width, dark)
			}
		}
	}
	for name, path := range c.afterwards(path) {
		c.theme(false)
		look(name, path, 360, false)
		c.theme(true)
		look(name, path, 1440, true)
	}
}

// forEverybody has axe look at the page as it is; strict asks a contrast of 7:1.
func (c *browser) forEverybody(axe, name string, strict bool) {
	c.t.Helper()
	rules := "{runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}}"
	if strict {
		rules = "{runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag2aaa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}, rules: {'color-contrast-enhanced': {enabled: true}}}"
	}
	var found string
	await := func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }
	c.do(chromedp.Evaluate(axe, nil), chromedp.Evaluate("axe.run(document, "+rules+
		").then(r => r.violations.filter(v => v.impact !== 'minor').map(v => v.id + ' ' + v.impact + ': ' + v.nodes.slice(0, 3).map(n => n.target.join(' ') + ' ' + (n.any[0] || {message: ''}).message).join('; ')).join('\\n'))", &found, await))
	if found != "" {
		c.t.Errorf("%s:\n%s", name, found)
	}
	small := c.text(`Array.from(document.querySelectorAll("button, input, textarea, select, a.button, a.row, .rail a, .ways a, summary, .card, .top a")).filter(el => {
		const box = (el.closest("label.tick") || el).getBoundingClientRect();
		return el.offsetParent && box.width && (box.width < 43.5 || box.height < 43.5) }).map(el => el.tagName + ' ' + el.className + ' ' + el.textContent.trim().slice(0, 30)).join('\n')`)
	if small != "" {
		c.t.Errorf("%s: too small to touch:\n%s", name, small)
	}
	if wide := c.text("document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide != "0" {
		c.t.Errorf("%s: the page is %s px wider than the window: %s", name, wide, c.text(`Array.from(document.querySelectorAll("main *")).filter(el => el.getBoundingClientRect().right > innerWidth).map(el => el.tagName + '.' + el.className + ' ' + el.textContent.slice(0, 30)).join('; ')`))
	}
}

func axeSource(t *testing.T) string {
	t.Helper()
	source, err := os.ReadFile(filepath.Join(os.Getenv("BEDSAID_CHECKS"), "axe.min.js"))
	if os.Getenv("BEDSAID_CHECKS") == "" || err != nil {
		need(t, "axe-core (scripts/checks/install)")
	}
	return string(source)
}

func (c *browser) theme(dark bool) {
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	c.do(emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}))
}

// TestPictures takes the pictures of docs/page.md into the folder that
// BEDSAID_PICTURES names: scripts/pictures runs it.
func TestPictures(t *testing.T) {
	folder := os.Getenv("BEDSAID_PICTURES")
	if folder == "" {
		t.Skip("BEDSAID_PICTURES names no folder; skipped")
	}
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	path := b.spoken()
	views := c.views(path)
	maps.Copy(views, c.afterwards(path))
	for _, shot := range []struct {
		view          string
		width, height int64
		dark          bool
	}{
		{"review", 1440, 900, false}, {"review", 1440, 900, true}, {"review", 768, 1024, true}, {"review", 360, 740, false},
		{"bedside", 1440, 900, true}, {"bedside", 768, 1024, false}, {"bedside", 360, 740, true}, {"begin", 360, 740, false}, {"read", 768, 900, false},
		{"compare", 1440, 900, false}, {"handover", 360, 740, false}, {"course", 768, 1024, true}, {"teach", 1440, 900, false}, {"export", 768, 1024, false}, {"trend", 1440, 900, true},
	} {
		c.theme(shot.dark)
		c.do(emulation.SetDeviceMetricsOverride(shot.width, shot.height, 1, false))
		c.open(views[shot.view])
		c.picture(folder, shot.view, shot.width, shot.dark)
	}
}

// picture keeps a picture of the page as it is.
func (c *browser) picture(folder, view string, width int64, dark bool) {
	c.t.Helper()
	time.Sleep(300 * time.Millisecond)
	var shot []byte
	c.do(chromedp.ActionFunc(func(ctx context.Context) (err error) {
		shot, err = page.CaptureScreenshot().Do(ctx)
		return err
	}))
	name := fmt.Sprintf("%s-%d-%s.png", view, width, map[bool]string{true: "dark", false: "light"}[dark])
	if err := os.WriteFile(filepath.Join(folder, name), fewColours(c.t, shot), 0o644); err != nil {
		c.t.Fatal(err)
	}
}

// fewColours makes a picture of a page small: each point takes the nearest of its
// 32 most frequent colours.
func fewColours(t *testing.T, data []byte) []byte {
	t.Helper()
	in, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	count := map[color.RGBA]int{}
	box := in.Bounds()
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			count[color.RGBAModel.Convert(in.At(x, y)).(color.RGBA)]++
		}
	}
	all := slices.SortedFunc(maps.Keys(count), func(a, b color.RGBA) int { return count[b] - count[a] })
	var few color.Palette
	for _, c := range all[:min(32, len(all))] {
		few = append(few, c)
	}
	out := image.NewPaletted(box, few)
	draw.Draw(out, box, in, box.Min, draw.Src)
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&b, out); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A note of 500 findings: from the key to the next line on the screen, and how
// much the page weighs. The figures are reported, not judged by the clock.
func TestLargeNote(t *testing.T) {
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	lex := b.s.opt.Lexicon
	var words []string
	var set finding.Set
	for i := range 500 {
		f := lex.Findings()[i%len(lex.Findings())]
		words = append(words, strings.Fields(strings.ReplaceAll(f.Name, "_", " ")+" as expected, said in several more words than that one.")...)
		set.Findings = append(set.Findings, finding.Finding{ID: f.ID, Zone: fmt.Sprint("place ", i), Status: finding.Assessed, Value: finding.Word("present"), Source: finding.Observed,
			Interpretation: finding.Interpretation(1 + i%2), Evidence: []transcript.Span{{Start: len(words) - 8, End: len(words)}}})
	}
	d := note.Compose(note.Source{Transcript: transcript.FromText(strings.Join(words, " "))}, set, note.OutlineOf(lex))
	path := b.keep(d, nil)
	c.open(path)
	c.until("document.querySelector('.item.at')")
	if n := c.text("document.querySelectorAll('.item').length"); n != "500" {
		t.Fatalf("%s lines are shown, want 500", n)
	}
	var took []float64
	for i := range 15 {
		after := c.text("document.querySelector('#bar').dataset.after")
		c.until("ready()")
		c.do(chromedp.Evaluate(`window.took = 0; { const start = performance.now(), was = document.querySelector('#bar').dataset.after;
			new MutationObserver((_, o) => { if (document.querySelector('#bar').dataset.after !== was) { o.disconnect(); requestAnimationFrame(() => setTimeout(() => { window.took = performance.now() - start; })); } }).observe(document.body, {childList: true, subtree: true});
			document.querySelector('.item.at .row').dispatchEvent(new KeyboardEvent('keydown', {key: 'a', bubbles: true})); }`, nil))
		c.until("window.took > 0")
		var ms float64
		c.do(chromedp.Evaluate("window.took", &ms))
		took = append(took, ms)
		if c.text("document.querySelector('#bar').dataset.after") == after {
			t.Fatalf("decision %d was not taken", i)
		}
	}
	weight := 0
	for _, name := range []string{"page.css", "page.js"} {
		data, err := files.ReadFile("assets/" + name)
		if err != nil {
			t.Fatal(err)
		}
		weight += len(data)
	}
	slices.Sort(took)
	t.Logf("from the key to the next line on the screen: %.0f ms in the middle of %d, from %.0f to %.0f; script and style %d bytes, this page %s bytes",
		took[len(took)/2], len(took), took[0], took[len(took)-1], weight, c.text("document.documentElement.outerHTML.length"))
	if weight > 60_000 {
		t.Errorf("script and style weigh %d bytes", weight)
	}
}

// A recording that is chosen on the page is kept as it was heard, also where no
// draft can be made of it, and can be drafted later.
func TestSoundIsKeptWhateverHappens(t *testing.T) {
	b := serve(t, nil) // its engine fails
	c := chromium(t, b)
	c.enter()
	b.signIn()
	e := b.begin("from", "the patient", "how", "said aloud")
	file, err := filepath.Abs(filepath.Join("..", "..", "cmd", "bedsaid", "selftest.wav"))
	if err != nil {
		t.Fatal(err)
	}
	clip, err := audio.Open(t.Context(), file, nil)
	if err != nil {
		t.Fatal(err)
	}
	send := func(first string) {
		c.open(e)
		c.do(chromedp.SendKeys("input[name=first]", first), chromedp.SendKeys("input[name=second]", "1900-02-30"), chromedp.SetUploadFiles("input[type=file]", []string{file}))
		c.tabTo("[data-drop] button")
		c.keys(kb.Enter)
	}
	send("somebody else")
	c.until("document.body.innerText.includes('not those of this encounter')")
	send("QX-4471")
	c.until("document.body.innerText.includes('The sound is kept')")
	c.until("document.querySelector('form[action$=\"/again\"]')")
	x := b.session()
	rs, err := x.Recordings(t.Context(), strings.TrimPrefix(e, "/encounters/"))
	if err != nil || len(rs) != 1 {
		t.Fatalf("%d recordings: %v", len(rs), err)
	}
	pcm, err := x.Sound(t.Context(), rs[0].ID, 0, rs[0].Samples)
	if err != nil || !slices.Equal(pcm, clip.PCM(0, clip.Len())) {
		t.Errorf("the sound that is kept is not what was sent: %v", err)
	}
	c.tabTo("form[action$='/again'] button")
	c.keys(kb.Enter)
	c.until("document.querySelectorAll('.trouble').length === 1")
}
