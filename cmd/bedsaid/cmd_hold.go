package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"bedsaid/internal/store"
)

func (m *Main) holdCommand() *cobra.Command {
	c := group(&cobra.Command{
		Use: "hold", Short: "Keep encounters from every deletion: put, lift and list holds",
		Long: `A hold keeps an encounter, with its sound and its notes, from every deletion
until it is lifted: a claim, a complaint or an incident asks for what there is.
Every user may put one; who manages the record lifts it. Both need a reason,
which is asked for and shown by bedsaid record hold list. Backups, exports and
the folder itself are out of its reach.`,
		Example: `  bedsaid record hold put e0123456789abcdef
  bedsaid record hold list
  bedsaid record hold lift hfedcba9876543210`,
	})
	var f recordFlags
	put := &cobra.Command{
		Use: "put ENCOUNTER", Short: "Keep an encounter from every deletion", Example: "  bedsaid record hold put e0123456789abcdef",
		Args: exactly(1, "the id of an encounter"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return m.withRecord(cmd.Context(), f, func(x *store.Session, ask *asker) error {
				if _, err := x.Encounter(cmd.Context(), args[0]); err != nil {
					return err
				}
				why, err := ask.line("Why it is held")
				if err != nil {
					return err
				}
				h, err := x.PutHold(cmd.Context(), args[0], why)
				if err == nil {
					fmt.Fprintf(m.Stdout, "hold %s: nothing of encounter %s is deleted until it is lifted\n", h.ID, h.Encounter)
				}
				return err
			})
		},
	}
	lift := &cobra.Command{
		Use: "lift HOLD", Short: "End a hold", Example: "  bedsaid record hold lift hfedcba9876543210",
		Args: exactly(1, "the id of a hold"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f.typed = true
			return m.withRecord(cmd.Context(), f, func(x *store.Session, ask *asker) error {
				why, err := ask.line("Why it is lifted")
				if err != nil {
					return err
				}
				h, err := x.LiftHold(cmd.Context(), args[0], why)
				if err == nil {
					fmt.Fprintf(m.Stdout, "hold %s of encounter %s is lifted\n", h.ID, h.Encounter)
				}
				return err
			})
		},
	}
	list := &cobra.Command{
		Use: "list", Short: "List all holds, lifted ones too", Example: "  bedsaid record hold list", Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return m.withRecord(cmd.Context(), f, func(x *store.Session, _ *asker) error { return m.holdList(cmd.Context(), x) })
		},
	}
	for _, sub := range []*cobra.Command{put, lift, list} {
		m.recordFlags(sub, &f)
		c.AddCommand(sub)
	}
	return c
}

func (m *Main) holdList(ctx context.Context, x *store.Session) error {
	all, err := x.Holds(ctx, "")
	if err != nil {
		return err
	}
	if len(all) == 0 {
		fmt.Fprintln(m.Stdout, "No holds.")
	}
	for _, h := range all {
		fmt.Fprintf(m.Stdout, "%s  encounter %s, since %s by %s: %s\n", h.ID, h.Encounter, h.At.Format(clock), plainLine(underNote(h.By)), plainLine(h.Why))
		if !h.Stands() {
			fmt.Fprintf(m.Stdout, "    lifted %s by %s: %s\n", h.Lifted.Format(clock), plainLine(underNote(h.LiftedBy)), plainLine(h.LiftWhy))
		}
	}
	return nil
}
