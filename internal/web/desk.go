package web

import (
	"fmt"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

// desk is what stands open under the item that is being decided: its sound and
// words, its doubts, and what can be done with it.
type desk struct {
	Item    *item
	Note    string
	After   int
	Decides bool
	Strips  []strip
	Marks   []finding.Mark
	// Others are other readings, numbered as the keys that take them.
	Others []reading
	// Sides are the sides that it can be given at once.
	Sides []sideChoice
	// Typed is a sentence that was typed, Proposals what was understood of it.
	Typed     string
	Kind      string // of what is typed: change or add
	Proposals []proposal
	Problem   *problem
	// Was is what was drafted, where it says something else now.
	Was string
	// Conflict says what others decided meanwhile.
	Conflict []string
	Now      string // for a time field
	Source   string
	Why      string
	// Amends says that the note was signed before: a change of a line needs a reason.
	Amends bool
	Reason string // as it was typed
}

type reading struct {
	Key         int
	Text, Typed string
}

type sideChoice struct{ Value, Word string }

// strip is a stretch of words with their sound: what it rests on, and some words
// before and after.
type strip struct {
	Words []stripWord
	// Sound names the stretch, empty where words were typed or the sound is gone.
	Sound    string
	From, To string
}

type stripWord struct {
	Text       string
	Start, End string
	On         bool // it rests on this word
	Heard      string
}

// proposal is a finding that was understood of a typed sentence.
type proposal struct {
	Index      int
	Name, Says string
	Flags      []string
}

// Words shown before and after those that a finding rests on.
const around = 8

// addDesk takes a finding that is not drafted.
func (t sheet) addDesk() *desk {
	return &desk{Note: t.info.ID, After: t.n.Len(), Decides: t.decides(), Kind: "add"}
}

func (s *Server) deskOf(t sheet, it *item) *desk {
	d := &desk{Item: it, Note: t.info.ID, After: t.n.Len(), Decides: t.decides(), Amends: t.n.Status().Signed(), Now: s.opt.Now().Local().Format(localTime)}
	draft := t.n.Draft()
	var spans []transcript.Span
	switch it.Kind {
	case "line":
		l := it.Line
		spans, d.Marks = l.Finding.Evidence, l.Finding.Marks
		entry := draft.Item(l.Finding.ID)
		for _, m := range d.Marks {
			for _, a := range m.Alternatives {
				d.Others = append(d.Others, reading{len(d.Others) + 1, a, entry.Name + " " + export.SideWord(l.Finding.Side, entry.Organ) + " " + a})
			}
		}
		if entry.Paired && l.Finding.Status == finding.Assessed {
			for _, side := range []finding.Side{finding.Right, finding.Left, finding.Both} {
				if side != l.Finding.Side {
					d.Sides = append(d.Sides, sideChoice{side.String(), export.SideWord(side, entry.Organ)})
				}
			}
		}
		if l.State == review.Changed {
			was := entryOf(draft, l.Drafted)
			d.Was = was.Item.Name + ": " + export.Statement(was)
		}
		d.Why = l.Why
	case "action":
		a := t.n.Actions()[it.Index]
		d.Source, spans = a.Source, a.Evidence
	case "talk":
		spans = []transcript.Span{t.n.Talk()[it.Index].Span}
	case "gap":
		g := t.n.Gaps()[it.Index]
		d.Strips = []strip{s.strip(t, g.Start, g.End, transcript.Span{})}
		return d
	}
	for _, span := range joined(spans) {
		d.Strips = append(d.Strips, s.strip(t, 0, 0, span))
	}
	return d
}

// joined joins stretches of words that lie near each other.
func joined(spans []transcript.Span) []transcript.Span {
	var out []transcript.Span
	for _, s := range inOrder(spans) {
		if n := len(out); n > 0 && s.Start-out[n-1].End <= around {
			out[n-1].End = max(out[n-1].End, s.End)
			continue
		}
		out = append(out, s)
	}
	return out
}

// strip shows a stretch of words, or of time where no words are.
func (s *Server) strip(t sheet, from, to float64, span transcript.Span) strip {
	tr := t.n.Draft().Transcript
	first, last := max(span.Start-around, 0), min(span.End+around, len(tr.Words))
	if span.Len() == 0 { // by time: the words around it
		first = 0
		for first < len(tr.Words) && tr.Words[first].End < from-4 {
			first++
		}
		last = first
		for last < len(tr.Words) && tr.Words[last].Start < to+4 {
			last++
		}
	}
	on := map[int]bool{}
	if span.Len() > 0 {
		for i := span.Start; i < span.End; i++ {
			on[i] = true
		}
		from, to, _ = tr.Times(span)
	}
	v := strip{}
	for i := first; i < last; i++ {
		v.Words = append(v.Words, wordOf(tr, i, on[i]))
	}
	if tr.Timed && t.info.Recording != "" {
		// Half a second before and after: a word's edges are not certain.
		from, to = max(from-0.5, 0), to+0.5
		v.From, v.To = seconds(from), seconds(to)
		v.Sound = fmt.Sprintf("/notes/%s/sound?from=%s&to=%s", t.info.ID, v.From, v.To)
	}
	return v
}

func wordOf(t transcript.Transcript, i int, on bool) stripWord {
	w := stripWord{Text: t.Words[i].Text, On: on, Heard: t.Words[i].Heard}
	if t.Timed {
		w.Start, w.End = seconds(t.Words[i].Start), seconds(t.Words[i].End)
	}
	return w
}

func seconds(s float64) string { return fmt.Sprintf("%.2f", s) }

// propose shows what a typed sentence was understood as.
func propose(entries []note.Entry) []proposal {
	var out []proposal
	for i, e := range entries {
		p := proposal{Index: i, Name: e.Item.Name, Says: export.Statement(e)}
		for _, m := range e.Marks {
			p.Flags = append(p.Flags, export.MarkText(m))
		}
		out = append(out, p)
	}
	return out
}
