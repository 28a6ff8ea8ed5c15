package export

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// Sheet is a note in words, ready for any form: chart text, Markdown, HTML,
// PDF. Every form prints all of it, so that none says less than another. Its
// texts are plain: a form escapes what it must.
type Sheet struct {
	Title string
	// Watermark stands over a note that is not signed; empty for one that is.
	Watermark string
	Head      []Field
	// Alerts say what was lost in hearing, the worst first.
	Alerts []string
	Action []Action
	Parts  []Part
	// Missing says, part by part, what nobody mentioned.
	Missing []Field
	Changes []ChangeGroup
	Addenda []Field
	// Talk is what was heard and left out; it is empty without the talk.
	Talk []Field
	// Transcript is all that was said; empty without the talk.
	Transcript string
	Cautions   []string
	MadeBy     string
}

// Field is a label with its text.
type Field struct{ Label, Text string }

// Action is one thing that wants a person's action.
type Action struct{ Urgency, What, Why, Quote, Source, Handled string }

// Part is one region.
type Part struct {
	Region note.Region
	Lines  []Line
	// Gaps tell of speech near these findings that gave no words.
	Gaps []string
}

// Line is one finding in words.
type Line struct {
	Entry note.Entry
	Name  string
	// Says is place, value and details; Joint is what stands between it and the
	// name.
	Joint, Says string
	// Unexpected, Skipped and Changed make a line stand out; Changed holds what
	// kind of change.
	Unexpected, Skipped bool
	Changed             string
	// Doubts are the marks in short, Checks in whole sentences.
	Doubts, Checks []string
	// Words are those that it rests on, When their place in the recording; empty
	// without the talk.
	Words, When string
}

// Text is the line as a sentence without a full stop, which must not follow a
// unit.
func (l Line) Text() string { return l.Name + l.Joint + l.Says }

// ChangeGroup lists the changes of one kind.
type ChangeGroup struct {
	Title string
	Rows  []ChangeRow
}

// changeLines words the changes, one a line.
func (s Sheet) changeLines() []string {
	var out []string
	for _, g := range s.Changes {
		for _, r := range g.Rows {
			out = append(out, fmt.Sprintf("%s: %s: %s (before: %s)", g.Title, r.What, r.After, r.Before))
		}
	}
	return out
}

// ChangeRow is one finding that differs from the earlier note.
type ChangeRow struct{ What, Before, After string }

// NotStated stands where a head says nothing.
const NotStated = "not stated"

const atLayout = "2006-01-02 15:04 -07:00"

// SheetOf words a document. It decides nothing: the order and the content are
// the note's.
func SheetOf(doc note.Document) Sheet {
	s := sheeter{texter{d: doc.Draft}, doc}
	out := Sheet{
		Title: "Examination note", Watermark: doc.Head.Watermark(), Head: HeadFields(doc.Head),
		Alerts: s.alerts(), Action: s.action(), Parts: s.parts(), Missing: s.missingFields(),
		Changes: changeGroups(doc.Changes), Talk: s.talk(), Cautions: doc.Head.Cautions(), MadeBy: MadeBy(doc.Draft.Provenance),
	}
	for _, a := range doc.Head.Addenda {
		out.Addenda = append(out.Addenda, Field{PersonText(a.By) + ", " + TimeText(a.At), a.Text})
	}
	if s.hasTalk() {
		out.Transcript = doc.Draft.Transcript.Text()
	}
	return out
}

type sheeter struct {
	texter
	doc note.Document
}

// hasTalk says whether the whole talk is there, or at most what is quoted.
func (s sheeter) hasTalk() bool {
	for _, f := range s.d.Findings() {
		if len(f.Evidence) > 0 {
			return true
		}
	}
	return len(s.d.LeftOut) > 0
}

