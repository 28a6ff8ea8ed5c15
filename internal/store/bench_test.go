package store

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
	"bedsaid/internal/transcript"
)

// The benchmarks behind the figures in docs/record.md:
//
//	go test ./internal/store -run xxx -bench . -benchtime 200x

// tenFindings is a draft of ten findings over a hundred words.
func tenFindings() note.Draft {
	tr := transcript.FromText(strings.Repeat("trachea is midline and the left drum was seen well ", 10))
	var set finding.Set
	for i := range 10 {
		set.Findings = append(set.Findings, finding.Finding{ID: "neck.trachea", Status: finding.Assessed, Value: finding.Word("midline"), Source: finding.Observed,
			Evidence: []transcript.Span{{Start: 10 * i, End: 10*i + 10}}})
	}
	return note.Compose(note.Source{Name: "typed.txt", Transcript: tr}, set, outline())
}

// plainSession works in a record without its cipher, to tell what the cipher costs.
func plainSession(b *testing.B) *Session {
	b.Helper()
	dir := b.TempDir()
	s := &Store{dir: dir, opt: options(), layer: "os"}
	var err error
	if s.keys, err = newSecrets(randomBytes(keySize)); err == nil {
		s.db, err = openDatabase(filepath.Join(dir, recordName), s.layer, true)
	}
	if err == nil {
		s.anchor, err = openAnchor(dir, s.keys)
	}
	if err == nil {
		err = s.migrate(bg, true)
	}
	u := User{ID: newID("u"), Login: "anna", Name: anna.Name, Role: anna.Role}
	if err == nil {
		err = s.write(bg, func(t *tx) error { return t.putUser(u, 1) })
	}
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	return &Session{s: s, user: u, viewed: map[string]bool{}}
}

func sealedSession(b *testing.B) *Session {
	b.Helper()
	x, _, err := Create(bg, filepath.Join(b.TempDir(), "record"), anna, passphrase, options())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { x.Close() })
	return x
}

func BenchmarkRecord(b *testing.B) {
	for _, kind := range []struct {
		name string
		open func(*testing.B) *Session
	}{{"encrypted", sealedSession}, {"plain", plainSession}} {
		b.Run(kind.name, func(b *testing.B) {
			x := kind.open(b)
			var last NoteInfo
			d := tenFindings()
			made := 0
			fill := func(to int) {
				for ; made < to; made++ {
					e, err := x.NewEncounter(bg, details())
					if err == nil {
						last, err = x.SaveDraft(bg, e.ID, "", d)
					}
					if err != nil {
						b.Fatal(err)
					}
				}
			}
			e, err := x.NewEncounter(bg, details())
			if err != nil {
				b.Fatal(err)
			}
			w, err := x.StartRecording(bg, e.ID, wristband)
			if err != nil {
				b.Fatal(err)
			}
			half := tone(0.5)
			b.Run("append-half-a-second", func(b *testing.B) {
				for b.Loop() {
					if err := w.Append(bg, half); err != nil {
						b.Fatal(err)
					}
				}
			})
			b.Run("read-half-a-second", func(b *testing.B) {
				for b.Loop() {
					if _, err := x.Sound(bg, w.Recording().ID, 0, piece); err != nil {
						b.Fatal(err)
					}
				}
			})
			for _, n := range []int{1000, 10000} {
				fill(n)
				b.Run(fmt.Sprintf("list-100-of-%d", n), func(b *testing.B) {
					for b.Loop() {
						if l, err := x.Encounters(bg, Page{}); err != nil || len(l) != 100 {
							b.Fatal(len(l), err)
						}
					}
				})
				b.Run(fmt.Sprintf("note-of-%d", n), func(b *testing.B) {
					for b.Loop() {
						if _, err := x.Note(bg, last.ID); err != nil {
							b.Fatal(err)
						}
					}
				})
			}
			b.ReportMetric(float64(made*10), "findings")
		})
	}
}
