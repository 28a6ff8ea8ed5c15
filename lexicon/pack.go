package lexicon

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

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
	// Minor complaints leave the pack usable: a word too many, no example.
	Minor bool
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
	Order     []string      `toml:"order"`
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
	Voices    []voiceDef    `toml:"voice"`
	Exams     []examDef     `toml:"exam"`
	Extends   []extendDef   `toml:"extend"`
	Examples  []exampleDef  `toml:"example"`
	Wordings  []wordingDef  `toml:"wording"`
	Sections  []Section     `toml:"section"`
	Panels    []Panel       `toml:"panel"`
	Vitals    []Vital       `toml:"vital"`
	Codes     []Code        `toml:"code"`
	Aliases   []aliasDef    `toml:"alias"`

	Techniques []techniqueDef `toml:"technique"`
}

type regionDef struct {
	ID    string   `toml:"id"`
	Title string   `toml:"title"`
	Exams []string `toml:"exams"`
	Organ string   `toml:"organ"`
	Named []string `toml:"named"`
	Body  bool     `toml:"body"`
}

type siteDef struct {
	ID     string   `toml:"id"`
	In     string   `toml:"in"`
	Region string   `toml:"region"`
	Paired bool     `toml:"paired"`
	Terms  []string `toml:"terms"`
	// Again are words that mean the site only where it is in talk already.
	Again    []string `toml:"again"`
	Adjs     []string `toml:"adjectives"`
	Finding  string   `toml:"finding"`
	General  bool     `toml:"general"`
	Unable   string   `toml:"unable"`
	Wide     bool     `toml:"wide"`
	Anywhere bool     `toml:"anywhere"`
	Each     bool     `toml:"each"`
	Organs   bool     `toml:"organs"`
}

type findingDef struct {
	ID       string              `toml:"id"`
	Name     string              `toml:"name"`
	Region   string              `toml:"region"`
	Sides    string              `toml:"sides"`
	Kind     string              `toml:"kind"`
	Values   []string            `toml:"values"`
	Unit     string              `toml:"unit"`
	Expected map[string][]string `toml:"expected"`
	Meaning  string              `toml:"meaning"`
	Asked    string              `toml:"asked"`
	At       []string            `toml:"at"`
	Also     []string            `toml:"also"`
	wordsDef
	Not       map[string]string `toml:"not"`
	Yes       string            `toml:"yes"`
	No        string            `toml:"no"`
	Normal    string            `toml:"normal"`
	EndsSide  bool              `toml:"ends_side"`
	NamedOnly bool              `toml:"named_only"`
	Strict    bool              `toml:"strict"`
	Named     string            `toml:"named"`
	NamedKey  string            `toml:"named_detail"`
	Plain     []string          `toml:"plain"`
	Details   []string          `toml:"details"`
	Range     []float64         `toml:"plausible"`
	Measures  []Measure         `toml:"measures"`
	Second    []float64         `toml:"second"`
	Tenths    bool              `toml:"tenths"`
	Parts     []Part            `toml:"parts"`
	Untested  []string          `toml:"untestable"`
	UnitKeys  map[string]string `toml:"unit_details"`
	Source    string            `toml:"source"`
	Directed  []string          `toml:"directed"`
	Implied   bool              `toml:"implied"`
	Falling   string            `toml:"falling"`
	Compares  *Comparison       `toml:"compares"`
	AgeBound  bool              `toml:"age_bound"`
	Together  []string          `toml:"together"`
	Covers    []string          `toml:"covers"`
}

// wordsDef is what a finding and an addition to one have in common.
type wordsDef struct {
	Names []string            `toml:"names"`
	Nouns []string            `toml:"nouns"`
	Says  map[string][]string `toml:"says"`
	Alone map[string][]string `toml:"alone"`
}

// extendDef adds to a finding or a site of another pack.
type extendDef struct {
	Finding string `toml:"finding"`
	wordsDef
	Name    string    `toml:"name"`
	Asked   string    `toml:"asked"`
	Range   []float64 `toml:"plausible"`
	Source  string    `toml:"source"`
	Details []string  `toml:"details"`
	Site    string    `toml:"site"`
	Terms   []string  `toml:"terms"`
	Adjs    []string  `toml:"adjectives"`
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

// aliasDef are words that a site says in place of a term of the packs: they mean
// the same, and nothing is marked.
type aliasDef struct {
	For   string   `toml:"for"`
	Terms []string `toml:"terms"`
}

type attentionDf struct {
	ID      string   `toml:"id"`
	Values  []string `toml:"values"`
	Detail  string   `toml:"detail"`
	Equals  []string `toml:"equals"`
	Bounds  *Bounds  `toml:"outside"`
	Urgency string   `toml:"urgency"`
	Why     string   `toml:"why"`
	Source  string   `toml:"source"`
	Quote   []string `toml:"quote"`
	Unless  []string `toml:"unless"`
	Answers []string `toml:"answers"`
	With    []string `toml:"with"`
	Past    bool     `toml:"past"`
	Others  bool     `toml:"others"`
	Charted bool     `toml:"charted"`
	Onset   bool     `toml:"onset"`
	Well    bool     `toml:"last_well"`
}

type exampleDef struct {
	Say     string   `toml:"say"`
	Expect  []string `toml:"expect"`
	LeftOut []string `toml:"left_out"`
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
			out = append(out, Problem{File: file, Line: line, What: "unknown key " + strings.Join(e.Key(), "."), Hint: "see docs/lexicon.md for the keys"})
		}
		return &pf, out
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		line, _ := de.Position()
		return nil, []Problem{{File: file, Line: line, What: strings.TrimPrefix(de.Error(), "toml: "), Hint: "see docs/lexicon.md for the form"}}
	}
	return nil, []Problem{{File: file, What: err.Error()}}
}

func sum(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}