// HeadFields are what every export says of the note itself.
func HeadFields(h note.Head) []Field {
	var out []Field
	for i, id := range h.Identifiers {
		label, text := fmt.Sprintf("Patient identifier %d", i+1), NotStated
		if id.Value != "" {
			text = id.Kind + " " + id.Value
		}
		out = append(out, Field{label, text})
	}
	out = append(out, Field{"Examined", TimeText(h.ExaminedAt)}, Field{"Entered", TimeText(h.EnteredAt)},
		Field{"Author", PersonText(h.Author)}, Field{"Status", h.Status.String()})
	for _, s := range h.Signatures {
		out = append(out, Field{signatureLabel(s), PersonText(s.By) + ", " + TimeText(s.At) + because(s.Why)})
	}
	if h.ID != "" {
		out = append(out, Field{"Note", h.ID})
	}
	if h.Seal != "" {
		out = append(out, Field{"Seal", h.Seal})
	}
	for _, r := range h.Relations {
		out = append(out, Field{"This note " + r.Kind.String(), "note " + r.Note})
	}
	return out
}

// signatureLabel says what a signature stands under.
func signatureLabel(s note.Signature) string {
	label := "Signed by"
	if s.CoSign {
		label = "Co-signed by"
	}
	if s.Version > 1 {
		label = fmt.Sprintf("Amendment %d %s", s.Version-1, strings.ToLower(label))
	}
	return label
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ` (reason: "` + why + `")`
}

// TimeText is a time with its zone's offset, or NotStated.
func TimeText(t time.Time) string {
	if t.IsZero() {
		return NotStated
	}
	return t.Format(atLayout)
}

// PersonText is a name with credentials, or NotStated.
func PersonText(p note.Person) string {
	return cmp.Or(joinNonEmpty(", ", p.Name, p.Credentials), NotStated)
}

// MadeBy names program, engine, model and packs.
func MadeBy(p note.Provenance) string {
	by := []string{p.Program}
	if p.Engine != "" {
		by = append(by, joinNonEmpty(" ", p.Engine, p.Model)+shortSum(p.ModelSHA256))
	}
	for _, k := range p.Packs {
		by = append(by, joinNonEmpty(" ", k.Name, k.Version)+shortSum(k.SHA256))
	}
	return strings.Join(by, "; ")
}

func (s sheeter) alerts() []string {
	var out []string
	if gaps := s.d.Untranscribed(); len(gaps) > 0 {
		parts := make([]string, len(gaps))
		for i, g := range gaps {
			parts[i] = gapText(g)
		}
		out = append(out, fmt.Sprintf("SPEECH THAT GAVE NO WORDS, %.0f s: what was said there is not in this note. Places in the recording: %s", s.d.UntranscribedSeconds(), strings.Join(parts, "; ")))
	}
	return append(out, s.d.Notices...)
}

func (s sheeter) action() []Action {
	var out []Action
	for _, a := range s.d.Attention {
		one := Action{Urgency: urgencyWords[a.Urgency], Why: a.Why, Source: a.Source, Handled: a.Handled, What: "the patient's words"}
		if a.ID != "" {
			it := s.d.Item(a.ID)
			one.What = joinNonEmpty(", ", it.Name, SideWord(a.Side, it.Organ))
		} else {
			one.Quote = quoted(s.d.Transcript, a.Evidence)
		}
		out = append(out, one)
	}
	return out
}

func (s sheeter) parts() []Part {
	gaps := s.gapsBySection()
	var out []Part
	for i, sec := range s.d.Sections {
		p := Part{Region: sec.Region}
		for _, e := range series(sec.Entries) {
			p.Lines = append(p.Lines, s.line(e))
		}
		for _, g := range gaps[i] {
			p.Gaps = append(p.Gaps, "speech near here gave no words: "+gapText(g))
		}
		if len(p.Lines)+len(p.Gaps) > 0 {
			out = append(out, p)
		}
	}
	return out
}

func (s sheeter) line(e note.Entry) Line {
	l := LineOf(e)
	l.Changed, l.When = s.changed(e), s.when(e.Evidence)
	if len(e.Evidence) > 0 {
		l.Words = quoted(s.d.Transcript, e.Evidence)
	}
	return l
}

