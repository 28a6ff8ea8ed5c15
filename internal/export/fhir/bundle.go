// Package fhir writes a note as a FHIR R4 (4.0.1) Bundle of the type document
// and reads it back: a Composition with a section for each region, an
// Observation for each finding that was spoken of, Provenance for the draft and
// for each decision of the reviewer, and the text itself as a
// DocumentReference. What nobody mentioned yields no Observation. It adds and
// interprets nothing; the same document gives the same bytes.
package fhir

import (
	"bytes"
	"cmp"
	"crypto/sha1"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/google/uuid"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/lexicon"
)

// Write writes the document. The packs give the codes of sections and panels. A
// document without a time of entry is an error: FHIR wants every document dated
// (rule bdl-10), and a made-up date would be worse than none.
func Write(w io.Writer, doc note.Document, lex *lexicon.Lexicon) error {
	if doc.Head.EnteredAt.IsZero() {
		return errors.New("write fhir: the note has no time of entry, which a document must have")
	}
	key, err := documentKey(doc)
	if err != nil {
		return err
	}
	b := &builder{doc: doc, lex: lex, sheet: export.SheetOf(doc), key: key}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	if err := enc.Encode(b.bundle()); err != nil {
		return fmt.Errorf("write fhir: %w", err)
	}
	return nil
}

// documentKey is the name space of the document's ids: a version 5 UUID (RFC
// 9562) of all that it says, so that ids are stable and differ between notes.
func documentKey(doc note.Document) (uuid.UUID, error) {
	var b bytes.Buffer
	if err := export.NoteJSON(&b, doc); err != nil {
		return uuid.UUID{}, err
	}
	return uuid.NewSHA1(uuid.NameSpaceOID, b.Bytes()), nil
}

type builder struct {
	doc     note.Document
	lex     *lexicon.Lexicon
	sheet   export.Sheet
	key     uuid.UUID
	entries []entry
	people  []note.Person // in the order of their entries
}

func (b *builder) id(path string) string { return uuid.NewSHA1(b.key, []byte(path)).String() }

func (b *builder) ref(path string) reference { return reference{Reference: "urn:uuid:" + b.id(path)} }

func (b *builder) add(path string, resource any) reference {
	b.entries = append(b.entries, entry{"urn:uuid:" + b.id(path), resource})
	return b.ref(path)
}

func (b *builder) bundle() bundle {
	comp := b.composition()
	// The Composition comes first (rule bdl-11); what it names follows.
	b.entries = slices.Insert(b.entries, 0, entry{"urn:uuid:" + b.id("composition"), comp})
	b.patient()
	b.device()
	b.provenance()
	b.entries = append(b.entries, b.persons()...)
	id := b.id("bundle")
	return bundle{
		ResourceType: "Bundle", ID: id, Identifier: &identifier{System: uriSystem, Value: "urn:uuid:" + id},
		Type: "document", Timestamp: instant(b.doc.Head.EnteredAt), Entry: b.entries,
	}
}

func instant(t time.Time) string { return t.Format(time.RFC3339) }

func instantOrNone(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return instant(t)
}

func (b *builder) composition() composition {
	h := b.doc.Head
	title := b.sheet.Title
	if b.sheet.Watermark != "" {
		title += " (" + b.sheet.Watermark + ")"
	}
	c := composition{
		ResourceType: "Composition", ID: b.id("composition"), Status: h.Status.String(),
		Text: b.headNarrative(), Extension: b.extensions(),
		Type: *loincConcept(nurseNote, nurseNoteName, b.sheet.Title), Subject: b.ref("patient"), Date: instant(h.EnteredAt),
		Author: []reference{b.author()}, Title: title,
	}
	if h.ID != "" {
		c.Identifier = &identifier{System: noteSystem, Value: h.ID}
	}
	for _, s := range h.Signatures {
		party := b.person(s.By)
		kind := signedKind
		if s.CoSign {
			kind = coSignedKind
		}
		c.Attester = append(c.Attester, attester{Mode: "professional", Time: instantOrNone(s.At), Party: &party,
			Extension: []extension{parts(urlSignature, with(extension{URL: "kind", ValueCode: kind}, intPart("version", s.Version), stringPart("why", s.Why))...)}})
	}
	for _, r := range h.Relations {
		c.RelatesTo = append(c.RelatesTo, relatesTo{Code: r.Kind.String(), TargetIdentifier: identifier{System: noteSystem, Value: r.Note}})
	}
	if !h.ExaminedAt.IsZero() {
		c.Event = []event{{period{instant(h.ExaminedAt)}}}
	}
	c.Section = b.sections()
	return c
}

