package store

import (
	"slices"
	"sync"

	"bedsaid/internal/note"
)

// keptDrafts is how many read drafts are kept in memory: those being worked on.
const keptDrafts = 4

// drafts are drafts that were read. Reading one is most of what a decision costs,
// and a draft is never changed. Each is found by the keyed hash of its row, which
// is checked against the row at every reading, so that a draft that was altered on
// the disk is still refused. They go when the record is closed.
type drafts struct {
	mu  sync.Mutex
	all []keptDraft // the one used last is last
}

type keptDraft struct {
	mac   string
	draft note.Draft
}

func (k *drafts) get(mac []byte) (note.Draft, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	i := slices.IndexFunc(k.all, func(d keptDraft) bool { return d.mac == string(mac) })
	if i < 0 {
		return note.Draft{}, false
	}
	d := k.all[i]
	k.all = append(slices.Delete(k.all, i, i+1), d)
	return d.draft, true
}

func (k *drafts) put(mac []byte, d note.Draft) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.all) >= keptDrafts {
		k.all = slices.Delete(k.all, 0, len(k.all)-keptDrafts+1)
	}
	k.all = append(k.all, keptDraft{string(mac), d})
}

func (k *drafts) drop() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.all = nil
}
