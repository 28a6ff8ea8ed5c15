package store

import (
	"encoding/json"
	"fmt"
	"time"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// decisionBody is the stored form of a decision. A finding in it has the form
// in which a draft lists it.
type decisionBody struct {
	Kind     string             `json:"kind"`
	Line     string             `json:"line,omitempty"`
	Finding  json.RawMessage    `json:"finding,omitempty"`
	Resolves []finding.MarkKind `json:"resolves,omitempty"`
	Index    int                `json:"index,omitempty"`
	Closing  *review.Closing    `json:"closing,omitempty"`
	// Attention is nil where nobody asked the rules, and empty where they said
	// nothing.
	Attention *[]attentionBody `json:"attention,omitempty"`
	Text      string           `json:"text,omitempty"`
	Why       string           `json:"why,omitempty"`
	Observed  string           `json:"observed_at,omitempty"`
	By        review.Person    `json:"by"`
	At        string           `json:"at"`
	// Patient binds a signature to the encounter as it stood: its version and
	// keyed hash.
	Patient *patientBody `json:"patient,omitempty"`
}

type attentionBody struct {
	ID       string   `json:"id"`
	Side     string   `json:"side"`
	Why      string   `json:"why"`
	Urgency  string   `json:"urgency"`
	Source   string   `json:"source"`
	Evidence [][2]int `json:"evidence,omitempty"`
}

func encodeAttention(all []finding.Attention) *[]attentionBody {
	if all == nil {
		return nil
	}
	out := make([]attentionBody, len(all))
	for i, a := range all {
		out[i] = attentionBody{ID: a.ID, Side: a.Side.String(), Why: a.Why, Urgency: a.Urgency.String(), Source: a.Source}
		for _, e := range a.Evidence {
			out[i].Evidence = append(out[i].Evidence, [2]int{e.Start, e.End})
		}
	}
	return &out
}

func decodeAttention(stored *[]attentionBody, words int) ([]finding.Attention, error) {
	if stored == nil {
		return nil, nil
	}
	out := make([]finding.Attention, len(*stored))
	for i, b := range *stored {
		side, ok := export.Named(b.Side, finding.NoSide, finding.Right, finding.Left, finding.Both)
		urgency, known := export.Named(b.Urgency, finding.Recheck, finding.Routine, finding.Prompt, finding.Now)
		if !ok || !known {
			return nil, fmt.Errorf("%w (attention)", ErrDamaged)
		}
		out[i] = finding.Attention{ID: b.ID, Side: side, Why: b.Why, Urgency: urgency, Source: b.Source}
		for _, e := range b.Evidence {
			if e[0] < 0 || e[1] <= e[0] || e[1] > words {
				return nil, fmt.Errorf("%w (attention)", ErrDamaged)
			}
			out[i].Evidence = append(out[i].Evidence, transcript.Span{Start: e[0], End: e[1]})
		}
	}
	return out, nil
}

type patientBody struct {
	Version int    `json:"version"`
	MAC     []byte `json:"mac"`
}

func encodeDecision(t transcript.Transcript, d review.Decision, patient *patientBody) ([]byte, error) {
	b := decisionBody{Kind: d.Kind.String(), Line: d.Line, Resolves: d.Resolves, Index: d.Index, Text: d.Text, Why: d.Why,
		Attention: encodeAttention(d.Attention), Observed: stamp(d.ObservedAt), By: d.By, At: stamp(d.At), Patient: patient}
	if d.Kind == review.Add || d.Kind == review.Change {
		f, err := export.FindingJSON(t, d.Finding)
		if err != nil {
			return nil, err
		}
		b.Finding = f
	}
	if d.Kind == review.Close {
		b.Closing = &d.Closing
	}
	return encode(b)
}

func decodeDecision(data []byte, words int) (d review.Decision, patient *patientBody, err error) {
	var b decisionBody
	if err := decode(data, &b); err != nil {
		return d, nil, err
	}
	d = review.Decision{Kind: review.ParseKind(b.Kind), Line: b.Line, Resolves: b.Resolves, Index: b.Index, Text: b.Text, Why: b.Why}
	if b.Finding != nil {
		if d.Finding, err = export.ReadFinding(b.Finding, words); err != nil {
			return d, nil, fmt.Errorf("%w (finding)", ErrDamaged)
		}
	}
	if b.Closing != nil {
		d.Closing = *b.Closing
	}
	if d.Attention, err = decodeAttention(b.Attention, words); err != nil {
		return d, nil, err
	}
	d.By = b.By
	if d.At, err = unstamp(b.At); err != nil {
		return d, nil, err
	}
	d.ObservedAt, err = unstamp(b.Observed)
	return d, b.Patient, err
}

// signedBody is the stored form of what stood above a signature.
type signedBody struct {
	Lines []signedLine `json:"lines"`
	Why   string       `json:"why,omitempty"`
}

type signedLine struct {
	ID       string          `json:"id"`
	State    string          `json:"state"`
	Finding  json.RawMessage `json:"finding"`
	Beside   string          `json:"beside,omitempty"`
	By       review.Person   `json:"by"`
	At       string          `json:"at"`
	Why      string          `json:"why,omitempty"`
	Observed string          `json:"observed_at,omitempty"`
}

// encodeSigned gives the same bytes for the same lines: what was signed is
// compared with what replaying the decisions gives.
func encodeSigned(t transcript.Transcript, lines []review.Line, why string) ([]byte, error) {
	b := signedBody{Lines: make([]signedLine, 0, len(lines)), Why: why}
	for _, l := range lines {
		f, err := export.FindingJSON(t, l.Finding)
		if err != nil {
			return nil, err
		}
		b.Lines = append(b.Lines, signedLine{ID: l.ID, State: l.State.String(), Finding: f, Beside: l.Beside, By: l.By,
			At: stamp(l.At), Why: l.Why, Observed: stamp(l.ObservedAt)})
	}
	return encode(b)
}

// keepZone makes a time as it is read back: to the nanosecond, without the
// monotonic clock, with its offset.
func keepZone(t time.Time) time.Time { return t.Round(0) }
