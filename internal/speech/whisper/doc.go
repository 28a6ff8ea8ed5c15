// Package whisper is the recognizer that ships: whisper.cpp behind the
// speech.Decoder interface. It is the only package that uses C. One Engine
// holds one set of weights, hears one piece of sound at a time, and gives the
// same words for the same piece whatever it heard before.
//
// The C side is built by scripts/setup and is compiled in with the build tag
// "engine" (scripts/env sets it). Without it, or without cgo, the package
// still builds and Open returns ErrNotBuilt.
package whisper

import "errors"

// SampleRate is the number of samples a second that Decode expects.
const SampleRate = 16000

// MaxSeconds is the longest piece that Decode takes. Whisper hears 30 s at a
// time; a longer piece would be cut at a fixed place, through a word.
const MaxSeconds = 29

// ErrNotBuilt is returned by Open in a program built without the engine.
var ErrNotBuilt = errors.New("the program was built without the speech engine; build it with scripts/build")

// ErrTooLong is returned by Decode for a piece of more than MaxSeconds.
var ErrTooLong = errors.New("piece of sound is too long for the engine")

// ErrBadSamples is returned by Decode for samples that are not finite numbers.
var ErrBadSamples = errors.New("piece of sound holds samples that are not numbers")

// ErrClosed is returned by Decode after Close.
var ErrClosed = errors.New("the speech engine is closed")

// Info says what the engine is, for a person.
type Info struct {
	// Engine is name and version, for example "whisper.cpp 1.9.1".
	Engine string
	// Model is the size of the network, for example "base".
	Model string
	// Multilingual is false for English-only weights.
	Multilingual bool
	// Threads is how many processors a decoding uses.
	Threads int
	// System lists the processor's features that are used.
	System string
}
