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
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/store"
	"bedsaid/internal/transcript"
)

// script hears what it was told to: one more sentence for each second of sound.
type script struct {
	d         *pipeline.Drafter
	sentences []string
	told      func(Update)

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
	h.told(Update{Draft: d, Received: at, Settled: at})
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
		o.Live = func(_ context.Context, told func(Update)) (Listener, error) {
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
	c := chromium(t, b, chromedp.Flag("use-fake-device-for-media-stream", true), chromedp.Flag("use-fake-ui-for-media-stream", true),
		chromedp.Flag("use-file-for-fake-audio-capture", file+"%noloop"))
	return c
}

// says that a page may be left while it records.
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
	c.until("document.querySelector('#band').dataset.state === '" + want + "'")
}

// person gives somebody who is signed in.
func (b *bench) person() *person {
	b.t.Helper()
	b.s.mu.Lock()
	defer b.s.mu.Unlock()
	for _, p := range b.s.people {
		return p
	}
	b.t.Fatal("nobody is signed in")
	return nil
}

// recorded gives what is kept of an encounter's only recording.
func (b *bench) recorded(encounter string) (store.Recording, []int16) {
	b.t.Helper()
	p := b.person()
	all, err := p.x.Recordings(b.t.Context(), encounter)
	if err != nil || len(all) != 1 {
		b.t.Fatalf("%d recordings: %v", len(all), err)
	}
	pcm, err := p.x.Sound(b.t.Context(), all[0].ID, 0, all[0].Samples)
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
	return &bench{t: b.t, s: s, http: &http.Client{Jar: jar}, origin: s.origin, dir: b.dir}
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
	if like < 0.95 {
		t.Errorf("what arrived is not what was played: correlation %.3f", like)
	}
	if !strings.Contains(c.text("document.body.innerText"), "trachea") {
		t.Error("the note does not hold what was heard")
	}
}

// safe is true when that many seconds are on the disk.
func safe(seconds int) string {
	return fmt.Sprintf("parseInt((document.querySelector('#detail').innerText.match(/disk: 0:(\\d+)/) || [0, '0'])[1], 10) >= %d", seconds)
}
