package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"bedsaid/internal/store"
)

func (m *Main) backupCommand() *cobra.Command {
	var f recordFlags
	c := &cobra.Command{
		Use: "backup FILE", Short: "Write a verified, encrypted copy of the record to a new file",
		Long: `Backup copies the whole record, as it stands at one moment, to a new file, also
while it is in use. The copy is verified whole before it gets its name. It is
encrypted; the passphrases and the recovery key of today open it. Keep it on
another disk, in another place.`,
		Example: "  bedsaid backup /media/stick/ward-7.backup",
		Args:    exactly(1, "the name of a new file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if info, err := os.Stat(filepath.Dir(args[0])); err != nil || !info.IsDir() {
				return usage("there is no folder %s to back up to", filepath.Dir(args[0])).hint("check its name, and that the disk is connected")
			}
			return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error {
				r, err := x.Backup(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				fmt.Fprintf(m.Stdout, "Backed up and verified: %s\n", contents(r))
				return nil
			})
		},
	}
	m.recordFlags(c, &f)
	return c
}

// contents says what a record or a backup holds.
func contents(r store.Report) string {
	return fmt.Sprintf("%d encounters, %.0f s of sound, %d notes (%d signed), %d decisions, %d lines of log",
		r.Encounters, r.Seconds, r.Notes, r.Signed, r.Decisions, r.Events)
}

func (m *Main) restoreCommand() *cobra.Command {
	var f recordFlags
	var recovery bool
	c := &cobra.Command{
		Use: "restore FILE", Short: "Make a record of a backup, in a folder that is empty or not there",
		Long: `Restore makes a record of a backup. It never touches a folder that holds
something: name a new one with --data, look at what is in it, and put it in
place yourself. The passphrase is the one of the day of the backup; with
--recovery it is the recovery key of that day.`,
		Example: `  bedsaid restore ward-7.backup --data restored`,
		Args:    exactly(1, "the name of a backup"),
		RunE:    func(cmd *cobra.Command, args []string) error { return m.restore(cmd.Context(), f, args[0], recovery) },
	}
	m.recordFlags(c, &f)
	c.Flags().BoolVar(&recovery, "recovery", false, "open the backup by its recovery key")
	return c
}

func (m *Main) restore(ctx context.Context, f recordFlags, file string, recovery bool) error {
	p, err := m.begin(f)
	if err != nil {
		return err
	}
	if _, err := os.Stat(file); err != nil {
		return failed(exitBadInput, fmt.Errorf("read backup %s: %w", file, cause(err))).hint("check its name")
	}
	ask := m.asker()
	with := store.Unlocking{Login: p.login}
	if recovery {
		typed, err := ask.secret("Recovery key")
		if err != nil {
			return err
		}
		if with.Recovery, err = store.ParseRecoveryKey(typed); err != nil {
			return refused(err)
		}
	} else {
		if with.Passphrase, err = ask.secret("Passphrase of that day"); err != nil {
			return err
		}
	}
	r, err := store.Restore(ctx, file, p.dir, with, p.opt)
	if err != nil {
		return refused(err)
	}
	fmt.Fprintf(m.Stdout, "Restored to %s and verified: %s\n", p.dir, contents(r))
	return nil
}

func (m *Main) verifyCommand() *cobra.Command {
	var f recordFlags
	var against []string
	c := &cobra.Command{
		Use: "verify", Short: "Read the whole record and check that it is as it was written",
		Long: `Verify reads everything and compares it with its keyed hashes and chains. A
record from which the end was taken shows nothing by itself: with --against it
is compared with the seal lines printed on exports (as text, Markdown, HTML,
FHIR or JSON, or the line typed off paper into a file). docs/record.md shows
both outcomes.`,
		Example: `  bedsaid verify
  bedsaid verify --against signed-note.txt`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			seals, err := readSeals(against)
			if err != nil {
				return err
			}
			return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error { return m.verify(cmd.Context(), x, seals) })
		},
	}
	m.recordFlags(c, &f)
	c.Flags().StringArrayVar(&against, "against", nil, "an exported `FILE` with seal lines; may be given more than once")
	return c
}

func readSeals(files []string) ([]store.Seal, error) {
	var out []store.Seal
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			return nil, failed(exitBadInput, fmt.Errorf("read %s: %w", name, cause(err))).hint("check its name")
		}
		seals := store.ParseSeals(string(data))
		if len(seals) == 0 {
			return nil, failed(exitBadInput, fmt.Errorf("read %s: no seal line in it", name)).hint("a seal line begins with bedsaid-seal/1 and stands in the head of exports as text, HTML, FHIR and JSON; off a PDF or paper, type it into a file")
		}
		out = append(out, seals...)
	}
	return out, nil
}

func (m *Main) verify(ctx context.Context, x *store.Session, seals []store.Seal) error {
	r, err := x.Verify(ctx)
	if err != nil {
		return err
	}
	more, purged, err := x.VerifyAgainst(ctx, seals)
	if err != nil {
		return err
	}
	all := append(r.Problems, more...)
	for _, p := range all {
		fmt.Fprintf(m.Stdout, "BAD   %s\n", p)
	}
	for _, id := range purged {
		fmt.Fprintf(m.Stdout, "GONE  %s: it was deleted by the site's rule; the log knows the seal (bedsaid record log)\n", id)
	}
	fmt.Fprintf(m.Stdout, "Read: %s; %d seals compared.\n", contents(r), len(seals))
	if len(all) > 0 {
		what := "1 thing is not as it was written"
		if len(all) > 1 {
			what = fmt.Sprintf("%d things are not as they were written", len(all))
		}
		return failed(exitRecord, errors.New(what)).
			hint("copy the whole folder to another disk first; restore the last backup into a new folder and compare; tell whoever answers for records at your site")
	}
	fmt.Fprintln(m.Stdout, "All is as it was written.")
	return nil
}
