package lexicon

import (
	"math"
	"math/bits"
	"strings"
)

// Sound gives a coarse code of how an English word is spoken: consonants by
// class, each run of vowels as one V. Words that are easily misheard for each
// other have near codes: "conjunk tiva" and "conjunctiva" the same. The rules
// are our own; they serve terms that no pronouncing dictionary lists.
func Sound(word string) string {
	w := strings.ToLower(word)
	var room [48]byte
	b := room[:0]
	put := func(c byte) {
		if len(b) > 0 && b[len(b)-1] == c {
			return // double letters and vowel runs sound once
		}
		b = append(b, c)
	}
	at := func(i int) byte {
		if i >= 0 && i < len(w) {
			return w[i]
		}
		return 0
	}
	vowel := func(c byte) bool { return strings.IndexByte("aeiouy", c) >= 0 && c != 0 }
	for i := 0; i < len(w); i++ {
		c := w[i]
		rest := w[i:]
		switch {
		case i == 0 && c == 'u' && !vowel(at(1)) && vowel(at(2)):
			put('y') // uvula begins with the sound of you
			put('V')
		case i == 0 && c == 'y' && vowel(at(1)):
			put('y')
		case i == 0 && (strings.HasPrefix(rest, "pt") || strings.HasPrefix(rest, "kn") || strings.HasPrefix(rest, "gn") || strings.HasPrefix(rest, "ps") || strings.HasPrefix(rest, "pn")):
			// silent
		case strings.HasPrefix(rest, "tch"):
			put('C')
			i += 2
		case strings.HasPrefix(rest, "sch"):
			put('s')
			put('k')
			i += 2
		case strings.HasPrefix(rest, "ch"):
			if i > 0 && vowel(at(i-1)) && vowel(at(i+2)) {
				put('k') // trachea
			} else {
				put('C')
			}
			i++
		case strings.HasPrefix(rest, "ph"):
			put('f')
			i++
		case strings.HasPrefix(rest, "gh"):
			i++
		case strings.HasPrefix(rest, "th"):
			put('T')
			i++
		case strings.HasPrefix(rest, "sh"), strings.HasPrefix(rest, "tion"):
			put('S')
			i++
			if c == 't' {
				put('V')
				i++
			}
		case strings.HasPrefix(rest, "ck"):
			put('k')
			i++
		case strings.HasPrefix(rest, "qu"):
			put('k')
			put('w')
			i++
		case vowel(c):
			if c == 'e' && i == len(w)-1 && i > 2 && !vowel(at(i-1)) {
				continue // silent at the end
			}
			put('V')
		case c == 'w':
			if i > 0 && vowel(at(i-1)) {
				put('V')
			} else {
				put('w')
			}
		case c == 'h':
			if i == 0 {
				put('h')
			}
		case c == 'c':
			if n := at(i + 1); n == 'e' || n == 'i' || n == 'y' {
				put('s')
			} else {
				put('k')
			}
		case c == 'g':
			if n := at(i + 1); n == 'e' || n == 'i' || n == 'y' {
				put('j')
			} else {
				put('g')
			}
		case c == 'q':
			put('k')
		case c == 'x':
			put('k')
			put('s')
		case c == 'z':
			put('s')
		case c >= 'a' && c <= 'z':
			put(c)
		}
	}
	return string(b)
}

// nearSounds are pairs that are cheaper to take for one another than others, by
// their cost. That sounds which share place or manner are taken for one another is
// an old finding (Miller and Nicely 1955, table of confusions); the figures are
// ours, chosen on what synthetic voices were heard as (docs/speech.md).
var nearSounds = []struct {
	cost  float32
	pairs string
}{
	{0.3, "bp dt gk fv jC sS bv Tt Tf"},
	{0.4, "Ck SC sC Ts Td mn jg wV yV hf"},
	{0.5, "pt tk bd bg dg lr rw sf mb nd fp hT"},
	{0.7, "pk dp gt bt kd ln rn wl ks ms hk"},
}

// soundCosts is the cost of taking one sound for another, by their bytes.
var soundCosts = func() (t [128][128]float32) {
	for a := range t {
		for b := range t[a] {
			if a != b {
				t[a][b] = 1
			}
		}
	}
	for _, near := range nearSounds {
		for _, p := range strings.Fields(near.pairs) {
			t[p[0]][p[1]], t[p[1]][p[0]] = near.cost, near.cost
		}
	}
	return t
}()

