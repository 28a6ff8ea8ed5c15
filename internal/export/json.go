package export

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// Format names the JSON form that JSON writes and ReadTranscript reads.
const Format = "bedsaid-draft/1"

// JSON writes the draft as one object, every key in a fixed order, one list
// element a line, so that two drafts can be compared line by line. The same
// draft gives the same bytes.
func JSON(w io.Writer, d note.Draft) error {
	var b bytes.Buffer
	o := objectWriter{b: &b}
	o.value("format", Format)
	o.draft(d, d.Cautions)
	return o.end(w, "draft")
}

func (o *objectWriter) draft(d note.Draft, cautions []string) {
	writeList(o, "findings", d.Findings(), func(f finding.Finding) any { return jsonFinding(d.Transcript, f) })
	writeList(o, "left_out", d.LeftOut, func(l finding.LeftOut) any { return jsonLeftOut(d.Transcript, l) })
	writeList(o, "unmentioned", d.Unmentioned(), func(m finding.Missing) any { return missingID(m) })
	writeList(o, "attention", d.Attention, func(a finding.Attention) any { return jsonAttention(d.Transcript, a) })
	o.transcript(d.Transcript)
	o.value("recording", jsonRecordingOf(d))
	o.value("provenance", jsonProvenanceOf(d.Provenance))
	writeList(o, "cautions", cautions, func(s string) any { return s })
}

// end closes the object and hands it over.
func (o *objectWriter) end(w io.Writer, what string) error {
	if o.err != nil {
		return fmt.Errorf("write %s: %w", what, o.err)
	}
	o.b.WriteString("\n}\n")
	if _, err := w.Write(o.b.Bytes()); err != nil {
		return fmt.Errorf("write %s: %w", what, err)
	}
	return nil
}

// objectWriter writes the outermost object; it keeps the first error.
type objectWriter struct {
	b     *bytes.Buffer
	began bool
	err   error
}

func (o *objectWriter) key(k string) {
	if o.began {
		o.b.WriteString(",\n")
	} else {
		o.b.WriteString("{\n")
	}
	o.began = true
	fmt.Fprintf(o.b, "%q: ", k)
}

func (o *objectWriter) value(k string, v any) { o.key(k); o.put(v) }

