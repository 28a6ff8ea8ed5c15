package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"bedsaid/internal/teach"
	"bedsaid/lexicon"
)

const packEnding = ".toml"

// packFiles reads a pack, or every pack in a folder (not in folders below it),
// by name; none for "".
func packFiles(path string) ([]lexicon.File, error) {
	if path == "" {
		return nil, nil
	}
	info, err := os.Stat(path)
	if err != nil {
		return nil, failed(exitBadInput, fmt.Errorf("read packs %s: %w", path, cause(err))).hint("name a pack, or a folder that holds some")
	}
	names := []string{path}
	if info.IsDir() {
		names, err = filepath.Glob(filepath.Join(path, "*"+packEnding))
		if err != nil || len(names) == 0 {
			return nil, failed(exitBadInput, fmt.Errorf("read packs %s: no *%s in it", path, packEnding)).
				hint("a pack is one file; docs/understanding.md shows one")
		}
	}
	var out []lexicon.File
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			return nil, failed(exitBadInput, fmt.Errorf("read pack %s: %w", name, cause(err))).hint("check that you may read it")
		}
		out = append(out, lexicon.File{Name: name, Data: data})
	}
	return out, nil
}

// lexiconEnv names the folder of packs that a site uses for all its work.
const lexiconEnv = "BEDSAID_LEXICON"

// lexicon loads the built-in packs and lays those of a folder over them: the
// flag's, or the site's.
func (m *Main) lexicon(dir string) (*lexicon.Lexicon, error) {
	if dir == "" {
		dir = m.Env(lexiconEnv)
	}
	files, err := packFiles(dir)
	if err != nil {
		return nil, err
	}
	lex, err := lexicon.With(files...)
	if err != nil {
		var p lexicon.Problem
		if dir != "" && errors.As(err, &p) {
			return nil, failed(exitBadInput, fmt.Errorf("the packs cannot be used:\n%w", err)).
				hint("bedsaid lexicon check %s lists every complaint; without --lexicon and "+lexiconEnv+" the built-in packs are used", dir)
		}
		return nil, fmt.Errorf("load lexicon: %w", err)
	}
	return lex, nil
}

// ownPacks gives the site's packs as they lie in its folder now, and the one of
// them that takes what corrections teach; none where the site names no folder.
func (m *Main) ownPacks(dir string) (read func() ([]lexicon.File, error), takes string) {
	if dir == "" {
		dir = m.Env(lexiconEnv)
	}
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		takes = filepath.Join(dir, teach.PackName+packEnding)
	}
	return func() ([]lexicon.File, error) { return packFiles(dir) }, takes
}

func lexiconFlag(c *cobra.Command, dir *string) {
	c.Flags().StringVar(dir, "lexicon", "", "folder `DIR` of your own packs, laid over the built-in ones (default: $"+lexiconEnv+")")
	must(c.MarkFlagDirname("lexicon"))
}
