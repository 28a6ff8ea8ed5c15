package lexicon

import "strings"

// Form is one normalized word: what terms and transcripts are compared by.
type Form struct {
	// Text is lower case, without punctuation, in the singular.
	Text string
	// Plural is true where the word as written was a plural.
	Plural bool
}

// contractions are split so that "can't" and "cannot" read alike; the rest is
// covered by the endings in splitClitic.
var contractions = map[string][]string{
	"cannot": {"can", "not"}, "can't": {"can", "not"}, "won't": {"will", "not"}, "gonna": {"going", "to"},
	"i'm": {"i", "am"}, "let's": {"let", "us"}, "dunno": {"do", "not", "know"}, "wanna": {"want", "to"},
	"gotta": {"got", "to"}, "y'all": {"you", "all"}, "lemme": {"let", "me"}, "didnt": {"did", "not"}, "dont": {"do", "not"},
	"cant": {"can", "not"}, "doesnt": {"does", "not"}, "isnt": {"is", "not"}, "arent": {"are", "not"}, "couldnt": {"could", "not"},
	"wasnt": {"was", "not"}, "theres": {"there", "is"}, "thats": {"that", "is"}, "im": {"i", "am"}, "havent": {"have", "not"},
	"werent": {"were", "not"}, "wouldnt": {"would", "not"}, "shouldnt": {"should", "not"}, "hasnt": {"has", "not"}, "hadnt": {"had", "not"}, "wont": {"will", "not"},
	"ive": {"i", "have"}, "hes": {"he", "is"}, "shes": {"she", "is"}, "theyre": {"they", "are"}, "youre": {"you", "are"}, "theyve": {"they", "have"},
	"weve": {"we", "have"}, "youve": {"you", "have"}, "youll": {"you", "will"}, "theyll": {"they", "will"}, "itll": {"it", "will"}, "thatll": {"that", "will"},
	"whats": {"what", "is"}, "wheres": {"where", "is"}, "heres": {"here", "is"}, "hows": {"how", "is"}, "whos": {"who", "is"}, "theyd": {"they", "would"}, "youd": {"you", "would"},
	"aint": {"is", "not"}, "couldnae": {"could", "not"}, "cannae": {"can", "not"}, "didnae": {"did", "not"}, "doesnae": {"does", "not"}, "isnae": {"is", "not"}, "wasnae": {"was", "not"},
}

// without an apostrophe these are words of their own.
var ambiguous = map[string][]string{
	"ill": {"i", "will"}, "id": {"i", "would"}, "its": {"it", "is"}, "lets": {"let", "us"}, "wed": {"we", "would"},
}

// DropsApostrophe reports a word that can only be a contraction written without its
// apostrophe: "doesnt".
func DropsApostrophe(word string) bool {
	w := strings.ToLower(strings.Trim(word, ".,;:?!"))
	return contractions[w] != nil && strings.IndexByte(w, '\'') < 0 && !slang[w]
}

var slang = map[string]bool{"cannot": true, "gonna": true, "dunno": true, "wanna": true, "gotta": true, "lemme": true}

// Unmarked splits a word that is a contraction where apostrophes are dropped, and
// another word elsewhere: "ill", "its".
func Unmarked(word string) []Form {
	if parts, ok := ambiguous[strings.ToLower(strings.Trim(word, ".,;:?!"))]; ok {
		return formsOf(parts)
	}
	return nil
}

// unitSigns are units that recognizers write as signs behind a number: "88%".
var unitSigns = map[string]string{"%": "percent", "°": "degree", "°c": "celsius", "°f": "fahrenheit", "º": "degree", "ºc": "celsius", "ºf": "fahrenheit"}

// loose are contractions that a transcript writes apart: "do n't".
var loose = map[string]string{"n't": "not", "'s": "is", "'re": "are", "'ll": "will", "'ve": "have", "'d": "would", "'m": "am", "%": "percent"}

// irregular plurals, and words in -s that are no plurals.
var irregular = map[string]Form{
	"nares": {"naris", true}, "sclerae": {"sclera", true}, "conjunctivae": {"conjunctiva", true}, "teeth": {"tooth", true},
	"pinnae": {"pinna", true}, "tragi": {"tragus", true}, "bruits": {"bruit", true}, "foci": {"focus", true}, "petechiae": {"petechia", true},
	"corneae": {"cornea", true}, "aurae": {"aura", true}, "polypi": {"polyp", true}, "bruises": {"bruise", true}, "noses": {"nose", true},
	"this": {"this", false}, "is": {"is", false}, "has": {"has", false}, "was": {"was", false}, "his": {"his", false}, "us": {"us", false},
	"yes": {"yes", false}, "as": {"as", false}, "does": {"does", false}, "its": {"its", false}, "gas": {"gas", false}, "always": {"always", false},
	"herpes": {"herpes", false}, "caries": {"caries", false}, "pus": {"pus", false}, "tms": {"tm", true}, "eoms": {"eom", true}, "lens": {"lens", false},
	"whites": {"whites", true}, "says": {"says", false}, "lice": {"lice", true}, "eyes": {"eye", true}, "axes": {"axis", true}, "diagnoses": {"diagnosis", true}, "yours": {"yours", false}, "hers": {"hers", false},
	"besides": {"besides", false}, "towards": {"towards", false}, "afterwards": {"afterwards", false}, "perhaps": {"perhaps", false}, "sometimes": {"sometimes", false},
	"tonsillitis": {"tonsillitis", false}, "mumps": {"mumps", false}, "hives": {"hives", true}, "glasses": {"glasses", false}, "scabies": {"scabies", false},
}

// plainMarks turns typographic apostrophes and dashes into plain ones.
var plainMarks = strings.NewReplacer("’", "'", "‑", "-", "–", "-", "—", "-")

