package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/audio"
	"bedsaid/internal/export"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// clock is how times are shown to a person, by the clock of this machine.
const clock = "2 Jan 2006, 15:04"

var statusWords = map[review.Status]string{
	review.Preliminary: "not signed", review.AwaitingCoSign: "waits for the preceptor", review.Final: "signed",
	review.Amending: "signed, being amended", review.AmendingAwaitingCoSign: "amendment waits for the preceptor", review.Amended: "signed, amended",
}

// encounterView is an examination in the list and on its own page.
type encounterView struct {
	ID, Bed, When, Examiner string
	Patient                 [2]store.Identifier
	Consent                 consentView
	Recordings              []recordingView
	Notes                   []noteLink
	Jobs                    []jobView
	// Confirmed says that the identifiers were read off the wristband by this
	// person since she signed in.
	Confirmed bool
	// Live is a recording at the bedside that goes on, or was cut off.
	Live *liveNow
	// Sounds counts recordings whose sound is there.
	Sounds  int
	Problem *problem
}

type consentView struct {
	Holds          bool
	From, How      string
	When, Withdrew string
}

type recordingView struct {
	ID, Length    string
	Drafted, Open bool
}

type noteLink struct {
	ID, Status, When string
	Spoken           bool
}

func viewOf(e store.Summary) encounterView {
	v := encounterView{ID: e.ID, Bed: e.Bed, When: e.ExaminedAt.Local().Format(clock), Examiner: named(e.Examiner), Patient: e.Patient,
		Consent: consentView{Holds: e.Consent.Holds(), From: e.Consent.From, How: e.Consent.How}}
	if !e.Consent.At.IsZero() {
		v.Consent.When = e.Consent.At.Local().Format(clock)
	}
	if !e.Consent.Withdrawn.IsZero() {
		v.Consent.Withdrew = e.Consent.Withdrawn.Local().Format(clock)
	}
	drafted := map[string]bool{}
	for _, n := range e.Notes {
		drafted[n.Recording] = true
		v.Notes = append(v.Notes, noteLink{n.ID, statusWords[n.Status], n.DraftedAt.Local().Format(clock), n.Recording != ""})
	}
	for _, r := range e.Recordings {
		there := r.State != store.RecordingPurged
		if there {
			v.Sounds++
		}
		v.Recordings = append(v.Recordings, recordingView{r.ID, export.ClockTime(r.Seconds()), drafted[r.ID], there})
	}
	return v
}

// named is a person as she stands below a note.
func named(p review.Person) string {
	if p.Credentials == "" {
		return p.Name
	}
	return p.Name + ", " + p.Credentials
}

// list shows the newest examinations.
func (s *Server) list(w http.ResponseWriter, r *http.Request, p *person) {
	all, err := p.x.Encounters(r.Context(), store.Page{Limit: 50})
	if err != nil {
		s.fail(w, r, err)
		return
	}
	var views []encounterView
	for _, e := range all {
		views = append(views, viewOf(e))
	}
	s.show(w, r, http.StatusOK, "list", "Examinations", views)
}

type newView struct {
	Kinds              [2]string
	Values             [2]string
	Bed, At, From, How string
	Problem            *problem
}

// localTime is the form of a datetime-local field (HTML).
const localTime = "2006-01-02T15:04"

func (s *Server) newForm(w http.ResponseWriter, r *http.Request, p *person) {
	site, err := p.x.Site(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "new", "Begin", newView{Kinds: site.Identifiers, At: s.opt.Now().Local().Format(localTime)})
}

