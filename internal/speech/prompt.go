package speech

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// promptRunes bounds the prompt: about 150 tokens, of which Whisper keeps 223.
const promptRunes = 480

// bareTerms leaves of the caller's terms those that cannot speak for the
// patient: no side, number, grade, negation or word for "as it should be", since
// a prompt bends what is heard towards itself. Most important first, as given.
func bareTerms(terms []string) []string {
	var out []string
	seen := map[string]bool{}
	room := promptRunes
	for _, term := range terms {
		term = strings.Join(strings.Fields(term), " ")
		n := utf8.RuneCountInString(term) + 2
		if term == "" || seen[term] || !bare(term) {
			continue
		}
		if n > room {
			break
		}
		seen[term] = true
		out = append(out, term)
		room -= n
	}
	return out
}

func bare(term string) bool {
	for _, w := range strings.FieldsFunc(strings.ToLower(term), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '+' }) {
		if strings.IndexFunc(w, func(r rune) bool { return unicode.IsDigit(r) || r == '+' }) >= 0 {
			return false
		}
		switch w {
		case "left", "right", "both", "bilateral", "bilaterally", "unilateral", "either", "neither",
			"no", "not", "non", "none", "never", "nor", "without", "denies", "denied", "absent", "negative", "lacks",
			"normal", "abnormal", "intact", "clear", "unremarkable", "within", "limits", "healthy", "fine", "good",
			"present", "positive", "plus", "minus", "half",
			"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
			"first", "second", "third", "fourth", "zero", "trace":
			return false
		}
	}
	return true
}

// promptText writes the terms for the decoder, the most important last, where
// Whisper keeps them.
func promptText(terms []string) string {
	if len(terms) == 0 {
		return ""
	}
	var b strings.Builder
	for i := len(terms) - 1; i >= 0; i-- {
		b.WriteString(terms[i])
		if i > 0 {
			b.WriteString(", ")
		}
	}
	b.WriteByte('.')
	return b.String()
}
