package export

import (
	"reflect"
	"strconv"
	"strings"

	"bedsaid/internal/note"
)

// series joins entries that were said in one breath of numbered items and say
// the same ("cranial nerves two through twelve intact"), so that the note has
// one line where the speaker had one. Nothing is lost: the line names all.
func series(entries []note.Entry) []note.Entry {
	var out []note.Entry
	for i := 0; i < len(entries); {
		name, first, ok := numbered(entries[i].Item.Name)
		j, last := i+1, first
		for ok && j < len(entries) {
			next, n, isNumbered := numbered(entries[j].Item.Name)
			if !isNumbered || next != name || n != last+1 || !sayTheSame(entries[i], entries[j]) {
				break
			}
			j, last = j+1, n
		}
		e := entries[i]
		if j > i+1 {
			e.Item.Name = name + "s " + strconv.Itoa(first) + " to " + strconv.Itoa(last)
		}
		out = append(out, e)
		i = j
	}
	return out
}

// numbered splits "cranial nerve 2".
func numbered(name string) (noun string, n int, ok bool) {
	i := strings.LastIndexByte(name, ' ')
	if i < 0 {
		return "", 0, false
	}
	n, err := strconv.Atoi(name[i+1:])
	return name[:i], n, err == nil
}

func sayTheSame(a, b note.Entry) bool {
	return Statement(a) == Statement(b) && a.Interpretation == b.Interpretation &&
		reflect.DeepEqual(a.Marks, b.Marks) && reflect.DeepEqual(a.Evidence, b.Evidence)
}
