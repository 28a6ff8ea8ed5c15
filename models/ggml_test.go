package models

import (
	"bytes"
	"errors"
	"math/rand"
	"testing"
)

func TestInspect(t *testing.T) {
	for precision, want := range map[Precision]string{Half: "f16", Quantized: "q8_0"} {
		b := smallGGML(t, precision)
		network, err := inspect(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		if network.Precision != want || network.Mels != 80 || network.Multilingual {
			t.Errorf("%+v, want %s, 80 bands, English only", network, want)
		}
	}
}

func TestInspectRefusesDamage(t *testing.T) {
	whole := smallGGML(t, Quantized)
	refused := func(what string, b []byte) {
		t.Helper()
		if _, err := inspect(bytes.NewReader(b), int64(len(b))); !errors.Is(err, ErrNotModel) {
			t.Errorf("%s: %v, want ErrNotModel", what, err)
		}
	}
	refused("empty", nil)
	refused("text", []byte("a recording of something else entirely"))
	refused("a byte too many", append(bytes.Clone(whole), 0))
	rng := rand.New(rand.NewSource(7))
	for range 200 {
		refused("cut", whole[:rng.Intn(len(whole))])
	}
	// A flipped high bit in any number of the header, the file type apart,
	// makes a size that cannot be.
	for field := range 14 {
		if field == 11 {
			continue
		}
		b := bytes.Clone(whole)
		b[4*field+3] ^= 0x80
		refused("flipped header", b)
	}
}

// Whatever is in a file, Inspect answers, and never with a panic.
func FuzzInspect(f *testing.F) {
	whole := smallGGML(f, Quantized)
	f.Add(whole[:4096])
	f.Add(whole[:64])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		if _, err := inspect(bytes.NewReader(b), int64(len(b))); err != nil && !errors.Is(err, ErrNotModel) {
			t.Errorf("error does not wrap ErrNotModel: %v", err)
		}
	})
}
