package models

import (
	"bytes"
	"context"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"io"
	"math"
	"testing"
)

// The published file: whisper.cpp 1.9.1, models/README.md, row "base" (SHA-1).
// Equality covers tensor order, names, filters, vocabulary and values at once.
// The Q8_0 checksum is of the file that whisper.cpp's own whisper-quantize
// makes of it.
func TestConvertEqualsPublishedFile(t *testing.T) {
	paths := wheels(t)
	sum := sha1.New()
	if _, err := ConvertWheels(context.Background(), sum, Half, t.TempDir(), paths...); err != nil {
		t.Fatal(err)
	}
	const published = "465707469ff3a37a2b9b8d8f89f2f99de7299dac"
	if got := hex.EncodeToString(sum.Sum(nil)); got != published {
		t.Errorf("half precision: SHA-1 %s, published %s", got, published)
	}

	quantized := sha256.New()
	if _, err := ConvertWheels(context.Background(), quantized, Quantized, t.TempDir(), paths...); err != nil {
		t.Fatal(err)
	}
	const byItsTool = "c577b9a86e7e048a0b7eada054f4dd79a56bbfa911fbdacf900ac5b567cbb7d9"
	if got := hex.EncodeToString(quantized.Sum(nil)); got != byItsTool {
		t.Errorf("Q8_0: SHA-256 %s, whisper-quantize makes %s", got, byItsTool)
	}
}

// mel_filters.npz of the openai-whisper package, version 20250625: SHA-256 of
// the float32 values of mel_80 and mel_128, zeros without their sign.
func TestMelFiltersEqualReference(t *testing.T) {
	for bands, want := range map[int]string{
		80:  "85818f156f7e189453901a515e4726d270d307f976e161cf9403e8caab405498",
		128: "e399c2d72d2f7375e503c296d8453cefcc0c1e47a9c1a0a09e0d70f59c820f20",
	} {
		var b []byte
		for _, v := range melFilters(bands) {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
		}
		sum := sha256.Sum256(b)
		if got := hex.EncodeToString(sum[:]); got != want {
			t.Errorf("%d bands: SHA-256 %s, reference %s", bands, got, want)
		}
	}
}

// Every half has one float32, and comes back from it (IEEE 754-2019, binary16).
func TestHalfRoundTrip(t *testing.T) {
	for i := range 1 << 16 {
		h := uint16(i)
		f := halfToFloat(h)
		if h&0x7c00 == 0x7c00 && h&0x3ff != 0 {
			if !math.IsNaN(float64(f)) {
				t.Fatalf("%#04x: %v, want NaN", h, f)
			}
			continue
		}
		if back := floatToHalf(f); back != h {
			t.Fatalf("%#04x: %v comes back as %#04x", h, f, back)
		}
	}
}

// Values by the definition of binary16: 1 sign, 5 exponent (bias 15) and 10
// fraction bits; rounding to nearest, ties to even.
func TestFloatToHalf(t *testing.T) {
	for _, c := range []struct {
		f    float64
		want uint16
	}{
		{0, 0x0000}, {math.Copysign(0, -1), 0x8000}, {1, 0x3c00}, {-2, 0xc000},
		{65504, 0x7bff},                    // largest
		{65519, 0x7bff},                    // under the half-way mark
		{65520, 0x7c00},                    // half-way goes to even, here infinity
		{math.Exp2(-14), 0x0400},           // smallest normal
		{math.Exp2(-24), 0x0001},           // smallest subnormal
		{math.Exp2(-25), 0x0000},           // half of it: to even
		{3 * math.Exp2(-25), 0x0002},       // one and a half of it: to even
		{1 + math.Exp2(-11), 0x3c00},       // tie, even below
		{1 + 3*math.Exp2(-11), 0x3c02},     // tie, even above
		{1.0 / 3, 0x3555},                  // 0.333251953125
		{math.Exp2(-14) * 0.99999, 0x0400}, // rounds up into the normals
		{math.Inf(1), 0x7c00}, {math.Inf(-1), 0xfc00}, {math.NaN(), 0x7e00},
	} {
		if got := floatToHalf(float32(c.f)); got != c.want {
			t.Errorf("%v: %#04x, want %#04x", c.f, got, c.want)
		}
	}
}

func TestQuantizedBlock(t *testing.T) {
	values := make([]float32, blockValues)
	values[0], values[1], values[2], values[3] = -127, 63.5, 0.49, 0.5
	b := appendQ8(nil, values)
	if len(b) != blockBytes {
		t.Fatalf("%d bytes, want %d", len(b), blockBytes)
	}
	if scale := halfToFloat(binary.LittleEndian.Uint16(b)); scale != 1 {
		t.Errorf("scale %v, want 1", scale)
	}
	// Halves are rounded away from zero, as C's roundf does.
	for i, want := range []int8{-127, 64, 0, 1, 0} {
		if got := int8(b[2+i]); got != want {
			t.Errorf("value %d: %d, want %d", i, got, want)
		}
	}
	if zero := appendQ8(nil, make([]float32, blockValues)); !bytes.Equal(zero, make([]byte, blockBytes)) {
		t.Error("a block of zeros is not all zero")
	}
}

func TestConvertRefuses(t *testing.T) {
	model, tokenizer := smallCT2(t)
	convert := func(model, tokenizer []byte, p Precision) error {
		return Convert(context.Background(), io.Discard, bytes.NewReader(model), int64(len(model)), bytes.NewReader(tokenizer), p)
	}
	if err := convert(model, tokenizer, Half); err != nil {
		t.Fatalf("whole: %v", err)
	}
	if err := convert(model, tokenizer, Unknown); err == nil {
		t.Error("unknown precision was taken")
	}
	for _, cut := range []int{0, 3, 20, 200, len(model) / 2, len(model) - 1} {
		if err := convert(model[:cut], tokenizer, Half); err == nil {
			t.Errorf("a model cut at byte %d was taken", cut)
		}
	}
	other := bytes.Clone(model)
	other[0] = 5
	if err := convert(other, tokenizer, Half); err == nil {
		t.Error("version 5 was taken")
	}
	missing := bytes.Replace(model, []byte("encoder/conv2/bias"), []byte("encoder/conv2/bios"), 1)
	if err := convert(missing, tokenizer, Half); err == nil {
		t.Error("a missing variable was not missed")
	}
	for _, bad := range []string{"", "{}", `{"model":{"vocab":{"a":1}}}`, `{"model":{"vocab":{"a":0,"b":0}}}`, `{"model":{"vocab":{"\u4e00":0}}}`} {
		if err := convert(model, []byte(bad), Half); err == nil {
			t.Errorf("tokenizer %q was taken", bad)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := Convert(ctx, io.Discard, bytes.NewReader(model), int64(len(model)), bytes.NewReader(tokenizer), Half); err == nil {
		t.Error("a cancelled conversion went on")
	}
}
