//go:build !cgo || !engine

package whisper

import (
	"context"

	"bedsaid/internal/speech"
)

// Built is true in a program that has the engine in it.
const Built = false

// Engine stands in where the engine was left out of the build.
type Engine struct{}

// Open returns ErrNotBuilt.
func Open(path string, threads int) (*Engine, error) { return nil, ErrNotBuilt }

// Close does nothing.
func (e *Engine) Close() error { return nil }

// Info returns nothing.
func (e *Engine) Info() Info { return Info{} }

// Decode returns ErrNotBuilt.
func (e *Engine) Decode(ctx context.Context, samples []float32, req speech.Request) (speech.Decoded, error) {
	return speech.Decoded{}, ErrNotBuilt
}

// Weigh returns ErrNotBuilt.
func (e *Engine) Weigh(ctx context.Context, samples []float32, prompt string, spots []Spot) ([][]float64, error) {
	return nil, ErrNotBuilt
}
