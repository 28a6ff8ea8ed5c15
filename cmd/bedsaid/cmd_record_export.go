package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"bedsaid/internal/export/forms"
	"bedsaid/internal/note"
	"bedsaid/internal/review"
	"bedsaid/internal/store"
	"bedsaid/lexicon"
)

func (m *Main) recordExportCommand() *cobra.Command {
	var f recordFlags
	var form formFlags
	var since string
	c := &cobra.Command{
		Use: "export NOTE", Short: "Write a note of the record for a chart, for print, for hand-off",
		Long: `Export writes a note with who examined, who signed, its addenda and its seal, in
the forms of bedsaid export. A signed note goes out as it was signed last; one
that nobody signed says that it is preliminary. It asks for your passphrase and
for both identifiers as they stand on the patient's wristband, and the record
keeps in its log that the note went out.`,
		Example: `  bedsaid record export n0123456789abcdef --to pdf --out notes/
  bedsaid record export n0123456789abcdef --to handoff --since nfedcba9876543210`,
		Args: exactly(1, "the id of a note"),
		RunE: func(cmd *cobra.Command, args []string) error {
			to, err := m.exportForm(form, 1)
			if err != nil {
				return err
			}
			f.lexicon = form.lexicon
			p, err := m.begin(f)
			if err != nil {
				return err
			}
			return m.in(cmd.Context(), p, func(x *store.Session, ask *asker) error {
				return m.recordExport(cmd.Context(), x, ask, args[0], since, to, form, p.lex)
			})
		},
	}
	m.recordFlags(c, &f)
	m.formFlags(c, &form)
	c.Flags().StringVar(&since, "since", "", "earlier `NOTE` of the same patient: say what changed")
	return c
}

func (m *Main) recordExport(ctx context.Context, x *store.Session, ask *asker, id, since string, to forms.Form, f formFlags, lex *lexicon.Lexicon) error {
	info, err := x.NoteInfo(ctx, id)
	if err != nil {
		return err
	}
	e, err := x.Encounter(ctx, info.Encounter)
	if err != nil {
		return err
	}
	confirmed, err := ask.identifiers(e)
	if err != nil {
		return err
	}
	where := "standard output"
	if f.out != "" {
		where = "a file"
	}
	n, seal, err := x.Export(ctx, id, to.Name+" to "+where, confirmed)
	if err != nil {
		return err
	}
	outline := note.OutlineOf(lex)
	doc := n.Document(e.Head(id, seal), outline)
	if since != "" {
		earlier, err := earlierNote(ctx, x, since, e)
		if err != nil {
			return err
		}
		doc.Changes = note.Compare(earlier.Document(note.Head{}, outline).Draft, doc.Draft)
	}
	return m.writeDocuments(to, f, []note.Document{doc}, []string{id}, lex)
}

// earlierNote reads a note of the same patient, and refuses one of another.
func earlierNote(ctx context.Context, x *store.Session, id string, of store.Encounter) (review.Note, error) {
	info, err := x.NoteInfo(ctx, id)
	if err != nil {
		return review.Note{}, err
	}
	e, err := x.Encounter(ctx, info.Encounter)
	if err != nil {
		return review.Note{}, err
	}
	if e.Patient != of.Patient {
		return review.Note{}, failed(exitRecord, errors.New("the earlier note has other identifiers of the patient")).hint("compare notes of one patient alone")
	}
	return x.Note(ctx, id)
}