func (o *objectWriter) put(v any) {
	enc := json.NewEncoder(o.b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil && o.err == nil {
		// The encoder's own text may quote the value: keep its kind alone.
		o.err = fmt.Errorf("encode json: %T", err)
		return
	}
	o.b.Truncate(bytes.LastIndexByte(o.b.Bytes(), '\n')) // Encode ends each value with a newline
}

func writeList[T any](o *objectWriter, k string, items []T, as func(T) any) {
	o.key(k)
	putList(o, items, as)
}

func putList[T any](o *objectWriter, items []T, as func(T) any) {
	if len(items) == 0 {
		o.b.WriteString("[]")
		return
	}
	for i, it := range items {
		if i == 0 {
			o.b.WriteString("[\n  ")
		} else {
			o.b.WriteString(",\n  ")
		}
		o.put(as(it))
	}
	o.b.WriteString("\n]")
}

func (o *objectWriter) transcript(t transcript.Transcript) {
	o.key("transcript")
	o.b.WriteString(`{"text": `)
	o.put(t.Text())
	o.b.WriteString(`, "words": `)
	putList(o, t.Words, func(w transcript.Word) any {
		j := jsonWord{Text: w.Text, Heard: w.Heard, EndsLine: w.EndsLine}
		if t.Timed {
			j.Start, j.End, j.P = &w.Start, &w.End, &w.P
		}
		return j
	})
	o.b.WriteString("}")
}

type jsonWord struct {
	Text     string   `json:"text"`
	Start    *float64 `json:"start"`
	End      *float64 `json:"end"`
	P        *float64 `json:"p"`
	Heard    string   `json:"heard,omitempty"`
	EndsLine bool     `json:"ends_line,omitempty"`
}

type jsonEvidence struct {
	Text  string   `json:"text"`
	Words [2]int   `json:"words"`
	Start *float64 `json:"start"`
	End   *float64 `json:"end"`
}

func jsonEvidenceOf(t transcript.Transcript, spans []transcript.Span) []jsonEvidence {
	out := make([]jsonEvidence, 0, len(spans))
	for _, s := range spans {
		e := jsonEvidence{Text: t.Quote(s), Words: [2]int{s.Start, s.End}}
		e.Start, e.End = times(t, s)
		out = append(out, e)
	}
	return out
}

func times(t transcript.Transcript, s transcript.Span) (start, end *float64) {
	if a, b, ok := t.Times(s); ok {
		return &a, &b
	}
	return nil, nil
}

type jsonMark struct {
	Kind         finding.MarkKind `json:"kind"`
	Why          string           `json:"why"`
	Alternatives []string         `json:"alternatives"`
}

// The table of the contract allows two readings of "unit and value_high": both
// keys are always there, null where they do not apply, so that a reader can
// rely on them.
type jsonFindingT struct {
	ID             string            `json:"id"`
	Side           *string           `json:"side"`
	Zone           *string           `json:"zone"`
	Status         string            `json:"status"`
	Value          any               `json:"value"`
	ValueHigh      any               `json:"value_high"`
	Unit           *string           `json:"unit"`
	Qualifiers     map[string]string `json:"qualifiers"`
	Source         string            `json:"source"`
	Reason         *string           `json:"reason"`
	Interpretation string            `json:"interpretation"`
	Marks          []jsonMark        `json:"marks"`
	Evidence       []jsonEvidence    `json:"evidence"`
}

func jsonFinding(t transcript.Transcript, f finding.Finding) any {
	j := jsonFindingT{
		ID: f.ID, Side: orNull(f.Side.String()), Zone: orNull(f.Zone), Status: f.Status.String(),
		Value: jsonValue(f.Value), ValueHigh: jsonValue(f.High), Unit: orNull(f.Unit),
		Qualifiers: f.Qualifiers, Source: f.Source.String(), Reason: orNull(f.Reason),
		Interpretation: f.Interpretation.String(),
		Marks:          make([]jsonMark, 0, len(f.Marks)),
		Evidence:       jsonEvidenceOf(t, f.Evidence),
	}
	if j.Qualifiers == nil {
		j.Qualifiers = map[string]string{}
	}
	for _, m := range f.Marks {
		alt := m.Alternatives
		if alt == nil {
			alt = []string{}
		}
		j.Marks = append(j.Marks, jsonMark{m.Kind, m.Why, alt})
	}
	return j
}

type jsonLeftOutT struct {
	Text  string      `json:"text"`
	Why   finding.Why `json:"why"`
	Words [2]int      `json:"words"`
	Start *float64    `json:"start"`
	End   *float64    `json:"end"`
}

func jsonLeftOut(t transcript.Transcript, l finding.LeftOut) any {
	j := jsonLeftOutT{Text: t.Quote(l.Span), Why: l.Why, Words: [2]int{l.Span.Start, l.Span.End}}
	j.Start, j.End = times(t, l.Span)
	return j
}

type jsonAttentionT struct {
	ID       *string        `json:"id"`
	Side     *string        `json:"side"`
	Why      string         `json:"why"`
	Urgency  string         `json:"urgency"`
	Source   string         `json:"source"`
	Evidence []jsonEvidence `json:"evidence"`
	// Handled is there in a note that somebody reviewed alone.
	Handled string `json:"handled,omitempty"`
}

func jsonAttention(t transcript.Transcript, a finding.Attention) any {
	return jsonAttentionT{orNull(a.ID), orNull(a.Side.String()), a.Why, a.Urgency.String(), a.Source, jsonEvidenceOf(t, a.Evidence), a.Handled}
}

// missingID is "id", or "id@left" where one side alone is missing.
func missingID(m finding.Missing) string {
	if m.Side == finding.NoSide {
		return m.ID
	}
	return m.ID + "@" + m.Side.String()
}

type jsonInterval struct {
	Start float64 `json:"start"`
	End   float64 `json:"end"`
}

type jsonRecording struct {
	Seconds       float64        `json:"seconds"`
	VoicedSeconds float64        `json:"voiced_seconds"`
	Untranscribed []jsonInterval `json:"untranscribed"`
	// Notices are beside the contract, so that drafting again from the file
	// says again what was lost in reading the recording.
	Notices []string `json:"notices"`
}

func jsonRecordingOf(d note.Draft) *jsonRecording {
	r := d.Transcript.Recording
	if r == nil {
		return nil
	}
	j := &jsonRecording{Seconds: r.Seconds, VoicedSeconds: r.VoicedSeconds, Untranscribed: []jsonInterval{}, Notices: []string{}}
	j.Notices = append(j.Notices, d.Notices...)
	for _, u := range r.Untranscribed {
		j.Untranscribed = append(j.Untranscribed, jsonInterval(u))
	}
	return j
}

type jsonPack struct {
	Name    string `json:"name"`
	Version string `json:"version"`
	SHA256  string `json:"sha256"`
}

type jsonProvenance struct {
	Program     string     `json:"program"`
	Engine      *string    `json:"engine"`
	Model       *string    `json:"model"`
	ModelSHA256 *string    `json:"model_sha256"`
	Packs       []jsonPack `json:"packs"`
	RecordedAt  *string    `json:"recorded_at"`
	DraftedAt   *string    `json:"drafted_at"`
}

func jsonProvenanceOf(p note.Provenance) jsonProvenance {
	j := jsonProvenance{
		Program: p.Program, Engine: orNull(p.Engine), Model: orNull(p.Model), ModelSHA256: orNull(p.ModelSHA256),
		Packs: []jsonPack{}, RecordedAt: timeOrNull(p.RecordedAt), DraftedAt: timeOrNull(p.DraftedAt),
	}
	for _, k := range p.Packs {
		j.Packs = append(j.Packs, jsonPack(k))
	}
	return j
}

func jsonValue(v finding.Value) any {
	if n, ok := v.Number(); ok {
		if math.IsNaN(n) || math.IsInf(n, 0) {
			return nil // JSON has no such number, and neither has a patient
		}
		return n
	}
	if list, ok := v.List(); ok {
		return list
	}
	if v.IsZero() {
		return nil
	}
	return v.String() // a word, or a pair as "120/80"
}

func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

func timeOrNull(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := t.Format(time.RFC3339)
	return &s
}
