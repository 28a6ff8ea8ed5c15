package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"bedsaid/models"
)

func (m *Main) modelCommand() *cobra.Command {
	c := group(&cobra.Command{
		Use:   "model",
		Short: "See, add and check the models that listen",
		Long: `A model is the file of weights with which the speech engine listens. Set-up
brings one; a larger one (any ggml Whisper file) may hear better and is slower.`,
		Example: `  bedsaid model list
  bedsaid model add ggml-small.en.bin
  bedsaid model verify`,
	})
	var dir string
	list := &cobra.Command{
		Use: "list", Short: "List the models at hand: size, licence, checksum, place",
		Example: "  bedsaid model list",
		Args:    exactly(0, "no arguments"),
		RunE:    func(*cobra.Command, []string) error { return m.modelList(dir) },
	}
	add := &cobra.Command{
		Use: "add FILE...", Short: "Add a ggml Whisper file, or the standard model's wheels",
		Long: `Add copies a ggml Whisper file into the folder of models, after a check that it
is whole. Given the wheels (.whl) of the standard model, all at once, it checks
them, joins them and converts them; that takes up to a minute.`,
		Example: `  bedsaid model add ggml-small.en.bin
  bedsaid model add part1.whl part2.whl`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage("no file named").hint("bedsaid model add FILE")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return m.modelAdd(cmd.Context(), dir, args) },
	}
	verify := &cobra.Command{
		Use: "verify", Short: "Read every model whole and compare it with its checksum",
		Example: "  bedsaid model verify",
		Args:    exactly(0, "no arguments"),
		RunE:    func(cmd *cobra.Command, _ []string) error { return m.modelVerify(cmd.Context(), dir) },
	}
	for _, sub := range []*cobra.Command{list, add, verify} {
		m.modelFlags(sub, nil, &dir)
		c.AddCommand(sub)
	}
	return c
}

func (m *Main) modelList(dir string) error {
	s, err := m.store(dir)
	if err != nil {
		return err
	}
	all, err := s.List()
	if err != nil {
		return missing(err)
	}
	if len(all) == 0 {
		fmt.Fprintf(m.Stdout, "No models in %s.\n", s.Dir)
		return m.lacking()
	}
	fmt.Fprintf(m.Stdout, "Models in %s:\n", s.Dir)
	for _, w := range all {
		m.describeModel(w)
	}
	return nil
}

func (m *Main) describeModel(w models.Installed) {
	name := w.Name
	if w.Default {
		name += " (used unless another is named)"
	}
	fmt.Fprintf(m.Stdout, "\n%s\n", name)
	row := func(k, v string) {
		if v != "" {
			fmt.Fprintf(m.Stdout, "  %-9s %s\n", k, v)
		}
	}
	row("file", w.File)
	row("size", megabytes(w.Size))
	row("about", w.About)
	row("licence", w.Licence)
	row("from", w.Source)
	row("sha256", w.SHA256)
	if w.Problem != nil {
		row("PROBLEM", w.Problem.Error())
		return
	}
	languages := "English only"
	if w.Network.Multilingual {
		languages = "several languages"
	}
	row("network", strings.Join([]string{w.Network.Size, languages, w.Network.Precision}, ", "))
}

func megabytes(n int64) string { return fmt.Sprintf("%.0f MB", float64(n)/1e6) }

func (m *Main) lacking() *failure {
	return failed(exitMissing, errors.New("no model is at hand")).
		hint("scripts/setup in the clone brings the standard one; bedsaid model add FILE takes any ggml Whisper file")
}

func (m *Main) modelAdd(ctx context.Context, dir string, files []string) error {
	s, err := m.store(dir)
	if err != nil {
		return err
	}
	if _, ok := m.Width(m.Stderr); ok {
		fmt.Fprintln(m.Stderr, "reading and checking; wheels are converted too, which takes up to a minute")
	}
	w, err := s.Add(ctx, files...)
	if err != nil {
		var sum *models.ChecksumError
		f := failed(exitBadInput, err)
		if errors.As(err, &sum) || errors.Is(err, models.ErrNotModel) {
			f.advice = "the file is damaged or of another kind; get it again and compare its checksum with the publisher's"
		}
		return f
	}
	fmt.Fprintf(m.Stdout, "Added to %s:\n", s.Dir)
	m.describeModel(w)
	return nil
}

func (m *Main) modelVerify(ctx context.Context, dir string) error {
	s, err := m.store(dir)
	if err != nil {
		return err
	}
	checked, err := s.Verify(ctx)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if errors.Is(err, models.ErrMissing) {
		fmt.Fprintf(m.Stdout, "No models in %s.\n", s.Dir)
		return m.lacking()
	}
	if err != nil {
		return missing(err)
	}
	bad := 0
	for _, c := range checked {
		if c.Err != nil {
			bad++
			fmt.Fprintf(m.Stdout, "BAD   %s: %s\n", c.Name, c.Err)
			continue
		}
		fmt.Fprintf(m.Stdout, "good  %s: %s, SHA-256 %s\n", c.Name, megabytes(c.Size), c.SHA256)
	}
	if bad > 0 {
		return failed(exitMissing, fmt.Errorf("%d of %d models cannot be relied on", bad, len(checked))).
			hint("remove the bad file and add it anew; scripts/setup brings the standard one again")
	}
	return nil
}
