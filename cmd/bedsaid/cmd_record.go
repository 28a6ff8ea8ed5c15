package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"bedsaid/internal/export"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
)

const recordLong = `The record is a folder in which this program keeps encounters, sound, drafts and
notes, encrypted. Who works in it has a passphrase of her own. What names a
patient, and every passphrase, is asked for and never an argument; where nobody
sits at a terminal, each question reads a line of standard input.`

func (m *Main) recordCommand() *cobra.Command {
	c := group(&cobra.Command{
		Use: "record", Short: "Keep notes and sound, encrypted, and see what is kept", Long: recordLong + "\n\n" + exitCodes,
		Example: `  bedsaid record init --user anna --name "Anna Example" --credentials RN
  bedsaid record keep exam.wav
  bedsaid record list`,
	})
	c.AddCommand(m.recordInitCommand(), m.recordKeepCommand(), m.recordListCommand(), m.recordShowCommand())
	for _, a := range acts() {
		c.AddCommand(m.actCommand(a))
	}
	c.AddCommand(m.recordExportCommand(), m.recordLogCommand(), m.userCommand(), m.siteCommand(), m.holdCommand())
	return c
}

func (m *Main) recordInitCommand() *cobra.Command {
	var f recordFlags
	u := userFlags{role: review.Examiner.String()}
	c := &cobra.Command{
		Use: "init", Short: "Set up a record, with its first user, and print the recovery key",
		Long: `Init sets up an empty record for its first user, who manages the others. It
prints the recovery key once: print it, lock it away, and never keep it on the
same machine. Without a passphrase and without that key nobody can read the
record, and nobody can help.`,
		Example: `  bedsaid record init --user anna --name "Anna Example" --credentials RN`,
		Args:    exactly(0, "no arguments"),
		RunE:    func(cmd *cobra.Command, _ []string) error { return m.recordInit(cmd.Context(), f, u) },
	}
	m.recordFlags(c, &f)
	u.flags(c)
	return c
}

func (m *Main) recordInit(ctx context.Context, f recordFlags, u userFlags) error {
	p, err := m.begin(f)
	if err != nil {
		return err
	}
	u.login, u.manages = p.login, true
	n, err := u.user()
	if err != nil {
		return err
	}
	passphrase, err := m.asker().newSecret(fmt.Sprintf("New passphrase (%d characters at least)", store.MinPassphrase))
	if err != nil {
		return err
	}
	x, key, err := store.Create(ctx, p.dir, n, passphrase, p.opt)
	if err != nil {
		return refused(err)
	}
	defer x.Close()
	_, err = fmt.Fprintf(m.Stdout, `The record is in %s.

RECOVERY KEY, shown this once:

    %s

Print it and lock it away. It opens the record where every passphrase is lost.
`, p.dir, key.Reveal())
	return err
}

func (m *Main) recordListCommand() *cobra.Command {
	var f recordFlags
	var limit int
	c := &cobra.Command{
		Use: "list", Short: "List encounters with their sound and notes, the newest first",
		Example: "  bedsaid record list --limit 20",
		Args:    exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error { return m.recordList(cmd.Context(), x, limit) })
		},
	}
	m.recordFlags(c, &f)
	c.Flags().IntVar(&limit, "limit", 50, "how many encounters at most, `N`")
	return c
}

// clock is how times are shown: with the offset, as they were entered.
const clock = "2006-01-02 15:04 -0700"

func (m *Main) recordList(ctx context.Context, x *store.Session, limit int) error {
	list, err := x.Encounters(ctx, store.Page{Limit: limit})
	if err != nil {
		return err
	}
	if len(list) == 0 {
		fmt.Fprintln(m.Stdout, "No encounters yet.")
	}
	for _, e := range list {
		fmt.Fprintf(m.Stdout, "%s  %s  bed %s  %s: %s, %s: %s\n", e.ID, e.ExaminedAt.Format(clock), plainLine(e.Bed),
			plainLine(e.Patient[0].Kind), plainLine(e.Patient[0].Value), plainLine(e.Patient[1].Kind), plainLine(e.Patient[1].Value))
		fmt.Fprintf(m.Stdout, "    examined by %s, entered %s\n", plainLine(underNote(e.Examiner)), e.EnteredAt.Format(clock))
		if e.Held {
			fmt.Fprintln(m.Stdout, "    on hold: nothing of it is deleted")
		}
		for _, r := range e.Recordings {
			fmt.Fprintf(m.Stdout, "    sound %s  %.0f s, %s\n", r.ID, r.Seconds(), r.State)
		}
		for _, n := range e.Notes {
			fmt.Fprintf(m.Stdout, "    note  %s  %s, %d decisions\n", n.ID, statusWord(n.Status), n.Length)
		}
	}
	return nil
}

// underNote is a person as she stands below a note.
func underNote(p review.Person) string {
	s := p.Name
	if p.Credentials != "" {
		s += ", " + p.Credentials
	}
	return s + " (" + p.Role.String() + ")"
}

