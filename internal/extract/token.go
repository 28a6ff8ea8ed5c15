package extract

import (
	"slices"
	"strings"

	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// pause is the punctuation that follows a token.
type pause uint8

const (
	noPause pause = iota
	comma         // comma, semicolon, colon, dash, ellipsis
	stop          // full stop, exclamation mark
	asking        // question mark
)

// illHeard is the probability below which a word is taken for ill heard. Of the
// words of two synthetic voices, 15 % of those heard right lie below it and 70 % of
// those heard wrong (docs/speech.md).
const illHeard = 0.7

// token is one normalized form with the word it comes from. A word may give
// several tokens ("uvula's").
type token struct {
	lexicon.Form
	// word and end are the first and the last word of the transcript it stands for.
	word, end int
	after     pause
	// ill tells that the sound leaves the word in doubt.
	ill bool
	// right is the term read in place of words that were misheard.
	right string
}

// titles end in a full stop that ends no sentence.
var titles = map[string]bool{"dr.": true, "mr.": true, "mrs.": true, "ms.": true, "st.": true, "vs.": true, "approx.": true, "no.": false}

// tokenize normalizes all words. A word that holds punctuation alone adds its
// pause to the token before it. Who writes "doesnt" means "I will" by "ill".
func tokenize(words []transcript.Word) []token {
	out := make([]token, 0, len(words)+len(words)/8)
	unmarked := slices.ContainsFunc(words, func(w transcript.Word) bool { return lexicon.DropsApostrophe(w.Text) })
	for i, w := range words {
		p := pauseAfter(w.Text)
		if p == noPause && (w.EndsLine || i+1 < len(words) && begins(w, words[i+1])) {
			p = stop
		}
		forms := lexicon.Normalize(w.Text)
		if unmarked {
			if f := lexicon.Unmarked(w.Text); f != nil {
				forms = f
			}
		}
		if len(forms) == 0 {
			if n := len(out); n > 0 && out[n-1].after < p {
				out[n-1].after = p
			}
			continue
		}
		if n := len(out); n > 0 && forms[0].Text == "not" && (out[n-1].Text == "ca" || out[n-1].Text == "wo") {
			out[n-1].Text = map[string]string{"ca": "can", "wo": "will"}[out[n-1].Text] // "ca n't"
		}
		for j, f := range forms {
			t := token{Form: f, word: i, end: i, ill: w.End > 0 && w.P < illHeard}
			if j == len(forms)-1 {
				t.after = p
			}
			out = append(out, t)
		}
	}
	return out
}

// heardPause is the least silence, in seconds, before a capital that begins a
// sentence. A name has a capital too, but nobody pauses before it.
const heardPause = 0.25

// begins reports that the recognizer began a sentence with the next word and left
// out the full stop, as it does where it was not primed.
func begins(w, next transcript.Word) bool {
	if w.End == 0 || next.Start-w.End < heardPause || titles[strings.ToLower(w.Text)] || len(next.Text) < 2 {
		return false
	}
	a, b := next.Text[0], next.Text[1]
	return 'A' <= a && a <= 'Z' && 'a' <= b && b <= 'z'
}

func pauseAfter(w string) pause {
	if titles[strings.ToLower(w)] {
		return noPause
	}
	w = strings.TrimRight(w, "\"')]”’")
	switch {
	case w == "":
		return noPause
	case strings.HasSuffix(w, "..."), strings.HasSuffix(w, "…"):
		return comma
	}
	switch w[len(w)-1] {
	case '.', '!':
		return stop
	case '?':
		return asking
	case ',', ';', ':':
		return comma
	case '-':
		return comma
	}
	if strings.HasSuffix(w, "—") || strings.HasSuffix(w, "–") {
		return comma
	}
	return noPause
}
