package export

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// ReadDraft reads back the whole draft that JSON wrote, findings included, in
// the order in which it was kept and with the outline's names: it is shown again
// without being drafted anew. The name of the input is not part of the form.
// Anything that would have to be
// guessed is a FormatError.
func ReadDraft(r io.Reader, o note.Outline) (note.Draft, error) {
	return readForm(r, Format, o)
}

func readForm(r io.Reader, format string, o note.Outline) (note.Draft, error) {
	j, src, err := readDraft(r, format)
	if err != nil {
		return note.Draft{}, err
	}
	b := readback{words: len(src.Transcript.Words)}
	var set finding.Set
	for _, f := range decodeList[jsonFindingT](&b, j.Findings) {
		set.Findings = append(set.Findings, b.finding(f))
	}
	for _, l := range decodeList[jsonLeftOutT](&b, j.LeftOut) {
		set.LeftOut = append(set.LeftOut, finding.LeftOut{Why: l.Why, Span: b.span(l.Words)})
	}
	for _, m := range decodeList[string](&b, j.Unmentioned) {
		id, side, _ := strings.Cut(m, "@")
		set.Unmentioned = append(set.Unmentioned, finding.Missing{ID: id, Side: b.side(&side)})
	}
	for _, a := range decodeList[jsonAttentionT](&b, j.Attention) {
		set.Attention = append(set.Attention, finding.Attention{ID: orEmpty(a.ID), Side: b.side(a.Side), Why: a.Why,
			Urgency: among(&b, a.Urgency, finding.Now), Source: a.Source, Evidence: b.evidence(a.Evidence), Handled: a.Handled})
	}
	cautions := decodeList[string](&b, j.Cautions)
	if b.problem != "" {
		return note.Draft{}, &FormatError{b.problem, adviceOwn}
	}
	if p := j.Provenance; p != nil {
		src.Provenance.Program = p.Program
		for _, k := range p.Packs {
			src.Provenance.Packs = append(src.Provenance.Packs, note.Pack(k))
		}
		if at, err := time.Parse(time.RFC3339, orEmpty(p.DraftedAt)); err == nil {
			src.Provenance.DraftedAt = at
		}
	}
	return note.Restore(src, set, cautions, o), nil
}

// FindingJSON gives one finding in the form in which a draft lists it.
func FindingJSON(t transcript.Transcript, f finding.Finding) ([]byte, error) {
	data, err := json.Marshal(jsonFinding(t, f))
	if err != nil {
		return nil, fmt.Errorf("encode finding: %T", err) // the encoder's own text may quote the value
	}
	return data, nil
}

// ReadFinding reads what FindingJSON wrote of a transcript of that many words.
func ReadFinding(data []byte, words int) (finding.Finding, error) {
	var j jsonFindingT
	if err := json.Unmarshal(data, &j); err != nil {
		return finding.Finding{}, &FormatError{describe(err), adviceOwn}
	}
	b := readback{words: words}
	f := b.finding(j)
	if b.problem != "" {
		return finding.Finding{}, &FormatError{b.problem, adviceOwn}
	}
	return f, nil
}

// readback decodes values that enumerate or point; it keeps the first problem.
type readback struct {
	words   int
	problem string
}

func (b *readback) fail(problem string) {
	if b.problem == "" {
		b.problem = problem
	}
}

func decodeList[T any](b *readback, data json.RawMessage) []T {
	var out []T
	if data == nil {
		b.fail("a part of the draft is missing")
	} else if err := json.Unmarshal(data, &out); err != nil {
		b.fail(describe(err))
	}
	return out
}

// among finds the enumerated value of a word; the last one bounds the search.
func among[E interface {
	~uint8
	fmt.Stringer
}](b *readback, word string, last E) E {
	for e := E(0); e <= last; e++ {
		if e.String() == word {
			return e
		}
	}
	b.fail("a word that the format does not have")
	return 0
}

func (b *readback) side(s *string) finding.Side { return among(b, orEmpty(s), finding.Both) }

func (b *readback) span(w [2]int) transcript.Span {
	if w[0] < 0 || w[1] < w[0] || w[1] > b.words {
		b.fail("a piece of evidence lies outside of the transcript")
	}
	return transcript.Span{Start: w[0], End: w[1]}
}

func (b *readback) evidence(list []jsonEvidence) []transcript.Span {
	var out []transcript.Span
	for _, e := range list {
		out = append(out, b.span(e.Words))
	}
	return out
}

func (b *readback) value(v any) finding.Value {
	switch v := v.(type) {
	case nil:
		return finding.Value{}
	case string:
		return finding.Word(v)
	case float64:
		return finding.Number(v)
	}
	list, ok := v.([]any)
	words := make([]string, 0, len(list))
	for _, w := range list {
		s, isWord := w.(string)
		ok = ok && isWord
		words = append(words, s)
	}
	if !ok || len(words) == 0 {
		b.fail("a value that is neither a word nor a number")
		return finding.Value{}
	}
	return finding.List(words...)
}

// measured reads "120/80" of what has a unit as the pair that it is.
func measured(v finding.Value, unit string) finding.Value {
	w, _ := v.Word()
	first, second, ok := strings.Cut(w, "/")
	a, err1 := strconv.ParseFloat(first, 64)
	c, err2 := strconv.ParseFloat(second, 64)
	if !ok || unit == "" || err1 != nil || err2 != nil {
		return v
	}
	return finding.Pair(a, c)
}

func (b *readback) finding(j jsonFindingT) finding.Finding {
	f := finding.Finding{
		ID: j.ID, Side: b.side(j.Side), Zone: orEmpty(j.Zone), Status: among(b, j.Status, finding.NotAssessed),
		Value: measured(b.value(j.Value), orEmpty(j.Unit)), High: b.value(j.ValueHigh), Unit: orEmpty(j.Unit), Source: among(b, j.Source, finding.Reported),
		Reason: orEmpty(j.Reason), Interpretation: among(b, j.Interpretation, finding.Unexpected), Evidence: b.evidence(j.Evidence),
	}
	if len(j.Qualifiers) > 0 {
		f.Qualifiers = j.Qualifiers
	}
	for _, m := range j.Marks {
		k := finding.Mark{Kind: m.Kind, Why: m.Why}
		if len(m.Alternatives) > 0 {
			k.Alternatives = m.Alternatives
		}
		f.Marks = append(f.Marks, k)
	}
	return f
}
