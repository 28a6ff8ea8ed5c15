package review_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/transcript"
)

var (
	nurse     = review.Person{ID: "u1", Name: "Nurse One", Credentials: "RN", Role: review.Examiner}
	other     = review.Person{ID: "u2", Name: "Nurse Two", Credentials: "RN", Role: review.Examiner}
	student   = review.Person{ID: "u3", Name: "Student Three", Credentials: "SN", Role: review.Student}
	preceptor = review.Person{ID: "u4", Name: "Nurse Four", Credentials: "MSN, RN", Role: review.Preceptor}
	reviewer  = review.Person{ID: "u5", Name: "Auditor Five", Role: review.Reviewer}
	noon      = time.Date(2031, 2, 3, 12, 0, 0, 0, time.UTC)
)

func midline() finding.Finding {
	return finding.Finding{ID: "neck.trachea", Status: finding.Assessed, Value: finding.Word("midline"), Source: finding.Observed,
		Interpretation: finding.Expected, Evidence: []transcript.Span{{Start: 0, End: 3}}}
}

func drum() finding.Finding {
	return finding.Finding{ID: "ear.drum_seen", Status: finding.Assessed, Value: finding.Word("seen"), Source: finding.Observed,
		Evidence: []transcript.Span{{Start: 3, End: 5}}, Marks: []finding.Mark{{Kind: finding.UnsureSide, Why: "no side said"}, {Kind: finding.UnclearAudio}}}
}

// draft has f1 (no mark) and f2 (two marks), in the order of the sections.
func draft(gaps ...transcript.Interval) note.Draft {
	t := transcript.FromText("Trachea is midline. Drum seen.")
	if gaps != nil {
		t.Timed, t.Recording = true, &transcript.Recording{Seconds: 9, Untranscribed: gaps}
	}
	o := note.NewOutline([]note.Region{{ID: "n"}}, []note.Item{{ID: "neck.trachea", Region: "n"}, {ID: "ear.drum_seen", Region: "n"}})
	return note.Compose(note.Source{Transcript: t}, finding.Set{Findings: []finding.Finding{midline(), drum()}}, o)
}

// by stamps decisions with a person and a rising time.
func by(p review.Person, ds ...review.Decision) []review.Decision {
	for i := range ds {
		ds[i].By = p
		ds[i].At = noon.Add(time.Duration(i) * time.Minute)
	}
	return ds
}

func apply(t *testing.T, n review.Note, ds ...review.Decision) review.Note {
	t.Helper()
	for i, d := range ds {
		next, err := n.Apply(d)
		if err != nil {
			t.Fatalf("decision %d of %d: %v", i+1, len(ds), err)
		}
		n = next
	}
	return n
}

func refused(t *testing.T, n review.Note, d review.Decision, want review.Rule) {
	t.Helper()
	_, err := n.Apply(d)
	var re *review.RuleError
	if !errors.As(err, &re) || re.Rule != want || re.Hint() == "" {
		t.Errorf("%s: %v, want the rule %q", d, err, want)
	}
}

var decideAll = []review.Decision{
	{Kind: review.Accept, Line: "f1"},
	{Kind: review.Accept, Line: "f2", Resolves: []finding.MarkKind{finding.UnsureSide, finding.UnclearAudio}},
}

func TestSigningNeedsEverythingDecided(t *testing.T) {
	n := review.Begin(draft(transcript.Interval{Start: 4, End: 6}), nurse)
	sign := by(nurse, review.Decision{Kind: review.Sign})[0]
	_, err := n.Apply(sign)
	var re *review.RuleError
	if !errors.As(err, &re) || re.Rule != review.Unfinished || len(re.Open) != 5 {
		t.Fatalf("%v: want 2 undecided lines, 2 marks and 1 gap", err)
	}
	n = apply(t, n, by(nurse, slices.Clone(decideAll)...)...)
	refused(t, n, sign, review.Unfinished) // the gap
	n = apply(t, n, by(nurse, review.Decision{Kind: review.Listened, Index: 0}, review.Decision{Kind: review.Sign})...)
	if n.Status() != review.Final || document(n).Head.Status.String() != "final" || len(n.Versions()) != 1 || n.Versions()[0].Signatures[0].By != nurse {
		t.Errorf("%v", n)
	}
}

