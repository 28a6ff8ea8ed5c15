package note

import (
	"slices"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
)

// WithoutTalk gives the draft without what was said: no transcript, no evidence
// and no talk that was left out. What is charted stays whole, and so do the
// patient's statements of danger, whose words are what is charted of them.
func (d Draft) WithoutTalk() Draft {
	out := d
	out.LeftOut = nil
	out.Transcript.Words = nil
	keep := func(spans []transcript.Span) []transcript.Span {
		kept := make([]transcript.Span, 0, len(spans))
		for _, s := range spans {
			from := len(out.Transcript.Words)
			out.Transcript.Words = append(out.Transcript.Words, d.Transcript.Words[s.Start:s.End]...)
			kept = append(kept, transcript.Span{Start: from, End: len(out.Transcript.Words)})
		}
		return kept
	}
	out.Attention = slices.Clone(d.Attention)
	for i, a := range out.Attention {
		out.Attention[i].Evidence = nil
		if a.ID == "" {
			out.Attention[i].Evidence = keep(a.Evidence)
		}
	}
	out.Sections = make([]Section, len(d.Sections))
	for i, s := range d.Sections {
		s.Entries = slices.Clone(s.Entries)
		for k := range s.Entries {
			s.Entries[k].Evidence = nil
		}
		out.Sections[i] = s
	}
	if n := len(out.Transcript.Words); n > 0 {
		out.Transcript.Words[n-1].EndsLine = false // the last word ends the text, as in FromText
	}
	return out
}

// Set gives all that the draft was composed of, findings region by region.
func (d Draft) Set() finding.Set {
	return finding.Set{Findings: d.Findings(), LeftOut: slices.Clone(d.LeftOut), Unmentioned: d.Unmentioned(), Attention: slices.Clone(d.Attention)}
}
