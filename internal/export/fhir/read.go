package fhir

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// Read reads back what Write wrote: the same note, but for the times of words,
// which FHIR does not carry, and the changes from an earlier note, which follow
// from the two notes. Anything that would have to be guessed is an
// export.FormatError.
func Read(r io.Reader, name string, o note.Outline) (note.Document, error) {
	var raw struct {
		ResourceType string `json:"resourceType"`
		Type         string `json:"type"`
		Entry        []struct {
			FullURL  string          `json:"fullUrl"`
			Resource json.RawMessage `json:"resource"`
		} `json:"entry"`
	}
	if err := json.NewDecoder(r).Decode(&raw); err != nil {
		return note.Document{}, bad("not a FHIR bundle in JSON")
	}
	if raw.ResourceType != "Bundle" || raw.Type != "document" {
		return note.Document{}, bad("not a FHIR bundle of the type document")
	}
	rd := &reader{at: map[string]any{}}
	for i, e := range raw.Entry {
		var kind struct {
			ResourceType string `json:"resourceType"`
		}
		if err := json.Unmarshal(e.Resource, &kind); err != nil {
			return note.Document{}, bad(fmt.Sprintf("entry %d is no resource", i))
		}
		into := resource(kind.ResourceType)
		if into == nil {
			continue // a resource that Write does not write says nothing of the note
		}
		if err := json.Unmarshal(e.Resource, into); err != nil {
			return note.Document{}, bad(fmt.Sprintf("entry %d, a %s, cannot be read", i, kind.ResourceType))
		}
		if rd.at[e.FullURL] != nil {
			return note.Document{}, bad(fmt.Sprintf("entry %d has the address of another", i))
		}
		rd.at[e.FullURL] = into
		rd.order = append(rd.order, into)
	}
	return rd.document(name, o)
}

func bad(problem string) error {
	return &export.FormatError{Problem: problem, Advice: "give a file that `bedsaid export --to fhir` wrote"}
}

func resource(kind string) any {
	switch kind {
	case "Composition":
		return &composition{}
	case "Observation":
		return &observation{}
	case "Patient":
		return &patient{}
	case "Practitioner":
		return &practitioner{}
	case "Device":
		return &device{}
	case "Provenance":
		return &provenance{}
	case "DocumentReference":
		return &documentReference{}
	}
	return nil
}

// reader keeps the first problem.
type reader struct {
	at      map[string]any
	order   []any
	problem error
}

func (r *reader) fail(problem string) {
	if r.problem == nil {
		r.problem = bad(problem)
	}
}

func of[T any](r *reader) []*T {
	var out []*T
	for _, x := range r.order {
		if t, ok := x.(*T); ok {
			out = append(out, t)
		}
	}
	return out
}

func one[T any](r *reader, what string) *T {
	all := of[T](r)
	if len(all) != 1 {
		r.fail(fmt.Sprintf("%d resources %s in the bundle, want one", len(all), what))
		return new(T)
	}
	return all[0]
}

func (r *reader) document(name string, o note.Outline) (note.Document, error) {
	comp := one[composition](r, "Composition")
	src := note.Source{Name: name, Provenance: r.provenanceOf(), Transcript: transcript.FromText(r.words())}
	set := r.set(comp, len(src.Transcript.Words))
	r.recording(comp, &src)
	doc := note.Document{Head: r.head(comp), Decisions: r.decisions()}
	if r.problem != nil {
		return note.Document{}, r.problem
	}
	doc.Draft = note.Compose(src, set, o)
	doc.Draft.Attention = set.Attention // as it was written: without its words it has no order
	return doc, nil
}

func (r *reader) words() string {
	for _, d := range of[documentReference](r) {
		if d.Description == transcriptTitle && len(d.Content) == 1 {
			return string(d.Content[0].Attachment.Data)
		}
	}
	return ""
}

