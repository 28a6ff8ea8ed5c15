package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"bedsaid/internal/pipeline"
	"bedsaid/internal/speech/whisper"
	"bedsaid/models"
)

// engine is the recognizer that a command line asks for, opened on first need.
type engine struct {
	m      *Main
	model  string // --model
	models string // --models
	opened *whisper.Engine
	loaded *pipeline.Hearing
}

func (m *Main) hearing(model, dir string) *engine { return &engine{m: m, model: model, models: dir} }

// open finds and checks the weights, and loads them. Every error has exit code
// 4, or is the context's.
func (e *engine) open(ctx context.Context) (pipeline.Hearing, error) {
	if !whisper.Built {
		return pipeline.Hearing{}, missing(whisper.ErrNotBuilt)
	}
	w, err := e.m.weights(ctx, e.model, e.models)
	if err != nil {
		return pipeline.Hearing{}, err
	}
	debug.SetGCPercent(prompt)
	engine, err := whisper.Open(w.Path, 0)
	if err != nil {
		return pipeline.Hearing{}, missing(err)
	}
	e.opened = engine
	return pipeline.Hearing{Decoder: engine, Engine: engine.Info().Engine, Model: w.Name, ModelSHA256: w.SHA256}, nil
}

// once is open for a program that hears more than one recording: the weights are
// checked and loaded the first time only.
func (e *engine) once(ctx context.Context) (pipeline.Hearing, error) {
	if e.loaded != nil {
		return *e.loaded, nil
	}
	h, err := e.open(ctx)
	if err == nil {
		e.loaded = &h
	}
	return h, err
}

func (e *engine) close() {
	if e.opened != nil {
		_ = e.opened.Close() // frees memory; there is nothing to lose
	}
}

func missing(err error) *failure {
	if errors.Is(err, models.ErrMissing) { // it says itself what to do
		return failed(exitMissing, err).hint("bedsaid doctor tells more; typed words (.txt) need no model")
	}
	return failed(exitMissing, err).hint("bedsaid doctor tells what is missing; typed words (.txt) need no engine")
}

// store is the folder of models: the flag's, or the usual one.
func (m *Main) store(dir string) (models.Store, error) {
	exe, err := os.Executable()
	if err == nil {
		if resolved, err := filepath.EvalSymlinks(exe); err == nil {
			exe = resolved
		}
	}
	home, _ := os.UserHomeDir() // "" where there is none, which Dir handles
	path, err := models.Places{Flag: dir, Getenv: m.Env, Executable: exe, Home: home}.Dir()
	if err != nil {
		return models.Store{}, missing(err)
	}
	return models.Store{Dir: path}, nil
}

// weights finds the model by name, or takes it as a file, and checks all of it:
// a draft names the checksum of what was really used.
func (m *Main) weights(ctx context.Context, model, dir string) (models.Installed, error) {
	if strings.ContainsRune(model, os.PathSeparator) || isFile(model) {
		return weightsFile(ctx, model)
	}
	s, err := m.store(dir)
	if err != nil {
		return models.Installed{}, err
	}
	w, err := s.Find(model)
	if err != nil {
		f := missing(err)
		if near := suggest(model, installedNames(s)); model != "" && len(near) > 0 {
			f.advice = "did you mean " + strings.Join(near, " or ") + "? bedsaid model list shows the models at hand"
		}
		return models.Installed{}, f
	}
	if err := s.Check(ctx, w); err != nil {
		return models.Installed{}, missing(err)
	}
	return w, nil
}

func weightsFile(ctx context.Context, path string) (models.Installed, error) {
	w := models.Installed{Path: path, Model: models.Model{Name: filepath.Base(path), File: filepath.Base(path)}}
	var err error
	if w.Network, err = models.Inspect(path); err != nil {
		return w, missing(err)
	}
	f, err := os.Open(path)
	if err != nil {
		return w, missing(fmt.Errorf("open model: %w", err))
	}
	defer f.Close()
	sum := sha256.New()
	buf := make([]byte, 1<<20)
	for err == nil {
		if ctx.Err() != nil {
			return w, ctx.Err()
		}
		var n int
		n, err = f.Read(buf)
		sum.Write(buf[:n])
	}
	if !errors.Is(err, io.EOF) {
		return w, missing(fmt.Errorf("read model: %w", err))
	}
	w.SHA256 = hex.EncodeToString(sum.Sum(nil))
	return w, nil
}

func isFile(path string) bool {
	info, err := os.Stat(path)
	return path != "" && err == nil && info.Mode().IsRegular()
}

func installedNames(s models.Store) []string {
	var names []string
	all, err := s.List()
	if err != nil {
		return nil // the names only serve a suggestion
	}
	for _, w := range all {
		names = append(names, w.Name)
	}
	return names
}

func (m *Main) modelFlags(c *cobra.Command, model, dir *string) {
	if model != nil {
		c.Flags().StringVar(model, "model", "", "model that listens, a `NAME` or a file (default: the standard one)")
		must(c.RegisterFlagCompletionFunc("model", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			s, err := m.store(*dir)
			if err != nil {
				return nil, cobra.ShellCompDirectiveDefault
			}
			return installedNames(s), cobra.ShellCompDirectiveDefault
		}))
	}
	c.Flags().StringVar(dir, "models", "", "folder `DIR` that models are kept in (default: bedsaid doctor shows it)")
	must(c.MarkFlagDirname("models"))
}