func soundCost(a, b byte) float64 { return float64(soundCosts[a&127][b&127]) }

// dropCost is the cost of a sound that only one of two codes has: vowels, r, l and
// h are slurred more than the rest.
func dropCost(c byte) float64 {
	switch c {
	case 'V':
		return 0.35
	case 'r', 'l', 'h', 's', 't', 'd':
		return 0.6
	}
	return 0.9
}

// SoundDistance is the cost of turning one code into the other.
func SoundDistance(a, b string) float64 { return soundWithin(a, b, math.Inf(1)) }

// soundWithin is the distance of two codes, or anything above most where it is
// above: what is too far already is not followed to its end.
func soundWithin(a, b string, most float64) float64 {
	var one, two [40]float64
	if len(b) >= len(one) {
		return float64(len(a) + len(b)) // longer than any term
	}
	prev, cur := one[:len(b)+1], two[:len(b)+1]
	for j := 1; j <= len(b); j++ {
		prev[j] = prev[j-1] + dropCost(b[j-1])
	}
	for i := 1; i <= len(a); i++ {
		drop, costs := dropCost(a[i-1]), &soundCosts[a[i-1]&127]
		cur[0] = prev[0] + drop
		least := cur[0]
		for j := 1; j <= len(b); j++ {
			c := b[j-1]
			cur[j] = min(prev[j-1]+float64(costs[c&127]), prev[j]+drop, cur[j-1]+dropCost(c))
			least = min(least, cur[j])
		}
		if least > most {
			return least
		}
		prev, cur = cur, prev
	}
	return prev[len(b)]
}

// hardWord is a term that recognizers often mishear, with its sound.
type hardWord struct {
	word, code string
	sounds     soundSet
	forms      []Form
}

// soundSet holds which sounds a code has, a bit for each letter.
type soundSet uint64

func soundsOf(code string) (set soundSet) {
	for i := range len(code) {
		set |= 1 << (code[i] & 63) // letters of both cases differ in these bits
	}
	return set
}

// apart is a distance that two codes with these sounds have at the least: each
// sound that the other lacks must be taken for another or be dropped, and the
// cheapest of that is to drop a vowel.
func (a soundSet) apart(b soundSet) float64 {
	return dropCost('V') * float64(max(bits.OnesCount64(uint64(a&^b)), bits.OnesCount64(uint64(b&^a))))
}

// Repair finds the hard word of the packs that sounds like text (one or more
// words written as one). dist is the share of its sound that differs. Text that
// was heard ill may differ by more.
func (l *Lexicon) Repair(text string, ill bool) (word string, forms []Form, dist float64, ok bool) {
	code := Sound(text)
	if len(code) < 4 {
		return "", nil, 0, false
	}
	// ahead is by how much the best must be better than the next.
	const ahead = 0.03
	sounds := soundsOf(code)
	best, second := 9.0, 9.0
	var hit *hardWord
	for i := range l.hard {
		h := &l.hard[i]
		d := len(h.code) - len(code)
		if d > 3 || d < -3 || soundCost(h.code[0], code[0]) > 0.7 {
			continue
		}
		long := float64(len(h.code))
		most := (soundLimit(len(h.code), ill)+ahead)*long + 1e-6
		if sounds.apart(h.sounds) > most {
			continue
		}
		v := soundWithin(code, h.code, most) / long
		if v < best {
			best, second, hit = v, best, h
		} else if v < second {
			second = v
		}
	}
	if hit == nil || best > soundLimit(len(hit.code), ill) || second-best < ahead && best > 0 {
		return "", nil, 0, false
	}
	return hit.word, hit.forms, best, true
}

// soundLimit is the share of a hard word's sound, by the length of its code, that
// may differ in what is read as it. A short one has little to differ in; what was
// heard ill may differ by more.
func soundLimit(length int, ill bool) float64 {
	switch {
	case length <= 5 && ill:
		return 0.08
	case length <= 5:
		return 0.01
	case ill:
		return 0.2
	}
	return 0.11
}
