package eval

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
)

// Floor is what each phenomenon once reached and must not fall below, by name. A
// phenomenon that it does not name is not held yet.
type Floor map[string]Level

// Level is one floor.
type Level struct {
	// Cases and Expected are what it was reached on: how many cases with how many
	// findings. Cases that were added since may all be wrong; what was reached on
	// the old ones must stay.
	Cases    int `json:"cases"`
	Expected int `json:"expected"`
	// F1 is 0 to 1, cut after two decimals.
	F1 float64 `json:"f1"`
	// Unseen is the most that may be charted wrong without a mark: side, value,
	// expected.
	Unseen int `json:"unseen"`
	// Listed is how many lines that want action were there, of words and findings;
	// Vain the most that may be listed where a case says that none is.
	Listed int `json:"listed,omitempty"`
	Vain   int `json:"vain,omitempty"`
}

// ReadFloor reads the floor of a file; a file that is not there holds nothing.
func ReadFloor(name string) (Floor, error) {
	data, err := os.ReadFile(name)
	if os.IsNotExist(err) {
		return Floor{}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read floor: %w", err)
	}
	var f Floor
	if err := json.Unmarshal(data, &f); err != nil {
		return nil, fmt.Errorf("read floor: %w", err)
	}
	return f, nil
}

func levelOf(g Group) Level {
	return Level{Cases: g.Cases, Expected: g.Expected, F1: math.Floor(g.F1()*100) / 100, Unseen: g.Unseen(),
		Listed: g.Quotes + g.Attention, Vain: g.QuotesMore + g.AttentionMore}
}

// on gives the level that g must reach, with the cases it has now.
func (l Level) on(g Group) Level {
	if more := max(0, g.Expected-l.Expected) + max(0, g.Cases-l.Cases); more > 0 {
		l.Unseen += more
		l.Vain += more
		l.F1 = math.Floor(l.F1*float64(l.Expected)/float64(max(g.Expected, l.Expected))*100) / 100
	}
	return l
}

// Broken says, one line each, what fell below.
func (f Floor) Broken(groups []Group) []string {
	var out []string
	for _, g := range groups {
		level, held := f[g.Name]
		if !held {
			continue
		}
		level = level.on(g)
		switch now := levelOf(g); {
		case now.F1 < level.F1:
			out = append(out, fmt.Sprintf("%s: F1 %.4f fell below its floor %.3f", g.Name, g.F1(), level.F1))
		case now.Unseen > level.Unseen:
			out = append(out, fmt.Sprintf("%s: %d are wrong without a mark, more than the %d that its floor allows", g.Name, now.Unseen, level.Unseen))
		case now.Listed < level.Listed:
			out = append(out, fmt.Sprintf("%s: %d lines that want action are there, fewer than the %d of its floor", g.Name, now.Listed, level.Listed))
		case now.Vain > level.Vain:
			out = append(out, fmt.Sprintf("%s: %d lines want action without cause, more than the %d that its floor allows", g.Name, now.Vain, level.Vain))
		}
	}
	return out
}

// Raise lifts the floor where groups are better, and sets it anew where cases
// were added; what is broken it leaves alone.
func (f Floor) Raise(groups []Group) {
	for _, g := range groups {
		now := levelOf(g)
		have, held := f[g.Name]
		switch {
		case held && len(f.Broken([]Group{g})) > 0:
			continue
		case held && have.Cases == now.Cases && have.Expected == now.Expected:
			now.F1, now.Unseen = max(now.F1, have.F1), min(now.Unseen, have.Unseen)
			now.Listed, now.Vain = max(now.Listed, have.Listed), min(now.Vain, have.Vain)
		}
		f[g.Name] = now
	}
}

// Write writes the floor, one phenomenon a line.
func (f Floor) Write(name string) error {
	text := "{\n"
	names := slices.Sorted(maps.Keys(f))
	for i, k := range names {
		line, err := json.Marshal(f[k])
		if err != nil {
			return fmt.Errorf("write floor: %w", err)
		}
		text += fmt.Sprintf("  %q: %s", k, line)
		if i < len(names)-1 {
			text += ","
		}
		text += "\n"
	}
	if err := os.WriteFile(name, []byte(text+"}\n"), 0o644); err != nil {
		return fmt.Errorf("write floor: %w", err)
	}
	return nil
}
