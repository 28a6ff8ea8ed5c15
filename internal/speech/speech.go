// Package speech turns a recording into a transcript: it finds the voice, cuts
// the sound at pauses, has each piece decoded, checks that every voiced second
// gave words, and reports what did not. The engine behind it is a Decoder;
// speech/whisper is the one that ships.
package speech

import "context"

// Token is one decoded piece of a word with its place in the piece.
type Token struct {
	// Text is verbatim, a leading space begins a new word.
	Text string
	// Start and End are seconds from the start of the piece.
	Start, End float64
	// P is the engine's probability, 0 to 1.
	P float64
}

// Request says how one piece is to be decoded.
type Request struct {
	// Prompt is bare vocabulary that the decoder is primed with; it may be empty.
	Prompt string
	// Beam is the beam width; 0 or 1 is greedy.
	Beam int
	// Brief asks for a quick answer, which may be a little worse: an engine that
	// looks at a window of fixed length then looks at what the samples fill of it.
	Brief bool
}

// Decoded is what the engine made of one piece.
type Decoded struct {
	Tokens []Token
	// AvgLogProb is the mean natural-log probability of the tokens.
	AvgLogProb float64
	// NoSpeech is the engine's probability, 0 to 1, that nobody spoke.
	NoSpeech float64
	// HitLimit is true where decoding ended at the token limit, a sign of a loop.
	HitLimit bool
}

// Decoder is a speech recognition engine. Implementations are used by one
// goroutine at a time and must honour ctx within about a second.
type Decoder interface {
	// Decode hears at most 29 s of 16 kHz mono samples in [-1, 1].
	Decode(ctx context.Context, samples []float32, req Request) (Decoded, error)
}
