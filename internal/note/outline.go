package note

import (
	"cmp"
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/lexicon"
)

// Region is a part of the body under which a note lists findings.
type Region struct{ ID, Title string }

// Item is what a note must know of a finding to show it.
type Item struct {
	ID, Region string
	// Name is short and in the trade's words, such as "pupil size".
	Name string
	// Organ is the noun that a side goes with ("eye" makes "right eye"), empty
	// where a bare side is plain enough. Right and left of an eye or ear are spelled
	// with the organ, since their short forms are mistaken for one another.
	Organ string
	// Paired says that the finding is of a paired organ; beside any other a side
	// is a direction.
	Paired bool
	// Clock says that the number is an hour on the clock face.
	Clock bool
	// Site is the usual name of the place it belongs to ("pupil"), in the
	// singular; empty where no pack says it.
	Site string
	// Assessed and Skipped word the finding where it was assessed and where it
	// was not.
	Assessed, Skipped lexicon.Wording
}

// Outline is the order in which a note lists regions and findings.
type Outline struct {
	regions []Region
	items   []Item
	place   map[string]int // finding id to its index in items
}

// otherRegion takes what no pack knows, so that nothing is lost.
var otherRegion = Region{ID: "other", Title: "Other"}

// NewOutline keeps the order of both lists.
func NewOutline(regions []Region, items []Item) Outline {
	o := Outline{regions: slices.Clone(regions), items: slices.Clone(items), place: make(map[string]int, len(items))}
	for i, it := range items {
		o.place[it.ID] = i
	}
	return o
}

// OutlineOf takes the outline from the packs.
func OutlineOf(lex *lexicon.Lexicon) Outline {
	var regions []Region
	organs := map[string]string{}
	for _, r := range lex.Regions() {
		regions = append(regions, Region{r.ID, r.Title})
		organs[r.ID] = r.Organ
	}
	var items []Item
	for _, f := range lex.Findings() {
		it := Item{
			ID: f.ID, Region: f.Region, Name: cmp.Or(f.Name, f.Meaning, f.ID),
			Paired: f.Sides == lexicon.Paired, Clock: f.Kind == lexicon.Clock, Site: site(f),
			Assessed: lex.Wording(f.Kind.String()), Skipped: lex.Wording(lexicon.NotAssessed),
		}
		if it.Paired {
			it.Organ = organs[f.Region]
		}
		items = append(items, it)
	}
	return NewOutline(regions, items)
}

func site(f *lexicon.Finding) string {
	if len(f.At) == 0 {
		return ""
	}
	return f.At[0].Term
}

// Item gives the pack's facts about a finding; its id stands for the name where no
// pack knows it.
func (o Outline) Item(id string) Item { return o.item(id) }

func (o Outline) item(id string) Item {
	if i, ok := o.place[id]; ok {
		return o.items[i]
	}
	return Item{ID: id, Region: otherRegion.ID, Name: strings.NewReplacer(".", ", ", "_", " ").Replace(id)}
}

// all are the regions in their order, and last the one that takes what no pack
// knows.
func (o Outline) all() []Region { return append(slices.Clone(o.regions), otherRegion) }

// index places unknown findings after all known ones.
func (o Outline) index(id string) int {
	if i, ok := o.place[id]; ok {
		return i
	}
	return len(o.items)
}

// sections deals findings and gaps out to their regions; a region with
// neither is not listed.
func (o Outline) sections(set finding.Set) []Section {
	byRegion := map[string]*Section{}
	at := func(id string) *Section {
		r := o.region(o.item(id).Region).ID
		if byRegion[r] == nil {
			byRegion[r] = &Section{}
		}
		return byRegion[r]
	}
	for _, f := range set.Findings {
		s := at(f.ID)
		s.Entries = append(s.Entries, Entry{Finding: f, Item: o.item(f.ID)})
	}
	for _, m := range set.Unmentioned {
		s := at(m.ID)
		s.Missing = append(s.Missing, m)
	}
	var out []Section
	for _, r := range o.all() {
		s := byRegion[r.ID]
		if s == nil {
			continue
		}
		s.Region = r
		slices.SortStableFunc(s.Entries, func(a, b Entry) int {
			return cmp.Or(cmp.Compare(o.index(a.ID), o.index(b.ID)), cmp.Compare(a.ID, b.ID),
				cmp.Compare(a.Side, b.Side), cmp.Compare(first(a.Evidence), first(b.Evidence)))
		})
		slices.SortStableFunc(s.Missing, func(a, b finding.Missing) int {
			return cmp.Or(cmp.Compare(o.index(a.ID), o.index(b.ID)), cmp.Compare(a.ID, b.ID), cmp.Compare(a.Side, b.Side))
		})
		out = append(out, *s)
	}
	return out
}