func TestMarksStayUntilSettled(t *testing.T) {
	n := review.Begin(draft(), nurse)
	n = apply(t, n, by(nurse, review.Decision{Kind: review.Accept, Line: "f1"}, review.Decision{Kind: review.Accept, Line: "f2"})...)
	if got := n.Obstacles(); len(got) != 2 || got[0].Kind != review.OpenMark {
		t.Errorf("accepting alone settled a mark: %v", got)
	}
	f := drum()
	f.Marks, f.Side = nil, finding.Left
	n = apply(t, n, by(nurse, review.Decision{Kind: review.Change, Line: "f2", Finding: f, Resolves: []finding.MarkKind{finding.UnsureSide}})...)
	if got := n.Obstacles(); len(got) != 1 || got[0].Mark != finding.UnclearAudio {
		t.Errorf("changing the side settled more than the side: %v", got)
	}
	refused(t, n, by(nurse, review.Decision{Kind: review.Accept, Line: "f2", Resolves: []finding.MarkKind{finding.UnsureSide}})[0], review.NoMark)
	l, _ := n.Line("f2")
	if l.State != review.Changed || l.Finding.Side != finding.Left || l.Drafted.Side != finding.NoSide || len(l.Drafted.Marks) != 2 {
		t.Errorf("the line lost what was drafted: %+v", l.Drafted.Side)
	}
}

func TestRules(t *testing.T) {
	n := review.Begin(draft(), nurse)
	f := midline()
	bad := f
	bad.Value = finding.Value{}
	far := f
	far.Evidence = []transcript.Span{{Start: 4, End: 9}}
	marked := drum()
	signed := apply(t, n, by(nurse, append(slices.Clone(decideAll), review.Decision{Kind: review.Sign})...)...)
	for _, c := range []struct {
		n    review.Note
		who  review.Person
		d    review.Decision
		want review.Rule
	}{
		{n, reviewer, review.Decision{Kind: review.Accept, Line: "f1"}, review.WrongRole},
		{n, other, review.Decision{Kind: review.Accept, Line: "f1"}, review.NotAuthor},
		{n, other, review.Decision{Kind: review.Sign}, review.NotAuthor},
		{n, reviewer, review.Decision{Kind: review.Add, Finding: f}, review.WrongRole},
		{n, preceptor, review.Decision{Kind: review.Add, Finding: f}, review.NotAuthor},
		{n, nurse, review.Decision{Kind: review.Accept, Line: "f9"}, review.NoLine},
		{n, nurse, review.Decision{Kind: review.Change, Line: "f1", Finding: bad}, review.NoFinding},
		{n, nurse, review.Decision{Kind: review.Add, Finding: far}, review.NoFinding},
		{n, nurse, review.Decision{Kind: review.Add, Finding: marked}, review.NoFinding},
		{n, nurse, review.Decision{Kind: review.Add, Line: "f9", Finding: f}, review.NoLine},
		{n, nurse, review.Decision{Kind: review.NotAssessed, Line: "f1"}, review.NoReason},
		{n, nurse, review.Decision{Kind: review.Listened, Index: 0}, review.NoGap},
		{n, nurse, review.Decision{Kind: review.Undo}, review.NothingToUndo},
		{n, nurse, review.Decision{Kind: review.Comment, Text: " "}, review.NoText},
		{n, nurse, review.Decision{Kind: review.Amend, Why: "x"}, review.NotSigned},
		{n, nurse, review.Decision{Kind: review.Addendum, Text: "x"}, review.NotSigned},
		{n, preceptor, review.Decision{Kind: review.CoSign}, review.NotSigned},
		{n, nurse, review.Decision{Kind: review.KindUnknown}, review.WrongRole},
		{n, nurse, review.Decision{Kind: review.Add, Finding: f, ObservedAt: noon.Add(time.Hour)}, review.FutureTime},
		{signed, nurse, review.Decision{Kind: review.Accept, Line: "f1"}, review.Signed},
		{signed, nurse, review.Decision{Kind: review.Undo}, review.NothingToUndo},
		{signed, nurse, review.Decision{Kind: review.Amend}, review.NoReason},
		{signed, other, review.Decision{Kind: review.Amend, Why: "x"}, review.NotAuthor},
		{signed, student, review.Decision{Kind: review.Addendum, Text: "x"}, review.WrongRole},
		{review.Note{}, nurse, review.Decision{Kind: review.Accept, Line: "f1"}, review.NotAuthor},
	} {
		refused(t, c.n, by(c.who, c.d)[0], c.want)
	}
	d := review.Decision{Kind: review.Accept, Line: "f1", By: nurse}
	refused(t, n, d, review.NoTime)
}

