package web

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// reviewView is the page on which a note is decided.
type reviewView struct {
	placed
	Regions []region
	Bar     bar
	Rail    rail
	Add     *desk // for a finding that is not drafted
	// Notices say what was lost or worked around in reading the recording.
	Cautions, Notices []string
}

// bar says how much is left, and takes the last step back.
type bar struct {
	Note              string
	After             int
	Left, Plain       int
	Next              string
	CanUndo, CanSign  bool
	Decides, Finished bool
	Status            string
	Said              string // what was just done, for a screen reader too
}

// rail is the way through the regions.
type rail struct{ Regions []region }

func (s *Server) load(r *http.Request, p *person, id string) (sheet, error) {
	n, err := p.x.Note(r.Context(), id)
	if err != nil {
		return sheet{}, err
	}
	info, err := p.x.NoteInfo(r.Context(), id)
	return s.lay(info, n, p.x.User().Person()), err
}

func (t sheet) bar(said, here string) bar {
	b := bar{Note: t.info.ID, After: t.n.Len(), Next: t.next(here), CanUndo: t.n.CanUndo(t.person), Decides: t.decides(),
		Status: statusWords[t.n.Status()], Said: said}
	for _, r := range t.regions {
		b.Left += r.Open
		b.Plain += len(r.Plain)
	}
	b.Finished = b.Left == 0
	b.CanSign = b.Finished && b.Decides
	return b
}

