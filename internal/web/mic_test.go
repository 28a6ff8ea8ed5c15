package web

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/store"
	"bedsaid/internal/transcript"
)

// script hears what it was told to: one more sentence for each second of sound.
type script struct {
	d         *pipeline.Drafter
	sentences []string
	told      func(pipeline.Update)

	mu      sync.Mutex
	samples int
	said    int
}

func (h *script) draft() (note.Draft, error) {
	d, err := h.d.Draft(context.Background(), typedWords(strings.Join(h.sentences[:h.said], " ")))
	heard := &d.Transcript // as of a recording: the words last as long as the sound
	heard.Timed, heard.Recording = true, &transcript.Recording{Seconds: float64(h.samples) / store.Rate}
	step := heard.Recording.Seconds / float64(len(heard.Words)+1)
	for i := range heard.Words {
		heard.Words[i].Start, heard.Words[i].End, heard.Words[i].P = float64(i)*step, float64(i+1)*step, 0.9
	}
	return d, err
}

func (h *script) Write(samples []int16) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.samples += len(samples)
	said := min(h.samples/store.Rate, len(h.sentences))
	if said == h.said {
		return nil
	}
	h.said = said
	d, err := h.draft()
	if err != nil {
		return err
	}
	at := float64(h.samples) / store.Rate
	h.told(pipeline.Update{Draft: d, Received: at, Settled: at})
	return nil
}

func (h *script) Finish(context.Context) (note.Draft, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.said = len(h.sentences)
	return h.draft()
}

func (h *script) Close() {}

// hears makes a page hear sentences in place of sound.
func hears(sentences ...string) func(*Options) {
	return func(o *Options) {
		lex := o.Lexicon
		o.Live = func(_ context.Context, told func(pipeline.Update), _ func(error)) (Listener, error) {
			d := (&Server{opt: Options{Program: "bedsaid test", Now: o.Now, Lexicon: lex}}).drafter()
			return &script{d: d, sentences: sentences, told: told}, nil
		}
	}
}

// babble is sound that is nowhere like itself a moment later: noise in bursts,
// as speech comes in syllables, between 200 and 3000 Hz.
func babble(seconds float64, rate int) []int16 {
	r := rand.New(rand.NewPCG(7, 7))
	out := make([]int16, int(seconds*float64(rate)))
	low, high := 0.0, 0.0
	kLow, kHigh := 1-math.Exp(-2*math.Pi*3000/float64(rate)), 1-math.Exp(-2*math.Pi*200/float64(rate))
	for i := range out {
		t := float64(i) / float64(rate)
		low += kLow * (r.NormFloat64() - low)
		high += kHigh * (low - high)
		loud := math.Max(0, math.Sin(2*math.Pi*3.1*t)) * (0.6 + 0.4*math.Sin(2*math.Pi*0.37*t))
		out[i] = int16(math.Max(-32000, math.Min(32000, 6000*loud*(low-high))))
	}
	return out
}