func TestStudentDoesNotSignAlone(t *testing.T) {
	n := review.Begin(draft(), student)
	n = apply(t, n, by(student, append(slices.Clone(decideAll), review.Decision{Kind: review.Sign})...)...)
	if n.Status() != review.AwaitingCoSign || document(n).Head.Status.String() != "preliminary" || len(n.Versions()) != 0 {
		t.Fatalf("%v after the student's signature", n)
	}
	refused(t, n, by(student, review.Decision{Kind: review.Accept, Line: "f1"})[0], review.AwaitingPreceptor)
	refused(t, n, by(student, review.Decision{Kind: review.CoSign})[0], review.WrongRole)
	refused(t, n, by(nurse, review.Decision{Kind: review.CoSign})[0], review.WrongRole)

	// The preceptor gives it back, and it is signed anew.
	back := apply(t, n, by(preceptor, review.Decision{Kind: review.Return, Why: "listen again"})...)
	if back.Status() != review.Preliminary || len(back.Pending()) != 0 {
		t.Errorf("%v after it was given back", back)
	}
	// She charts her own finding beside the student's, which stands unchanged.
	f := drum()
	f.Marks, f.Side, f.Value = nil, finding.Left, finding.Word("not_seen")
	n = apply(t, n, by(preceptor, review.Decision{Kind: review.Add, Line: "f2", Finding: f}, review.Decision{Kind: review.CoSign})...)
	v := n.Versions()
	if n.Status() != review.Final || len(v) != 1 || len(v[0].Lines) != 3 || len(v[0].Signatures) != 2 {
		t.Fatalf("%v after the co-signature", n)
	}
	if l := v[0].Lines[2]; l.By != preceptor || l.Beside != "f2" || v[0].Lines[1].By != student || !v[0].Signatures[1].CoSign {
		t.Error("who charted what is not told apart")
	}
}

func TestAmendmentKeepsTheOriginal(t *testing.T) {
	n := review.Begin(draft(), nurse)
	n = apply(t, n, by(nurse, append(slices.Clone(decideAll), review.Decision{Kind: review.Sign}, review.Decision{Kind: review.Amend, Why: "wrong side"})...)...)
	if n.Status() != review.Amending || document(n).Head.Status.String() != "final" {
		t.Fatalf("%v", n)
	}
	f := drum()
	f.Marks, f.Side = nil, finding.Right
	change := review.Decision{Kind: review.Change, Line: "f2", Finding: f}
	refused(t, n, by(nurse, change)[0], review.NoReason)
	refused(t, n, by(nurse, review.Decision{Kind: review.Sign})[0], review.NoChange)
	change.Why = "checked the recording"
	n = apply(t, n, by(nurse, change, review.Decision{Kind: review.Sign})...)
	v := n.Versions()
	if n.Status() != review.Amended || len(v) != 2 || v[1].Why != "wrong side" || v[0].Lines[1].Finding.Side != finding.NoSide || v[1].Lines[1].Finding.Side != finding.Right {
		t.Errorf("%v: the original or the amendment is lost", n)
	}
	// An amendment that is not wanted is taken back.
	n = apply(t, n, by(nurse, review.Decision{Kind: review.Amend, Why: "mistake"}, review.Decision{Kind: review.Undo})...)
	if n.Status() != review.Amended || len(n.Versions()) != 2 {
		t.Errorf("%v after the amendment was taken back", n)
	}
}

