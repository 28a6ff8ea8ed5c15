package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"bedsaid/internal/export"
	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

// act is what one command does to a whole note.
type act struct {
	kind                      review.Kind
	use, short, long, example string
	// text and why are the questions for words, where there are any.
	text, why string
	// signed says that it takes the wristband and the passphrase again.
	signed bool
	done   string
}

const signLong = `Sign prints the note as it stands and asks for the two identifiers on the
wristband and for your passphrase once more; then it is signed, under your name
and credentials, at this machine's time. It signs nothing while a finding is
undecided, a doubt is open, speech that gave no words was not listened to, talk
that was not understood was not read, or something that needs action is not
closed: it lists them. Decide them on the page (bedsaid serve). A student's
signature waits for a preceptor (bedsaid record cosign).

Asked for, in this order: your passphrase, both identifiers, your passphrase.`

func acts() []act {
	return []act{
		{kind: review.Sign, use: "sign", short: "Sign a note, or list what is still open in it", long: signLong,
			example: "bedsaid record sign n0123456789abcdef", signed: true, done: "signed"},
		{kind: review.CoSign, use: "cosign", short: "Sign, as preceptor, a note that a student signed",
			long: `Cosign prints the note as the student signed it, and asks as bedsaid record sign
does. Findings of your own are charted beside hers on the page first.`,
			example: "bedsaid record cosign n0123456789abcdef", signed: true, done: "co-signed"},
		{kind: review.Return, use: "return", short: "Give a note that a student signed back to her",
			long: `Return opens the note again for the student, and asks why. Her signature no
longer counts; that she signed, and why it came back, stays in the record.`,
			example: "bedsaid record return n0123456789abcdef", why: "Why it goes back", done: "given back"},
		{kind: review.Amend, use: "amend", short: "Open a signed note of yours for correction",
			long: `Amend asks why, and opens a signed note for correction on the page. What was
signed stays readable, and goes out until the correction is signed (bedsaid
record sign).`,
			example: "bedsaid record amend n0123456789abcdef", why: "Why it is corrected", done: "open for correction"},
		{kind: review.Addendum, use: "addendum", short: "Add signed words to a signed note",
			long: `Addendum asks for the words, then for the two identifiers on the wristband and
for your passphrase once more. The words stand below the note with your name and
the time; the note itself stays as it is. With --observed they are a late entry
and show both times.`,
			example: "bedsaid record addendum n0123456789abcdef", text: "The words to add, in one line", signed: true, done: "added to"},
	}
}

func (m *Main) actCommand(a act) *cobra.Command {
	var f recordFlags
	var observed string
	c := &cobra.Command{
		Use: a.use + " NOTE", Short: a.short, Long: a.long, Example: "  " + a.example,
		Args: exactly(1, "the id of a note"),
		RunE: func(cmd *cobra.Command, args []string) error {
			d := review.Decision{Kind: a.kind}
			var err error
			if observed != "" {
				if d.ObservedAt, err = timeOf(observed); err != nil {
					return err
				}
			}
			p, err := m.begin(f)
			if err != nil {
				return err
			}
			return m.in(cmd.Context(), p, func(x *store.Session, ask *asker) error {
				return m.act(cmd.Context(), x, ask, a, d, args[0], note.OutlineOf(p.lex))
			})
		},
	}
	m.recordFlags(c, &f)
	if a.kind == review.Addendum {
		c.Flags().StringVar(&observed, "observed", "", "when it was observed, a `TIME` such as 2031-02-03 14:05, if that was earlier")
	}
	return c
}

func (m *Main) act(ctx context.Context, x *store.Session, ask *asker, a act, d review.Decision, id string, o note.Outline) error {
	n, err := x.Note(ctx, id)
	if err != nil {
		return err
	}
	if err := m.allowed(n, x.User(), d); err != nil {
		return err
	}
	for _, q := range []struct {
		what string
		into *string
	}{{a.text, &d.Text}, {a.why, &d.Why}} {
		if q.what == "" {
			continue
		}
		if *q.into, err = ask.line(q.what); err != nil {
			return err
		}
	}
	if a.signed {
		n, err = m.signWith(ctx, x, ask, d, n, id, o)
	} else {
		n, err = x.Decide(ctx, id, n.Len(), d)
	}
	if err != nil {
		return err
	}
	info, err := x.NoteInfo(ctx, id)
	if err != nil {
		return err
	}
	last := n.Decisions()[n.Len()-1]
	fmt.Fprintf(m.Stdout, "%s by %s, %s\nNote %s: %s\n%s\n", a.done, plainLine(underNote(last.By)), last.At.Format(clock), id, statusWord(n.Status()), info.Seal())
	return nil
}