// LineOf words one finding on its own, without the words it rests on.
func LineOf(e note.Entry) Line {
	l := Line{Entry: e, Name: e.Item.Name, Says: Statement(e), Joint: ": ",
		Unexpected: e.Interpretation == finding.Unexpected, Skipped: e.Status == finding.NotAssessed}
	if where := whereOf(e); where != "" && strings.HasPrefix(l.Says, where+":") {
		l.Joint = ", "
	}
	for _, m := range e.Marks {
		l.Doubts = append(l.Doubts, MarkWord(m.Kind))
		l.Checks = append(l.Checks, MarkText(m))
	}
	return l
}

// changed says how the finding differs from the earlier note, or that the
// reviewer changed it.
func (s sheeter) changed(e note.Entry) string {
	for _, c := range s.doc.Changes {
		if c.Item.ID == e.ID && c.Zone == e.Zone && (c.Side == e.Side || e.Side == finding.Both || !e.Item.Paired) && len(c.After) > 0 {
			return c.Kind.String()
		}
	}
	if s.doc.Head.Status == note.Amended {
		for _, d := range s.doc.Decisions {
			if d.Finding == e.ID && d.Side == e.Side && d.Zone == e.Zone && (d.Kind == note.Corrected || d.Kind == note.Added) {
				return d.Kind.String()
			}
		}
	}
	return ""
}

// MarkText is a doubt in a sentence, with the other readings.
func MarkText(m finding.Mark) string {
	why := MarkWord(m.Kind)
	if m.Why != "" {
		why += ": " + m.Why
	}
	if len(m.Alternatives) > 0 {
		spelled := make([]string, len(m.Alternatives))
		for i, a := range m.Alternatives {
			spelled[i] = spellUnit(a)
		}
		why = strings.TrimRight(why, ".") + "; or: " + strings.Join(spelled, "; ")
	}
	return why
}

func (s sheeter) missingFields() []Field {
	var out []Field
	for _, sec := range s.d.Sections {
		if len(sec.Missing) > 0 {
			out = append(out, Field{sec.Region.Title, strings.Join(missingNames(s.d, sec), ", ")})
		}
	}
	return out
}

func missingNames(d note.Draft, s note.Section) []string {
	names := make([]string, len(s.Missing))
	for i, m := range s.Missing {
		names[i] = MissingName(d, m)
	}
	return names
}

// MissingName names what nobody spoke of, with its side where that alone is missing.
func MissingName(d note.Draft, m finding.Missing) string {
	it := d.Item(m.ID)
	if m.Side == finding.NoSide {
		return it.Name
	}
	return it.Name + " (" + SideWord(m.Side, it.Organ) + ")"
}

func (s sheeter) talk() []Field {
	var out []Field
	for _, g := range leftOutGroups(s.d) {
		parts := make([]string, len(g.spans))
		for i, sp := range g.spans {
			parts[i] = joinNonEmpty(" ", s.when([]transcript.Span{sp}), quoted(s.d.Transcript, []transcript.Span{sp}))
		}
		out = append(out, Field{g.title, strings.Join(parts, "; ")})
	}
	return out
}

func changeGroups(cs []note.Change) []ChangeGroup {
	var out []ChangeGroup
	for _, kind := range []note.ChangeKind{note.New, note.Gone, note.Changed, note.NoLonger} {
		g := ChangeGroup{Title: kind.String()}
		for _, c := range cs {
			if c.Kind != kind {
				continue
			}
			g.Rows = append(g.Rows, ChangeOf(c))
		}
		if len(g.Rows) > 0 {
			out = append(out, g)
		}
	}
	return out
}

// ChangeOf words one change.
func ChangeOf(c note.Change) ChangeRow {
	what := joinNonEmpty(", ", c.Item.Name, SideWord(c.Side, c.Item.Organ), plain(c.Zone))
	return ChangeRow{what, found(c.Before), found(c.After)}
}

// found is what was found at a place, without naming the place again.
func found(es []note.Entry) string {
	parts := make([]string, len(es))
	for i, e := range es {
		if !isDirection(e) {
			e.Side, e.Zone = finding.NoSide, ""
		}
		parts[i] = Statement(e)
	}
	return cmp.Or(strings.Join(parts, "; "), "not mentioned")
}