// newEncounter opens an examination. The identifiers are typed twice over: what
// is typed the second time is what the wristband says, read again.
func (s *Server) newEncounter(w http.ResponseWriter, r *http.Request, p *person) {
	site, err := p.x.Site(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := newView{Kinds: site.Identifiers, Values: [2]string{r.PostFormValue("first"), r.PostFormValue("second")}, Bed: r.PostFormValue("bed"),
		At: r.PostFormValue("at"), From: r.PostFormValue("from"), How: r.PostFormValue("how")}
	again := func(pr problem) {
		v.Problem = &pr
		s.show(w, r, http.StatusUnprocessableEntity, "new", "Begin", v)
	}
	at, err := time.ParseInLocation(localTime, v.At, time.Local)
	if err != nil {
		again(problem{"The time of the examination is not a time.", "Choose a day and a time."})
		return
	}
	if r.PostFormValue("read") == "" {
		again(problem{"The wristband is not confirmed.", "Read both identifiers off the wristband, compare, and tick the box."})
		return
	}
	d := store.Details{Patient: [2]store.Identifier{{Kind: v.Kinds[0], Value: strings.TrimSpace(v.Values[0])}, {Kind: v.Kinds[1], Value: strings.TrimSpace(v.Values[1])}},
		Bed: strings.TrimSpace(v.Bed), ExaminedAt: at}
	if d.Consent, err = s.consentOf(r); err != nil {
		again(problemOf(err))
		return
	}
	e, err := p.x.NewEncounter(r.Context(), d)
	if err != nil {
		again(problemOf(err))
		return
	}
	s.confirm(p, e.ID, store.Confirmed{d.Patient[0].Value, d.Patient[1].Value})
	http.Redirect(w, r, "/encounters/"+e.ID, http.StatusSeeOther)
}

// halfConsent says that a consent lacks from whom it came, or how.
type halfConsent struct{}

func (halfConsent) Error() string { return "consent is half noted" }
func (halfConsent) Hint() string {
	return "say from whom it came and how; or leave both empty and type what you found"
}

// consentOf reads a consent to recording off a form; it is zero where none was
// given.
func (s *Server) consentOf(r *http.Request) (store.Consent, error) {
	from, how := strings.TrimSpace(r.PostFormValue("from")), strings.TrimSpace(r.PostFormValue("how"))
	if from == "" && how == "" {
		return store.Consent{}, nil
	}
	if from == "" || how == "" {
		return store.Consent{}, halfConsent{}
	}
	if r.PostFormValue("others") != "" {
		how += "; others in the room were told"
	}
	return store.Consent{From: from, How: how, At: s.opt.Now()}, nil
}

// consent notes a consent that was given after the examination was begun. One that
// was withdrawn stays withdrawn.
func (s *Server) consent(w http.ResponseWriter, r *http.Request, p *person) {
	id := r.PathValue("id")
	e, err := p.x.Encounter(r.Context(), id)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	c, err := s.consentOf(r)
	if err == nil && (c.At.IsZero() || !e.Consent.At.IsZero()) {
		err = halfConsent{}
	}
	if err != nil {
		pr := problemOf(err)
		s.encounterPage(w, r, p, http.StatusUnprocessableEntity, &pr)
		return
	}
	e.Consent = c
	if _, err := p.x.UpdateEncounter(r.Context(), id, e.Version, e.Details, "consent noted"); err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	http.Redirect(w, r, "/encounters/"+id, http.StatusSeeOther)
}

func (s *Server) confirm(p *person, encounter string, c store.Confirmed) {
	s.mu.Lock()
	defer s.mu.Unlock()
	p.confirmed[encounter] = c
}

// wristbandOf gives the identifiers of a form, as somebody read them off the
// wristband.
func wristbandOf(r *http.Request) store.Confirmed {
	return store.Confirmed{r.PostFormValue("first"), r.PostFormValue("second")}
}

// readWristband says whether somebody read the identifiers since signing in.
func (s *Server) readWristband(p *person, encounter string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, ok := p.confirmed[encounter]
	return ok
}

// confirmed gives the identifiers of a form, else those read since signing in.
func (s *Server) confirmed(p *person, encounter, first, second string) store.Confirmed {
	s.mu.Lock()
	defer s.mu.Unlock()
	if c, ok := p.confirmed[encounter]; ok && first == "" && second == "" {
		return c
	}
	return store.Confirmed{first, second}
}

func (s *Server) encounterView(ctx context.Context, p *person, id string) (encounterView, error) {
	e, err := p.x.Encounter(ctx, id)
	if err != nil {
		return encounterView{}, err
	}
	sum := store.Summary{Encounter: e}
	if sum.Notes, err = p.x.Notes(ctx, id); err != nil {
		return encounterView{}, err
	}
	if sum.Recordings, err = p.x.Recordings(ctx, id); err != nil {
		return encounterView{}, err
	}
	v := viewOf(sum)
	v.Jobs, v.Live = s.jobsOf(id), s.liveNow(id, sum.Recordings)
	if v.Live != nil && v.Live.Goes { // it is not drafted before it ends
		v.Recordings = slices.DeleteFunc(v.Recordings, func(r recordingView) bool { return r.ID == v.Live.ID })
	}
	v.Confirmed = s.readWristband(p, id)
	return v, nil
}

func (s *Server) encounter(w http.ResponseWriter, r *http.Request, p *person) {
	s.encounterPage(w, r, p, http.StatusOK, nil)
}

func (s *Server) encounterPage(w http.ResponseWriter, r *http.Request, p *person, code int, pr *problem) {
	v, err := s.encounterView(r.Context(), p, r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v.Problem = pr
	s.show(w, r, code, "encounter", "Examination", v)
}

// jobParts gives how far drafts have come, which the page asks for by itself.
func (s *Server) jobParts(w http.ResponseWriter, r *http.Request, p *person) {
	v, err := s.encounterView(r.Context(), p, r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.showParts(w, http.StatusOK, part{"kept", v})
}

func (s *Server) encounterFailed(w http.ResponseWriter, r *http.Request, p *person, err error) {
	pr := problemOf(err)
	if large := new(http.MaxBytesError); errors.As(err, &large) {
		pr = problem{"That is too large.", "Give one examination at a time: sound up to 1 GB, words up to 2 MB."}
	}
	s.encounterPage(w, r, p, statusOf(err), &pr)
}

// takeSound keeps a recording that was dropped on the page, and drafts it. The
// sound is read while it arrives, and never lies on the disk unencrypted.
func (s *Server) takeSound(w http.ResponseWriter, r *http.Request, p *person) {
	id := r.PathValue("id")
	clip, c, err := s.readSound(r, p, id)
	if err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	rec, err := p.x.KeepSound(r.Context(), id, c, clip)
	if err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	s.confirm(p, id, c)
	s.draft(p, id, rec, pipeline.Input{Path: "recording", Sound: clip})
	http.Redirect(w, r, "/encounters/"+id, http.StatusSeeOther)
}

func (s *Server) readSound(r *http.Request, p *person, id string) (*audio.Clip, store.Confirmed, error) {
	e, err := p.x.Encounter(r.Context(), id)
	if err != nil {
		return nil, store.Confirmed{}, err
	}
	if !e.Consent.Holds() { // before a byte of it is read
		return nil, store.Confirmed{}, store.ErrConsent
	}
	form, err := r.MultipartReader()
	if err != nil {
		return nil, store.Confirmed{}, badForm(err)
	}
	var first, second string
	for {
		f, err := form.NextPart()
		if err != nil {
			return nil, store.Confirmed{}, badForm(err)
		}
		switch f.FormName() {
		case "first", "second":
			b, err := io.ReadAll(io.LimitReader(f, 1000))
			if err != nil {
				return nil, store.Confirmed{}, badForm(err)
			}
			if f.FormName() == "first" {
				first = string(b)
			} else {
				second = string(b)
			}
		case "file":
			clip, err := audio.Read(r.Context(), f, 0, nil)
			return clip, s.confirmed(p, id, first, second), err
		}
	}
}

// badForm is what a person never sees unless something stood in the way.
func badForm(err error) error {
	if large := new(http.MaxBytesError); errors.As(err, &large) {
		return err
	}
	return &audio.Error{Kind: audio.ErrUnreadable, Problem: "no file arrived", Hint: "choose a WAV recording and try again"}
}

// takeWords drafts from typed words.
func (s *Server) takeWords(w http.ResponseWriter, r *http.Request, p *person) {
	id := r.PathValue("id")
	if err := r.ParseForm(); err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	if _, err := p.x.Encounter(r.Context(), id); err != nil {
		s.fail(w, r, err)
		return
	}
	text := r.PostFormValue("text")
	if strings.TrimSpace(text) == "" {
		s.encounterPage(w, r, p, http.StatusUnprocessableEntity, &problem{"There are no words.", "Type or paste what was said."})
		return
	}
	s.draft(p, id, "", typedWords(text))
	http.Redirect(w, r, "/encounters/"+id, http.StatusSeeOther)
}

// draftAgain drafts sound that is kept and has no note: the program was stopped
// before it was done.
func (s *Server) draftAgain(w http.ResponseWriter, r *http.Request, p *person) {
	id, rec := r.PathValue("id"), r.PostFormValue("recording")
	all, err := p.x.Recordings(r.Context(), id)
	if err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	i := slices.IndexFunc(all, func(x store.Recording) bool { return x.ID == rec })
	if i < 0 {
		s.encounterFailed(w, r, p, store.ErrNotFound)
		return
	}
	in, err := keptSound(r.Context(), p.x, all[i])
	if err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	s.draft(p, id, rec, in)
	http.Redirect(w, r, "/encounters/"+id, http.StatusSeeOther)
}

// withdraw ends the consent to recording.
func (s *Server) withdraw(w http.ResponseWriter, r *http.Request, p *person) {
	if _, err := p.x.WithdrawConsent(r.Context(), r.PathValue("id")); err != nil {
		s.encounterFailed(w, r, p, err)
		return
	}
	if t := s.takeNow(r.PathValue("id")); t != nil { // a window still records
		t.do.Lock()
		t.withdrawn()
		t.do.Unlock()
	}
	http.Redirect(w, r, "/encounters/"+r.PathValue("id"), http.StatusSeeOther)
}
