package models

import "math"

// Whisper's sound front end: 16 kHz, a 400-point Fourier transform.
const (
	sampleRate  = 16000
	fourierSize = 400
	fourierBins = fourierSize/2 + 1
)

// melFilters returns the triangular filter bank that turns a power spectrum
// into bands mel bands, band by band, fourierBins weights each. Scale and
// normalization are Slaney's Auditory Toolbox (1998): linear below 1 kHz,
// logarithmic above, each triangle with an area of one.
func melFilters(bands int) []float32 {
	const (
		linearStep = 200.0 / 3
		breakHertz = 1000.0
		breakMel   = breakHertz / linearStep
	)
	logStep := math.Log(6.4) / 27
	topMel := breakMel + math.Log(sampleRate/2/breakHertz)/logStep

	// Edges in hertz: every triangle runs over three of them.
	edges := make([]float64, bands+2)
	step := topMel / float64(bands+1)
	for i := range edges {
		mel := float64(i) * step
		if i == len(edges)-1 {
			mel = topMel
		}
		if mel >= breakMel {
			edges[i] = breakHertz * math.Exp(logStep*(mel-breakMel))
		} else {
			edges[i] = linearStep * mel
		}
	}

	filters := make([]float32, 0, bands*fourierBins)
	for band := range bands {
		rise := edges[band+1] - edges[band]
		fall := edges[band+2] - edges[band+1]
		area := 2 / (edges[band+2] - edges[band])
		for bin := range fourierBins {
			hertz := float64(bin) * sampleRate / fourierSize
			lower := (hertz - edges[band]) / rise
			upper := (edges[band+2] - hertz) / fall
			// The reference keeps the triangle in single precision before it
			// scales it; the same rounding gives the same bytes.
			weight := float32(max(0, min(lower, upper)))
			filters = append(filters, float32(float64(weight)*area))
		}
	}
	return filters
}
