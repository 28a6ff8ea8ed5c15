package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"bedsaid/internal/export"
	"bedsaid/internal/export/forms"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
)

const importLong = `Import drafts a FOLDER of recordings (or typed words) one after the other, with
a list that says whose each is: CSV with a header and the columns file, name,
born, record, visit, examined, author; only file is needed.

Each draft is written to the folder of --out as NAME.note.json, with the head
that the list gives, for export; only you can read it. What is there already is
left as it is: after a stop, the same command goes on where it stopped. The list
is checked whole before the first recording is heard. A recording that cannot be
drafted is told, and the next one is drafted.`

type importFlags struct{ list, out, exam, model, models, lexicon string }

func (m *Main) importCommand() *cobra.Command {
	var f importFlags
	c := &cobra.Command{
		Use:   "import FOLDER",
		Short: "Draft a folder of recordings with a list of encounters, resumable",
		Long:  importLong + "\n\n" + exitCodes,
		Example: `  bedsaid import recordings/ --list encounters.csv --out notes/
  bedsaid export notes/exam.note.json --to pdf --out print/`,
		Args: exactly(1, "one folder"),
		RunE: func(cmd *cobra.Command, args []string) error { return m.importFolder(cmd.Context(), args[0], f) },
	}
	c.Flags().StringVar(&f.list, "list", "", "CSV `FILE` with a row for each recording")
	c.Flags().StringVar(&f.out, "out", "", "write the notes to `DIR`, readable by you only")
	c.Flags().StringVar(&f.exam, "exam", "", "what was examined, as a `SCOPE` such as eyes (default: what the words say)")
	lexiconFlag(c, &f.lexicon)
	m.modelFlags(c, &f.model, &f.models)
	must(c.MarkFlagDirname("out"))
	return c
}

func (m *Main) importFolder(ctx context.Context, folder string, f importFlags) error {
	if f.list == "" || f.out == "" {
		return usage("import needs --list and --out").hint("bedsaid import recordings/ --list encounters.csv --out notes/")
	}
	lex, err := m.lexicon(f.lexicon)
	if err != nil {
		return err
	}
	if err := checkExam(lex, f.exam); err != nil {
		return err
	}
	rows, err := readQueue(f.list, folder)
	if err != nil {
		return err
	}
	todo, heads, err := m.todo(rows, f.out)
	if err != nil {
		return err
	}
	m.tellUnlisted(folder, rows)
	fmt.Fprintf(m.Stderr, "bedsaid: %d in the list, %d drafted already, %d to draft\n", len(rows), len(rows)-len(todo), len(todo))
	to := target{f.out, false}
	if err := to.ready(todo, []string{forms.NoteEnding}); err != nil {
		return err
	}
	bar := m.progress()
	engine := m.hearing(f.model, f.models)
	defer engine.close()
	d := m.drafter(lex, f.exam, bar, engine)
	return m.draftAll(ctx, d, bar, todo, func(done int, in pipeline.Input, n note.Draft) error {
		var b bytes.Buffer
		if err := export.NoteJSON(&b, note.DocumentOf(n, heads[in.Path])); err != nil {
			return failed(exitFailed, err)
		}
		name := outBase(in) + forms.NoteEnding
		if err := to.write(name, b.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(m.Stderr, "%d of %d: wrote %s\n", len(rows)-len(todo)+done+1, len(rows), plainLine(filepath.Join(f.out, name)))
		return nil
	})
}

// todo leaves out what is drafted already. Two recordings whose notes would have
// one name are an error.
func (m *Main) todo(rows []queued, out string) (todo []pipeline.Input, heads map[string]note.Head, err error) {
	heads = map[string]note.Head{}
	names := map[string]bool{}
	for _, r := range rows {
		in := pipeline.Input{Path: r.path}
		base := outBase(in)
		if names[base] {
			return nil, nil, usage("two recordings of the list have the same name").hint("their notes would be one file; rename one")
		}
		names[base] = true
		heads[r.path] = r.head
		if _, err := os.Stat(filepath.Join(out, base+forms.NoteEnding)); err != nil {
			todo = append(todo, in)
		}
	}
	return todo, heads, nil
}

// tellUnlisted says which recordings the list forgot: nobody would miss them.
func (m *Main) tellUnlisted(folder string, rows []queued) {
	listed := map[string]bool{}
	for _, r := range rows {
		listed[r.path] = true
	}
	all, err := m.inputs([]string{folder})
	if err != nil {
		return // the list names what is to be drafted; a folder without more is fine
	}
	var forgotten []string
	for _, in := range all {
		if !listed[in.Path] {
			forgotten = append(forgotten, filepath.Base(in.Path))
		}
	}
	if len(forgotten) > 0 {
		fmt.Fprintf(m.Stderr, "bedsaid: in the folder and not in the list, so not drafted: %s\n", plainLine(strings.Join(forgotten, ", ")))
	}
}
