package models

import (
	"errors"
	"os"
	"path/filepath"
)

// EnvDir is the environment variable that names the models folder.
const EnvDir = "BEDSAID_MODELS"

// EnvCache is the environment variable that moves what set-up keeps.
const EnvCache = "BEDSAID_CACHE"

// Places are where the models folder may be named or found.
type Places struct {
	// Flag is the folder the user gave on the command line, or "".
	Flag string
	// Getenv reads the environment; os.Getenv in the program.
	Getenv func(string) string
	// Executable is the path of the running program, or "".
	Executable string
	// Home is the user's home folder, or "".
	Home string
}

// Dir returns the folder of the weights: the flag's, else the one that
// BEDSAID_MODELS names, else set-up's cache of the clone the program was built
// in, if there is one, else bedsaid/models in the user's XDG data folder. The
// folder need not exist yet.
func (p Places) Dir() (string, error) {
	if p.Flag != "" {
		return p.Flag, nil
	}
	if dir := p.Getenv(EnvDir); dir != "" {
		return dir, nil
	}
	if p.Executable != "" {
		// The program lies in bin/ of the clone, the cache beside bin/.
		clone := filepath.Dir(filepath.Dir(p.Executable))
		cache := filepath.Join(clone, ".cache")
		if dir := p.Getenv(EnvCache); dir != "" {
			cache = dir
		}
		if dir := filepath.Join(cache, "models"); isDir(dir) {
			return dir, nil
		}
	}
	data := p.Getenv("XDG_DATA_HOME")
	if !filepath.IsAbs(data) { // the XDG specification: relative paths are void
		if p.Home == "" {
			return "", errors.New("find models folder: no home folder is known; name one with --models DIR")
		}
		data = filepath.Join(p.Home, ".local", "share")
	}
	return filepath.Join(data, "bedsaid", "models"), nil
}

// Dir is Places.Dir with the environment of this process; flag may be "".
func Dir(flag string) (string, error) {
	executable, err := os.Executable()
	if err == nil {
		if resolved, err := filepath.EvalSymlinks(executable); err == nil {
			executable = resolved
		}
	}
	home, _ := os.UserHomeDir() // "" where it is not known, which Dir handles
	return Places{Flag: flag, Getenv: os.Getenv, Executable: executable, Home: home}.Dir()
}

func isDir(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}
