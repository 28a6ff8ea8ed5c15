package export

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
)

// NoteFormat names the JSON form that NoteJSON writes and ReadNote reads: the
// keys of the draft's form, with the head and the reviewer's decisions.
const NoteFormat = "bedsaid-note/1"

type jsonPerson struct {
	Name        string `json:"name"`
	Credentials string `json:"credentials"`
}

type jsonIdentifier struct {
	Kind  string `json:"kind"`
	Value string `json:"value"`
}

type jsonRelation struct {
	Kind string `json:"kind"`
	Note string `json:"note"`
}

type jsonAddendum struct {
	Text string     `json:"text"`
	By   jsonPerson `json:"by"`
	At   *string    `json:"at"`
}

type jsonSignature struct {
	By      jsonPerson `json:"by"`
	At      *string    `json:"at"`
	CoSign  bool       `json:"cosign"`
	Version int        `json:"version"`
	Why     *string    `json:"why"`
}

type jsonHead struct {
	ID          *string            `json:"id"`
	Status      string             `json:"status"`
	Identifiers [2]*jsonIdentifier `json:"identifiers"`
	ExaminedAt  *string            `json:"examined_at"`
	EnteredAt   *string            `json:"entered_at"`
	Author      *jsonPerson        `json:"author"`
	Signatures  []jsonSignature    `json:"signatures"`
	Relations   []jsonRelation     `json:"relations"`
	Addenda     []jsonAddendum     `json:"addenda"`
	Seal        *string            `json:"seal"`
}

type jsonDecision struct {
	Kind    string     `json:"kind"`
	Finding string     `json:"finding"`
	Side    *string    `json:"side"`
	Zone    *string    `json:"zone"`
	Was     *string    `json:"was"`
	By      jsonPerson `json:"by"`
	At      *string    `json:"at"`
}

// NoteJSON writes the document as one object in a fixed order; the same
// document gives the same bytes. Changes from an earlier note are not written:
// they follow from the two notes.
func NoteJSON(w io.Writer, doc note.Document) error {
	var b bytes.Buffer
	o := objectWriter{b: &b}
	o.value("format", NoteFormat)
	o.value("head", jsonHeadOf(doc.Head))
	writeList(&o, "decisions", doc.Decisions, func(d note.Decision) any {
		return jsonDecision{d.Kind.String(), d.Finding, orNull(d.Side.String()), orNull(d.Zone), orNull(d.Was), jsonPerson(d.By), timeOrNull(d.At)}
	})
	o.draft(doc.Draft, append(slices.Clone(doc.Draft.Notices), doc.Head.Cautions()...))
	return o.end(w, "note")
}

func jsonHeadOf(h note.Head) jsonHead {
	j := jsonHead{
		ID: orNull(h.ID), Status: h.Status.String(), ExaminedAt: timeOrNull(h.ExaminedAt), EnteredAt: timeOrNull(h.EnteredAt),
		Author: personOrNull(h.Author), Signatures: []jsonSignature{}, Relations: []jsonRelation{}, Addenda: []jsonAddendum{}, Seal: orNull(h.Seal),
	}
	for i, id := range h.Identifiers {
		if id.Value != "" {
			j.Identifiers[i] = &jsonIdentifier{id.Kind, id.Value}
		}
	}
	for _, s := range h.Signatures {
		j.Signatures = append(j.Signatures, jsonSignature{jsonPerson(s.By), timeOrNull(s.At), s.CoSign, s.Version, orNull(s.Why)})
	}
	for _, r := range h.Relations {
		j.Relations = append(j.Relations, jsonRelation{r.Kind.String(), r.Note})
	}
	for _, a := range h.Addenda {
		j.Addenda = append(j.Addenda, jsonAddendum{a.Text, jsonPerson(a.By), timeOrNull(a.At)})
	}
	return j
}

func personOrNull(p note.Person) *jsonPerson {
	if p == (note.Person{}) {
		return nil
	}
	j := jsonPerson(p)
	return &j
}