func (r *reader) head(c *composition) note.Head {
	h := note.Head{EnteredAt: r.time(c.Date), Author: r.person(c.Author...), Identifiers: r.identifiers()}
	h.Status = named(r, "status", c.Status, note.Preliminary, note.Final, note.Amended)
	if c.Identifier != nil {
		h.ID = c.Identifier.Value
	}
	for _, e := range c.Extension {
		if e.URL == urlSeal {
			h.Seal = e.ValueString
		}
	}
	if len(c.Event) > 0 {
		h.ExaminedAt = r.time(c.Event[0].Period.Start)
	}
	for _, a := range c.Attester {
		h.Signatures = append(h.Signatures, r.signature(a))
	}
	for _, x := range c.RelatesTo {
		h.Relations = append(h.Relations, note.Relation{Kind: named(r, "relation", x.Code, note.Appends, note.Replaces), Note: x.TargetIdentifier.Value})
	}
	for _, s := range c.Section {
		for _, e := range s.Extension {
			if e.URL == urlAddendum {
				h.Addenda = append(h.Addenda, note.Addendum{Text: e.str("text"), By: note.Person{Name: e.str("name"), Credentials: e.str("credentials")}, At: r.time(e.str("at"))})
			}
		}
	}
	return h
}

func (r *reader) signature(a attester) note.Signature {
	s := note.Signature{At: r.time(a.Time)}
	if a.Party != nil {
		s.By = r.person(*a.Party)
	}
	for _, e := range a.Extension {
		if e.URL == urlSignature {
			s.Version, s.Why = e.int("version"), e.str("why")
			switch e.str("kind") {
			case coSignedKind:
				s.CoSign = true
			case signedKind:
			default:
				r.fail("unknown kind of signature")
			}
		}
	}
	if s.Version < 1 {
		r.fail("a signature does not say what it stands under")
	}
	return s
}

func (r *reader) time(s string) time.Time {
	if s == "" {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		r.fail("a time is no time")
	}
	return t
}

func (r *reader) person(refs ...reference) note.Person {
	for _, ref := range refs {
		if p, ok := r.at[ref.Reference].(*practitioner); ok {
			var out note.Person
			if len(p.Name) > 0 {
				out.Name = p.Name[0].Text
			}
			if len(p.Qualification) > 0 {
				out.Credentials = p.Qualification[0].Code.Text
			}
			return out
		}
		if _, ok := r.at[ref.Reference].(*device); !ok {
			r.fail("a reference leads nowhere")
		}
	}
	return note.Person{}
}

func (r *reader) identifiers() [2]note.Identifier {
	p := one[patient](r, "Patient")
	var all []note.Identifier
	for _, n := range p.Name {
		all = append(all, note.Identifier{Kind: note.NameKind, Value: n.Text})
	}
	for _, id := range p.Identifier {
		if id.Type == nil || id.Type.Text == "" || id.Value == "" {
			r.fail("an identifier of the patient has no kind or no value")
			continue
		}
		all = append(all, note.Identifier{Kind: id.Type.Text, Value: id.Value})
	}
	var out [2]note.Identifier
	if copy(out[:], all) < len(all) {
		r.fail("the patient has more than two identifiers")
	}
	return out
}

func (r *reader) provenanceOf() note.Provenance {
	var p note.Provenance
	for _, v := range one[device](r, "Device").Version {
		switch kind := v.Type.Text; kind {
		case versionProgram:
			p.Program = v.Value
		case versionEngine:
			p.Engine = v.Value
		case versionModel:
			p.Model = v.Value
		case versionModelSum:
			p.ModelSHA256 = v.Value
		default:
			version, sum, ok := strings.Cut(v.Value, " sha256 ")
			name, isPack := strings.CutPrefix(kind, versionPack)
			if !ok || !isPack {
				r.fail("a version of the device is of an unknown kind")
			}
			p.Packs = append(p.Packs, note.Pack{Name: name, Version: version, SHA256: sum})
		}
	}
	for _, x := range of[provenance](r) {
		if !isDecision(x) {
			p.DraftedAt, p.RecordedAt = r.time(x.Recorded), r.time(x.OccurredDateTime)
		}
	}
	return p
}

