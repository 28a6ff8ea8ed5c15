package export

import (
	"bytes"
	"encoding/json"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"bedsaid/internal/finding"
	"bedsaid/internal/note"
)

func asJSON(t *testing.T, d note.Draft) (raw []byte, doc map[string]any) {
	t.Helper()
	var b bytes.Buffer
	if err := JSON(&b, d); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), doc
}

func keysOf(v any) []string {
	var keys []string
	for k := range v.(map[string]any) {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func element(t *testing.T, doc map[string]any, list string, i int) map[string]any {
	t.Helper()
	l, _ := doc[list].([]any)
	if i >= len(l) {
		t.Fatalf("%s has %d elements", list, len(l))
	}
	return l[i].(map[string]any)
}

// The keys, as the draft's contract names them.
func TestJSONKeys(t *testing.T) {
	_, doc := asJSON(t, sample(true))
	tr := doc["transcript"].(map[string]any)
	words := tr["words"].([]any)
	for _, c := range []struct {
		what string
		got  any
		want string
	}{
		{"draft", doc, "attention cautions findings format left_out provenance recording transcript unmentioned"},
		{"finding", element(t, doc, "findings", 0), "evidence id interpretation marks qualifiers reason side source status unit value value_high zone"},
		{"evidence", element(t, doc, "findings", 0)["evidence"].([]any)[0], "end start text words"},
		{"mark", element(t, doc, "findings", 1)["marks"].([]any)[0], "alternatives kind why"},
		{"left out", element(t, doc, "left_out", 0), "end start text why words"},
		{"attention", element(t, doc, "attention", 0), "evidence id side source urgency why"},
		{"transcript", tr, "text words"},
		{"word", words[0], "end p start text"},
		{"repaired word", words[4], "end heard p start text"},
		{"recording", doc["recording"], "notices seconds untranscribed voiced_seconds"},
		{"provenance", doc["provenance"], "drafted_at engine model model_sha256 packs program recorded_at"},
	} {
		if got := strings.Join(keysOf(c.got), " "); got != c.want {
			t.Errorf("%s has keys %s\nwant %s", c.what, got, c.want)
		}
	}
}

// Every key that the contract's own page names must be printed.
func TestJSONAgainstContractPage(t *testing.T) {
	page, err := os.ReadFile("../../../shared/contract/README.md")
	if err != nil {
		t.Skip("skipped: the contract's page is not at hand (../shared/contract/README.md)")
	}
	_, from, _ := strings.Cut(string(page), "--json` prints")
	tables, _, ok := strings.Cut(from, "## Rules")
	rows := regexp.MustCompile("(?m)^\\| `([a-z_]+)` \\|").FindAllStringSubmatch(tables, -1)
	if !ok || len(rows) < 15 {
		t.Fatalf("found %d keys on the contract's page; has its form changed?", len(rows))
	}
	_, doc := asJSON(t, sample(true))
	f := element(t, doc, "findings", 0)
	for _, r := range rows {
		_, top := doc[r[1]]
		_, in := f[r[1]]
		if !top && !in {
			t.Errorf("key %q of the contract is not printed", r[1])
		}
	}
}

func TestJSONValues(t *testing.T) {
	raw, doc := asJSON(t, sample(true))
	left := element(t, doc, "findings", 1)
	if left["value"] != 0.5 || left["value_high"] != 4.5 || left["unit"] != "mm" || left["side"] != "left" || left["zone"] != nil {
		t.Errorf("left pupil: %v", left)
	}
	skipped := element(t, doc, "findings", 4)
	if skipped["status"] != "not_assessed" || skipped["value"] != nil || skipped["reason"] == nil {
		t.Errorf("finding that was not assessed: %v", skipped)
	}
	if want := []any{"eye.sclera", "eye.light_reaction@right"}; !reflect.DeepEqual(doc["unmentioned"], want) {
		t.Errorf("unmentioned %v, want %v", doc["unmentioned"], want)
	}
	danger := element(t, doc, "attention", 1)
	if danger["id"] != nil || danger["urgency"] != "now" || danger["evidence"].([]any)[0].(map[string]any)["text"] != "I feel like I cannot breathe." {
		t.Errorf("the patient's words: %v", danger)
	}
	if p := doc["provenance"].(map[string]any); p["recorded_at"] != nil || p["drafted_at"] != "2031-02-03T04:05:06Z" {
		t.Errorf("provenance: %v", p)
	}
	again, _ := asJSON(t, sample(true))
	if !bytes.Equal(raw, again) {
		t.Error("the same draft gave other bytes")
	}
}

func TestJSONOfTextHasNulls(t *testing.T) {
	_, doc := asJSON(t, sample(false))
	w := doc["transcript"].(map[string]any)["words"].([]any)[0].(map[string]any)
	e := element(t, doc, "findings", 0)["evidence"].([]any)[0].(map[string]any)
	p := doc["provenance"].(map[string]any)
	for what, v := range map[string]any{
		"recording": doc["recording"], "word start": w["start"], "word end": w["end"], "word p": w["p"],
		"evidence start": e["start"], "engine": p["engine"], "model": p["model"], "model_sha256": p["model_sha256"],
	} {
		if v != nil {
			t.Errorf("%s is %v, want null", what, v)
		}
	}
}

func TestJSONOfEmptyDraftHasLists(t *testing.T) {
	raw, doc := asJSON(t, note.Compose(note.Source{}, finding.Set{}, note.Outline{}))
	for _, k := range []string{"findings", "left_out", "unmentioned", "attention", "cautions"} {
		if _, ok := doc[k].([]any); !ok {
			t.Errorf("%s is not a list in %s", k, raw)
		}
	}
}

func TestReadTranscriptRoundTrip(t *testing.T) {
	for _, timed := range []bool{true, false} {
		d := sample(timed)
		raw, _ := asJSON(t, d)
		src, err := ReadTranscript(bytes.NewReader(raw))
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(src.Transcript, d.Transcript) || !slices.Equal(src.Notices, d.Notices) {
			t.Errorf("timed %v: what was read differs from what was written", timed)
		}
		if src.Provenance.Engine != d.Provenance.Engine || src.Provenance.ModelSHA256 != d.Provenance.ModelSHA256 {
			t.Errorf("timed %v: provenance lost", timed)
		}
	}
}

// Each complaint must be an error with advice, and hold no word of the file.
func TestReadTranscriptRefuses(t *testing.T) {
	raw, _ := asJSON(t, sample(true))
	good := string(raw)
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("sample lacks %q", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	for what, in := range map[string]string{
		"empty":          "",
		"not JSON":       "Pupils Quillfeather equal",
		"half":           good[:len(good)/2],
		"two values":     good + good,
		"a list":         "[1]",
		"other JSON":     `{"patient": "Quillfeather"}`,
		"later version":  swap("bedsaid-draft/1", "bedsaid-draft/2"),
		"other format":   swap("bedsaid-draft/1", "Quillfeather"),
		"no transcript":  `{"format": "bedsaid-draft/1"}`,
		"null words":     `{"format": "bedsaid-draft/1", "transcript": {"text": "", "words": null}}`,
		"edited text":    swap(`"text": "Okay,`, `"text": "Quillfeather,`),
		"edited word":    swap(`{"text":"hello"`, `{"text":"Quillfeather"`),
		"empty word":     swap(`{"text":"hello"`, `{"text":""`),
		"word of two":    swap(`{"text":"hello"`, `{"text":"Quill feather"`),
		"time missing":   swap(`"start":0.5,"end":1,"p":0.9`, `"start":null,"end":1,"p":0.9`),
		"p out of range": swap(`"p":0.9`, `"p":1.9`),
		"negative gap":   swap(`{"start":27.5,"end":30}`, `{"start":30,"end":27.5}`),
		"word as number": swap(`{"text":"hello"`, `{"text":7`),
		"number as word": swap(`"start":0.5`, `"start":"Quillfeather"`),
	} {
		_, err := ReadTranscript(strings.NewReader(in))
		fe, ok := err.(*FormatError)
		if !ok {
			t.Errorf("%s: got %v, want a FormatError", what, err)
			continue
		}
		if fe.Hint() == "" || strings.Contains(fe.Error(), "Quill") {
			t.Errorf("%s: no hint, or words of the file in %q", what, fe.Error())
		}
	}
}

func FuzzReadTranscript(f *testing.F) {
	// Small seeds: the fuzzer spends its time shrinking large ones.
	f.Add(`{"format":"bedsaid-draft/1","transcript":{"text":"a b","words":[{"text":"a","start":0,"end":0.5,"p":0.9,"heard":"c"},{"text":"b","start":0.5,"end":1,"p":1}]},"recording":{"seconds":2,"voiced_seconds":1,"untranscribed":[{"start":1,"end":2}],"notices":["n"]},"provenance":{"engine":"e","recorded_at":null}}`)
	f.Add(`{"format":"bedsaid-draft/1","transcript":{"words":[{"text":"a","start":null,"end":null,"p":null}]},"recording":null}`)
	f.Fuzz(func(t *testing.T, in string) {
		src, err := ReadTranscript(strings.NewReader(in))
		if err != nil {
			return
		}
		// What was taken in is written and read back the same.
		var b bytes.Buffer
		if err := JSON(&b, note.Compose(src, finding.Set{}, note.Outline{})); err != nil {
			t.Fatal(err)
		}
		again, err := ReadTranscript(&b)
		if err != nil || again.Transcript.Text() != src.Transcript.Text() {
			t.Fatalf("own output is not read back: %v", err)
		}
	})
}
