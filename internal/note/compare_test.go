package note

import (
	"fmt"
	"slices"
	"testing"

	"bedsaid/internal/finding"
)

func TestCompare(t *testing.T) {
	o := NewOutline([]Region{{"eyes", "Eyes"}}, []Item{
		{ID: "eye.size", Region: "eyes", Paired: true}, {ID: "eye.redness", Region: "eyes", Paired: true},
		{ID: "neck.trachea", Region: "eyes"}, {ID: "lump", Region: "eyes"},
	})
	of := func(fs ...finding.Finding) Draft {
		for i := range fs {
			if fs[i].Status == finding.StatusUnknown {
				fs[i].Status = finding.Assessed
			}
		}
		return Compose(Source{}, finding.Set{Findings: fs}, o)
	}
	mm := func(side finding.Side, n float64) finding.Finding {
		return finding.Finding{ID: "eye.size", Side: side, Value: finding.Number(n), Unit: "mm"}
	}
	is := func(id string, side finding.Side, w string) finding.Finding {
		return finding.Finding{ID: id, Side: side, Value: finding.Word(w)}
	}
	skipped := finding.Finding{ID: "eye.redness", Side: finding.Left, Status: finding.NotAssessed}
	for name, c := range map[string]struct {
		before, after Draft
		want          []string
	}{
		"the same":                 {of(mm(finding.Both, 3)), of(mm(finding.Right, 3), mm(finding.Left, 3)), nil},
		"one side of both":         {of(mm(finding.Both, 3)), of(mm(finding.Right, 3), mm(finding.Left, 4)), []string{"changed eye.size left"}},
		"appeared":                 {of(is("eye.redness", finding.Left, "absent")), of(is("eye.redness", finding.Left, "present")), []string{"new eye.redness left"}},
		"first charted":            {of(), of(is("eye.redness", finding.Left, "absent")), []string{"new eye.redness left"}},
		"gone":                     {of(is("lump", finding.NoSide, "present")), of(is("lump", finding.NoSide, "absent")), []string{"gone lump "}},
		"not mentioned any more":   {of(mm(finding.Both, 3)), of(mm(finding.Right, 3)), []string{"no longer assessed eye.size left"}},
		"said to be not assessed":  {of(is("eye.redness", finding.Left, "absent")), of(skipped), []string{"no longer assessed eye.redness left"}},
		"not assessed before":      {of(skipped), of(is("eye.redness", finding.Left, "absent")), []string{"new eye.redness left"}},
		"not assessed in both":     {of(skipped), of(skipped), nil},
		"skipped, then no mention": {of(skipped), of(), nil},
		"another direction":        {of(is("neck.trachea", finding.Left, "deviated")), of(is("neck.trachea", finding.Right, "deviated")), []string{"changed neck.trachea "}},
	} {
		var got []string
		for _, ch := range Compare(c.before, c.after) {
			got = append(got, fmt.Sprintf("%s %s %s", ch.Kind, ch.Item.ID, ch.Side))
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		same := map[string]int{"the same": 2, "one side of both": 1, "not mentioned any more": 1}[name]
		if n := Same(c.before, c.after); n != same {
			t.Errorf("%s: %d the same, want %d", name, n, same)
		}
	}
}
