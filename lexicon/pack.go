package lexicon

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

//go:embed packs/*.toml
var builtin embed.FS

// PackInfo names a pack that took part in a draft.
type PackInfo struct {
	Name    string
	Version string
	// SHA256 is the checksum of the pack's file, in hex.
	SHA256 string
}

// Problem is one complaint about a pack, with its place and a way to mend it.
type Problem struct {
	File string
	// Line counts from 1; 0 where the place is not known.
	Line int
	// What is the complaint, Hint what to do.
	What, Hint string
}

func (p Problem) Error() string {
	where := p.File
	if p.Line > 0 {
		where = fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	if p.Hint == "" {
		return where + ": " + p.What
	}
	return where + ": " + p.What + " (" + p.Hint + ")"
}

// packFile is the form of a pack on disk.
type packFile struct {
	Name      string        `toml:"name"`
	Title     string        `toml:"title"`
	Version   string        `toml:"version"`
	Hard      []string      `toml:"hard"`
	Regions   []regionDef   `toml:"region"`
	Sites     []siteDef     `toml:"site"`
	Findings  []findingDef  `toml:"finding"`
	Summaries []summaryDef  `toml:"summary"`
	Cues      []cueDef      `toml:"cue"`
	Sides     []sideDef     `toml:"side"`
	Details   []detailDef   `toml:"detail"`
	Units     []unitDef     `toml:"unit"`
	Places    []placeDef    `toml:"place"`
	Heard     []heardDef    `toml:"heard"`
	Attention []attentionDf `toml:"attention"`
	Examples  []exampleDef  `toml:"example"`
}

type regionDef struct {
	ID    string   `toml:"id"`
	Title string   `toml:"title"`
	Exams []string `toml:"exams"`
	Terms []string `toml:"terms"`
}

type siteDef struct {
	ID      string   `toml:"id"`
	In      string   `toml:"in"`
	Region  string   `toml:"region"`
	Paired  bool     `toml:"paired"`
	Terms   []string `toml:"terms"`
	Adjs    []string `toml:"adjectives"`
	Finding string   `toml:"finding"`
	General bool     `toml:"general"`
	Unable  string   `toml:"unable"`
}

type findingDef struct {
	ID        string              `toml:"id"`
	Name      string              `toml:"name"`
	Region    string              `toml:"region"`
	Sides     string              `toml:"sides"`
	Kind      string              `toml:"kind"`
	Values    []string            `toml:"values"`
	Unit      string              `toml:"unit"`
	Expected  map[string][]string `toml:"expected"`
	Meaning   string              `toml:"meaning"`
	Asked     string              `toml:"asked"`
	At        []string            `toml:"at"`
	Also      []string            `toml:"also"`
	Names     []string            `toml:"names"`
	Nouns     []string            `toml:"nouns"`
	Says      map[string][]string `toml:"says"`
	Alone     map[string][]string `toml:"alone"`
	Not       map[string]string   `toml:"not"`
	Yes       string              `toml:"yes"`
	No        string              `toml:"no"`
	Normal    string              `toml:"normal"`
	EndsSide  bool                `toml:"ends_side"`
	NamedOnly bool                `toml:"named_only"`
	Strict    bool                `toml:"strict"`
	Named     string              `toml:"named"`
	NamedKey  string              `toml:"named_detail"`
	Plain     []string            `toml:"plain"`
	Details   []string            `toml:"details"`
	Range     []float64           `toml:"plausible"`
	AgeBound  bool                `toml:"age_bound"`
	Together  []string            `toml:"together"`
	Covers    []string            `toml:"covers"`
}

type summaryDef struct {
	Terms  []string          `toml:"terms"`
	Chart  []string          `toml:"chart"`
	Mark   string            `toml:"mark"`
	Detail map[string]string `toml:"detail"`
}

type cueDef struct {
	Kind  string   `toml:"kind"`
	Terms []string `toml:"terms"`
	// First and Then are halves of terms: each first with each then.
	First []string `toml:"first"`
	Then  []string `toml:"then"`
}

type sideDef struct {
	Side  string   `toml:"side"`
	Terms []string `toml:"terms"`
}

type detailDef struct {
	Key   string   `toml:"key"`
	Value string   `toml:"value"`
	Terms []string `toml:"terms"`
}

type unitDef struct {
	Unit  string   `toml:"unit"`
	Kind  string   `toml:"kind"`
	Scale float64  `toml:"scale"`
	Terms []string `toml:"terms"`
}

type placeDef struct {
	In    string   `toml:"in"`
	Terms []string `toml:"terms"`
}

type heardDef struct {
	For   string   `toml:"for"`
	Terms []string `toml:"terms"`
	Near  []string `toml:"near"`
}

type attentionDf struct {
	ID      string   `toml:"id"`
	Values  []string `toml:"values"`
	Detail  string   `toml:"detail"`
	Equals  []string `toml:"equals"`
	Above   float64  `toml:"above"`
	Urgency string   `toml:"urgency"`
	Why     string   `toml:"why"`
	Source  string   `toml:"source"`
	Quote   []string `toml:"quote"`
}

type exampleDef struct {
	Say    string   `toml:"say"`
	Expect []string `toml:"expect"`
}

// Builtin loads the packs that are built into the program.
func Builtin() (*Lexicon, error) { return load(builtin, "packs") }

// load reads every *.toml in dir; all complaints are joined into one error.
func load(fsys fs.FS, dir string) (*Lexicon, error) {
	names, err := fs.Glob(fsys, path.Join(dir, "*.toml"))
	if err != nil || len(names) == 0 {
		return nil, fmt.Errorf("load packs: no *.toml in %s", dir)
	}
	sort.Strings(names)
	// common.toml holds what every body system shares and comes first.
	sort.SliceStable(names, func(i, j int) bool {
		return path.Base(names[i]) == "common.toml" && path.Base(names[j]) != "common.toml"
	})
	b := newBuilder()
	for _, name := range names {
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, fmt.Errorf("read pack %s: %w", name, err)
		}
		pf, problems := decode(path.Base(name), data)
		b.problems = append(b.problems, problems...)
		if pf != nil {
			b.add(path.Base(name), data, pf)
		}
	}
	return b.finish()
}

// decode parses strictly: an unknown key is a complaint with its line.
func decode(file string, data []byte) (*packFile, []Problem) {
	var pf packFile
	dec := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
	err := dec.Decode(&pf)
	if err == nil {
		return &pf, nil
	}
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		var out []Problem
		for _, e := range strict.Errors {
			line, _ := e.Position()
			out = append(out, Problem{file, line, "unknown key " + strings.Join(e.Key(), "."), "see docs/lexicon.md for the keys"})
		}
		return &pf, out
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, _ := de.Position()
		return nil, []Problem{{file, line, de.Error(), ""}}
	}
	return nil, []Problem{{file, 0, err.Error(), ""}}
}

// lineOf finds the line on which a quoted string first stands in a pack.
func lineOf(data []byte, text string) int {
	i := bytes.Index(data, []byte(`"`+text+`"`))
	if i < 0 {
		return 0
	}
	return 1 + bytes.Count(data[:i], []byte("\n"))
}

func sum(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}
