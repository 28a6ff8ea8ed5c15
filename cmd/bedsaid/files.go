package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"bedsaid/internal/export/forms"
	"bedsaid/internal/pipeline"
)

// Endings of the files that --out writes. A folder given as input is searched
// without them, so that drafts beside their recordings are not drafted again.
const (
	textEnding = ".draft.txt"
	jsonEnding = ".draft.json"
)

// inFolder are the endings that are looked for in a folder: words, and sounds
// that recorders and phones make. A file named on its own may end in anything.
var inFolder = []string{".txt", ".wav", ".m4a", ".mp3", ".mp4", ".ogg", ".oga", ".opus", ".flac", ".aac",
	".aif", ".aiff", ".amr", ".3gp", ".caf", ".webm", ".wma"}

// inputs expands the arguments: "-" is standard input, a folder is the
// recordings and texts in it (not in folders below it), by name.
func (m *Main) inputs(args []string) ([]pipeline.Input, error) {
	var out []pipeline.Input
	for _, arg := range args {
		if arg == "-" {
			out = append(out, pipeline.Input{Path: "standard input", Text: m.Stdin})
			continue
		}
		if info, err := os.Stat(arg); err != nil || !info.IsDir() {
			out = append(out, pipeline.Input{Path: arg}) // what is wrong with it is said when it is read
			continue
		}
		entries, err := os.ReadDir(arg)
		if err != nil {
			return nil, failed(exitBadInput, fmt.Errorf("read folder %s: %w", arg, cause(err))).hint("check that you may read it")
		}
		n := len(out)
		for _, e := range entries {
			name := strings.ToLower(e.Name())
			if e.IsDir() || strings.HasPrefix(name, ".") || isOutput(name) ||
				!slices.Contains(inFolder, filepath.Ext(name)) {
				continue
			}
			out = append(out, pipeline.Input{Path: filepath.Join(arg, e.Name())})
		}
		if len(out) == n {
			return nil, failed(exitBadInput, fmt.Errorf("read folder %s: no recording and no .txt in it", arg)).
				hint("name a file, or a folder that holds some; a .json must be named itself")
		}
	}
	return out, nil
}

// isOutput reports a file that draft or export wrote, which is not drafted again
// because it lies beside the recordings.
func isOutput(name string) bool {
	if strings.HasSuffix(name, textEnding) {
		return true
	}
	return slices.ContainsFunc(forms.All(), func(f forms.Form) bool { return strings.HasSuffix(name, f.Ending) })
}

// outBase is the name of an input's drafts, without their endings.
func outBase(in pipeline.Input) string {
	if in.Text != nil {
		return "stdin"
	}
	return strings.TrimSuffix(filepath.Base(in.Path), jsonEnding)
}

// target is a folder that drafts are written to.
type target struct {
	dir   string
	force bool
}

// ready makes the folder, for its owner only, and refuses before any work is
// done what write would refuse after it.
func (t target) ready(ins []pipeline.Input, endings []string) error {
	seen := map[string]string{}
	for _, in := range ins {
		base := outBase(in)
		if other, ok := seen[base]; ok {
			return usage("%s and %s would be written to the same file in %s", other, in.Path, t.dir).
				hint("draft them into two folders")
		}
		seen[base] = in.Path
		for _, e := range endings {
			if _, err := os.Lstat(filepath.Join(t.dir, base+e)); err == nil && !t.force {
				return t.refuse(base + e)
			}
		}
	}
	if err := os.MkdirAll(t.dir, 0o700); err != nil {
		return failed(exitFailed, fmt.Errorf("make folder %s: %w", t.dir, cause(err))).
			hint("name a folder in a place where you may write")
	}
	return nil
}

func (t target) refuse(name string) error {
	return usage("%s is there already", filepath.Join(t.dir, name)).
		hint("--force writes over it; or choose another folder")
}

// write puts a whole file in place at once, readable by its owner only. It is
// written beside its place first: a stop or a full disk leaves nothing of it.
func (t target) write(name string, data []byte) (err error) {
	path := filepath.Join(t.dir, name)
	defer func() {
		if err != nil {
			var f *failure
			if !errors.As(err, &f) {
				err = failed(exitFailed, fmt.Errorf("write %s: %w", path, cause(err))).
					hint("check that the disk has room and that you may write there")
			}
		}
	}()
	tmp, err := os.CreateTemp(t.dir, ".bedsaid-*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(data)
	if err == nil {
		err = tmp.Sync()
	}
	if cerr := tmp.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return err
	}
	if !t.force {
		// A link cannot replace a file that came to be there meanwhile; a rename
		// can. Some disks have no links: there the check before must do.
		switch err := os.Link(tmp.Name(), path); {
		case err == nil:
			return nil
		case errors.Is(err, fs.ErrExist):
			return t.refuse(name)
		}
	}
	return os.Rename(tmp.Name(), path)
}

// cause is the reason alone, where the path has been said.
func cause(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	var le *os.LinkError
	if errors.As(err, &le) {
		return le.Err
	}
	return err
}