// Kinds of signatures.
const (
	signedKind   = "signed"
	coSignedKind = "co-signed"
)

// headNarrative is what a reader who sees no more than the Composition's own
// text must know.
func (b *builder) headNarrative() *narrative {
	var texts []string
	if b.sheet.Watermark != "" {
		texts = append(texts, b.sheet.Watermark)
	}
	for _, f := range b.sheet.Head {
		texts = append(texts, f.Label+": "+f.Text)
	}
	texts = append(texts, b.sheet.Alerts...)
	return lines(append(append(texts, b.sheet.Cautions...), "Made by: "+b.sheet.MadeBy)...)
}

func (b *builder) author() reference {
	if b.doc.Head.Author == (note.Person{}) {
		return b.ref("device") // nobody has put her name to it
	}
	return b.person(b.doc.Head.Author)
}

func (b *builder) sections() []section {
	var out []section
	prose := func(title string, texts ...string) {
		if len(texts) > 0 {
			out = append(out, section{Title: title, Text: lines(texts...)})
		}
	}
	var action []string
	for _, a := range b.sheet.Action {
		action = append(action, a.Urgency+": "+a.Text())
	}
	prose("Needs action (advice; local protocol comes first)", action...)
	for i, sec := range b.doc.Draft.Sections {
		if len(sec.Entries) > 0 {
			out = append(out, b.region(i, sec))
		}
	}
	var missing []string
	for _, f := range b.sheet.Missing {
		missing = append(missing, f.Label+": "+f.Text)
	}
	prose("Not mentioned (not charted, neither as normal nor as abnormal)", missing...)
	for _, a := range b.doc.Head.Addenda {
		out = append(out, section{
			Title: "Addendum", Code: loincConcept(addendum, "", "Addendum"),
			Text: lines(export.PersonText(a.By)+", "+export.TimeText(a.At), a.Text),
			Extension: []extension{parts(urlAddendum, with(stringPart("text", a.Text), stringPart("name", a.By.Name),
				stringPart("credentials", a.By.Credentials), extension{URL: "at", ValueInstant: instantOrNone(a.At)})...)},
		})
	}
	var talk []string
	for _, f := range b.sheet.Talk {
		talk = append(talk, f.Label+": "+f.Text)
	}
	prose("Heard and left out of the findings", talk...)
	prose("Before you use this", append(b.sheet.Cautions, "Made by: "+b.sheet.MadeBy)...)
	return append(out, section{Title: "The note as text", Text: lines("The whole note as plain text is attached."), Entry: b.documents()})
}

func (b *builder) region(i int, sec note.Section) section {
	s := section{Title: sec.Region.Title}
	if code, ok := b.lex.Section(sec.Region.ID); ok {
		s.Code = loincConcept(code.Code, code.Display, "")
	}
	var texts []string
	for _, p := range b.sheet.Parts {
		if p.Region.ID != sec.Region.ID {
			continue
		}
		for _, l := range p.Lines {
			texts = append(texts, l.Marked())
		}
		texts = append(texts, p.Gaps...)
	}
	s.Text = lines(texts...)
	members := make([]reference, len(sec.Entries))
	for k, e := range sec.Entries {
		path := observationPath(i, k)
		members[k] = b.add(path, b.observation(path, e))
	}
	for _, p := range b.lex.Panels() {
		var of []reference
		for k, e := range sec.Entries {
			if p.Holds(e.ID) {
				of = append(of, members[k])
			}
		}
		if len(of) > 1 {
			s.Entry = append(s.Entry, b.panel(i, p, of))
		}
	}
	s.Entry = append(s.Entry, members...)
	return s
}

