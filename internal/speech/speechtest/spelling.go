package speechtest

import (
	"strconv"
	"strings"
)

// Plain brings two spellings of the same words together, so that a comparison
// counts what was heard and not how it was written: lower case, no punctuation,
// numbers below 100 and units in words.
func Plain(text string) string {
	text = strings.ToLower(strings.NewReplacer("’", "'", "-", " ", "–", " ", "°", " degrees", "%", " percent", "+", " plus ", "/", " over ").Replace(text))
	var out []string
	for _, w := range strings.Fields(text) {
		w = strings.Trim(w, `.,;:!?"()[]'`)
		w = strings.NewReplacer("'", "").Replace(w)
		switch w {
		case "":
		case "mm":
			out = append(out, "millimeters")
		case "cm":
			out = append(out, "centimeters")
		case "x":
			out = append(out, "by")
		case "millimeter", "centimeter", "degree":
			out = append(out, w+"s")
		case "grey":
			out = append(out, "gray")
		default:
			for _, unit := range []string{"mm", "cm"} {
				if n, ok := strings.CutSuffix(w, unit); ok && number(n) != "" {
					w = n
					out = append(out, number(w))
					w = map[string]string{"mm": "millimeters", "cm": "centimeters"}[unit]
				}
			}
			if n := number(w); n != "" {
				w = n
			}
			out = append(out, w)
		}
	}
	return strings.Join(out, " ")
}

// number writes a whole number below 100, or a time of day, in words; empty
// where w is neither.
func number(w string) string {
	if h, m, ok := strings.Cut(w, ":"); ok {
		h, m = number(h), number(m)
		if h == "" || m == "" {
			return ""
		}
		return h + " " + m
	}
	n, err := strconv.Atoi(w)
	if err != nil || n < 0 || n >= 100 {
		return ""
	}
	ones := strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens := strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
	switch {
	case n < 20:
		return ones[n]
	case n%10 == 0:
		return tens[n/10]
	}
	return tens[n/10] + " " + ones[n%10]
}
