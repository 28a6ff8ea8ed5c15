package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"bedsaid/internal/audio"
	"bedsaid/internal/pipeline"
	"bedsaid/internal/store"
	"bedsaid/lexicon"
)

const keepLong = `Keep opens an encounter in the record, keeps the sound of INPUT in it, drafts
the note and keeps that too, for review. INPUT is what bedsaid draft reads. It
asks for, in this order: your passphrase, the two identifiers of the patient on
the wristband (bedsaid record site names their kinds), the bed, and for sound
from whom consent to recording came and how. Sound is kept as it is heard:
16 kHz, mono, 16 bits. INPUT itself is left where it is; deleting it is up to
you.`

type keepFlags struct {
	recordFlags
	exam, model, models, examined string
}

func (m *Main) recordKeepCommand() *cobra.Command {
	var f keepFlags
	c := &cobra.Command{
		Use: "keep INPUT", Short: "Keep a recording or typed words, and their draft", Long: keepLong,
		Example: `  bedsaid record keep exam.wav
  bedsaid record keep exam.txt --examined 2026-11-25T03:10:00-05:00`,
		Args: exactly(1, "one recording or text"),
		RunE: func(cmd *cobra.Command, args []string) error { return m.keep(cmd.Context(), f, args[0]) },
	}
	m.recordFlags(c, &f.recordFlags)
	c.Flags().StringVar(&f.examined, "examined", "", "when the patient was examined, a `TIME` such as 2026-11-25T03:10:00-05:00 (default: now)")
	c.Flags().StringVar(&f.exam, "exam", "", "what was examined, as a `SCOPE` such as eyes")
	lexiconFlag(c, &f.lexicon)
	m.modelFlags(c, &f.model, &f.models)
	return c
}

func (m *Main) keep(ctx context.Context, f keepFlags, path string) error {
	p, err := m.begin(f.recordFlags)
	if err != nil {
		return err
	}
	if err := checkExam(p.lex, f.exam); err != nil {
		return err
	}
	d := store.Details{ExaminedAt: m.Now()}
	if f.examined != "" {
		if d.ExaminedAt, err = timeOf(f.examined); err != nil {
			return err
		}
	}
	// What cannot be read is told before anything is asked.
	var clip *audio.Clip
	if !pipeline.IsText(path) {
		if clip, err = audio.Open(ctx, path, func(float64) {}); err != nil {
			return err
		}
	}
	return m.in(ctx, p, func(x *store.Session, ask *asker) error {
		site, err := x.Site(ctx)
		if err != nil {
			return err
		}
		if err := m.askDetails(ask, site.Identifiers, clip != nil, &d); err != nil {
			return err
		}
		return m.keepIn(ctx, x, f, p.lex, path, clip, d)
	})
}

func (m *Main) askDetails(ask *asker, kinds [2]string, spoken bool, d *store.Details) error {
	var err error
	for i, k := range kinds {
		d.Patient[i].Kind = k
		if d.Patient[i].Value, err = ask.line(onWristband(k)); err != nil {
			return err
		}
	}
	if d.Bed, err = ask.line("Bed"); err != nil || !spoken {
		return err
	}
	if d.Consent.From, err = ask.line("Consent to recording came from (empty: there is none)"); err != nil {
		return err
	}
	if d.Consent.How, err = ask.line("How it was given"); err != nil {
		return err
	}
	d.Consent.At = d.ExaminedAt
	return nil
}

func (m *Main) keepIn(ctx context.Context, x *store.Session, f keepFlags, lex *lexicon.Lexicon, path string, clip *audio.Clip, details store.Details) error {
	if clip != nil && !details.Consent.Holds() {
		return store.ErrConsent
	}
	e, err := x.NewEncounter(ctx, details)
	if err != nil {
		return err
	}
	fmt.Fprintf(m.Stdout, "encounter %s\n", e.ID)
	recording := ""
	if clip != nil {
		if recording, err = x.KeepSound(ctx, e.ID, store.Confirmed{e.Patient[0].Value, e.Patient[1].Value}, clip); err != nil {
			return err
		}
		fmt.Fprintf(m.Stdout, "sound %s, %.0f s\n", recording, clip.Seconds())
	}
	bar := m.progress()
	bar.of("input")
	engine := m.hearing(f.model, f.models)
	defer engine.close()
	in := pipeline.Input{Path: path, Sound: clip}
	n, err := m.drafter(lex, f.exam, bar, engine).Draft(ctx, in)
	bar.clear()
	if err != nil {
		if recording != "" && ctx.Err() == nil {
			fmt.Fprintln(m.Stderr, "bedsaid: the sound is kept; its note could not be drafted")
		}
		return err
	}
	info, err := x.SaveDraft(ctx, e.ID, recording, n)
	if err != nil {
		return err
	}
	fmt.Fprintf(m.Stdout, "note %s, not signed\n", info.ID)
	if m.warnUntranscribed(in, n) {
		return &failure{code: exitUntranscribed, err: errors.New("speech gave no words"), silent: true}
	}
	return nil
}
