package models

import "math"

// halfToFloat widens an IEEE 754 binary16 value; every half has an exact float32.
func halfToFloat(h uint16) float32 {
	sign := uint32(h&0x8000) << 16
	exponent := uint32(h>>10) & 0x1f
	fraction := uint32(h & 0x3ff)
	switch exponent {
	case 0:
		// Zero and subnormals: fraction × 2⁻²⁴ is exact in float32.
		value := float32(fraction) * (1.0 / (1 << 24))
		return math.Float32frombits(math.Float32bits(value) | sign)
	case 0x1f:
		return math.Float32frombits(sign | 0x7f800000 | fraction<<13)
	}
	return math.Float32frombits(sign | (exponent+127-15)<<23 | fraction<<13)
}

// floatToHalf rounds to the nearest binary16, ties to even; what is too large
// becomes infinite.
func floatToHalf(f float32) uint16 {
	bits := math.Float32bits(f)
	sign := uint16(bits>>16) & 0x8000
	abs := bits & 0x7fffffff
	switch {
	case abs > 0x7f800000: // NaN
		return sign | 0x7e00
	case abs >= 0x477ff000: // rounds to 65536 or more
		return sign | 0x7c00
	case abs < 0x38800000: // below the smallest normal half, 2⁻¹⁴
		scaled := float64(math.Float32frombits(abs)) * (1 << 24)
		return sign | uint16(math.RoundToEven(scaled))
	}
	rounded := abs + 0xfff + (abs>>13)&1
	return sign | uint16((rounded-(127-15)<<23)>>13)
}
