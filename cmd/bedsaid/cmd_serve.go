package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"bedsaid/internal/web"
)

const serveLong = `Serve opens the page on which notes are begun, checked, corrected and signed. It
prints a link: open it in the browser of this machine. The link opens one
browser, once; nobody else can reach the page, and the page reaches nobody. It
goes on until Ctrl-C; what is being drafted then is drafted again from the sound
that is kept.`

type serveFlags struct {
	recordFlags
	model, models string
	lock          time.Duration
}

func (m *Main) serveCommand() *cobra.Command {
	var f serveFlags
	c := &cobra.Command{
		Use: "serve", Short: "Open the page: begin, check, correct and sign notes", Long: serveLong,
		Example: "  bedsaid serve",
		Args:    exactly(0, "no arguments"),
		RunE:    func(cmd *cobra.Command, _ []string) error { return m.serve(cmd.Context(), f) },
	}
	m.dataFlag(c, &f.recordFlags)
	c.Flags().DurationVar(&f.lock, "lock-after", web.DefaultLock, "`TIME` without a touch after which the page locks itself")
	lexiconFlag(c, &f.lexicon)
	m.modelFlags(c, &f.model, &f.models)
	return c
}

func (m *Main) serve(ctx context.Context, f serveFlags) error {
	if f.lock < 30*time.Second || f.lock > time.Hour {
		return usage("--lock-after is not between 30 seconds and an hour").hint("such as --lock-after 5m")
	}
	p, err := m.begin(f.recordFlags)
	if err != nil {
		return err
	}
	engine := m.hearing(f.model, f.models)
	defer engine.close()
	packs, takes := m.ownPacks(f.lexicon)
	o := web.Options{Folder: p.dir, Record: p.opt, Lexicon: p.lex, Hearing: engine.once, Program: program(), Now: m.Now, LockAfter: f.lock,
		Packs: packs, PackFile: takes}
	err = web.Serve(ctx, o, func(link string) {
		fmt.Fprintf(m.Stdout, "Open this link in the browser of this machine; it works once:\n\n    %s\n\nCtrl-C ends the page.\n", link)
	})
	if ctx.Err() != nil && err == nil {
		fmt.Fprintln(m.Stderr, "bedsaid: the page is closed; all that was decided is kept")
	}
	return refused(err)
}
