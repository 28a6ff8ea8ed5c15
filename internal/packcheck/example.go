package packcheck

import (
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/extract"
	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// Examples runs the packs' sentences and complains of each that gives anything
// but what it says, and of each finding that no sentence gives.
func Examples(x *extract.Extractor, lex *lexicon.Lexicon) []lexicon.Problem {
	var out []lexicon.Problem
	shown := map[string]bool{}
	examples := lex.Examples()
	for i := range examples {
		e := &examples[i]
		for _, want := range e.Expect {
			id, _, _ := strings.Cut(want, "=")
			id, _, _ = strings.Cut(id, "@")
			if _, ok := lex.Finding(id); !ok {
				out = append(out, e.Complain(fmt.Sprintf("example expects unknown finding %q", id), "check the id"))
			}
			shown[id] = true
		}
		set := x.Extract(transcript.FromText(e.Say), extract.Options{})
		findings, leftOut := Spell(set)
		want := make([]string, len(e.Expect))
		for k, w := range e.Expect {
			want[k] = inOrder(w)
		}
		if what := differ(want, findings); what != "" {
			out = append(out, e.Complain(fmt.Sprintf("example %q: %s", e.Say, what), "bedsaid lexicon explain shows why"))
		}
		if what := differ(e.LeftOut, leftOut); what != "" {
			out = append(out, e.Complain(fmt.Sprintf("example %q, left out: %s", e.Say, what), "bedsaid lexicon explain shows why"))
		}
	}
	for _, f := range lex.Findings() {
		if !shown[f.ID] {
			out = append(out, f.Complain(fmt.Sprintf("finding %q has no example", f.ID), "write an [[example]] with a sentence that gives it"))
		}
	}
	return out
}

// differ says what one list has and the other lacks; order does not matter.
func differ(want, got []string) string {
	var parts []string
	if lacking := without(want, got); len(lacking) > 0 {
		parts = append(parts, "lacks "+strings.Join(lacking, " | "))
	}
	if extra := without(got, want); len(extra) > 0 {
		parts = append(parts, "gives "+strings.Join(extra, " | "))
	}
	return strings.Join(parts, "; ")
}

func without(all, some []string) []string {
	var out []string
	for _, s := range all {
		if !slices.Contains(some, s) && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// Spell writes findings in the form that examples expect, and the reasons for
// which words chart nothing, small talk aside.
func Spell(set finding.Set) (findings, leftOut []string) {
	for i := range set.Findings {
		findings = append(findings, spell(&set.Findings[i]))
	}
	for _, l := range set.LeftOut {
		if l.Why != finding.SmallTalk && !slices.Contains(leftOut, string(l.Why)) {
			leftOut = append(leftOut, string(l.Why))
		}
	}
	return findings, leftOut
}

func spell(f *finding.Finding) string {
	head := f.ID
	if f.Side != finding.NoSide {
		head += "@" + f.Side.String()
	}
	if f.Status == finding.NotAssessed {
		return inOrder(head + "=" + f.Status.String())
	}
	head += "=" + f.Value.String()
	if !f.High.IsZero() {
		head += " to " + f.High.String()
	}
	if f.Unit != "" {
		head += " " + f.Unit
	}
	parts := []string{head}
	if f.Zone != "" {
		parts = append(parts, "zone: "+f.Zone)
	}
	for k, v := range f.Qualifiers {
		parts = append(parts, k+": "+v)
	}
	if f.Source == finding.Reported {
		parts = append(parts, f.Source.String())
	}
	for _, m := range f.Marks {
		parts = append(parts, "?"+string(m.Kind))
	}
	return inOrder(strings.Join(parts, "; "))
}

// inOrder sorts what follows the value, so that two spellings compare.
func inOrder(s string) string {
	parts := strings.Split(s, ";")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	slices.Sort(parts[1:])
	return strings.Join(parts, "; ")
}