func statusWord(s review.Status) string {
	switch s {
	case review.Preliminary:
		return "not signed"
	case review.AwaitingCoSign, review.AmendingAwaitingCoSign:
		return "waits for the preceptor"
	case review.Final:
		return "signed"
	case review.Amending:
		return "signed, being amended"
	case review.Amended:
		return "signed, amended"
	}
	return "unknown"
}

func (m *Main) recordShowCommand() *cobra.Command {
	var f recordFlags
	var sound string
	var draft bool
	c := &cobra.Command{
		Use: "show NOTE", Short: "Show how far a note has come; its draft, its sound",
		Long: `Show prints who wrote and signed a note, what is still open in it, and its seal.
With --draft it prints the draft as it was before anybody decided. With --sound
it asks for the patient's identifiers and writes the recording to a WAV file: a
patient's voice, readable by you only.`,
		Example: `  bedsaid record show n0123456789abcdef
  bedsaid record show n0123456789abcdef --draft
  bedsaid record show n0123456789abcdef --sound visit.wav`,
		Args: exactly(1, "the id of a note"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return m.withRecord(cmd.Context(), f, func(x *store.Session, ask *asker) error {
				return m.recordShow(cmd.Context(), x, ask, args[0], draft, sound)
			})
		},
	}
	m.recordFlags(c, &f)
	c.Flags().BoolVar(&draft, "draft", false, "print the draft as it was before anybody decided")
	c.Flags().StringVar(&sound, "sound", "", "write the recording to a new WAV `FILE`")
	return c
}

func (m *Main) recordShow(ctx context.Context, x *store.Session, ask *asker, id string, draft bool, sound string) error {
	n, err := x.Note(ctx, id)
	if err != nil {
		return err
	}
	info, err := x.NoteInfo(ctx, id)
	if err != nil {
		return err
	}
	if sound != "" {
		return m.writeSound(ctx, x, ask, info, sound)
	}
	if draft {
		width, colour := m.layout()
		return export.Text(m.Stdout, n.Draft(), width, colour)
	}
	states := map[review.State]int{}
	for _, l := range n.Lines() {
		states[l.State]++
	}
	open := map[review.ObstacleKind]int{}
	for _, o := range n.Obstacles() {
		open[o.Kind]++
	}
	w := m.Stdout
	fmt.Fprintf(w, "Note %s: %s\n", id, statusWord(n.Status()))
	fmt.Fprintf(w, "  written by %s\n", plainLine(underNote(n.Author())))
	for i, v := range n.Versions() {
		for _, s := range v.Signatures {
			how := "signed"
			if s.CoSign {
				how = "co-signed"
			}
			fmt.Fprintf(w, "  version %d %s by %s, %s\n", i+1, how, plainLine(underNote(s.By)), s.At.Format(clock))
		}
	}
	fmt.Fprintf(w, "  %d findings: %d undecided, %d accepted, %d changed, %d added; %d struck\n", len(n.Lines())-states[review.Rejected],
		states[review.Undecided], states[review.Accepted], states[review.Changed], states[review.Added], states[review.Rejected])
	fmt.Fprintf(w, "  open: %d marks, %d stretches of speech to listen to, %d of talk to read, %d that need action\n",
		open[review.OpenMark], open[review.NotListened], open[review.NotRead], open[review.NotClosed])
	fmt.Fprintf(w, "  %d addenda, %d comments, %d decisions\n", len(n.Addenda()), len(n.Comments()), n.Len())
	fmt.Fprintf(w, "  %s\n", info.Seal())
	return nil
}

func (m *Main) writeSound(ctx context.Context, x *store.Session, ask *asker, n store.NoteInfo, path string) error {
	if n.Recording == "" {
		return failed(exitRecord, fmt.Errorf("note %s was typed: it has no sound", n.ID))
	}
	e, err := x.Encounter(ctx, n.Encounter)
	if err != nil {
		return err
	}
	read, err := ask.identifiers(e)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return failed(exitUsage, fmt.Errorf("write %s: %w", path, cause(err))).hint("name a file that is not there yet, in a place where you may write")
	}
	err = x.ExportSound(ctx, n.Recording, "a file", read, f)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		os.Remove(path)
		return err
	}
	fmt.Fprintf(m.Stderr, "wrote %s: it holds a patient's voice; readable by you only\n", plainLine(path))
	return nil
}

func (m *Main) recordLogCommand() *cobra.Command {
	var f recordFlags
	c := &cobra.Command{
		Use: "log", Short: "Print who did what, and when", Example: "  bedsaid record log",
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error { return recordLog(cmd.Context(), m.Stdout, x) })
		},
	}
	m.recordFlags(c, &f)
	return c
}

func recordLog(ctx context.Context, w io.Writer, x *store.Session) error {
	users, err := x.Users(ctx)
	if err != nil {
		return err
	}
	logins := map[string]string{}
	for _, u := range users {
		logins[u.ID] = u.Login
	}
	return x.Log(ctx, func(e store.Event) error {
		_, err := fmt.Fprintf(w, "%d\t%s\t%s\t%s\t%s\t%s\n", e.Seq, e.At.Format(time.RFC3339), logins[e.By], e.Act, e.Subject, e.Detail)
		return err
	})
}
