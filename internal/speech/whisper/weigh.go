//go:build cgo && engine

package whisper

// #include <stdlib.h>
// #include "shim.h"
import "C"

import (
	"context"
	"fmt"
	"math"
	"unsafe"
)

// Weigh gives, for each spot, the natural-log probability of each reading with
// what comes after it. The piece is encoded once. Samples as for Decode.
func (e *Engine) Weigh(ctx context.Context, samples []float32, prompt string, spots []Spot) ([][]float64, error) {
	if len(samples) < shortest || len(samples) > MaxSeconds*SampleRate {
		return nil, fmt.Errorf("weigh readings: %w", ErrTooLong)
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.engine == nil {
		return nil, fmt.Errorf("weigh readings: %w", ErrClosed)
	}
	if status := C.bs_listen(e.engine, (*C.float)(unsafe.Pointer(&samples[0])), C.int(len(samples))); status != 0 {
		return nil, fmt.Errorf("weigh readings: the speech engine failed (code %d)", int(status))
	}
	text := func(s string) *C.char { return C.CString(s) }
	p := text(prompt)
	defer C.free(unsafe.Pointer(p))
	out := make([][]float64, len(spots))
	for i, spot := range spots {
		before, after := text(spot.Before), text(spot.After)
		for _, r := range spot.Readings {
			reading := text(r)
			v := float64(C.bs_weigh(e.engine, p, before, reading, after))
			C.free(unsafe.Pointer(reading))
			if math.IsNaN(v) {
				v = math.Inf(-1)
			}
			out[i] = append(out[i], v)
		}
		C.free(unsafe.Pointer(before))
		C.free(unsafe.Pointer(after))
		if err := ctx.Err(); err != nil {
			return nil, err
		}
	}
	return out, nil
}