// review shows a note. ?at= names the item that stands open.
func (s *Server) review(w http.ResponseWriter, r *http.Request, p *person) {
	t, err := s.load(r, p, r.PathValue("id"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	at := r.FormValue("at")
	if it, _ := t.find(at); it == nil {
		at = t.next("")
	}
	was := r.FormValue("from")
	if r.Header.Get(partHeader) != "" {
		s.showParts(w, http.StatusOK, s.partsOf(t, p, "", was, at)...)
		return
	}
	s.reviewPage(w, r, p, http.StatusOK, t, at, nil)
}

func (s *Server) reviewPage(w http.ResponseWriter, r *http.Request, p *person, code int, t sheet, at string, open *desk) {
	e, err := p.x.Encounter(r.Context(), t.info.Encounter)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	add := t.addDesk()
	if it, _ := t.find(at); it != nil {
		it.Desk = s.deskOf(t, it)
		if open != nil && open.Item != nil && open.Item.ID == at {
			it.Desk = open
		}
	}
	if open != nil && open.Item == nil {
		add = open
	}
	s.shown(p, t)
	s.show(w, r, code, "review", "Review", reviewView{placed: placeOf(t.info.ID, "review", e, t.n), Regions: t.regions,
		Bar: t.bar("", at), Rail: rail{t.regions}, Add: add, Cautions: t.n.Draft().Cautions, Notices: t.n.Draft().Notices})
}

// shown remembers what lines said when they were shown: a region is accepted
// only as it was seen.
func (s *Server) shown(p *person, t sheet) {
	s.mu.Lock()
	defer s.mu.Unlock()
	seen := map[string]string{}
	for _, r := range t.regions {
		for _, it := range r.Items {
			seen[it.ID] = it.Name + "\n" + it.Says
		}
	}
	p.shown[t.info.ID] = seen
}

// partsOf gives the elements that change when one item closes and another one
// opens, or is decided.
func (s *Server) partsOf(t sheet, p *person, said string, ids ...string) []part {
	here := ""
	if len(ids) > 0 {
		here = ids[len(ids)-1]
	}
	parts := []part{{"bar", t.bar(said, here)}, {"rail", rail{t.regions}}}
	done := map[string]bool{"": true}
	for _, id := range ids {
		it, r := t.find(id)
		if it == nil || done[id] {
			continue
		}
		done[id] = true
		if id == here {
			it.Desk = s.deskOf(t, it)
		}
		parts = append(parts, part{"item", *it})
		if !done["region "+r.ID] {
			done["region "+r.ID] = true
			parts = append(parts, part{"foot", *r})
		}
	}
	s.shown(p, t)
	return append(parts, part{"add", t.addDesk()})
}

// notUnderstood says that a typed sentence held no finding.
type notUnderstood struct{}

func (notUnderstood) Error() string { return "no finding was understood in it" }
func (notUnderstood) Hint() string {
	return "name what you examined, the side, and what you found, as you would say it to a colleague: right eardrum pearly gray"
}

// afterOf reads the form and gives how many decisions its sender saw. Where there
// is none, it answers and ok is false.
func (s *Server) afterOf(w http.ResponseWriter, r *http.Request) (after int, ok bool) {
	if err := r.ParseForm(); err != nil {
		s.fail(w, r, err)
		return 0, false
	}
	after, err := strconv.Atoi(r.PostFormValue("after"))
	if err != nil {
		s.fail(w, r, store.ErrNotFound)
		return 0, false
	}
	return after, true
}

// decide takes one decision on one item.
func (s *Server) decide(w http.ResponseWriter, r *http.Request, p *person) {
	after, ok := s.afterOf(w, r)
	if !ok {
		return
	}
	id, at := r.PathValue("id"), r.PostFormValue("line")
	t, err := s.load(r, p, id)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	it, _ := t.find(at)
	d, open, err := s.decisionOf(r, t, it)
	switch {
	case err != nil:
		pr := problemOf(err)
		s.again(w, r, p, http.StatusUnprocessableEntity, t, it, &desk{Problem: &pr, Typed: r.PostFormValue("typed"), Kind: r.PostFormValue("kind")})
		return
	case open != nil:
		s.again(w, r, p, http.StatusOK, t, it, open)
		return
	}
	n, err := p.x.Decide(r.Context(), id, after, d)
	if err != nil {
		s.refused(w, r, p, t, it, err)
		return
	}
	s.decided(w, r, p, s.lay(t.info, n, t.person), t, d, at)
}

// decided shows the note after a decision: what changed, and the next item.
func (s *Server) decided(w http.ResponseWriter, r *http.Request, p *person, now, before sheet, d review.Decision, at string) {
	changed := difference(before, now)
	next := at
	if it, _ := now.find(at); d.Kind != review.Undo && (it == nil || it.Settled) {
		next = now.next(at)
	}
	if d.Kind == review.Undo && len(changed) > 0 {
		next = changed[0]
	}
	if d.Kind == review.Add {
		next = ""
		for _, id := range changed {
			next = id
		}
	}
	said := saidOf(d)
	structure := len(before.ids()) != len(now.ids()) // a line came or went
	if r.Header.Get(partHeader) == "" || structure {
		if r.Header.Get(partHeader) != "" {
			w.Header().Set("X-Bedsaid-Go", fmt.Sprintf("/notes/%s?at=%s", now.info.ID, next))
			w.WriteHeader(http.StatusNoContent)
			return
		}
		http.Redirect(w, r, fmt.Sprintf("/notes/%s?at=%s#item-%s", now.info.ID, next, next), http.StatusSeeOther)
		return
	}
	s.showParts(w, http.StatusOK, s.partsOf(now, p, said, append(append([]string{at}, changed...), next)...)...)
}

func (t sheet) ids() []string {
	var out []string
	for _, r := range t.regions {
		for _, it := range r.Items {
			out = append(out, it.ID)
		}
	}
	return out
}

// difference gives the items that stand otherwise than before.
func difference(before, now sheet) []string {
	var out []string
	for _, id := range now.ids() {
		a, _ := before.find(id)
		b, _ := now.find(id)
		if a == nil || a.State != b.State || a.Says != b.Says || a.Name != b.Name || a.Settled != b.Settled {
			out = append(out, id)
		}
	}
	return out
}

var saidWords = map[review.Kind]string{
	review.Accept: "Accepted", review.Change: "Changed", review.Reject: "Struck", review.NotAssessed: "Not assessed", review.Add: "Added",
	review.Listened: "Listened to", review.Read: "Read", review.Close: "Closed", review.Undo: "The last step was taken back",
}

func saidOf(d review.Decision) string { return saidWords[d.Kind] }

// again shows an item with what was typed and what stands in the way.
// changed are other items that stand otherwise than the window shows them.
func (s *Server) again(w http.ResponseWriter, r *http.Request, p *person, code int, t sheet, it *item, with *desk, changed ...string) {
	open, view, at := t.addDesk(), "add", ""
	if it != nil {
		open, view, at = s.deskOf(t, it), "item", it.ID
	}
	open.Problem, open.Typed, open.Proposals, open.Conflict = with.Problem, with.Typed, with.Proposals, with.Conflict
	open.Reason = strings.TrimSpace(r.PostFormValue("why"))
	if with.Kind == "change" || with.Kind == "add" {
		open.Kind = with.Kind
	}
	if r.Header.Get(partHeader) == "" {
		s.reviewPage(w, r, p, code, t, at, open)
		return
	}
	parts := []part{{"bar", t.bar("", at)}, {"rail", rail{t.regions}}}
	for _, id := range changed {
		if other, reg := t.find(id); other != nil && id != at {
			parts = append(parts, part{"item", *other}, part{"foot", *reg})
		}
	}
	if it != nil {
		it.Desk = open
		parts = append(parts, part{view, *it})
	} else {
		parts = append(parts, part{view, open})
	}
	s.showParts(w, code, parts...)
}

// refused shows why a decision was not taken. Where somebody else decided
// meanwhile, it says what.
func (s *Server) refused(w http.ResponseWriter, r *http.Request, p *person, t sheet, it *item, err error) {
	pr := problemOf(err)
	with := &desk{Problem: &pr}
	var c *store.ConflictError
	var changed []string
	if errors.As(err, &c) {
		changed = difference(s.lay(t.info, c.Seen, t.person), t)
		pr = problem{"The note was changed in another window. Nothing of yours was written.", "Look at what was changed, then decide again."}
		with.Conflict = changesBetween(c.Seen, c.Now)
	}
	with.Typed, with.Kind = r.PostFormValue("typed"), r.PostFormValue("kind")
	s.again(w, r, p, statusOf(err), t, it, with, changed...)
}

// changesBetween says what was decided after a note was seen.
func changesBetween(seen, now review.Note) []string {
	var out []string
	d := now.Draft()
	for _, x := range now.Decisions()[seen.Len():] {
		what := saidOf(x)
		if what == "" {
			what = x.Kind.String()
		}
		if l, ok := now.Line(x.Line); ok {
			e := entryOf(d, l.Finding)
			what += ": " + e.Item.Name + ", " + export.Statement(e)
		}
		out = append(out, what+" ("+named(x.By)+", "+x.At.Local().Format(clock)+")")
	}
	return out
}

// decisionOf reads a decision off the form. Where a typed sentence was not yet
// confirmed, it gives the desk with what was understood instead.
func (s *Server) decisionOf(r *http.Request, t sheet, it *item) (review.Decision, *desk, error) {
	kind := review.ParseKind(r.PostFormValue("kind"))
	d := review.Decision{Kind: kind, Why: strings.TrimSpace(r.PostFormValue("why"))}
	if it != nil {
		d.Index = it.Index
		if it.Kind == "line" {
			d.Line = it.ID
		}
	}
	for _, m := range r.PostForm["mark"] { // the doubts that were on the screen
		d.Resolves = append(d.Resolves, finding.MarkKind(m))
	}
	switch kind {
	case review.Add, review.Change:
		if side := r.PostFormValue("side"); side != "" && it != nil {
			d.Finding = s.otherSide(it.Line.Finding, side)
			return d, nil, nil
		}
		return s.typed(r, d)
	case review.Close:
		at, err := time.ParseInLocation(localTime, r.PostFormValue("at"), time.Local)
		if err != nil {
			at = time.Time{}
		}
		d.Closing = review.Closing{Handling: review.ParseHandling(r.PostFormValue("handling")), To: strings.TrimSpace(r.PostFormValue("to")),
			ReadBack: r.PostFormValue("read_back") != "", Answer: strings.TrimSpace(r.PostFormValue("answer"))}
		if d.Closing.Handling == review.Told {
			d.Closing.At = at
		}
	}
	return d, nil, nil
}

// typed reads a typed sentence: the first time it shows what was understood, and
// once one of that is chosen it decides.
func (s *Server) typed(r *http.Request, d review.Decision) (review.Decision, *desk, error) {
	text := strings.TrimSpace(r.PostFormValue("typed"))
	if text == "" {
		return d, nil, &review.RuleError{Rule: review.NoFinding, Kind: d.Kind}
	}
	entries, err := s.understand(r.Context(), text)
	if err != nil {
		return d, nil, err
	}
	if len(entries) == 0 {
		return d, nil, notUnderstood{}
	}
	pick, err := strconv.Atoi(r.PostFormValue("pick"))
	changed := r.PostFormValue("understood") != text // since it was shown: the Enter key picks the first
	if err != nil || changed || pick < 0 || pick >= len(entries) {
		return d, &desk{Typed: text, Kind: d.Kind.String(), Proposals: propose(entries)}, nil
	}
	f := entries[pick].Finding
	f.Marks, f.Evidence = nil, nil // she read it and chose it; its words are the typed ones
	d.Finding, d.Text = f, text
	if d.Kind == review.Add {
		d.Line = ""
	}
	return d, nil, nil
}

// otherSide gives a finding another side. What is expected may differ by side.
func (s *Server) otherSide(f finding.Finding, side string) finding.Finding {
	f.Marks = nil
	for _, v := range []finding.Side{finding.Right, finding.Left, finding.Both} {
		if v.String() == side {
			f.Side = v
		}
	}
	if known, ok := s.opt.Lexicon.Finding(f.ID); ok && (known.Expected["right"] != nil || known.Expected["left"] != nil) {
		f.Interpretation = finding.Unclear
	}
	return f
}

// acceptRegion accepts the plain lines of a region, each with a decision of its
// own, if each was shown as it stands.
func (s *Server) acceptRegion(w http.ResponseWriter, r *http.Request, p *person) {
	after, ok := s.afterOf(w, r)
	if !ok {
		return
	}
	id := r.PathValue("id")
	t, err := s.load(r, p, id)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	before, n := t, t.n
	var last string
	for _, line := range r.PostForm["line"] {
		it, reg := t.find(line)
		if it == nil || reg.ID != r.PostFormValue("region") || !it.Plain || it.Settled || !s.wasShown(p, id, it) {
			s.refused(w, r, p, t, nil, &unseen{})
			return
		}
		if n, err = p.x.Decide(r.Context(), id, after, review.Decision{Kind: review.Accept, Line: line}); err != nil {
			s.refused(w, r, p, t, it, err)
			return
		}
		after, last = n.Len(), line
	}
	s.decided(w, r, p, s.lay(t.info, n, t.person), before, review.Decision{Kind: review.Accept}, last)
}

type unseen struct{}

func (*unseen) Error() string { return "a line of the region was not shown as it stands" }
func (*unseen) Hint() string  { return "load the page anew and read the region's lines again" }

func (s *Server) wasShown(p *person, noteID string, it *item) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return p.shown[noteID][it.ID] == it.Name+"\n"+it.Says
}

// maxReplay bounds a stretch of sound that is asked for, in seconds.
const maxReplay = 120

// sound gives a stretch of the recording as a WAV.
func (s *Server) sound(w http.ResponseWriter, r *http.Request, p *person) {
	info, err := p.x.NoteInfo(r.Context(), r.PathValue("id"))
	from, err1 := strconv.ParseFloat(r.FormValue("from"), 64)
	to, err2 := strconv.ParseFloat(r.FormValue("to"), 64)
	if err == nil && (err1 != nil || err2 != nil || !(from >= 0) || !(to > from) || to-from > maxReplay || info.Recording == "") {
		err = store.ErrNotFound
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	pcm, err := p.x.Sound(r.Context(), info.Recording, int64(from*store.Rate), int64(to*store.Rate))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	b := store.WAVHeader(int64(len(pcm)))
	for _, v := range pcm {
		b = binary.LittleEndian.AppendUint16(b, uint16(v))
	}
	w.Header().Set("Content-Type", "audio/wav")
	w.Header().Set("Content-Length", strconv.Itoa(len(b)))
	_, _ = w.Write(b) // nobody is there to be told
}
