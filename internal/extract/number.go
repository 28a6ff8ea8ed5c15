package extract

import (
	"math"
	"strconv"
	"strings"
)

// number is a number as spoken, with what was said beside it.
type number struct {
	value, high float64
	isRange     bool
	// by is the second measure of "two by three centimeters".
	by    float64
	isBy  bool
	sign  string  // "+" or "-" said with a grade
	of    float64 // the top of the scale: "five out of five"
	hasOf bool
	clock bool // "o'clock"
	// falling is true of "three to one", where the first is larger.
	falling bool
	stage   bool // "stage two"
	guessed bool // "five eleven": the units were not said
	tenths  bool // "thirty seven two": the point was not said
	decimal bool // said with a decimal or a fraction
}

var small = map[string]float64{
	"zero": 0, "oh": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10,
	"eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}

var tens = map[string]float64{
	"twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}

// cardinal reads a whole number in words or digits at i and returns the index
// after it; end == i where there is none.
func cardinal(ts []token, i int) (v float64, end int) {
	if i >= len(ts) {
		return 0, i
	}
	if n, err := strconv.ParseFloat(strings.ReplaceAll(ts[i].Text, ",", ""), 64); err == nil && ts[i].Text[0] != '+' && ts[i].Text[0] != '-' && isDigits(ts[i].Text) {
		return n, i + 1
	}
	total, cur, j, any := 0.0, 0.0, i, false
	last := 0.0 // the size of the last word, so that "three four" stays two numbers
	for j < len(ts) {
		w := ts[j].Text
		if n, ok := small[w]; ok && w != "oh" {
			if any && last < 20 || any && n >= 10 && last < 100 {
				break
			}
			cur, last, any = cur+n, 1, true
		} else if n, ok := tens[w]; ok {
			if any && last < 100 {
				break
			}
			cur, last, any = cur+n, 20, true
		} else if w == "hundred" && any && cur < 100 {
			cur, last = cur*100, 100
		} else if w == "thousand" && any && cur < 1000 {
			total, cur, last = total+cur*1000, 0, 1000
		} else if w == "and" && any && last >= 100 && j+1 < len(ts) && (isSmall(ts[j+1].Text)) {
			j++
			continue
		} else {
			break
		}
		j++
		if ts[j-1].after == comma && last == 1000 && hundredNext(ts, j) {
			continue // "one thousand, two hundred"
		}
		if ts[j-1].after != noPause {
			break
		}
	}
	if !any {
		return 0, i
	}
	return total + cur, j
}

// hundredNext reports "two hundred" at i.
func hundredNext(ts []token, i int) bool {
	n := small[text(ts, i)]
	return n >= 1 && n <= 9 && at(ts, i+1, "hundred") && ts[i].after == noPause
}

var denominators = map[string]float64{
	"half": 2, "third": 3, "quarter": 4, "fourth": 4, "fifth": 5, "sixth": 6, "seventh": 7, "eighth": 8, "ninth": 9, "tenth": 10, "twelfth": 12, "sixteenth": 16,
}

// fraction reads "a half", "three quarters" at i; end == i where there is none.
func fraction(ts []token, i int) (v float64, end int) {
	above, j := cardinal(ts, i)
	if j == i {
		if !at(ts, i, "a") && !at(ts, i, "an") {
			return 0, i
		}
		above, j = 1, i+1
	}
	if ts[j-1].after != noPause || j >= len(ts) {
		return 0, i
	}
	below := denominators[ts[j].Text]
	// "two thirds", but not "bed two third floor"
	if above < 1 || above >= below || above != math.Trunc(above) || ts[j].Plural != (above > 1) {
		return 0, i
	}
	return round6(above / below), j + 1
}

func isSmall(w string) bool {
	_, a := small[w]
	_, b := tens[w]
	return a || b
}

func isDigits(s string) bool {
	for _, r := range s {
		if (r < '0' || r > '9') && r != '.' && r != ',' {
			return false
		}
	}
	return s != ""
}

func at(ts []token, i int, words ...string) bool {
	for k, w := range words {
		if i+k >= len(ts) || ts[i+k].Text != w || k > 0 && ts[i+k-1].after != noPause {
			return false
		}
	}
	return i < len(ts)
}

// decimal reads a cardinal with a decimal part, a fraction, or a half.
func decimal(ts []token, i int) (v float64, end int, frac bool) {
	if at(ts, i, "half") && !at(ts, i, "half", "of") {
		if at(ts, i, "half", "a") || at(ts, i, "half", "an") {
			return 0.5, i + 2, true
		}
		return 0.5, i + 1, true
	}
	if at(ts, i, "point") || at(ts, i, "decimal") {
		if f, j := digits(ts, i+1); j > i+1 {
			return f, j, true
		}
		return 0, i, false
	}
	v, j := cardinal(ts, i)
	if j == i {
		return 0, i, false
	}
	if ts[j-1].after != noPause {
		return v, j, strings.Contains(ts[j-1].Text, ".")
	}
	if at(ts, j, "point") || at(ts, j, "decimal") {
		if f, k := digits(ts, j+1); k > j+1 {
			return v + f, k, true
		}
	}
	if f, k := fraction(ts, i); k > i {
		return f, k, true
	}
	if at(ts, j, "and") {
		if f, k := fraction(ts, j+1); k > j+1 && ts[j].after == noPause {
			return v + f, k, true
		}
	}
	for _, half := range [...][]string{{"and", "half"}, {"1/2"}, {"half"}} {
		if at(ts, j, half...) {
			return v + .5, j + len(half), true
		}
	}
	return v, j, strings.Contains(ts[j-1].Text, ".")
}

// digits reads the digits after "point".
func digits(ts []token, i int) (v float64, end int) {
	scale, j := 0.1, i
	for j < len(ts) {
		w := ts[j].Text
		n, ok := small[w]
		if !ok {
			if m, err := strconv.Atoi(w); err == nil && m >= 0 {
				for _, r := range w {
					v += float64(r-'0') * scale
					scale /= 10
				}
				j++
			}
			break
		}
		if n > 9 { // "point twenty five" reads as .25
			if m, k := cardinal(ts, j); k > j && j == i {
				return m / 100, k
			}
			break
		}
		v += n * scale
		scale /= 10
		j++
		if ts[j-1].after != noPause {
			break
		}
	}
	if _, ok := tens[text(ts, i)]; ok && j == i {
		m, k := cardinal(ts, i)
		if k > i {
			return m / 100, k
		}
	}
	return round6(v), j
}

func text(ts []token, i int) string {
	if i < len(ts) {
		return ts[i].Text
	}
	return ""
}

func round6(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'f', 6, 64), 64)
	return r
}