// ReadNote reads back what NoteJSON wrote. Anything that would have to be
// guessed is a FormatError.
func ReadNote(r io.Reader, name string, o note.Outline) (note.Document, error) {
	data, err := io.ReadAll(r)
	if err != nil {
		return note.Document{}, &FormatError{"the file cannot be read", adviceOwn}
	}
	var j struct {
		Head      *jsonHead      `json:"head"`
		Decisions []jsonDecision `json:"decisions"`
	}
	if err := decode(bytes.NewReader(data), &j); err != nil {
		return note.Document{}, err
	}
	d, err := readForm(bytes.NewReader(data), NoteFormat, o)
	if err != nil {
		return note.Document{}, err
	}
	if j.Head == nil {
		return note.Document{}, &FormatError{"no head in the file", adviceOwn}
	}
	d.Name = name
	var ok headReader
	doc := note.Document{Head: ok.head(*j.Head), Draft: d}
	for _, x := range j.Decisions {
		kind, okKind := Named(x.Kind, note.Confirmed, note.Corrected, note.Added, note.Removed)
		side, okSide := Named(orEmpty(x.Side), finding.NoSide, finding.Right, finding.Left, finding.Both)
		ok.bad = ok.bad || !okKind || !okSide
		doc.Decisions = append(doc.Decisions, note.Decision{Kind: kind, Finding: x.Finding, Side: side, Zone: orEmpty(x.Zone), Was: orEmpty(x.Was), By: note.Person(x.By), At: ok.time(x.At)})
	}
	if ok.bad {
		return note.Document{}, &FormatError{"the head or a decision holds a word or a time that the format does not have", adviceOwn}
	}
	return doc, nil
}

// headReader remembers that something could not be read.
type headReader struct{ bad bool }

func (r *headReader) head(j jsonHead) note.Head {
	status, ok := Named(j.Status, note.Preliminary, note.Final, note.Amended)
	r.bad = r.bad || !ok
	h := note.Head{
		ID: orEmpty(j.ID), Status: status, ExaminedAt: r.time(j.ExaminedAt), EnteredAt: r.time(j.EnteredAt),
		Author: r.person(j.Author), Seal: orEmpty(j.Seal),
	}
	for i, id := range j.Identifiers {
		if id == nil {
			continue
		}
		r.bad = r.bad || id.Kind == "" || id.Value == ""
		h.Identifiers[i] = note.Identifier(*id)
	}
	for _, s := range j.Signatures {
		r.bad = r.bad || s.Version < 1
		h.Signatures = append(h.Signatures, note.Signature{By: note.Person(s.By), At: r.time(s.At), CoSign: s.CoSign, Version: s.Version, Why: orEmpty(s.Why)})
	}
	for _, x := range j.Relations {
		kind, ok := Named(x.Kind, note.Appends, note.Replaces)
		r.bad = r.bad || !ok
		h.Relations = append(h.Relations, note.Relation{Kind: kind, Note: x.Note})
	}
	for _, x := range j.Addenda {
		h.Addenda = append(h.Addenda, note.Addendum{Text: x.Text, By: note.Person(x.By), At: r.time(x.At)})
	}
	return h
}

func (r *headReader) person(p *jsonPerson) note.Person {
	if p == nil {
		return note.Person{}
	}
	return note.Person(*p)
}

func (r *headReader) time(s *string) time.Time {
	if s == nil {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339, *s)
	r.bad = r.bad || err != nil
	return t
}

// Named finds the value that prints as a word.
func Named[T fmt.Stringer](word string, all ...T) (v T, ok bool) {
	for _, x := range all {
		if x.String() == word {
			return x, true
		}
	}
	return v, false
}

// ReadDocument reads what JSON or NoteJSON wrote: a draft, which is a
// preliminary note with an empty head, or a note.
func ReadDocument(r io.ReadSeeker, name string, o note.Outline) (note.Document, error) {
	var j struct {
		Format string `json:"format"`
	}
	if err := decode(r, &j); err != nil {
		return note.Document{}, err
	}
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return note.Document{}, err
	}
	if j.Format == NoteFormat {
		return ReadNote(r, name, o)
	}
	d, err := ReadDraft(r, o)
	d.Name = name
	return note.DocumentOf(d, note.Head{}), err
}
