package note

import (
	"reflect"
	"slices"

	"bedsaid/internal/finding"
)

// ChangeKind says how a finding differs from an earlier note.
type ChangeKind uint8

// Kinds of changes. A finding that neither note charts is no change.
const (
	ChangeUnknown ChangeKind = iota
	New                      // charted now and not before, or absent before and present now
	Gone                     // present before and absent now
	Changed                  // another value, qualifier or zone
	NoLonger                 // assessed before; now not mentioned, or said to be not assessed
)

// String gives the heading's word.
func (k ChangeKind) String() string {
	return [...]string{"unknown", "new", "gone", "changed", "no longer assessed"}[k]
}

// Change is one finding, on one side, that differs between two notes. What was
// said of it stands in Before and After; either may be empty.
type Change struct {
	Kind          ChangeKind
	Item          Item
	Side          finding.Side
	Zone          string
	Before, After []Entry
}

// String keeps patients' words out of logs and errors.
func (c Change) String() string { return c.Kind.String() + " finding " + c.Item.ID }

// GoString does the same for %#v.
func (c Change) GoString() string { return c.String() }

// FirstAsExpected says that the finding is new because the earlier note did not
// assess it, and that all that is charted now is as expected and without a doubt.
func (c Change) FirstAsExpected() bool {
	return c.Kind == New && !assessed(c.Before) && !slices.ContainsFunc(c.After, func(e Entry) bool {
		return e.Interpretation != finding.Expected || len(e.Marks) > 0
	})
}

// place is what a finding is compared by: both sides of a pair are compared
// one by one, so that "both eyes 3 mm" and "left eye 3 mm" agree on the left.
type place struct {
	id   string
	side finding.Side
	zone string
}

func places(d Draft) (order []place, at map[place][]Entry) {
	at = map[place][]Entry{}
	for _, s := range d.Sections {
		for _, e := range s.Entries {
			sides := []finding.Side{e.Side}
			switch {
			case e.Side == finding.Both && e.Item.Paired:
				sides = []finding.Side{finding.Right, finding.Left}
			case !e.Item.Paired && e.Zone == "":
				sides = []finding.Side{finding.NoSide} // a direction is part of what was found
			}
			for _, side := range sides {
				p := place{e.ID, side, e.Zone}
				if _, ok := at[p]; !ok {
					order = append(order, p)
				}
				one := e
				if e.Side == finding.Both && e.Item.Paired {
					one.Side = side
				}
				at[p] = append(at[p], one)
			}
		}
	}
	return order, at
}

// Compare lists what differs between an earlier note and a later one of the
// same patient, in the order of an examination. It judges nothing: better and
// worse are for the reader.
func Compare(before, after Draft) []Change {
	oldOrder, was := places(before)
	newOrder, is := places(after)
	var out []Change
	for _, p := range newOrder {
		c := Change{Item: is[p][0].Item, Side: p.side, Zone: p.zone, Before: was[p], After: is[p]}
		if c.Kind = kindOf(c.Before, c.After); c.Kind != ChangeUnknown {
			out = append(out, c)
		}
	}
	for _, p := range oldOrder {
		if _, still := is[p]; !still && assessed(was[p]) {
			out = append(out, Change{Kind: NoLonger, Item: was[p][0].Item, Side: p.side, Zone: p.zone, Before: was[p]})
		}
	}
	slices.SortStableFunc(out, func(a, b Change) int { return after.outline.index(a.Item.ID) - after.outline.index(b.Item.ID) })
	return out
}

// Same counts the findings that both notes assessed and charted alike, each side
// of a pair by itself.
func Same(before, after Draft) int {
	_, was := places(before)
	_, is := places(after)
	n := 0
	for p, es := range is {
		if assessed(es) && assessed(was[p]) && sameFindings(was[p], es) {
			n++
		}
	}
	return n
}

func kindOf(before, after []Entry) ChangeKind {
	switch wasAssessed, isAssessed := assessed(before), assessed(after); {
	case !wasAssessed && !isAssessed:
		return ChangeUnknown
	case !wasAssessed:
		return New
	case !isAssessed:
		return NoLonger
	case sameFindings(before, after):
		return ChangeUnknown
	case all(before, "absent") && all(after, "present"):
		return New
	case all(before, "present") && all(after, "absent"):
		return Gone
	}
	return Changed
}

func assessed(es []Entry) bool {
	return slices.ContainsFunc(es, func(e Entry) bool { return e.Status == finding.Assessed })
}

func all(es []Entry, word string) bool {
	return !slices.ContainsFunc(es, func(e Entry) bool { w, _ := e.Value.Word(); return w != word })
}

// sameFindings compares what was found; who said it, how sure, and in what
// words, may differ.
func sameFindings(a, b []Entry) bool {
	if len(a) != len(b) {
		return false
	}
	for _, x := range a {
		if !slices.ContainsFunc(b, func(y Entry) bool {
			return x.Value == y.Value && x.High == y.High && x.Unit == y.Unit && x.Side == y.Side && x.Status == y.Status &&
				(len(x.Qualifiers) == 0 && len(y.Qualifiers) == 0 || reflect.DeepEqual(x.Qualifiers, y.Qualifiers))
		}) {
			return false
		}
	}
	return true
}
