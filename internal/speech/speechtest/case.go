// Package speechtest compares what was heard and charted from a recording with
// what was spoken: words by sclite, the lexicon's terms, and findings as the
// contract of the draft scores them. Tests and measurements use it; the program
// does not.
package speechtest

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
)

// Case is one examination: what was said, what is to be charted, and in Never
// what must not be charted as assessed ("id" or "id@side").
type Case struct {
	ID       string   `json:"id"`
	Text     string   `json:"text"`
	Findings []Gold   `json:"findings"`
	Never    []string `json:"never"`
}

// Gold is a finding that a case expects.
type Gold struct {
	ID     string `json:"id"`
	Side   string `json:"side,omitempty"`   // right, left, both or empty
	Zone   string `json:"zone,omitempty"`   // of a finding that has zones
	Status string `json:"status,omitempty"` // assessed where empty
	Value  any    `json:"value"`            // a word, a number or nil
	Source string `json:"source,omitempty"` // observed where empty
}

// Load reads the cases that the patterns name, a file holding one case or a
// list of them. That no case is found, or one without an id, is an error.
func Load(patterns ...string) ([]Case, error) {
	var out []Case
	for _, pattern := range patterns {
		paths, err := filepath.Glob(pattern)
		if err != nil || len(paths) == 0 {
			return nil, fmt.Errorf("load cases: there is no %s", pattern)
		}
		slices.Sort(paths)
		for _, p := range paths {
			cases, err := read(p)
			if err != nil {
				return nil, fmt.Errorf("load cases: %s: %w", p, err)
			}
			out = append(out, cases...)
		}
	}
	return out, nil
}

func read(path string) ([]Case, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var many []Case
	if json.Unmarshal(data, &many) != nil {
		var one Case
		if err := json.Unmarshal(data, &one); err != nil {
			return nil, err
		}
		many = []Case{one}
	}
	for _, c := range many {
		if c.ID == "" || c.Text == "" {
			return nil, errors.New("a case has no id or no text")
		}
	}
	return many, nil
}

// fact is what is said of one finding at one place: its status and value.
func (g Gold) fact() string {
	value := ""
	switch v := g.Value.(type) {
	case string:
		value = v
	case float64:
		value = strconv.FormatFloat(v, 'f', -1, 64)
	}
	return factOf(g.Status, value)
}

func factOf(status, value string) string {
	if status == "" {
		status = "assessed"
	}
	return status + " " + value
}
