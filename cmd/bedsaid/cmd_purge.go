package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"bedsaid/internal/store"
)

func (m *Main) purgeCommand() *cobra.Command {
	var f recordFlags
	var rule store.Retention
	var yes, encounters bool
	c := &cobra.Command{
		Use: "purge", Short: "Delete sound, or whole encounters, that the site's rule lets go of",
		Long: `Purge lists the recordings whose notes were signed longer ago than the site's
rule says (bedsaid record site). With --yes it deletes their sound; each
deletion is written in the log. Sound of which no signed note exists stays.

With --encounters it lists, and with --yes deletes, whole encounters: signed
notes, drafts and sound, where the site's rule says how many years they are kept
and nothing was entered for that long. Without such a rule none is deleted.

What is on hold (bedsaid record hold) is never deleted. The law, a legal hold
and your local policy come first: what is deleted cannot be brought back, except
from a backup of before.`,
		Example: `  bedsaid purge
  bedsaid purge --yes
  bedsaid purge --encounters`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if encounters && rule.Withdrawn {
				return usage("--withdrawn is for sound").hint("purge the sound first, then --encounters")
			}
			f.typed = yes
			return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error {
				if encounters {
					return m.purgeEncounters(cmd.Context(), x, yes)
				}
				return m.purgeSound(cmd.Context(), x, rule, yes)
			})
		},
	}
	m.recordFlags(c, &f)
	c.Flags().BoolVar(&rule.Withdrawn, "withdrawn", false, "also sound of patients who withdrew their consent, signed or not")
	c.Flags().BoolVar(&encounters, "encounters", false, "whole encounters, with their signed notes")
	c.Flags().BoolVar(&yes, "yes", false, "delete; without it nothing is deleted")
	return c
}

func (m *Main) purgeSound(ctx context.Context, x *store.Session, rule store.Retention, yes bool) error {
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
	return m.purged(ctx, x, len(list), "recordings "+word, yes, err)
}

func (m *Main) purgeEncounters(ctx context.Context, x *store.Session, yes bool) error {
	site, err := x.Site(ctx)
	if err != nil {
		return err
	}
	if site.KeepYears == 0 {
		fmt.Fprintln(m.Stdout, "The site's rule keeps whole encounters for ever (bedsaid record site).")
		return nil
	}
	run, word := x.PurgeableEncounters, "would be deleted"
	if yes {
		run, word = x.PurgeEncounters, "deleted"
	}
	list, err := run(ctx)
	for _, e := range list {
		fmt.Fprintf(m.Stdout, "%s  examined %s by %s: %s\n", e.ID, e.ExaminedAt.Format(clock), plainLine(underNote(e.Examiner)), word)
	}
	return m.purged(ctx, x, len(list), "encounters "+word, yes, err)
}

// purged says how much was deleted, and what was passed over.
func (m *Main) purged(ctx context.Context, x *store.Session, n int, what string, yes bool, err error) error {
	if err != nil {
		return err
	}
	fmt.Fprintf(m.Stdout, "%d %s.\n", n, what)
	if !yes && n > 0 {
		fmt.Fprintln(m.Stdout, "Nothing was deleted; --yes deletes them.")
	}
	holds, err := x.Holds(ctx, "")
	if err != nil {
		return err
	}
	held := map[string]bool{}
	for _, h := range holds {
		if h.Stands() {
			held[h.Encounter] = true
		}
	}
	if len(held) > 0 {
		fmt.Fprintf(m.Stdout, "%d encounters on hold are not touched (bedsaid record hold list).\n", len(held))
	}
	return nil
}
