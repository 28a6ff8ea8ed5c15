// Package forms lists the ways in which a note leaves the program, for the
// command line and the page alike: each with the ending of its file, its media
// type and the exporter that writes it.
package forms

import (
	"fmt"
	"io"

	"bedsaid/internal/export"
	"bedsaid/internal/export/fhir"
	"bedsaid/internal/export/print"
	"bedsaid/internal/note"
	"bedsaid/lexicon"
)

// Form is one way to write a note.
type Form struct {
	// Name is what the user calls it, Ending the end of its file's name.
	Name, Ending string
	// Type is the media type (IANA).
	Type string
	// Quotes says that it quotes some of what was said even where the talk does
	// not go out.
	Quotes bool
	// Sized forms are laid out on paper.
	Sized bool
	write func(io.Writer, note.Document, Choice, *lexicon.Lexicon) error
}

// Choice is what the user chose of a form; the zero Choice is the compact form
// on A4, without what was said.
type Choice struct {
	// Complete gives the text a line for each finding.
	Complete bool
	Letter   bool
	// Talk lets what was said go out: transcript, words of each finding, talk that
	// was left out.
	Talk bool
}

// All gives every form, in the order in which they are shown.
func All() []Form {
	return []Form{
		{Name: "text", Ending: ".note.txt", Type: "text/plain; charset=utf-8", write: func(w io.Writer, d note.Document, c Choice, _ *lexicon.Lexicon) error {
			if c.Complete {
				return export.Chart(w, d, export.Complete)
			}
			return export.Chart(w, d, export.Compact)
		}},
		{Name: "markdown", Ending: ".note.md", Type: "text/markdown; charset=utf-8", write: plain(export.Markdown)},
		{Name: "html", Ending: ".note.html", Type: "text/html; charset=utf-8", Sized: true, write: func(w io.Writer, d note.Document, c Choice, _ *lexicon.Lexicon) error {
			return print.HTML(w, d, c.paper())
		}},
		{Name: "pdf", Ending: ".note.pdf", Type: "application/pdf", Sized: true, write: func(w io.Writer, d note.Document, c Choice, _ *lexicon.Lexicon) error {
			return print.PDF(w, d, c.paper())
		}},
		{Name: "fhir", Ending: ".fhir.json", Type: "application/fhir+json", write: func(w io.Writer, d note.Document, _ Choice, lex *lexicon.Lexicon) error {
			return fhir.Write(w, d, lex)
		}},
		{Name: "csv", Ending: ".note.csv", Type: "text/csv; charset=utf-8", write: plain(export.CSV)},
		{Name: "json", Ending: NoteEnding, Type: "application/json", write: plain(export.NoteJSON)},
		{Name: "handoff", Ending: ".handoff.txt", Type: "text/plain; charset=utf-8", Quotes: true, write: plain(export.Handoff)},
	}
}

// NoteEnding ends the name of a note that export reads again.
const NoteEnding = ".note.json"

// Find gives the form of a name.
func Find(name string) (Form, bool) {
	for _, f := range All() {
		if f.Name == name {
			return f, true
		}
	}
	return Form{}, false
}

// Write writes a note in the form. What was said goes out only where it was
// chosen, and where the form quotes it.
func (f Form) Write(w io.Writer, doc note.Document, c Choice, lex *lexicon.Lexicon) error {
	if f.write == nil {
		return fmt.Errorf("write note: no such form")
	}
	if !c.Talk && !f.Quotes {
		doc.Draft = doc.Draft.WithoutTalk()
	}
	return f.write(w, doc, c, lex)
}

func (c Choice) paper() print.Paper {
	if c.Letter {
		return print.Letter
	}
	return print.A4
}

func plain(f func(io.Writer, note.Document) error) func(io.Writer, note.Document, Choice, *lexicon.Lexicon) error {
	return func(w io.Writer, d note.Document, _ Choice, _ *lexicon.Lexicon) error { return f(w, d) }
}
