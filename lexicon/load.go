package lexicon

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
)

//go:embed packs/*.toml
var builtin embed.FS

// File is a pack as it lies on disk. Name is shown in complaints.
type File struct {
	Name string
	Data []byte
}

// BuiltinFiles are the packs that are built into the program. The one that holds
// what every body system shares comes first.
func BuiltinFiles() ([]File, error) { return filesIn(builtin, "packs") }

func filesIn(fsys fs.FS, dir string) ([]File, error) {
	names, err := fs.Glob(fsys, path.Join(dir, "*.toml"))
	if err != nil || len(names) == 0 {
		return nil, fmt.Errorf("load packs: no *.toml in %s", dir)
	}
	var out []File
	for _, name := range names {
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, fmt.Errorf("read pack %s: %w", name, err)
		}
		out = append(out, File{path.Base(name), data})
	}
	slices.SortStableFunc(out, func(a, b File) int { return strings.Compare(rank(a.Name), rank(b.Name)) })
	return out, nil
}

// rank puts common.toml, which the others build on, before all.
func rank(file string) string {
	if file == "common.toml" {
		return ""
	}
	return file
}

// Builtin loads the packs that are built into the program.
func Builtin() (*Lexicon, error) { return With() }

// With loads the built-in packs and lays more packs over them, in their order.
// A pack with the name of a built-in one takes its place. All complaints that
// keep a pack from being used are joined into one error.
func With(more ...File) (*Lexicon, error) {
	lex, problems := Check(more...)
	var errs []error
	for _, p := range problems {
		if !p.Minor {
			errs = append(errs, p)
		}
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	return lex, nil
}

// Check loads like With and gives every complaint, also those that leave a pack
// usable. What the complaints leave of the lexicon comes with them.
func Check(more ...File) (*Lexicon, []Problem) {
	files, err := BuiltinFiles()
	if err != nil {
		return nil, []Problem{{What: err.Error()}}
	}
	return build(overlay(files, more))
}

// overlay puts a pack in the place of the one with its name, or at the end.
func overlay(files, more []File) []File {
	if len(more) == 0 {
		return files // nothing to compare names with, which takes reading every pack
	}
	names := make([]string, len(files))
	for i, f := range files {
		names[i] = packName(f)
	}
	out := slices.Clone(files)
	for _, f := range more {
		if i := slices.Index(names, packName(f)); i >= 0 && names[i] != "" {
			out[i] = f
			continue
		}
		out = append(out, f)
	}
	return out
}

func packName(f File) string {
	if pf, _ := decode(f.Name, f.Data); pf != nil {
		return pf.Name
	}
	return ""
}

func build(files []File) (*Lexicon, []Problem) {
	b := newBuilder()
	for _, f := range files {
		pf, problems := decode(f.Name, f.Data)
		b.problems = append(b.problems, problems...)
		if pf != nil {
			b.add(f, pf)
		}
	}
	b.finish()
	return b.lex, b.problems
}
