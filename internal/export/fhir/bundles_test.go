package fhir

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"bedsaid/internal/export/exporttest"
)

// TestWriteBundles leaves the bundles of all cases and of 200 generated notes,
// or every so many of them, and the broken ones, for the validators of other
// authors: scripts/validate-fhir names the folder.
func TestWriteBundles(t *testing.T) {
	dir := os.Getenv("BEDSAID_FHIR_BUNDLES")
	if dir == "" {
		t.Skip("skipped: scripts/validate-fhir runs it, with a folder in BEDSAID_FHIR_BUNDLES")
	}
	lex := exporttest.Lexicon(t)
	write := func(name string, data []byte) {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	every := 1
	if n, err := strconv.Atoi(os.Getenv("BEDSAID_FHIR_EVERY")); err == nil && n > 0 {
		every = n
	}
	docs, written := documents(t, lex), 0
	for i, doc := range docs {
		if i%every != 0 && len(doc.Head.Signatures) < 3 { // those are few, and have most in their heads
			continue
		}
		written++
		write(fmt.Sprintf("whole/%03d-%s.json", i, doc.Draft.Name), asFHIR(t, doc, lex))
	}
	var expected bytes.Buffer
	for i, b := range breakages() {
		name := fmt.Sprintf("%02d.json", i+1)
		write("broken/"+name, broken(t, b, asFHIR(t, exporttest.Generated(lex, 1), lex)))
		fmt.Fprintf(&expected, "%s\t%s\n", name, b.says)
	}
	write("broken/expected.tsv", expected.Bytes())
	t.Logf("%d bundles of %d, %d broken", written, len(docs), len(breakages()))
}

// breakage is one way in which a bundle can be wrong, and what the validator
// must say of it.
type breakage struct {
	what, says string
	do         func(bundle map[string]any, first func(kind string) map[string]any)
}

func broken(t *testing.T, b breakage, whole []byte) []byte {
	t.Helper()
	var j map[string]any
	if err := json.Unmarshal(whole, &j); err != nil {
		t.Fatal(err)
	}
	first := func(kind string) map[string]any {
		for _, e := range j["entry"].([]any) {
			r := e.(map[string]any)["resource"].(map[string]any)
			if r["resourceType"] == kind && (kind != "Observation" || r["valueCodeableConcept"] != nil) {
				return r
			}
		}
		t.Fatalf("%s: no %s in the bundle", b.what, kind)
		return nil
	}
	b.do(j, first)
	out, err := json.Marshal(j)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(out, whole) {
		t.Fatalf("%s: nothing was broken", b.what)
	}
	return out
}

func breakages() []breakage {
	set := func(kind, key string, to any) func(map[string]any, func(string) map[string]any) {
		return func(_ map[string]any, first func(string) map[string]any) { first(kind)[key] = to }
	}
	drop := func(kind, key string) func(map[string]any, func(string) map[string]any) {
		return func(_ map[string]any, first func(string) map[string]any) { delete(first(kind), key) }
	}
	return []breakage{
		{"no status", `Observation\.status: minimum required`, drop("Observation", "status")},
		{"no code", `Observation\.code: minimum required`, drop("Observation", "code")},
		{"a status unknown", `(?i)status.*certain|certain.*status|Unknown ObservationStatus`, set("Observation", "status", "certain")},
		{"value and reason for none", `obs-6`, set("Observation", "dataAbsentReason", map[string]any{"text": "not done"})},
		{"two values", `Unrecognized property 'valueString'`, set("Observation", "valueString", "also this")},
		{"an element unknown", `(?i)unrecognized property 'laterality'`, set("Observation", "laterality", "left")},
		{"a bad date", `(?i)not a valid date`, set("Observation", "effectiveDateTime", "the third of May")},
		{"an empty string", `(?i)(empty|value.*blank|must not be empty)`, set("Observation", "method", map[string]any{"text": ""})},
		{"a list where one is wanted", `(?i)array|must be an object`, set("Observation", "code", []any{map[string]any{"text": "x"}})},
		{"a reference to the wrong kind", `(?i)(not a valid target|invalid resource target|is not a|Practitioner)`, func(j map[string]any, first func(string) map[string]any) {
			first("Observation")["subject"] = map[string]any{"reference": "urn:uuid:" + first("Practitioner")["id"].(string)}
		}},
		{"no author", `Composition\.author: minimum required`, drop("Composition", "author")},
		{"no title", `Composition\.title: minimum required`, drop("Composition", "title")},
		{"a section that says nothing", `cmp-1`, set("Composition", "section", []any{map[string]any{"title": "Empty"}})},
		{"no time", `bdl-10`, func(j map[string]any, _ func(string) map[string]any) { delete(j, "timestamp") }},
		{"no identifier", `bdl-9`, func(j map[string]any, _ func(string) map[string]any) { delete(j, "identifier") }},
		{"no Composition first", `(?i)bdl-11|first entry in a document must be a composition`, func(j map[string]any, _ func(string) map[string]any) {
			es := j["entry"].([]any)
			es[0], es[1] = es[1], es[0]
		}},
		{"two resources of one address", `bdl-7`, func(j map[string]any, _ func(string) map[string]any) {
			es := j["entry"].([]any)
			j["entry"] = append(es, es[len(es)-1])
		}},
		{"no agent", `Provenance\.agent: minimum required`, drop("Provenance", "agent")},
		{"a unit that UCUM lacks", `(?i)ucum|unit`, func(j map[string]any, first func(string) map[string]any) {
			o := first("Observation")
			delete(o, "valueCodeableConcept")
			o["valueQuantity"] = map[string]any{"value": 3, "system": ucum, "code": "millimetres"}
		}},
		{"markup in a narrative", `(?i)script|narrative|xhtml`, set("Composition", "text", map[string]any{"status": "generated", "div": `<div xmlns="http://www.w3.org/1999/xhtml"><script>1</script></div>`})},
		{"a number in words", `(?i)must be a number|not a valid decimal|primitive`, func(_ map[string]any, first func(string) map[string]any) {
			o := first("Observation")
			delete(o, "valueCodeableConcept")
			o["valueInteger"] = "three"
		}},
	}
}