func TestAddendumAndLateEntryShowBothTimes(t *testing.T) {
	n := review.Begin(draft(), nurse)
	late := review.Decision{Kind: review.Add, Finding: midline(), ObservedAt: noon.Add(-3 * time.Hour)}
	n = apply(t, n, by(nurse, append(slices.Clone(decideAll), late, review.Decision{Kind: review.Sign},
		review.Decision{Kind: review.Addendum, Text: "told the physician", ObservedAt: noon.Add(-time.Hour)})...)...)
	l := n.Lines()[2]
	if l.State != review.Added || !l.ObservedAt.Equal(noon.Add(-3*time.Hour)) || !l.At.Equal(noon.Add(2*time.Minute)) {
		t.Error("the late entry lost a time")
	}
	a := n.Addenda()
	if n.Status() != review.Amended || len(a) != 1 || a[0].ObservedAt.IsZero() || a[0].By != nurse || len(n.Versions()) != 1 {
		t.Errorf("%v: %v", n, a)
	}
	n = apply(t, n, by(reviewer, review.Decision{Kind: review.Comment, Text: "read"})...)
	if len(n.Comments()) != 1 || len(n.Versions()) != 1 {
		t.Error("a comment changed the note")
	}
}

// Any walk of decisions, allowed or not: what was signed never changes, earlier
// notes never change, nothing is signed with a doubt open, replaying gives the
// same note, and undoing all gives the draft again.
func TestRandomWalks(t *testing.T) {
	people := []review.Person{nurse, other, student, preceptor, reviewer}
	marks := []finding.MarkKind{finding.UnsureSide, finding.UnclearAudio}
	reached := map[review.Status]int{}
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 7))
		author := people[[]int{0, 2, 3}[r.IntN(3)]]
		begin := review.Begin(draft(transcript.Interval{Start: 1, End: 2}), author)
		n := begin
		for range 120 {
			d := review.Decision{Kind: review.Kind(r.IntN(17)), By: author, At: noon, Index: r.IntN(2), Text: "t", Why: []string{"", "w"}[r.IntN(2)]}
			if r.IntN(4) == 0 {
				d.By = people[r.IntN(len(people))]
			}
			d.Line = []string{"", "f1", "f2", fmt.Sprintf("a%d", r.IntN(20))}[r.IntN(4)]
			d.Finding = midline()
			d.Finding.Side = finding.Side(r.IntN(4))
			for _, m := range marks {
				if r.IntN(2) == 0 {
					d.Resolves = append(d.Resolves, m)
				}
			}
			before, versions := fmt.Sprint(n, n.Decisions(), n.Lines()), n.Versions()
			next, err := n.Apply(d)
			if fmt.Sprint(n, n.Decisions(), n.Lines()) != before {
				t.Fatalf("seed %d: %s changed the note it was applied to", seed, d)
			}
			if err != nil {
				continue
			}
			if len(versions) > 0 && !reflect.DeepEqual(next.Versions()[:len(versions)], versions) {
				t.Fatalf("seed %d: %s changed what was signed", seed, d)
			}
			if len(next.Versions()) > len(versions) {
				if len(next.Obstacles()) > 0 {
					t.Fatalf("seed %d: signed with %d obstacles", seed, len(next.Obstacles()))
				}
				if !slices.ContainsFunc(next.Versions()[len(versions)].Signatures, func(s review.Signature) bool { return s.By.Role.Licensed() }) {
					t.Fatalf("seed %d: final without a licensed signature", seed)
				}
			}
			n = next
			reached[n.Status()]++
		}
		again, err := review.Replay(begin.Draft(), author, n.Decisions())
		if err != nil || !reflect.DeepEqual(again, n) {
			t.Fatalf("seed %d: replay differs: %v", seed, err)
		}
		if len(n.Versions()) == 0 && len(n.Pending()) == 0 {
			for n.CanUndo(author) {
				n = apply(t, n, by(author, review.Decision{Kind: review.Undo})...)
			}
			if slices.ContainsFunc(n.Decisions(), func(d review.Decision) bool { return d.By != author && d.Kind != review.Comment }) {
				continue
			}
			if !reflect.DeepEqual(n.Lines(), begin.Lines()) {
				t.Fatalf("seed %d: undoing all did not give the draft again", seed)
			}
		}
	}
	for _, s := range []review.Status{review.Preliminary, review.AwaitingCoSign, review.Final, review.Amending, review.Amended} {
		if reached[s] == 0 {
			t.Errorf("no walk reached %s", s)
		}
	}
}
