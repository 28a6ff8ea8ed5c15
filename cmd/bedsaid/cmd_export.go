package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"bedsaid/internal/export"
	"bedsaid/internal/export/fhir"
	"bedsaid/internal/export/forms"
	"bedsaid/internal/note"
	"bedsaid/internal/pipeline"
	"bedsaid/lexicon"
)

const exportLong = `Export writes each DRAFT, a file that draft --json wrote, in a form that a
chart, a printer or another program takes:

  text      plain text to be pasted into a chart (--form complete: a line for
            each finding, with the reasons for doubt)
  markdown  the same, with headings
  html      a page to be printed
  pdf       the same as PDF, tagged for screen readers
  fhir      a FHIR R4 document bundle, for an interface
  csv       a row for each finding
  json      everything, for programs; export reads it again
  handoff   one page for the next nurse: situation, background, assessment,
            recommendation, and what to say by phone in thirty seconds

A draft is exported as preliminary and says so; exporting signs nothing. With
--patient it asks for the two identifiers on the wristband; what is not given
goes out as "not stated". What was said goes out only with --with talk; the
hand-off quotes what was said of code status, allergies and plans. A note that
was reviewed and signed is exported with bedsaid record export.`

// formFlags say in which form notes are written, and where to.
type formFlags struct {
	to, out, form, with, paper, lexicon string
	force                               bool
}

type exportFlags struct {
	formFlags
	since            string
	patient          bool
	identifiers      []string
	examined, author string
}

func (f formFlags) choice() forms.Choice {
	return forms.Choice{Complete: f.form == "complete", Letter: f.paper == "letter", Talk: f.with != ""}
}

func (m *Main) exportCommand() *cobra.Command {
	var f exportFlags
	c := &cobra.Command{
		Use:   "export DRAFT...",
		Short: "Write a draft as chart text, print, FHIR, hand-off and more",
		Long:  exportLong + "\n\n" + exitCodes,
		Example: `  bedsaid export exam.draft.json --to text
  bedsaid export exam.draft.json --to pdf --out notes/ --patient
  bedsaid export today.draft.json --to handoff --since yesterday.draft.json`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage("no draft named").hint("bedsaid draft exam.wav --json > exam.draft.json makes one; --help has more examples")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return m.export(args, f) },
	}
	m.formFlags(c, &f.formFlags)
	fl := c.Flags()
	fl.BoolVar(&f.patient, "patient", false, "ask for the two identifiers of the patient")
	fl.StringSliceVar(&f.identifiers, "identifiers", []string{"record number", "date of birth"}, "the two `KINDS` of identifiers that your site uses")
	fl.StringVar(&f.examined, "examined", "", "`TIME` of the examination, such as 2031-02-03 14:05")
	fl.StringVar(&f.author, "author", "", "`NAME` of the nurse who examined, with credentials after a comma")
	fl.StringVar(&f.since, "since", "", "earlier draft `FILE` of the same patient: say what changed")
	return c
}

func formNames() []string {
	var names []string
	for _, x := range forms.All() {
		names = append(names, x.Name)
	}
	return names
}

func (m *Main) formFlags(c *cobra.Command, f *formFlags) {
	names := formNames()
	fl := c.Flags()
	fl.StringVar(&f.to, "to", "", "form to write, one `FORM` of "+strings.Join(names, ", "))
	fl.StringVar(&f.out, "out", "", "write to `DIR`, readable by you only")
	fl.BoolVar(&f.force, "force", false, "with --out: write over files that are there")
	fl.StringVar(&f.form, "form", "compact", "of the text: a `KIND`, compact or complete")
	fl.StringVar(&f.with, "with", "", "with `talk`: what was said goes out too")
	fl.StringVar(&f.paper, "paper", "a4", "of html and pdf: a `SIZE`, a4 or letter")
	lexiconFlag(c, &f.lexicon)
	must(c.MarkFlagDirname("out"))
	for flag, values := range map[string][]string{"to": names, "form": {"compact", "complete"}, "with": {"talk"}, "paper": {"a4", "letter"}} {
		must(c.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(values, cobra.ShellCompDirectiveNoFileComp)))
	}
}

func (m *Main) export(args []string, f exportFlags) error {
	to, err := m.exportForm(f.formFlags, len(args))
	if err != nil {
		return err
	}
	if len(args) > 1 && (f.since != "" || f.patient) {
		return usage("--patient and --since are for one draft").hint("export the drafts one by one: they are of different patients")
	}
	head, err := headOf(f.examined, f.author)
	if err != nil {
		return err
	}
	lex, err := m.lexicon(f.lexicon)
	if err != nil {
		return err
	}
	outline := note.OutlineOf(lex)
	docs := make([]note.Document, len(args))
	names := make([]string, len(args))
	for i, path := range args {
		if docs[i], err = m.readDocument(path, outline); err != nil {
			return err
		}
		names[i] = strings.TrimSuffix(strings.TrimSuffix(filepath.Base(path), jsonEnding), forms.NoteEnding)
	}
	if f.since != "" {
		earlier, err := m.readDocument(f.since, outline)
		if err != nil {
			return err
		}
		docs[0].Changes = note.Compare(earlier.Draft, docs[0].Draft)
	}
	if f.patient {
		if head.Identifiers, err = askIdentifiers(m.asker(), f.identifiers); err != nil {
			return err
		}
	}
	for i := range docs {
		docs[i].Head = merged(docs[i].Head, head)
		if docs[i].Head.EnteredAt.IsZero() {
			docs[i].Head.EnteredAt = m.Now()
		}
	}
	return m.writeDocuments(to, f.formFlags, docs, names, lex)
}

