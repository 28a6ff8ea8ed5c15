package whisper

import (
	"strings"
	"unicode/utf8"

	"bedsaid/internal/speech"
)

// token is one text token as the engine gives it.
type token struct {
	text       string
	p, logp    float64
	start, end float64 // seconds, not yet trusted
}

// settle makes speech tokens of the engine's: it joins tokens that hold parts
// of one character, and brings times into the piece and into order.
func settle(heard []token, seconds float64) []speech.Token {
	var settled []speech.Token
	at := 0.0
	for i := 0; i < len(heard); {
		joined := heard[i]
		i++
		for i < len(heard) && splitCharacter(joined.text) {
			next := heard[i]
			joined.text += next.text
			joined.end = next.end
			joined.p = min(joined.p, next.p)
			i++
		}
		if joined.text == "" {
			continue
		}
		start := min(max(joined.start, at), seconds)
		end := min(max(joined.end, start), seconds)
		at = start
		settled = append(settled, speech.Token{
			// A character that was never finished becomes the mark for that.
			Text:  strings.ToValidUTF8(joined.text, string(utf8.RuneError)),
			Start: start,
			End:   end,
			P:     min(max(joined.p, 0), 1),
		})
	}
	return settled
}

// splitCharacter reports whether text ends within a UTF-8 character.
func splitCharacter(text string) bool {
	for i := 1; i <= utf8.UTFMax && i <= len(text); i++ {
		if b := text[len(text)-i]; utf8.RuneStart(b) {
			return !utf8.FullRuneInString(text[len(text)-i:])
		}
	}
	return false
}

// meanLogProb is the mean natural-log probability of the tokens, 0 for none.
func meanLogProb(heard []token) float64 {
	if len(heard) == 0 {
		return 0
	}
	sum := 0.0
	for _, t := range heard {
		sum += t.logp
	}
	return sum / float64(len(heard))
}
