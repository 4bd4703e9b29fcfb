package audio

import (
	"cmp"
	"math"
	"slices"
)

// partialSize is the window in which partials are found, 85 ms: the partials of
// the cello's lowest string are then apart.
const partialSize = 2048

// maxPeaks of a frame are kept, the strongest.
const maxPeaks = 20

// partials finds the peaks of a spectrum.
type partials struct {
	t      *transform
	window []float64
	power  []float64
	found  []Peak
}

func newPartials() *partials {
	return &partials{t: newTransform(partialSize), window: hann(partialSize), power: make([]float64, partialSize/2+1)}
}

// find appends the peaks by rising frequency, and gives the share of the energy
// from 80 Hz up that lies in none of them. Frequencies are read off the two strongest
// bins of a peak (Grandke 1983, for the Hann window).
func (p *partials) find(dst []Peak, x []float32) ([]Peak, float64) {
	for i, v := range x {
		p.t.in[i] = float64(v) * p.window[i]
	}
	top, total := 0.0, 0.0
	const low = 80 * partialSize / Rate
	for k, c := range p.t.run() {
		p.power[k] = real(c)*real(c) + imag(c)*imag(c)
		top = max(top, p.power[k])
		if k >= low {
			total += p.power[k]
		}
	}
	if top < 1e-4 { // amplitude some 1e-5
		return dst, 1
	}
	p.found = p.found[:0]
	for k := 3; k < len(p.power)-2; k++ {
		v := p.power[k]
		if v < top*1e-6 || v < p.power[k-1] || v <= p.power[k+1] || v < p.power[k-2] || v < p.power[k+2] {
			continue
		}
		p.found = append(p.found, p.refine(k))
	}
	if len(p.found) > maxPeaks {
		slices.SortFunc(p.found, func(a, b Peak) int { return cmp.Compare(b.Amp, a.Amp) })
		p.found = p.found[:maxPeaks]
		slices.SortFunc(p.found, func(a, b Peak) int { return cmp.Compare(a.Hz, b.Hz) })
	}
	inside, last := 0.0, low
	for _, f := range p.found { // of those that are kept: noise has many more
		k := int(math.Round(float64(f.Hz) * partialSize / Rate))
		for j := max(k-2, last); j <= k+2; j++ {
			inside += p.power[j]
		}
		last = max(last, k+3)
	}
	return append(dst, p.found...), max(0, 1-inside/max(total, 1e-12))
}

func (p *partials) refine(k int) Peak {
	a, b, c := math.Sqrt(p.power[k-1]), math.Sqrt(p.power[k]), math.Sqrt(p.power[k+1])
	ratio, side := c/b, 1.0
	if a > c {
		ratio, side = a/b, -1
	}
	shift := (2*ratio - 1) / (ratio + 1)
	shift = max(0, min(0.5, shift))
	// main lobe of the Hann window at the shift, relative to its top
	lobe := 1.0
	if shift > 1e-6 {
		lobe = sinc(shift) / (1 - shift*shift)
	}
	return Peak{float32((float64(k) + side*shift) * Rate / partialSize), float32(b / lobe * 4 / partialSize)}
}
