package export

import (
	"strings"
	"unicode"
)

// maxName leaves room for an ending within the 255 bytes that file systems
// allow for a name.
const maxName = 120

// FileName makes a name that any file system takes and no shell or viewer reads
// as anything else: letters, digits, dots inside, dashes and underscores, and no
// name that is a device on Windows. Something is always left.
func FileName(name string) string {
	var b strings.Builder
	for _, r := range name {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r) || r == '.' || r == '_':
		default:
			r = '-'
		}
		if b.Len()+len(string(r)) > maxName {
			break
		}
		b.WriteRune(r)
	}
	out := strings.Trim(b.String(), ".-")
	base, _, _ := strings.Cut(strings.ToLower(out), ".")
	switch {
	case out == "":
		return "note"
	case base == "con" || base == "prn" || base == "aux" || base == "nul",
		len(base) == 4 && (strings.HasPrefix(base, "com") || strings.HasPrefix(base, "lpt")) && base[3] >= '0' && base[3] <= '9':
		return "note-" + out
	}
	return out
}