// british spellings, read as the American ones that the packs use.
var british = map[string]string{
	"colour": "color", "colours": "colors", "coloured": "colored", "colouring": "coloring", "discoloured": "discolored", "discolouration": "discoloration",
	"grey": "gray", "greyish": "grayish", "oedema": "edema", "oedematous": "edematous", "centre": "center", "centred": "centered", "tumour": "tumor",
	"haematoma": "hematoma", "haemorrhage": "hemorrhage", "anaemic": "anemic", "odour": "odor", "odourless": "odorless", "goitre": "goiter",
	"millimetre": "millimeter", "millimetres": "millimeters", "centimetre": "centimeter", "centimetres": "centimeters", "metre": "meter", "mum": "mom", "mould": "mold", "pallor": "pallor",
	"vapour": "vapor", "humour": "humor", "neighbour": "neighbor", "neighbours": "neighbors", "practise": "practice", "paediatric": "pediatric", "ischaemia": "ischemia", "anaesthesia": "anesthesia",
}

// Normalize splits one written word into its normalized forms: "uvula's" gives
// uvula and is, "non-tender" gives non and tender, "Pupils," gives pupil.
func Normalize(word string) []Form {
	w := strings.ToLower(word)
	if !ascii(w) {
		w = plainMarks.Replace(w)
	}
	if whole, ok := loose[w]; ok {
		return formsOf([]string{whole})
	}
	w = strings.Trim(w, ".,;:?!\"()[]{}…-*'")
	if w == "" {
		return nil
	}
	if parts, ok := contractions[w]; ok {
		return formsOf(parts)
	}
	if w == "o'clock" {
		return []Form{{Text: w}}
	}
	if hasDigit(w) {
		return numeric(w)
	}
	if strings.IndexByte(w, '-') < 0 && strings.IndexByte(w, '/') < 0 && ascii(w) {
		return splitClitic(w) // most words
	}
	var out []Form
	for _, part := range strings.FieldsFunc(w, func(r rune) bool { return r == '-' || r == '…' || r == '/' }) {
		out = append(out, splitClitic(part)...)
	}
	return out
}

func ascii(w string) bool {
	for i := range len(w) {
		if w[i] >= 0x80 {
			return false
		}
	}
	return true
}

func formsOf(words []string) []Form {
	out := make([]Form, len(words))
	for i, w := range words {
		out[i] = Form{Text: w}
	}
	return out
}

func splitClitic(w string) []Form {
	if strings.IndexByte(w, '\'') < 0 {
		return nonSplit(strings.Trim(w, ".,"))
	}
	for _, c := range [...]struct{ end, second string }{{"n't", "not"}, {"'s", "is"}, {"'re", "are"}, {"'ll", "will"}, {"'ve", "have"}, {"'d", "would"}, {"'m", "am"}} {
		if head, ok := strings.CutSuffix(w, c.end); ok && head != "" {
			return append(nonSplit(head), Form{Text: c.second})
		}
	}
	return nonSplit(strings.Trim(w, "'.,"))
}

// nonSplit takes "nontender" apart, so that every "non" negates by one rule.
func nonSplit(w string) []Form {
	if rest, ok := strings.CutPrefix(w, "non"); ok && len(rest) >= 5 {
		return []Form{{Text: "non"}, singular(rest)}
	}
	if w == "" {
		return nil
	}
	return []Form{singular(w)}
}

func singular(w string) Form {
	if f, ok := irregular[w]; ok {
		return f
	}
	if us, ok := british[w]; ok {
		w = us
	}
	n := len(w)
	switch {
	case n < 4 || hasDigit(w):
	case strings.HasSuffix(w, "ies") && n > 4:
		return Form{w[:n-3] + "y", true}
	case strings.HasSuffix(w, "sses"), strings.HasSuffix(w, "xes"), strings.HasSuffix(w, "ches"), strings.HasSuffix(w, "shes"), strings.HasSuffix(w, "uses") && n > 5:
		return Form{w[:n-2], true}
	case strings.HasSuffix(w, "ss"), strings.HasSuffix(w, "us"), strings.HasSuffix(w, "is"):
	case strings.HasSuffix(w, "s"):
		return Form{w[:n-1], true}
	}
	return Form{Text: w}
}

func hasDigit(w string) bool { return strings.ContainsAny(w, "0123456789") }

// numeric takes "3mm", "3-4" and "45-degree" apart; "2+", "5/5" and "2.5" stay.
func numeric(w string) []Form {
	var out []Form
	for i, part := range strings.Split(w, "-") {
		if part == "" {
			continue
		}
		if i > 0 && len(out) > 0 && hasDigit(part) && hasDigit(out[len(out)-1].Text) {
			out = append(out, Form{Text: "to"})
		}
		n := strings.LastIndexAny(part, "0123456789")
		if sign, ok := unitSigns[part[n+1:]]; ok && n >= 0 && !isLetter(part[0]) {
			out = append(out, Form{Text: part[:n+1]}, Form{Text: sign})
			continue
		}
		if n < 0 || n == len(part)-1 || !isLetter(part[n+1]) || part[n+1:] == "th" || part[n+1:] == "st" || part[n+1:] == "nd" || part[n+1:] == "rd" || isLetter(part[0]) {
			out = append(out, Form{Text: part})
			continue
		}
		out = append(out, Form{Text: part[:n+1]}, singular(part[n+1:]))
	}
	return out
}

func isLetter(b byte) bool { return b >= 'a' && b <= 'z' }

// Article reports a word that may stand inside any term without changing it.
func Article(word string) bool {
	switch word {
	case "the", "a", "an", "his", "her", "their", "your", "my", "this", "that", "its", "these", "those":
		return true
	}
	return false
}
