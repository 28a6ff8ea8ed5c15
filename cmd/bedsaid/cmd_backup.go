package main

import (
	"context"
	"fmt"
	"os"

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
is compared with the seal lines printed on exports (text files that hold them,
or one line typed into a file).`,
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
			return nil, failed(exitBadInput, fmt.Errorf("read %s: no seal line in it", name)).hint("a seal line begins with bedsaid-seal/1 and stands on every signed export")
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
	more, err := x.VerifyAgainst(ctx, seals)
	if err != nil {
		return err
	}
	all := append(r.Problems, more...)
	for _, p := range all {
		fmt.Fprintf(m.Stdout, "BAD   %s\n", p)
	}
	fmt.Fprintf(m.Stdout, "Read: %s; %d seals compared.\n", contents(r), len(seals))
	if len(all) > 0 {
		return failed(exitRecord, fmt.Errorf("%d things are not as they were written", len(all))).
			hint("copy the whole folder to another disk first; restore the last backup into a new folder and compare; tell whoever answers for records at your site")
	}
	fmt.Fprintln(m.Stdout, "All is as it was written.")
	return nil
}

func (m *Main) purgeCommand() *cobra.Command {
	var f recordFlags
	var rule store.Retention
	var yes bool
	c := &cobra.Command{
		Use: "purge", Short: "Delete sound that the site's rule lets go of",
		Long: `Purge lists the recordings whose notes were signed longer ago than the site's
rule says (bedsaid record site). With --yes it deletes their sound; each
deletion is written in the log. Notes are never deleted, nor is sound of which
no signed note exists. The law, a legal hold and your local policy come first:
what is deleted cannot be brought back, not even from here.`,
		Example: `  bedsaid purge
  bedsaid purge --except e0123456789abcdef --yes`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error { return m.purge(cmd.Context(), x, rule, yes) })
		},
	}
	m.recordFlags(c, &f)
	c.Flags().BoolVar(&rule.Withdrawn, "withdrawn", false, "also sound of patients who withdrew their consent, signed or not")
	c.Flags().StringArrayVar(&rule.Except, "except", nil, "an `ENCOUNTER` on hold; may be given more than once")
	c.Flags().BoolVar(&yes, "yes", false, "delete; without it nothing is deleted")
	return c
}

func (m *Main) purge(ctx context.Context, x *store.Session, rule store.Retention, yes bool) error {
	site, err := x.Site(ctx)
	if err != nil {
		return err
	}
	rule.KeepSound = site.KeepSound
	run, word := x.Purgeable, "would be deleted"
	if yes {
		run, word = x.PurgeSound, "deleted"
	}
	list, err := run(ctx, rule)
	for _, r := range list {
		fmt.Fprintf(m.Stdout, "%s  of encounter %s, %.0f s, %s: %s\n", r.ID, r.Encounter, r.Seconds(), r.StartedAt.Format(clock), word)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(m.Stdout, "%d recordings %s.\n", len(list), word)
	if !yes && len(list) > 0 {
		fmt.Fprintln(m.Stdout, "Nothing was deleted; --yes deletes them.")
	}
	return nil
}