// writeDocuments writes each document in its form, into files or to standard
// output.
func (m *Main) writeDocuments(to forms.Form, f formFlags, docs []note.Document, names []string, lex *lexicon.Lexicon) error {
	folder := target{f.out, f.force}
	files := make([]pipeline.Input, len(names))
	for i, name := range names {
		files[i].Path = export.FileName(name)
	}
	if f.out != "" {
		if err := folder.ready(files, []string{to.Ending}); err != nil {
			return err
		}
	}
	for i, doc := range docs {
		var b bytes.Buffer
		if err := to.Write(&b, doc, f.choice(), lex); err != nil {
			return failed(exitFailed, fmt.Errorf("%s: %w", names[i], err))
		}
		if f.out == "" {
			if _, err := m.Stdout.Write(b.Bytes()); err != nil {
				return failed(exitFailed, fmt.Errorf("print note: %w", cause(err)))
			}
			continue
		}
		name := outBase(files[i]) + to.Ending
		if err := folder.write(name, b.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(m.Stderr, "wrote %s: it holds a patient's data; readable by you only\n", plainLine(filepath.Join(f.out, name)))
	}
	return nil
}

// exportForm checks what can be checked before anything is read.
func (m *Main) exportForm(f formFlags, notes int) (forms.Form, error) {
	to, known := forms.Find(f.to)
	names := formNames()
	_, isTerminal := m.Width(m.Stdout)
	switch {
	case f.to == "":
		return forms.Form{}, usage("no form named").hint("--to takes one of %s", strings.Join(names, ", "))
	case !known:
		return forms.Form{}, usage("unknown form %q", f.to).hint("%s", didYouMean(f.to, names, "--to takes one of "+strings.Join(names, ", ")))
	case f.form != "compact" && f.form != "complete":
		return forms.Form{}, usage("unknown form of the text %q", f.form).hint("--form takes compact or complete")
	case f.paper != "a4" && f.paper != "letter":
		return forms.Form{}, usage("unknown paper %q", f.paper).hint("--paper takes a4 or letter")
	case f.with != "" && f.with != "talk":
		return forms.Form{}, usage("--with takes talk, not %q", f.with).hint("without --with, only what is charted goes out")
	case f.force && f.out == "":
		return forms.Form{}, usage("--force is for --out").hint("name a folder with --out")
	case f.to == "pdf" && f.out == "" && isTerminal:
		return forms.Form{}, usage("a PDF is not for a terminal").hint("name a folder with --out, or send it to a file with >")
	case notes > 1 && f.out == "":
		return forms.Form{}, usage("several drafts need --out").hint("name a folder with --out")
	}
	return to, nil
}

// readDocument reads a draft, or a note that export wrote. A file is not the
// record: whatever it says of a signature, it goes out as preliminary.
func (m *Main) readDocument(path string, o note.Outline) (note.Document, error) {
	data, err := m.readWhole(path)
	if err != nil {
		return note.Document{}, failed(exitBadInput, fmt.Errorf("%s: %w", path, cause(err))).hint("check the name, and that you may read it")
	}
	name := filepath.Base(path)
	var doc note.Document
	if bytes.Contains(data[:min(len(data), 200)], []byte(`"resourceType": "Bundle"`)) {
		doc, err = fhir.Read(bytes.NewReader(data), name, o)
	} else {
		doc, err = export.ReadDocument(bytes.NewReader(data), name, o)
	}
	var form *export.FormatError
	if errors.As(err, &form) {
		return note.Document{}, failed(exitBadInput, fmt.Errorf("%s: %s", path, err)).
			hint("give a file that bedsaid draft --json, bedsaid export or the page wrote; bedsaid draft exam.txt --json > exam.draft.json makes one")
	}
	if err != nil {
		return note.Document{}, fmt.Errorf("%s: %w", path, err)
	}
	if doc.Head.Status != note.Preliminary {
		fmt.Fprintf(m.Stderr, "bedsaid: %s says that it is signed; a file cannot vouch for that, and it is exported as preliminary\n", plainLine(path))
	}
	doc.Head = note.DocumentOf(doc.Draft, doc.Head).Head
	return doc, nil
}

// maxDraft is far more than the longest recording gives.
const maxDraft = 256 << 20

func (m *Main) readWhole(path string) ([]byte, error) {
	var r io.Reader = m.Stdin
	if path != "-" {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		r = f
	}
	data, err := io.ReadAll(io.LimitReader(r, maxDraft+1))
	if err == nil && len(data) > maxDraft {
		err = errors.New("the file is larger than any draft")
	}
	return data, err
}
