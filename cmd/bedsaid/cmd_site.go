package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"bedsaid/internal/store"
)

func (m *Main) siteCommand() *cobra.Command {
	var f recordFlags
	var kinds []string
	var days, years int
	c := &cobra.Command{
		Use: "site", Short: "Show or set the site's rules: identifiers, how long is kept what",
		Long: `Site prints the rules of the record, and with flags sets them; a change is
written in the log. How long sound and notes are kept, and by what patients are
told from one another, is for the law and your local policy to say. Years are
counted from the last entry; the charts of children are often kept longer, which
no rule here knows of: put them on hold (bedsaid record hold).`,
		Example: `  bedsaid record site
  bedsaid record site --sound-days 90 --identifiers "record number,full name"
  bedsaid record site --note-years 30`,
		Args: exactly(0, "no arguments"),
	}
	m.recordFlags(c, &f)
	c.Flags().StringSliceVar(&kinds, "identifiers", nil, "the two `KINDS` of identifiers on your wristbands")
	c.Flags().IntVar(&days, "sound-days", 0, "how many `DAYS` sound is kept after the last signature")
	c.Flags().IntVar(&years, "note-years", 0, "how many `YEARS` whole encounters are kept after the last entry; 0: for ever")
	c.RunE = func(cmd *cobra.Command, _ []string) error {
		if len(kinds) != 0 && len(kinds) != 2 {
			return usage("--identifiers names %d kinds, not two", len(kinds)).hint(`such as --identifiers "record number,date of birth"`)
		}
		f.typed = len(kinds) == 2 || cmd.Flags().Changed("sound-days") || cmd.Flags().Changed("note-years")
		return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error {
			s, err := x.Site(cmd.Context())
			if err != nil {
				return err
			}
			changed := false
			if len(kinds) == 2 {
				s.Identifiers, changed = [2]string(kinds), true
			}
			if cmd.Flags().Changed("sound-days") {
				s.KeepSound, changed = time.Duration(days)*day, true
			}
			if cmd.Flags().Changed("note-years") {
				s.KeepYears, changed = years, true
			}
			return m.site(cmd.Context(), x, s, changed)
		})
	}
	return c
}

const day = 24 * time.Hour

func (m *Main) site(ctx context.Context, x *store.Session, s store.Site, changed bool) error {
	if changed {
		if err := x.SetSite(ctx, s); err != nil {
			return err
		}
	}
	notes := "for ever"
	if s.KeepYears > 0 {
		notes = fmt.Sprintf("%d years after the last entry", s.KeepYears)
	}
	fmt.Fprintf(m.Stdout, "identifiers: %s, %s\nsound is kept %d days after the last signature\nencounters with their notes are kept %s\n",
		s.Identifiers[0], s.Identifiers[1], s.KeepSound/day, notes)
	return nil
}