// readNumber reads a number with its sign, range, scale or second measure.
func readNumber(ts []token, i int) (n number, end int) {
	start := i
	if at(ts, i, "plus") {
		if v, j := cardinal(ts, i+1); j > i+1 {
			n.value, n.sign = v, "+"
			return n.scale(ts, j)
		}
		return n, start
	}
	if at(ts, i, "stage") || at(ts, i, "grade") {
		if v, j := cardinal(ts, i+1); j > i+1 {
			n.value, n.stage = v, ts[i].Text == "stage"
			if !n.stage {
				return n.scale(ts, j)
			}
			return n, j
		}
		if r, ok := roman[text(ts, i+1)]; ok {
			n.value, n.stage = r, ts[i].Text == "stage"
			return n, i + 2
		}
		return n, start
	}
	if v, ok := compact(text(ts, i)); ok {
		return v.scale(ts, i+1)
	}
	v, j, frac := decimal(ts, i)
	if j == i {
		return n, start
	}
	n.value, n.decimal = v, frac
	if ts[j-1].after != noPause && !at(ts, j, "plus") {
		return n, j
	}
	if (at(ts, j, "to") || at(ts, j, "through") || at(ts, j, "or")) && ts[j].after == noPause {
		if w, k, _ := decimal(ts, j+1); k > j+1 && !at(ts, k, "plus") || k > j+1 && at(ts, k, "plus") && n.sign == "" && at(ts, j, "to") {
			n.high, n.isRange = w, true
			n.falling = w < v
			if at(ts, k, "plus") {
				n.sign, k = "+", k+1
			}
			return n.scale(ts, k)
		}
	}
	if at(ts, j, "down", "to") && ts[j+1].after == noPause {
		if w, k, _ := decimal(ts, j+2); k > j+2 && w < v { // "four down to two"
			n.high, n.isRange, n.falling = w, true, true
			return n.scale(ts, k)
		}
	}
	if at(ts, j, "by") || at(ts, j, "x") {
		if w, k, _ := decimal(ts, j+1); k > j+1 {
			n.by, n.isBy = w, true
			return n, k
		}
	}
	return n.scale(ts, j)
}

