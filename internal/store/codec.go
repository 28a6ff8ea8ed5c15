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
	Text     string             `json:"text,omitempty"`
	Why      string             `json:"why,omitempty"`
	Observed string             `json:"observed_at,omitempty"`
	By       review.Person      `json:"by"`
	At       string             `json:"at"`
	// Patient binds a signature to the encounter as it stood: its version and
	// keyed hash.
	Patient *patientBody `json:"patient,omitempty"`
}

type patientBody struct {
	Version int    `json:"version"`
	MAC     []byte `json:"mac"`
}

func encodeDecision(t transcript.Transcript, d review.Decision, patient *patientBody) ([]byte, error) {
	b := decisionBody{Kind: d.Kind.String(), Line: d.Line, Resolves: d.Resolves, Index: d.Index, Text: d.Text, Why: d.Why,
		Observed: stamp(d.ObservedAt), By: d.By, At: stamp(d.At), Patient: patient}
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
