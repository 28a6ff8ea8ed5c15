package pipeline

import (
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
)

// doubt marks the findings that rest on words which the sound leaves in doubt:
// words that were first heard otherwise. It adds marks and changes nothing else.
func doubt(set finding.Set, t transcript.Transcript) finding.Set {
	if !t.Timed {
		return set
	}
	set.Findings = slices.Clone(set.Findings)
	for i := range set.Findings {
		f := &set.Findings[i]
		if first := firstWordings(f.Evidence, t); len(first) > 0 {
			f.Marks = append(slices.Clone(f.Marks), finding.Mark{
				Kind:         finding.Respelled,
				Why:          "heard twice, and the first time as: \"" + strings.Join(first, "\", \"") + "\"",
				Alternatives: first,
			})
		}
	}
	return set
}

// firstWordings is what was first heard in the place of evidence.
func firstWordings(evidence []transcript.Span, t transcript.Transcript) []string {
	var out []string
	for _, e := range evidence {
		for w := e.Start; w < e.End; w++ {
			if first := t.Words[w].Heard; first != "" && !slices.Contains(out, first) {
				out = append(out, first)
			}
		}
	}
	return out
}
