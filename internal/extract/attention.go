package extract

import (
	"sort"

	"bedsaid/internal/finding"
)

var urgencies = map[string]finding.Urgency{"now": finding.Now, "prompt": finding.Prompt, "routine": finding.Routine, "recheck": finding.Recheck}

// attention applies the packs' rules for what wants a person's action.
func (p *parser) attention(found []finding.Finding) []finding.Attention {
	var out []finding.Attention
	for _, r := range p.x.lex.Attention() {
		if r.Finding == nil {
			continue
		}
		for i := range found {
			f := &found[i]
			if f.ID != r.Finding.ID || f.Status != finding.Assessed {
				continue
			}
			if len(r.Values) > 0 && !contains(r.Values, f.Value.String()) {
				continue
			}
			if r.Detail != "" && !contains(r.Equals, f.Qualifiers[r.Detail]) {
				continue
			}
			out = append(out, finding.Attention{ID: f.ID, Side: f.Side, Why: r.Why, Urgency: urgencies[r.Urgency], Source: r.Source, Evidence: f.Evidence})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Urgency > out[j].Urgency })
	return out
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