func observationPath(section, entry int) string {
	return fmt.Sprintf("observation/%d/%d", section, entry)
}

// documents attaches the text and, where there are any, the words: all that was
// said, or what is quoted of it.
func (b *builder) documents() []reference {
	var text bytes.Buffer
	_ = export.Chart(&text, b.doc, export.Complete) // a buffer takes all
	refs := []reference{b.document("document", "The note as plain text", text.Bytes())}
	if words := b.doc.Draft.Transcript.Lines(); words != "" {
		refs = append(refs, b.document(transcriptPath, transcriptTitle, []byte(words)))
	}
	return refs
}

const (
	transcriptPath  = "transcript"
	transcriptTitle = "Words said, as far as they go with the note"
)

func (b *builder) document(path, title string, data []byte) reference {
	sum := sha1.Sum(data) // the hash that FHIR's attachment asks for
	d := documentReference{
		ResourceType: "DocumentReference", ID: b.id(path), Status: "current", DocStatus: b.doc.Head.Status.String(),
		Subject: b.ref("patient"), Date: instant(b.doc.Head.EnteredAt), Author: []reference{b.author()}, Description: title,
		Content: []content{{attachment{ContentType: "text/plain; charset=utf-8", Language: "en", Data: data, Hash: sum[:], Title: title, Creation: instant(b.doc.Head.EnteredAt)}}},
	}
	if path == "document" {
		d.Type = loincConcept(nurseNote, nurseNoteName, "")
	}
	return b.add(path, d)
}

// extensions hold what FHIR has no element for, so that a note read back is the
// same note: attention, what was not mentioned, talk, and how well it was heard.
func (b *builder) extensions() []extension {
	out := with(stringPart(urlSeal, b.doc.Head.Seal))
	d := b.doc.Draft
	for _, a := range d.Attention {
		e := parts(urlAttention, with(stringPart("id", a.ID), extension{URL: "side", ValueCode: a.Side.String()}, stringPart("why", a.Why),
			extension{URL: "urgency", ValueCode: a.Urgency.String()}, stringPart("source", a.Source), stringPart("handled", a.Handled))...)
		e.Extension = append(e.Extension, b.evidence(a.Evidence)...)
		out = append(out, e)
	}
	for _, m := range d.Unmentioned() {
		out = append(out, parts(urlUnmentioned, with(stringPart("id", m.ID), extension{URL: "side", ValueCode: m.Side.String()})...))
	}
	for _, l := range d.LeftOut {
		out = append(out, parts(urlLeftOut, stringPart("why", string(l.Why)), intPart("from", l.Span.Start), intPart("to", l.Span.End)))
	}
	if r := d.Transcript.Recording; r != nil {
		e := parts(urlRecording, decimalPart("seconds", r.Seconds), decimalPart("voiced-seconds", r.VoicedSeconds))
		for _, u := range r.Untranscribed {
			e.Extension = append(e.Extension, parts("no-words", decimalPart("from", u.Start), decimalPart("to", u.End)))
		}
		for _, n := range d.Notices {
			e.Extension = append(e.Extension, stringPart("notice", n))
		}
		out = append(out, e)
	}
	return out
}

// find gives the path of the observation that a decision speaks of.
func (b *builder) find(d note.Decision) (path string, ok bool) {
	for i, sec := range b.doc.Draft.Sections {
		for k, e := range sec.Entries {
			if e.ID == d.Finding && e.Side == d.Side && e.Zone == d.Zone {
				return observationPath(i, k), true
			}
		}
	}
	return "", false
}

// status of an observation: a value that carries a doubt is never final.
func (b *builder) status(f finding.Finding) string {
	if len(f.Marks) > 0 {
		return note.Preliminary.String()
	}
	return cmp.Or(b.doc.Head.Status, note.Preliminary).String()
}