// allowed asks the rules before anybody is asked for anything, and lists what
// stands against a signature.
func (m *Main) allowed(n review.Note, u store.User, d review.Decision) error {
	d.By, d.At = u.Person(), m.Now()
	d.Text, d.Why = "-", "-"
	_, err := n.Apply(d)
	var rule *review.RuleError
	if errors.As(err, &rule) && rule.Rule == review.Unfinished {
		m.printOpen(n)
	}
	return err
}

// signWith shows what is signed, and asks for what a signature needs.
func (m *Main) signWith(ctx context.Context, x *store.Session, ask *asker, d review.Decision, n review.Note, id string, o note.Outline) (review.Note, error) {
	info, err := x.NoteInfo(ctx, id)
	if err != nil {
		return n, err
	}
	e, err := x.Encounter(ctx, info.Encounter)
	if err != nil {
		return n, err
	}
	m.printStanding(n, e, o)
	with := store.Signing{}
	if with.Confirmed, err = ask.identifiers(e); err != nil {
		return n, err
	}
	if with.Passphrase, err = ask.secret("Your passphrase, to sign"); err != nil {
		return n, err
	}
	return x.Sign(ctx, id, n.Len(), d, with)
}

// printStanding prints the findings as they stand, and who will be named; not
// the identifiers, which are to be read off the wristband.
func (m *Main) printStanding(n review.Note, e store.Encounter, o note.Outline) {
	w := m.Stdout
	fmt.Fprintf(w, "Examined %s by %s, bed %s\n", e.ExaminedAt.Format(clock), plainLine(underNote(e.Examiner)), plainLine(e.Bed))
	for _, s := range n.Standing(o).Sections {
		if len(s.Entries) > 0 {
			fmt.Fprintf(w, "%s\n", s.Region.Title)
		}
		for _, en := range s.Entries {
			fmt.Fprintf(w, "  %s\n", plainLine(export.LineOf(en).Text()))
		}
	}
	for _, a := range n.Actions() {
		if a.Closed() {
			fmt.Fprintf(w, "needed action: %s: %s\n", plainLine(a.Why), a.Closing.Handling)
		}
	}
	for _, a := range n.Addenda() {
		fmt.Fprintf(w, "addendum of %s, %s: %s\n", plainLine(underNote(a.By)), a.At.Format(clock), plainLine(a.Text))
	}
}

// printOpen lists what stands against signing.
func (m *Main) printOpen(n review.Note) {
	w := m.Stdout
	d := n.Draft()
	open := n.Obstacles()
	fmt.Fprintf(w, "Not signed. Open: %d. Decide them on the page: bedsaid serve\n", len(open))
	line := func(id string) string {
		l, _ := n.Line(id)
		return export.LineOf(note.Entry{Finding: l.Finding, Item: d.Item(l.Finding.ID)}).Text()
	}
	for _, b := range open {
		what := ""
		switch b.Kind {
		case review.UndecidedLine:
			what = "undecided: " + line(b.Line)
		case review.OpenMark:
			what = "doubt (" + export.MarkWord(b.Mark) + "): " + line(b.Line)
		case review.NotListened:
			g := n.Gaps()[b.Index]
			what = "speech that gave no words, to be listened to: " + export.ClockTime(g.Start) + " to " + export.ClockTime(g.End)
		case review.NotRead:
			what = "not understood, to be read: \"" + d.Transcript.Quote(n.Talk()[b.Index].Span) + "\""
		case review.NotClosed:
			a := n.Actions()[b.Index]
			what = "needs action: " + a.Why
			if a.Urgency == finding.Now {
				what = "needs action NOW: " + a.Why
			}
		}
		fmt.Fprintf(w, "  %s\n", plainLine(what))
	}
}