func isDecision(p *provenance) bool {
	return slices.ContainsFunc(p.Extension, func(e extension) bool { return e.URL == urlDecision })
}

func (r *reader) decisions() []note.Decision {
	var out []note.Decision
	for _, p := range of[provenance](r) {
		for _, e := range p.Extension {
			if e.URL != urlDecision || len(p.Agent) != 1 {
				continue
			}
			out = append(out, note.Decision{
				Kind:    named(r, "decision", e.str("kind"), note.Confirmed, note.Corrected, note.Added, note.Removed),
				Finding: e.str("finding"), Side: r.side(e.str("side")), Zone: e.str("zone"), Was: e.str("was"),
				By: r.person(p.Agent[0].Who), At: r.time(p.Recorded),
			})
		}
	}
	return out
}

func (r *reader) recording(c *composition, src *note.Source) {
	for _, e := range c.Extension {
		if e.URL != urlRecording {
			continue
		}
		rec := &transcript.Recording{Seconds: e.num("seconds"), VoicedSeconds: e.num("voiced-seconds")}
		for _, x := range e.Extension {
			switch x.URL {
			case "no-words":
				rec.Untranscribed = append(rec.Untranscribed, transcript.Interval{Start: x.num("from"), End: x.num("to")})
			case "notice":
				src.Notices = append(src.Notices, x.ValueString)
			}
		}
		src.Transcript.Recording = rec
	}
}

func (r *reader) set(c *composition, words int) finding.Set {
	var set finding.Set
	for _, o := range of[observation](r) {
		if len(o.HasMember) == 0 {
			set.Findings = append(set.Findings, r.finding(o, words))
		}
	}
	for _, e := range c.Extension {
		switch e.URL {
		case urlAttention:
			set.Attention = append(set.Attention, finding.Attention{ID: e.str("id"), Side: r.side(e.str("side")), Why: e.str("why"), Source: e.str("source"), Handled: e.str("handled"),
				Urgency: named(r, "urgency", e.str("urgency"), finding.Recheck, finding.Routine, finding.Prompt, finding.Now), Evidence: r.spans(e.Extension, words)})
		case urlUnmentioned:
			set.Unmentioned = append(set.Unmentioned, finding.Missing{ID: e.str("id"), Side: r.side(e.str("side"))})
		case urlLeftOut:
			set.LeftOut = append(set.LeftOut, finding.LeftOut{Why: finding.Why(e.str("why")), Span: r.span(e, words)})
		}
	}
	return set
}

// named finds the value that prints as a word, or fails.
func named[T fmt.Stringer](r *reader, what, word string, all ...T) T {
	v, ok := export.Named(word, all...)
	if !ok {
		r.fail("unknown " + what)
	}
	return v
}

func (r *reader) side(word string) finding.Side {
	return named(r, "side", word, finding.NoSide, finding.Right, finding.Left, finding.Both)
}

func (r *reader) span(e extension, words int) transcript.Span {
	s := transcript.Span{Start: e.int("from"), End: e.int("to")}
	if s.Start < 0 || s.End < s.Start || s.End > words {
		r.fail("evidence lies outside of the words")
		return transcript.Span{}
	}
	return s
}

func (r *reader) spans(exts []extension, words int) []transcript.Span {
	var out []transcript.Span
	for _, e := range exts {
		if e.URL == urlEvidence {
			out = append(out, r.span(e, words))
		}
	}
	return out
}

func (e extension) part(url string) extension {
	i := slices.IndexFunc(e.Extension, func(x extension) bool { return x.URL == url })
	if i < 0 {
		return extension{}
	}
	return e.Extension[i]
}

// str is the text, code or time of a part.
func (e extension) str(url string) string {
	x := e.part(url)
	return x.ValueString + x.ValueCode + x.ValueInstant
}

func (e extension) int(url string) int {
	if n := e.part(url).ValueInteger; n != nil {
		return *n
	}
	return -1
}

func (e extension) num(url string) float64 {
	d := e.part(url).ValueDecimal
	if d == nil {
		return 0
	}
	n, _ := d.Float64()
	return n
}
