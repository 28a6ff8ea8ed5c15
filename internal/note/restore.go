package note

import (
	"slices"

	"bedsaid/internal/finding"
)

// Restore builds again a draft that was composed and kept, in the order in
// which it was kept: decisions refer to findings by their place in that order,
// so packs that have grown since must not move them. The cautions are those
// that were shown with it.
func Restore(src Source, set finding.Set, cautions []string, o Outline) Draft {
	d := Compose(src, finding.Set{}, o)
	d.Attention, d.LeftOut, d.Cautions = slices.Clone(set.Attention), slices.Clone(set.LeftOut), slices.Clone(cautions)
	for _, f := range set.Findings {
		it := o.item(f.ID)
		r := o.region(it.Region)
		if n := len(d.Sections); n == 0 || d.Sections[n-1].Region != r {
			d.Sections = append(d.Sections, Section{Region: r})
		}
		s := &d.Sections[len(d.Sections)-1]
		s.Entries = append(s.Entries, Entry{Finding: f, Item: it})
	}
	for _, m := range set.Unmentioned {
		r := o.region(o.item(m.ID).Region)
		i := slices.IndexFunc(d.Sections, func(s Section) bool { return s.Region == r })
		if i < 0 {
			i = slices.IndexFunc(d.Sections, func(s Section) bool { return o.regionIndex(s.Region) > o.regionIndex(r) })
			if i < 0 {
				i = len(d.Sections)
			}
			d.Sections = slices.Insert(d.Sections, i, Section{Region: r})
		}
		d.Sections[i].Missing = append(d.Sections[i].Missing, m)
	}
	return d
}

// region gives the region of that id, or the one that takes what no pack knows.
func (o Outline) region(id string) Region {
	for _, r := range o.regions {
		if r.ID == id {
			return r
		}
	}
	return otherRegion
}

func (o Outline) regionIndex(r Region) int {
	if i := slices.Index(o.regions, r); i >= 0 {
		return i
	}
	return len(o.regions)
}