var roman = map[string]float64{"i": 1, "ii": 2, "iii": 3, "iv": 4}

// scale reads what may follow a number: plus, out of, o'clock.
func (n number) scale(ts []token, j int) (number, int) {
	if j > 0 && ts[j-1].after != noPause && !at(ts, j, "plus") {
		return n, j
	}
	if at(ts, j, "plus") && n.sign == "" {
		if _, k := cardinal(ts, j+1); k == j+1 || ts[j].after != noPause {
			n.sign, j = "+", j+1
		}
	} else if at(ts, j, "minus") && n.sign == "" {
		n.sign, j = "-", j+1
	}
	for _, over := range [...][]string{{"out", "of", "a", "possible"}, {"out", "of"}, {"over"}, {"slash"}, {"of"}} {
		if at(ts, j, over...) && (j == 0 || ts[j-1].after == noPause) {
			if w, k := cardinal(ts, j+len(over)); k > j+len(over) && !n.hasOf {
				n.of, n.hasOf, j = w, true, k
				break
			}
		}
	}
	if at(ts, j, "o'clock") || at(ts, j, "oclock") {
		n.clock, j = true, j+1
	} else if at(ts, j, "o", "clock") {
		n.clock, j = true, j+2
	}
	return n, j
}

// compact reads "2+", "3-4", "5/5", "2x3" and "4mm" is left to splitUnit.
func compact(w string) (number, bool) {
	var n number
	if w == "" || (w[0] < '0' || w[0] > '9') && w[0] != '+' && w[0] != '.' {
		return n, false
	}
	if w[0] == '+' {
		if v, err := strconv.ParseFloat(w[1:], 64); err == nil {
			return number{value: v, sign: "+"}, true
		}
		return n, false
	}
	if s, ok := strings.CutSuffix(w, "+"); ok {
		if v, err := strconv.ParseFloat(s, 64); err == nil {
			return number{value: v, sign: "+"}, true
		}
	}
	if a, b, ok := strings.Cut(w, "/"); ok {
		v, e1 := strconv.ParseFloat(strings.TrimRight(a, "+-"), 64)
		u, e2 := strconv.ParseFloat(b, 64)
		if e1 == nil && e2 == nil {
			if v == 1 && (u == 2 || u == 4) {
				return number{value: v / u, decimal: true}, true
			}
			n := number{value: v, of: u, hasOf: true}
			if strings.HasSuffix(a, "+") {
				n.sign = "+"
			} else if strings.HasSuffix(a, "-") {
				n.sign = "-"
			}
			return n, true
		}
	}
	if a, b, ok := strings.Cut(w, "x"); ok {
		v, e1 := strconv.ParseFloat(a, 64)
		u, e2 := strconv.ParseFloat(b, 64)
		if e1 == nil && e2 == nil {
			return number{value: v, by: u, isBy: true}, true
		}
	}
	if v, err := strconv.ParseFloat(w, 64); err == nil && w[0] == '.' {
		return number{value: v, decimal: true}, true
	}
	return n, false
}
