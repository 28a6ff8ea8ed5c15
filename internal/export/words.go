package export

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/lexicon"
)

// Wording for a person. Sides and units are spelled out: one- and two-letter
// short forms for eyes and ears are mistaken for each other and for dose
// words, and signs such as ">" or the degree ring are misread; numbers have a
// leading zero and no trailing one, with a space before the unit (ISMP, List of
// Error-Prone Abbreviations; Joint Commission, Official "Do Not Use" List).

// unitWords spells UCUM codes; a code that is not here is shown as it is.
var unitWords = map[string]string{
	"deg": "degrees", "Cel": "degrees Celsius", "[degF]": "degrees Fahrenheit",
	"mm[Hg]": "mm Hg", "/min": "per minute", "{score}": "", "1": "",
	"[in_i]": "inches", "[lb_av]": "pounds", "%": "percent", "h": "hours", "s": "seconds", "min": "minutes",
}

// UnitWord spells a UCUM code ("degrees"); it is empty for a unit that is not
// said beside its number.
func UnitWord(code string) string {
	if w, ok := unitWords[code]; ok {
		return w
	}
	return code
}

// plain makes a value of the pack readable: "pearly_gray" is "pearly gray".
func plain(s string) string { return strings.ReplaceAll(s, "_", " ") }

// SideWord names a side, with the organ where it has one: "right eye".
func SideWord(s finding.Side, organ string) string {
	switch {
	case s == finding.NoSide:
		return ""
	case organ == "" && s == finding.Both:
		return "both sides"
	case organ == "":
		return s.String()
	case s == finding.Both:
		return "both " + organ + "s"
	}
	return s.String() + " " + organ
}

// Statement is what is said of the finding, without its name: "left eye: 4 mm,
// reported by the patient". The wording is the packs'.
func Statement(e note.Entry) string {
	p := lexicon.Parts{Where: whereOf(e)}
	details := qualifiers(e.Qualifiers)
	if e.Source == finding.Reported {
		details = append(details, "reported by "+plain(cmp.Or(e.Qualifiers["reporter"], "the patient")))
	}
	p.Details = strings.Join(details, ", ")
	if e.Status == finding.NotAssessed {
		p.Skipped, p.Reason = true, strings.TrimRight(e.Reason, " ,.;:")
		return e.Item.Skipped.Say(p)
	}
	p.Value, p.High = ValueText(e), e.High.String()
	n, isNumber := e.Value.Number()
	_, _, isPair := e.Value.Pair()
	switch {
	case e.Value.IsZero():
		p.Value = "no value"
	case isPair:
		p.Unit = UnitWord(e.Unit)
	case isNumber && e.Item.Clock && n == 0:
		p.Value = "absent"
	case isNumber && e.Item.Clock:
		p.Unit = "o'clock"
	case isNumber:
		p.Unit, p.Sign, p.Of = UnitWord(e.Unit), e.Qualifiers["sign"], e.Qualifiers["of"]
	}
	return e.Item.Assessed.Say(p)
}

// ValueText is the value alone, in words, with its direction.
func ValueText(e note.Entry) string {
	v := plain(e.Value.String())
	if isDirection(e) {
		v += " to the " + e.Side.String()
	}
	return v
}

// isDirection reports a side beside the state of a midline item, where it says
// which way: "deviated to the left". Beside anything else it says where.
func isDirection(e note.Entry) bool {
	word, isWord := e.Value.Word()
	return !e.Item.Paired && e.Zone == "" && e.Side != finding.NoSide && e.Status == finding.Assessed &&
		isWord && word != "present" && word != "absent"
}

// whereOf is side and zone in words.
func whereOf(e note.Entry) string {
	if isDirection(e) {
		return ""
	}
	return joinNonEmpty(", ", SideWord(e.Side, e.Item.Organ), plain(e.Zone))
}

// Qualifiers in the order in which a colleague would say them. sign, of and
// reporter are shown with the value and the source.
var qualifierOrder = []string{"count", "size", "stage", "severity", "amount", "colour", "character",
	"consistency", "mobility", "tenderness", "rhythm", "effort", "flow", "device", "oxygen", "route", "position", "place", "direction", "odour", "angle", "height", "onset", "baseline"}

func qualifiers(q map[string]string) []string {
	var keys []string
	for k := range q {
		if k != "sign" && k != "of" && k != "reporter" {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, func(a, b string) int {
		i, j := slices.Index(qualifierOrder, a), slices.Index(qualifierOrder, b)
		if i < 0 {
			i = len(qualifierOrder)
		}
		if j < 0 {
			j = len(qualifierOrder)
		}
		if i != j {
			return i - j
		}
		return strings.Compare(a, b)
	})
	var out []string
	for _, k := range keys {
		out = append(out, qualifier(k, plain(q[k])))
	}
	return out
}

func qualifier(k, v string) string {
	switch k {
	case "size", "severity", "amount", "colour", "character", "consistency", "mobility", "rhythm", "effort", "flow", "device", "oxygen", "route", "position":
		return spellUnit(v)
	case "tenderness":
		switch v {
		case "present":
			return "tender"
		case "absent":
			return "not tender"
		}
	case "baseline":
		return "baseline for this patient (" + v + ")"
	}
	return plain(k) + " " + spellUnit(v)
}

// spellUnit spells a unit at the end of "45 deg".
func spellUnit(v string) string {
	if i := strings.LastIndexByte(v, ' '); i >= 0 {
		if w, ok := unitWords[v[i+1:]]; ok && w != "" {
			return v[:i+1] + w
		}
	}
	return v
}

var markWords = map[finding.MarkKind]string{
	finding.UnclearAudio: "hard to hear",
	finding.Respelled:    "word repaired",
	finding.UnsureSide:   "side not certain",
	finding.UnsureValue:  "value not certain",
	finding.UnitChanged:  "unit changed",
	finding.Conflict:     "two statements disagree",
	finding.Implausible:  "unlikely value",
	finding.Inferred:     "put together from apart",
}

// MarkWord names a kind of doubt.
func MarkWord(k finding.MarkKind) string {
	if w, ok := markWords[k]; ok {
		return w
	}
	return plain(string(k))
}

// leftOutOrder lists the reasons, first those that may hide a finding.
var leftOutOrder = []struct {
	why   finding.Why
	title string
	// runIn puts the pieces one after the other in a paragraph.
	runIn bool
}{
	{finding.Unrecognized, "Not understood (may hold a finding)", false},
	{finding.TooGeneral, "Too general to chart as a finding", false},
	{finding.Corrected, "Taken back or corrected", false},
	{finding.Plan, "Plan, not yet done", false},
	{finding.History, "History", false},
	{finding.OtherPerson, "About somebody else", false},
	{finding.Question, "Questions", true},
	{finding.Instruction, "Instructions to the patient", true},
	{finding.Teaching, "Explanation and teaching", true},
	{finding.SmallTalk, "Small talk and fillers", true},
}

// ClockTime is m:ss, or h:mm:ss from an hour on; seconds are cut, not rounded,
// so that a listener starts before the word and not after it.
func ClockTime(seconds float64) string {
	s := int(max(seconds, 0))
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

func joinNonEmpty(sep string, parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), sep)
}

// LeftOutWord says why talk was left out, in words.
func LeftOutWord(w finding.Why) string {
	for _, r := range leftOutOrder {
		if r.why == w {
			return strings.ToLower(r.title[:1]) + r.title[1:]
		}
	}
	return plain(string(w))
}
