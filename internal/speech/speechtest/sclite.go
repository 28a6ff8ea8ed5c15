// Package speechtest compares the words that were heard with those that were
// spoken: by sclite, by the lexicon's terms, and word by word. Tests and
// measurements use it; the program does not.
package speechtest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
)

// ErrNoSclite says that the scoring tool is not installed.
var ErrNoSclite = errors.New("sclite is not installed (Debian: apt-get install sctk)")

// WordErrors counts how heard words differ from spoken ones.
type WordErrors struct {
	// Words were spoken; of them some were heard as others or not at all, and
	// words that were not spoken were inserted.
	Words, Substituted, Deleted, Inserted int
}

// Rate is the word error rate: 0.1 is 10 %.
func (e WordErrors) Rate() float64 {
	return float64(e.Substituted+e.Deleted+e.Inserted) / float64(max(e.Words, 1))
}

// Add adds other counts.
func (e *WordErrors) Add(o WordErrors) {
	e.Words, e.Substituted = e.Words+o.Words, e.Substituted+o.Substituted
	e.Deleted, e.Inserted = e.Deleted+o.Deleted, e.Inserted+o.Inserted
}

// CompareWords has sclite, of NIST's scoring toolkit (SCTK), align what was
// spoken with what was heard, both brought to one spelling first. ErrNoSclite
// where it is not installed.
func CompareWords(ctx context.Context, spoken, heard string) (WordErrors, error) {
	tool, err := exec.LookPath("sclite")
	if err != nil {
		const packaged = "/usr/lib/sctk/bin/sclite" // where Debian has it
		if _, err := os.Stat(packaged); err != nil {
			return WordErrors{}, ErrNoSclite
		}
		tool = packaged
	}
	dir, err := os.MkdirTemp("", "bedsaid-words-")
	if err != nil {
		return WordErrors{}, fmt.Errorf("compare words: %w", err)
	}
	defer os.RemoveAll(dir)
	ref, hyp := filepath.Join(dir, "ref"), filepath.Join(dir, "hyp")
	for path, text := range map[string]string{ref: spoken, hyp: heard} {
		if err := os.WriteFile(path, []byte(Plain(text)+" (a_1)\n"), 0o600); err != nil {
			return WordErrors{}, fmt.Errorf("compare words: %w", err)
		}
	}
	out, err := exec.CommandContext(ctx, tool, "-r", ref, "trn", "-h", hyp, "trn", "-i", "spu_id", "-o", "rsum", "stdout").Output()
	if err != nil {
		return WordErrors{}, fmt.Errorf("compare words: run sclite: %w", err)
	}
	return parseSum(out)
}

// parseSum reads the line of sums: recordings, words, right, substituted,
// deleted, inserted.
func parseSum(out []byte) (WordErrors, error) {
	for line := range bytes.Lines(out) {
		fields := strings.Fields(strings.ReplaceAll(string(line), "|", " "))
		if len(fields) < 7 || fields[0] != "Sum" {
			continue
		}
		var n [6]int
		for i := range n {
			v, err := strconv.Atoi(fields[i+1])
			if err != nil {
				return WordErrors{}, fmt.Errorf("compare words: sclite's sums are not numbers: %w", err)
			}
			n[i] = v
		}
		return WordErrors{Words: n[1], Substituted: n[3], Deleted: n[4], Inserted: n[5]}, nil
	}
	return WordErrors{}, errors.New("compare words: sclite printed no sums")
}
