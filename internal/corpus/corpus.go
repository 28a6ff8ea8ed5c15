// Package corpus reads cases: examinations written down, each with the findings
// that a careful colleague would chart, in the form that DEVELOPERS.md shows.
// What is expected is a value; who compares it with a draft is package eval.
package corpus

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"bedsaid/internal/transcript"
)

// Case is one examination with what is expected of its draft.
type Case struct {
	ID string `json:"id"`
	// Phenomenon is what the case is about, such as "laterality"; empty outside
	// the corpus of phenomena.
	Phenomenon string    `json:"phenomenon"`
	Text       string    `json:"text"`
	Findings   []Finding `json:"findings"`
	// Marks are doubts that a finding must carry.
	Marks []Mark `json:"marks"`
	// Never names findings, as "id" or "id@side", that must not be charted as
	// assessed.
	Never []string `json:"never"`
	// Quotes are statements of danger to be quoted word for word.
	Quotes []string `json:"quotes"`
	// Attention is what must be listed for action.
	Attention []Attention `json:"attention"`
	// Scope is what the recording says was examined, as the names that --exam
	// takes, with commas; empty where the case does not say.
	Scope string `json:"scope"`
	// AttentionNone is true where no finding may be listed for action.
	AttentionNone bool `json:"attention_none"`
}

// Finding is one expected finding.
type Finding struct {
	ID   string `json:"id"`
	Side string `json:"side"`
	Zone string `json:"zone"`
	// Status is "assessed", "not_assessed", or empty for assessed.
	Status string `json:"status"`
	Value  Value  `json:"value"`
	High   Value  `json:"value_high"`
	Unit   string `json:"unit"`
	// Qualifiers are in the contract's keys.
	Qualifiers map[string]string `json:"qualifiers"`
	// Source is "observed", "reported", or empty for observed.
	Source string `json:"source"`
}

// Mark is an expected doubt.
type Mark struct {
	ID   string `json:"id"`
	Side string `json:"side"`
	Kind string `json:"kind"`
}

// Attention is an expected line of what wants action.
type Attention struct {
	ID   string `json:"id"`
	Side string `json:"side"`
	// Words are quoted where there is no ID.
	Words string `json:"words"`
}

// Value is a word or a number in decimal digits; empty where there is none.
type Value string

// UnmarshalJSON reads a string, a number or null.
func (v *Value) UnmarshalJSON(data []byte) error {
	data = bytes.TrimSpace(data)
	switch {
	case string(data) == "null":
		*v = ""
		return nil
	case len(data) > 0 && data[0] == '"':
		return json.Unmarshal(data, (*string)(v))
	}
	n, err := strconv.ParseFloat(string(data), 64)
	if err != nil {
		return fmt.Errorf("read value: neither a word nor a number")
	}
	*v = Value(strconv.FormatFloat(n, 'f', -1, 64))
	return nil
}

// String keeps a case's words out of logs: its id stands for it.
func (c Case) String() string { return "case " + c.ID }

// GoString does the same for %#v.
func (c Case) GoString() string { return c.String() }

// Transcript gives the words of the case as if typed.
func (c Case) Transcript() transcript.Transcript { return transcript.FromText(c.Text) }

// Load reads the cases that paths name: files with one case or a list of them,
// and folders, which are searched to their depth for *.json. The order is that
// of the paths, in a folder that of the names. No case at all is an error, and
// so are two of one id.
func Load(paths ...string) ([]Case, error) {
	var out []Case
	seen := map[string]string{}
	for _, p := range paths {
		files, err := under(p)
		if err != nil {
			return nil, fmt.Errorf("load cases: %w", err)
		}
		for _, f := range files {
			cases, err := read(f)
			if err != nil {
				return nil, fmt.Errorf("load cases: %s: %w", f, err)
			}
			for _, c := range cases {
				if other, twice := seen[c.ID]; twice {
					return nil, fmt.Errorf("load cases: %s: id %s stands in %s too", f, c.ID, other)
				}
				seen[c.ID] = f
				out = append(out, c)
			}
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("load cases: none in %s", strings.Join(paths, ", "))
	}
	return out, nil
}

func under(p string) ([]string, error) {
	info, err := os.Stat(p)
	if err != nil || !info.IsDir() {
		return []string{p}, err
	}
	var out []string
	err = filepath.WalkDir(p, func(name string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() && filepath.Ext(name) == ".json" {
			out = append(out, name)
		}
		return err
	})
	slices.Sort(out)
	return out, err
}

func read(name string) ([]Case, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	var out []Case
	if data = bytes.TrimSpace(data); len(data) > 0 && data[0] == '[' {
		err = json.Unmarshal(data, &out)
	} else {
		out = make([]Case, 1)
		err = json.Unmarshal(data, &out[0])
	}
	if err != nil {
		return nil, err
	}
	for _, c := range out {
		if c.ID == "" || strings.TrimSpace(c.Text) == "" {
			return nil, fmt.Errorf("a case without id or text")
		}
	}
	return out, nil
}
