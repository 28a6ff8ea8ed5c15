// Package note composes the draft note: it takes what was understood of one
// transcript, puts it in the order of an examination, and joins to it what
// every reader must see beside it (the words, where the draft came from, the
// cautions). It decides nothing about a patient: no finding is added, dropped
// or changed here. The exporters print its Draft.
package note

import (
	"cmp"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
)

// Draft is a whole draft note. It is never changed once composed: a review, or
// another reading of the same recording, makes a new one.
type Draft struct {
	// Name is the base name of the input, such as "exam.wav"; for people only.
	Name string
	// Sections hold the findings by region, in the order of an examination.
	Sections []Section
	// Attention is what wants a person's action, the most urgent first.
	Attention []finding.Attention
	// LeftOut is the talk that was heard and not charted, in the order of speech.
	LeftOut    []finding.LeftOut
	Transcript transcript.Transcript
	// Notices say what was lost or worked around in reading the recording, such
	// as a file that ends early.
	Notices    []string
	Provenance Provenance
	// Cautions are sentences that every reader shows, the notices first.
	Cautions []string

	outline Outline
}

// Section is one region of the body.
type Section struct {
	Region  Region
	Entries []Entry
	// Missing are the findings in scope that nobody spoke of.
	Missing []finding.Missing
}

// Entry is one finding with the pack's facts about it.
type Entry struct {
	finding.Finding
	Item Item
}

// Provenance says what made the draft, and when.
type Provenance struct {
	// Program is the name and version, such as "bedsaid 0.1.0".
	Program string
	// Engine, Model and ModelSHA256 name what heard the recording; all three
	// are empty where a typed text was read.
	Engine, Model, ModelSHA256 string
	Packs                      []Pack
	// RecordedAt and DraftedAt are zero where they are not known.
	RecordedAt, DraftedAt time.Time
}

// Pack names one lexicon pack that the draft used.
type Pack struct{ Name, Version, SHA256 string }

// Source is what a draft is made from: the words, and what is known of how they
// came to be.
type Source struct {
	// Name is the base name of the input.
	Name       string
	Transcript transcript.Transcript
	Notices    []string
	// Provenance has the engine, the model and the time of recording, if known.
	Provenance Provenance
}

// String keeps patients' words out of logs and errors.
func (s Source) String() string { return s.Transcript.String() }

// GoString does the same for %#v.
func (s Source) GoString() string { return s.String() }

// LogValue does the same for structured logs.
func (s Source) LogValue() slog.Value { return slog.StringValue(s.String()) }

// Compose builds the draft. It sorts and copies, and changes nothing that was
// said: what a pack does not know goes to a last section of its own.
func Compose(src Source, set finding.Set, o Outline) Draft {
	d := Draft{
		Name:       src.Name,
		Sections:   o.sections(set),
		Attention:  slices.Clone(set.Attention),
		LeftOut:    slices.Clone(set.LeftOut),
		Transcript: src.Transcript,
		Notices:    slices.Clone(src.Notices),
		Provenance: src.Provenance,
		Cautions:   append(slices.Clone(src.Notices), Cautions()...),
		outline:    o,
	}
	slices.SortStableFunc(d.Attention, func(a, b finding.Attention) int {
		return cmp.Or(cmp.Compare(b.Urgency, a.Urgency), cmp.Compare(first(a.Evidence), first(b.Evidence)))
	})
	slices.SortStableFunc(d.LeftOut, func(a, b finding.LeftOut) int {
		return cmp.Compare(a.Span.Start, b.Span.Start)
	})
	return d
}

// WithNotices gives the draft with more notices about its recording.
func (d Draft) WithNotices(more ...string) Draft {
	own := len(d.Notices)
	d.Notices = append(slices.Clone(d.Notices), more...)
	d.Cautions = slices.Concat(d.Cautions[:own], more, d.Cautions[own:])
	return d
}

// Findings gives all findings, region by region.
func (d Draft) Findings() []finding.Finding {
	var all []finding.Finding
	for _, s := range d.Sections {
		for _, e := range s.Entries {
			all = append(all, e.Finding)
		}
	}
	return all
}

// Unmentioned gives all that nobody spoke of, region by region.
func (d Draft) Unmentioned() []finding.Missing {
	var all []finding.Missing
	for _, s := range d.Sections {
		all = append(all, s.Missing...)
	}
	return all
}

// Item gives the pack's facts about a finding; its id stands for the name
// where no pack knows it.
func (d Draft) Item(id string) Item { return d.outline.item(id) }

// Regions are the parts of the body in the order of an examination, and last the
// one that takes what no pack knows.
func (d Draft) Regions() []Region { return d.outline.all() }

// Untranscribed gives the voiced stretches of the recording that no word
// covers. Where it is not empty the draft may lack anything said there.
func (d Draft) Untranscribed() []transcript.Interval {
	if d.Transcript.Recording == nil {
		return nil
	}
	return d.Transcript.Recording.Untranscribed
}

// UntranscribedSeconds is how long these stretches are together; where there are
// any, a second at least: "0 s" would read as none.
func (d Draft) UntranscribedSeconds() float64 {
	if len(d.Untranscribed()) == 0 {
		return 0
	}
	return max(transcript.Seconds(d.Untranscribed()), 1)
}

// String keeps patients' words out of logs and errors.
func (d Draft) String() string {
	return fmt.Sprintf("draft of %d findings over %d words", len(d.Findings()), len(d.Transcript.Words))
}

// GoString does the same for %#v.
func (d Draft) GoString() string { return d.String() }

// LogValue does the same for structured logs.
func (d Draft) LogValue() slog.Value { return slog.StringValue(d.String()) }

// String keeps patients' words out of logs and errors.
func (s Section) String() string {
	return fmt.Sprintf("section %s of %d findings", s.Region.ID, len(s.Entries))
}

// GoString does the same for %#v.
func (s Section) GoString() string { return s.String() }

func first(spans []transcript.Span) int {
	if len(spans) == 0 {
		return 0
	}
	return spans[0].Start
}
