package models

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"
)

// ErrMissing marks that no usable weights are in the folder.
var ErrMissing = errors.New("no weights there; run scripts/setup in the clone, or add a ggml Whisper file with: bedsaid model add FILE")

// ChecksumError says that a file is not what it should be. Want and Got are
// SHA-256 in hexadecimal digits.
type ChecksumError struct {
	File, Want, Got string
}

func (e *ChecksumError) Error() string {
	return fmt.Sprintf("check %s: SHA-256 is %s, not %s; the file is damaged or another one, get it anew", e.File, e.Got, e.Want)
}

// Store is a folder of weights.
type Store struct {
	// Dir need not exist until something is added.
	Dir string
}

// Installed is one weights file in the folder.
type Installed struct {
	// Model is the manifest's entry; for a file the manifest does not know it
	// holds name, file and size only, and the checksum taken when it was added.
	Model
	// Path is where the file lies.
	Path string
	// Known is true where the manifest knows the file by name and size.
	Known bool
	// Network is what the file says of itself; Problem is why it cannot be
	// used, nil where it can.
	Network Network
	Problem error
}

// sumSuffix ends the name of the small file that keeps an added file's checksum.
const sumSuffix = ".sha256"

// List returns the weights in the folder by name, broken ones too. A folder
// that is not there is an empty one. It reads headers, not weights.
func (s Store) List() ([]Installed, error) {
	entries, err := os.ReadDir(s.Dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list models: %w", err)
	}
	known, err := Manifest()
	if err != nil {
		return nil, err
	}
	var all []Installed
	for _, entry := range entries {
		if filepath.Ext(entry.Name()) != ".bin" || strings.HasPrefix(entry.Name(), ".") {
			continue
		}
		info, err := os.Stat(filepath.Join(s.Dir, entry.Name()))
		if err != nil || !info.Mode().IsRegular() {
			continue // gone since, or no file: nothing that could be used
		}
		all = append(all, s.describe(entry.Name(), info.Size(), known))
	}
	sort.SliceStable(all, func(i, j int) bool {
		if all[i].Default != all[j].Default {
			return all[i].Default
		}
		return all[i].Name < all[j].Name
	})
	return all, nil
}

func (s Store) describe(file string, size int64, known []Model) Installed {
	found := Installed{Path: filepath.Join(s.Dir, file)}
	found.Network, found.Problem = Inspect(found.Path)
	sum := s.recordedSum(file)
	for _, m := range known {
		if m.File == file && m.Size == size && (sum == "" || sum == m.SHA256) {
			found.Model, found.Known = m, true
			return found
		}
	}
	found.Model = Model{
		Name:    strings.TrimPrefix(strings.TrimSuffix(file, ".bin"), "ggml-"),
		File:    file,
		Size:    size,
		SHA256:  sum,
		Licence: "not known to Bedsaid",
		Source:  "added by the user",
	}
	return found
}

// recordedSum reads the checksum kept beside an added file, or "".
func (s Store) recordedSum(file string) string {
	b, err := os.ReadFile(filepath.Join(s.Dir, file+sumSuffix))
	if err != nil {
		return ""
	}
	sum, _, _ := strings.Cut(strings.TrimSpace(string(b)), " ")
	if raw, err := hex.DecodeString(sum); err != nil || len(raw) != sha256.Size {
		return ""
	}
	return sum
}

// Find returns usable weights by model name or file name. With name "" it
// returns the default model or, if that is not there, the only one that is.
// The error wraps ErrMissing where nothing fits.
func (s Store) Find(name string) (Installed, error) {
	all, err := s.List()
	if err != nil {
		return Installed{}, err
	}
	var usable []Installed
	var problem error
	for _, m := range all {
		wanted := name == "" || m.Name == name || m.File == name
		switch {
		case wanted && m.Problem == nil:
			usable = append(usable, m)
		case wanted && problem == nil:
			problem = m.Problem
		}
	}
	switch {
	case len(usable) == 1, len(usable) > 1 && (name != "" || usable[0].Default):
		return usable[0], nil
	case len(usable) > 1:
		return Installed{}, fmt.Errorf("find model: several in %s and none is the default; name one with --model", s.Dir)
	case problem != nil:
		return Installed{}, fmt.Errorf("find model: %w", problem)
	case name != "":
		return Installed{}, fmt.Errorf("find model %q in %s: %w", name, s.Dir, ErrMissing)
	}
	return Installed{}, fmt.Errorf("find model in %s: %w", s.Dir, ErrMissing)
}

// Check reads the whole file and compares it with its checksum. It returns a
// *ChecksumError where they differ, and an error that wraps ErrNotModel where
// the file cannot be a model at all.
func (s Store) Check(ctx context.Context, m Installed) error {
	if m.SHA256 == "" {
		if m.Problem != nil {
			return m.Problem
		}
		return fmt.Errorf("check %s: no checksum of it is known; add it anew with: bedsaid model add FILE", m.File)
	}
	got, err := fileSum(ctx, m.Path)
	if err != nil {
		return err
	}
	if got != m.SHA256 {
		return &ChecksumError{File: m.File, Want: m.SHA256, Got: got}
	}
	return m.Problem
}

// Checked is the outcome of one file's verification; Err is nil where it is whole.
type Checked struct {
	Installed
	Err error
}

// Verify checks every file in the folder. The error is for the folder itself;
// it wraps ErrMissing where nothing is there to check.
func (s Store) Verify(ctx context.Context) ([]Checked, error) {
	all, err := s.List()
	if err != nil {
		return nil, err
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("verify models in %s: %w", s.Dir, ErrMissing)
	}
	checked := make([]Checked, 0, len(all))
	for _, m := range all {
		if err := ctx.Err(); err != nil {
			return checked, err
		}
		checked = append(checked, Checked{Installed: m, Err: s.Check(ctx, m)})
	}
	return checked, nil
}

func fileSum(ctx context.Context, path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("read model: %w", err)
	}
	defer f.Close()
	hash := sha256.New()
	if _, err := io.Copy(hash, &ctxReader{ctx, f}); err != nil {
		return "", fmt.Errorf("read model: %w", err)
	}
	return hex.EncodeToString(hash.Sum(nil)), nil
}

// ctxReader stops a long copy when its context ends.
type ctxReader struct {
	ctx context.Context
	r   io.Reader
}

func (r *ctxReader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.r.Read(p)
}
