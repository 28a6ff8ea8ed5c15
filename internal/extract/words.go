package extract

import (
	"fmt"
	"strconv"
	"strings"

	"bedsaid/internal/finding"
	"bedsaid/internal/transcript"
	"bedsaid/lexicon"
)

// readText takes the rest of a sentence as it was said, or as a list of what
// commas and "and" part.
func readText(t transcript.Transcript, ts []token, i, end int, f *lexicon.Finding) (item, bool) {
	for i < end && fillersOfText[ts[i].Text] {
		i++
	}
	var parts []string
	from := i
	flush := func(to int) {
		if from < to {
			parts = append(parts, trimPunct(t.Quote(spanOf(ts, from, to))))
		}
	}
	for j := i; j < end; j++ {
		switch {
		case f.Kind != lexicon.List:
		case ts[j].Text == "and" || ts[j].Text == "or":
			flush(j)
			from = j + 1
		case ts[j].after == comma:
			flush(j + 1)
			from = j + 1
		}
	}
	flush(end)
	if len(parts) == 0 {
		return item{}, false
	}
	r := reading{value: finding.Word(parts[0])}
	if f.Kind == lexicon.List {
		r.value = finding.List(parts...)
	}
	return whole(f, i, end, r), true
}

var fillersOfText = map[string]bool{"is": true, "are": true, "was": true, "were": true, "to": true, "of": true, "with": true}

// readTime reads a time of day as hour and minute. Where the half of the day is
// not said and could be either, the value is marked.
func readTime(ts []token, i int, f *lexicon.Finding) (item, bool) {
	h, m, j, sure := clockTime(ts, i)
	if j == i {
		return item{}, false
	}
	switch text(ts, j) {
	case "am", "a.m":
		if h == 12 {
			h = 0
		}
		j, sure = j+1, true
	case "pm", "p.m":
		if h < 12 {
			h += 12
		}
		j, sure = j+1, true
	}
	if h > 23 || m > 59 {
		return item{}, false
	}
	r := reading{value: finding.Word(fmt.Sprintf("%02d:%02d", h, m))}
	if !sure && h >= 1 && h <= 12 {
		r.marks = append(r.marks, finding.Mark{Kind: finding.UnsureValue, Why: "morning or afternoon was not said",
			Alternatives: []string{fmt.Sprintf("%02d:%02d", (h+12)%24, m)}})
	}
	return whole(f, i, j, r), true
}

// clockTime reads "14:20", "1420", "oh six hundred" and "fourteen twenty"; sure
// is true where only one half of the day can be meant.
func clockTime(ts []token, i int) (h, m, end int, sure bool) {
	w := text(ts, i)
	if a, b, ok := strings.Cut(w, ":"); ok {
		x, e1 := strconv.Atoi(a)
		y, e2 := strconv.Atoi(b)
		if e1 == nil && e2 == nil && len(b) == 2 {
			return x, y, i + 1, x == 0 || x > 12 || len(a) == 2 && a[0] == '0'
		}
		return 0, 0, i, false
	}
	if n, err := strconv.Atoi(w); err == nil && len(w) == 4 {
		return n / 100, n % 100, i + 1, true
	}
	zero := w == "oh" || w == "zero"
	if zero {
		i++
	}
	v, j := cardinal(ts, i)
	switch {
	case j == i:
		if zero {
			i--
		}
		return 0, 0, i, false
	case v >= 100 && v < 2400 && int(v)%100 == 0: // "fourteen hundred"
		return int(v) / 100, 0, j, true
	case v > 23:
		return 0, 0, i, false
	}
	if w, k := cardinal(ts, j); k > j && w >= 10 && w < 60 && ts[j-1].after == noPause {
		return int(v), int(w), k, zero || v > 12
	}
	if (at(ts, j, "oh") || at(ts, j, "o")) && ts[j-1].after == noPause {
		if w, k := cardinal(ts, j+1); k > j+1 && w < 10 {
			return int(v), int(w), k, zero || v > 12
		}
	}
	if at(ts, j, "o'clock") {
		return int(v), 0, j + 1, v > 12
	}
	switch text(ts, j) {
	case "am", "pm", "a.m", "p.m":
		return int(v), 0, j, false
	}
	return 0, 0, i, false
}