func wav(t *testing.T, samples []int16, rate int) string {
	t.Helper()
	b := store.WAVHeader(int64(len(samples)))
	binary.LittleEndian.PutUint32(b[24:], uint32(rate))
	binary.LittleEndian.PutUint32(b[28:], uint32(2*rate))
	for _, v := range samples {
		b = binary.LittleEndian.AppendUint16(b, uint16(v))
	}
	path := filepath.Join(t.TempDir(), "mic.wav")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// alike gives the best correlation of two sounds over all lags up to a limit, and
// the lag, as Pearson's r of the stretch that both cover.
func alike(heard, played []int16, limit int) (best float64, lag int) {
	at := func(lag int, step int) float64 {
		var n, sa, sb, saa, sbb, sab float64
		for i := 0; i < len(heard); i += step {
			j := i + lag
			if j < 0 || j >= len(played) {
				continue
			}
			a, b := float64(heard[i]), float64(played[j])
			n, sa, sb, saa, sbb, sab = n+1, sa+a, sb+b, saa+a*a, sbb+b*b, sab+a*b
		}
		if 2*n < float64(len(heard)/step) { // few samples are alike by chance
			return 0
		}
		return (n*sab - sa*sb) / math.Sqrt((n*saa-sa*sa)*(n*sbb-sb*sb)+1)
	}
	for l := -limit; l <= limit; l++ {
		if c := at(l, 97); c > best {
			best, lag = c, l
		}
	}
	return at(lag, 1), lag
}

// micBrowser is a Chromium whose microphone plays a file once.
func micBrowser(t *testing.T, b *bench, file string) *browser {
	return chromium(t, b, chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("use-fake-ui-for-media-stream", true),
		chromedp.Flag("use-file-for-fake-audio-capture", file+"%noloop"))
}

// mayLeave says yes where the page asks whether it may be left while it records.
func (c *browser) mayLeave() {
	chromedp.ListenTarget(c.Context, func(ev any) {
		if _, ok := ev.(*page.EventJavascriptDialogOpening); ok {
			go func() { _ = chromedp.Run(c.Context, page.HandleJavaScriptDialog(true)) }()
		}
	})
}

// recordHere opens an examination with consent and its page that records, and
// gives the encounter.
func (c *browser) recordHere() string {
	c.t.Helper()
	c.open("/new")
	c.do(chromedp.Evaluate(`for (const [name, value] of [["first", "QX-4471"], ["second", "1900-02-30"], ["from", "the patient"], ["how", "said aloud"]]) document.getElementsByName(name)[0].value = value;
		document.getElementsByName("read")[0].checked = true; document.querySelector("main button.main").click()`, nil))
	c.until("document.querySelector('a[href$=\"/record\"]')")
	c.do(chromedp.Evaluate("document.querySelector('a[href$=\"/record\"]').click()", nil))
	c.ready()
	return strings.Split(c.text("location.pathname"), "/")[2]
}

func (c *browser) ready() {
	c.t.Helper()
	c.until("!document.querySelector('#go').disabled && document.querySelector('#level-word').innerText !== 'microphone off'")
}

func (c *browser) state(want string) {
	c.t.Helper()
	for range 1200 {
		if c.text("document.querySelector('#band').dataset.state") == want {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	c.t.Fatalf("it is not %s: %s", want, c.text("JSON.stringify([document.querySelector('#band').dataset.state, now, todo, collecting, holding, length, from, sent, fresh, lost, line && line.readyState, mic && mic.ctx.state, Array.from(alarms.keys())])"))
}

// recorded gives what is kept of an encounter's only recording.
func (b *bench) recorded(encounter string) (store.Recording, []int16) {
	b.t.Helper()
	x := b.session()
	all, err := x.Recordings(b.t.Context(), encounter)
	if err != nil || len(all) != 1 {
		b.t.Fatalf("%d recordings: %v", len(all), err)
	}
	pcm, err := x.Sound(b.t.Context(), all[0].ID, 0, all[0].Samples)
	if err != nil {
		b.t.Fatal(err)
	}
	return all[0], pcm
}

// again serves the same record on, as a program that was started anew does.
func (b *bench) again() *bench {
	b.t.Helper()
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		b.t.Fatal(err)
	}
	s, err := New(l.Addr().String(), b.s.opt)
	if err != nil {
		b.t.Fatal(err)
	}
	h := &http.Server{Handler: s}
	go func() { _ = h.Serve(l) }() // ends with Close
	b.t.Cleanup(func() { h.Close(); s.Close() })
	jar, err := cookiejar.New(nil)
	if err != nil {
		b.t.Fatal(err)
	}
	return &bench{t: b.t, s: s, http: &http.Client{Jar: jar}, origin: s.origin, dir: b.dir, login: b.login}
}

var spoken = []string{"Trachea is midline.", "Sclera white both eyes.", "Right pupil three millimeters.", "Left pupil five millimeters.",
	"Right pupil, no, four millimeters.", "Conjunctiva pink on both sides."}

// From the microphone to the note: what arrives is what was played, the list of
// what nobody mentioned empties meanwhile, and pauses keep nothing.
func TestMicrophone(t *testing.T) {
	b := serve(t, hears(spoken...))
	played := babble(20, 48000)
	c := micBrowser(t, b, wav(t, played, 48000))
	c.enter()
	encounter := c.recordHere()
	began := time.Now()
	c.keys(" ")
	c.state("recording")
	c.until("document.querySelector('#bedside-now').innerText.includes('trachea')")
	left := c.text("document.querySelectorAll('#bedside-now .left li, #bedside-now .rest li').length + ' ' + document.querySelector('#bedside-now').innerText.length")
	c.until("document.querySelector('#bedside-now').innerText.includes('conjunctiva')")
	if now := c.text("document.querySelectorAll('#bedside-now .left li, #bedside-now .rest li').length + ' ' + document.querySelector('#bedside-now').innerText.length"); now == left {
		t.Errorf("what nobody mentioned did not change: %s", now)
	}
	c.until(safe(9))
	t.Logf("recorded for %.1f s", time.Since(began).Seconds())
	c.keys("s")
	time.Sleep(300 * time.Millisecond)
	c.keys("s")
	c.until("location.pathname.startsWith('/notes/')")
	r, pcm := b.recorded(encounter)
	if r.State != store.RecordingEnded {
		t.Errorf("the recording is %s", r.State)
	}
	same := make([]int16, 0, len(played)/3)
	for i := 1; i+1 < len(played); i += 3 { // 16 kHz of 48 kHz; all of it lies below 8 kHz
		same = append(same, int16((int(played[i-1])+int(played[i])+int(played[i+1]))/3))
	}
	like, lag := alike(pcm, same, 4*store.Rate)
	t.Logf("%.2f s arrived, correlation with the file %.4f, %.2f s into it", r.Seconds(), like, float64(lag)/store.Rate)
	// A busy computer loses sound between the stretches, which the page tells; each
	// stretch of two seconds is looked up where it should lie.
	var stretches []float64
	for at := 0; at+2*store.Rate <= len(pcm); at += 2 * store.Rate {
		from := min(max(0, at+lag-store.Rate), len(same)-2*store.Rate)
		l, _ := alike(pcm[at:at+2*store.Rate], same[from:min(len(same), from+4*store.Rate)], 2*store.Rate)
		stretches = append(stretches, l)
	}
	slices.Sort(stretches)
	if len(stretches) < 4 || stretches[len(stretches)/2] < 0.95 {
		t.Errorf("what arrived is not what was played: correlations of two seconds each %.3f", stretches)
	}
	if !strings.Contains(c.text("document.body.innerText"), "trachea") {
		t.Error("the note does not hold what was heard")
	}
}

// safe is true when that many seconds are on the disk.
func safe(seconds int) string {
	return fmt.Sprintf("parseInt((document.querySelector('#detail').innerText.match(/disk: 0:(\\d+)/) || [0, '0'])[1], 10) >= %d", seconds)
}

// received gives how many samples came in.
func (b *bench) received(encounter string) int64 {
	b.t.Helper()
	t := b.s.takeNow(encounter)
	if t == nil {
		b.t.Fatal("nothing is recorded")
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.received
}

func (b *bench) grows(encounter string) {
	b.t.Helper()
	from := b.received(encounter)
	for range 1600 {
		if b.received(encounter) > from+store.Rate/2 {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	b.t.Fatal("no more sound comes in")
}

// A pedal, a pause, off the record, a second window, the lock, a reload, a server
// that is started anew: the same recording goes on, and it says what is safe.
func TestRecordingOutlivesItsPage(t *testing.T) {
	b := serve(t, hears(spoken...))
	c := micBrowser(t, b, wav(t, babble(40, store.Rate), store.Rate))
	c.mayLeave()
	c.enter()
	e := c.recordHere()
	c.do(chromedp.Evaluate("document.querySelector('#pedal').click()", nil))
	c.keys(kb.F8)
	c.until("document.querySelector('#pedal-key').textContent === 'F8'")
	c.keys(kb.F8)
	c.state("recording")
	c.until(safe(2))

	// Nothing of a pause is sent, nor off the record, where the microphone is off.
	c.until("performance.now() - pressed > 500")
	c.keys(kb.F8)
	c.state("paused")
	was := b.received(e)
	time.Sleep(time.Second)
	if now := b.received(e); now != was || c.text("held.length") != "0" {
		t.Errorf("%d samples of a pause were sent, %s pieces are held", now-was, c.text("held.length"))
	}
	c.keys(kb.F8)
	c.state("recording")
	b.grows(e)
	c.keys("o")
	c.state("off")
	if c.text("mic") != "null" {
		t.Error("the microphone is on, off the record")
	}
	was = b.received(e)
	time.Sleep(time.Second)
	if now := b.received(e); now != was {
		t.Errorf("%d samples were sent off the record", now-was)
	}
	c.until("performance.now() - pressed > 500")
	c.keys(kb.F8)
	c.state("recording")
	b.grows(e)

	// A second window looks on.
	two := c.window()
	two.mayLeave()
	two.open("/encounters/" + e + "/record")
	two.until("document.querySelector('#detail').innerText.includes('Another window records')")
	if two.text("document.querySelector('#go').disabled") != "true" {
		t.Error("the second window may record")
	}
	two.do(page.Close())

	// The lock hides the words in its window and stops nothing.
	c.until("document.querySelector('#bedside-now').innerText.includes('conjunctiva')")
	c.keys(kb.Escape, kb.Escape)
	c.until("!document.querySelector('#locked').hidden")
	b.grows(e)
	if strings.Contains(c.text("document.body.innerText"), "conjunctiva") {
		t.Error("locked, and a finding is on the screen")
	}
	c.do(chromedp.SendKeys("#unlock input[name=passphrase]", passphrase+kb.Enter))
	c.until("document.querySelector('#locked').hidden && document.querySelector('#bedside-now').innerText.includes('conjunctiva')")
	c.until("line && now.you === 'this' && !now.locked")
	b.grows(e)

	// A question about consent holds sound back, and loses none of it.
	c.keys("w")
	c.until("!document.querySelector('#ask').hidden && holding")
	c.until("length > 16000")
	was = b.received(e)
	time.Sleep(300 * time.Millisecond)
	if now := b.received(e); now != was {
		t.Error("sound was sent while it was asked whether consent holds")
	}
	c.keys("n")
	b.grows(e)

	// A reload: what was told as safe is safe, and it offers to go on.
	shown := c.text("now.safe")
	c.do(page.Reload())
	// She signed in anew since it began: the wristband is read again.
	c.until("document.body.innerText.includes('A recording goes on') && document.querySelector('input[name=first]')")
	c.do(chromedp.SendKeys("input[name=first]", "QX-4471"), chromedp.SendKeys("input[name=second]", "1900-02-30"+kb.Enter))
	c.until("document.querySelector('#band') && document.querySelector('#band').dataset.state === 'away'")
	if before, after := c.text("Number("+shown+")"), c.text("now.safe"); before > after && len(before) >= len(after) {
		t.Errorf("%s samples were told as safe, and %s are", before, after)
	}
	c.ready()
	c.keys(kb.F8)
	c.state("recording")
	b.grows(e)
	if got := c.text("localStorage.length + sessionStorage.length + document.cookie"); got != "0bedsaid_pedal=F8" {
		t.Errorf("the browser keeps more than the pedal's key: %s", got)
	}

	// The server is gone: it says so and keeps the sound; another one goes on.
	r, _ := b.recorded(e)
	b.s.Close()
	c.until("document.querySelector('#alarms').innerText.includes('No connection') || !document.querySelector('#locked').hidden")
	c.until("length > 0")
	// What no server took can be saved as a file.
	c.do(chromedp.Evaluate("silence(); URL.createObjectURL = (b) => { window.saved = b.size; return '#'; }; save()", nil))
	if c.text("saved === 44 + 2 * length") != "true" {
		t.Error("the file does not hold the sound that waits")
	}
	b2 := b.again()
	c.b = b2
	c.enter()
	c.open("/encounters/" + e)
	c.until("document.body.innerText.includes('A recording was cut off')")
	c.open("/encounters/" + e + "/record")
	c.do(chromedp.SendKeys("input[name=first]", "QX-4471"), chromedp.SendKeys("input[name=second]", "1900-02-30"+kb.Enter))
	c.ready()
	c.state("cut")
	c.keys(kb.F8)
	c.state("recording")
	b2.grows(e)
	// Sound that a busy computer loses is missed, told, and said in the note.
	c.until("base !== null")
	c.do(chromedp.Evaluate("since -= 3000", nil))
	c.until("document.querySelector('#alarms').innerText.includes('too busy: about 3 s')")
	c.keys("s")
	c.until("performance.now() - armedAt > 260")
	c.keys("s")
	c.until("location.pathname.startsWith('/notes/')")
	now, _ := b2.recorded(e)
	if now.ID != r.ID || now.Samples <= r.Samples || now.State != store.RecordingEnded {
		t.Errorf("it was not gone on with: %v, %d samples, %s", now, now.Samples, now.State)
	}
	for _, why := range []string{"paused", "off the record", "the page that recorded was closed", "the program was stopped", "in all: the computer was too busy"} {
		c.until(fmt.Sprintf("document.body.innerText.includes(%q)", why))
	}
}

// A time without a touch hides the words of the page that records, and neither
// locks it nor loads it anew.
func TestRecordingIsNotLockedByItself(t *testing.T) {
	b := serve(t, func(o *Options) { hears(spoken...)(o); o.LockAfter = 3 * time.Second })
	c := micBrowser(t, b, wav(t, babble(20, store.Rate), store.Rate))
	c.enter()
	e := c.recordHere()
	c.keys(" ")
	c.state("recording")
	c.until("document.querySelector('#bedside-now').innerText.includes('conjunctiva') && (window.same = true)")
	c.until("covered && document.querySelector('.hidden-words')")
	if strings.Contains(c.text("document.querySelector('#bedside-now').innerText"), "conjunctiva") {
		t.Error("words are shown")
	}
	for range 3 {
		time.Sleep(1500 * time.Millisecond)
		b.grows(e)
	}
	if c.text("window.same && document.querySelector('#locked').hidden") != "true" {
		t.Error("it was loaded anew, or locked")
	}
}

// A browser that cannot run at 16 kHz has its sound brought down by the page: a
// tone below 8 kHz comes through whole, one above is gone.
func TestHigherRatesAreBroughtDown(t *testing.T) {
	b := serve(t, nil)
	c := chromium(t, b)
	c.enter()
	for _, rate := range []int{16000, 44100, 48000, 96000} {
		for hz, want := range map[int]float64{440: 0.5, 3000: 0.5, 6500: 0.5, 9500: 0, 15000: 0} {
			if hz*3 > rate { // the browser's own tone is weak there
				continue
			}
			var got []float64
			c.do(chromedp.Evaluate(fmt.Sprintf(`(async () => {
				const ctx = new OfflineAudioContext(1, %[1]d, %[1]d);
				await ctx.audioWorklet.addModule("/assets/worklet.js");
				const tone = new OscillatorNode(ctx, {frequency: %[2]d}), half = new GainNode(ctx, {gain: 0.5}), node = new AudioWorkletNode(ctx, "mouthpiece");
				const all = [];
				node.port.onmessage = (e) => all.push(...e.data.samples);
				tone.connect(half).connect(node).connect(ctx.destination);
				tone.start();
				await ctx.startRendering();
				for (let was = -1; was !== all.length || !was; was = all.length) await new Promise((r) => setTimeout(r, 50));
				// The part of it at the tone's own frequency, and all of it.
				let re = 0, im = 0, sum = 0, n = 0;
				for (let i = 1600; i < 14400; i++) { const x = all[i] / 32768; re += x * Math.cos(2 * Math.PI * %[2]d * i / 16000); im += x * Math.sin(2 * Math.PI * %[2]d * i / 16000); sum += x * x; n++; }
				return [all.length, 2 * Math.hypot(re, im) / n, Math.sqrt(2 * sum / n)];
			})()`, rate, hz), &got, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
			if got[0] < 14400 || got[0] > 16000 || math.Abs(got[1]-want) > 0.02 && want > 0 || math.Abs(got[2]-want) > 0.02 {
				t.Errorf("%d Hz at %d a second: %.0f samples, amplitude %.3f of the tone, %.3f of all, want %.1f", hz, rate, got[0], got[1], got[2], want)
			}
		}
	}
}

// each brings the page that records into each of its states, in turn.
func (c *browser) each(visit func(state string)) {
	c.t.Helper()
	c.mayLeave()
	c.enter()
	c.recordHere()
	visit("ready")
	c.keys(" ")
	c.state("recording")
	c.until("document.querySelector('#bedside-now').innerText.includes('conjunctiva')")
	visit("recording")
	c.keys("h")
	c.until("document.querySelector('.hidden-words')")
	visit("covered")
	c.keys("h")
	c.until("document.querySelector('#bedside-now').innerText.includes('conjunctiva')")
	c.keys("w")
	c.until("!document.querySelector('#ask').hidden")
	visit("question")
	c.keys("n")
	c.keys("o")
	c.state("off")
	visit("off")
	c.keys(kb.Escape, kb.Escape)
	c.until("!document.querySelector('#locked').hidden")
	visit("locked")
	c.do(chromedp.SendKeys("#unlock input[name=passphrase]", passphrase+kb.Enter))
	c.until("document.querySelector('#locked').hidden && line && !now.locked")
	c.do(chromedp.Evaluate("hear({...now, problem: 'The disk is full; what was saved before is safe.', hint: 'Free some space and try again.'})", nil))
	visit("trouble")
}

// axe-core finds nothing serious on the page that records, in any of its states,
// at a contrast of 7:1.
func TestRecordPageIsForEverybody(t *testing.T) {
	axe := axeSource(t)
	b := serve(t, hears(spoken...))
	c := micBrowser(t, b, wav(t, babble(30, store.Rate), store.Rate))
	c.each(func(state string) {
		for _, dark := range []bool{false, true} {
			c.theme(dark)
			for _, width := range []int64{360, 1440} {
				c.do(emulation.SetDeviceMetricsOverride(width, 900, 1, false))
				c.forEverybody(axe, fmt.Sprintf("record, %s, %d px, dark %v", state, width, dark), true)
			}
		}
	})
}

// TestRecordPictures takes those of the page that records; see TestPictures.
func TestRecordPictures(t *testing.T) {
	folder := os.Getenv("BEDSAID_PICTURES")
	if folder == "" {
		t.Skip("BEDSAID_PICTURES names no folder; skipped")
	}
	b := serve(t, hears(spoken...))
	c := micBrowser(t, b, wav(t, babble(60, store.Rate), store.Rate))
	c.each(func(state string) {
		for width, height := range map[int64]int64{360: 740, 768: 1024, 1440: 900} {
			for _, dark := range []bool{false, true} {
				if os.Getenv("BEDSAID_PICTURES_ALL") == "" && !kept[fmt.Sprintf("%s %d %v", state, width, dark)] {
					continue
				}
				c.theme(dark)
				c.do(emulation.SetDeviceMetricsOverride(width, height, 1, false))
				c.do(chromedp.Evaluate("scrollTo(0, 0)", nil))
				c.picture(folder, "record-"+state, width, dark)
			}
		}
	})
}

// kept are the pictures that the documents show.
var kept = map[string]bool{"recording 1440 true": true, "recording 768 false": true, "recording 360 true": true, "off 1440 false": true, "trouble 768 true": true, "ready 360 false": true}
