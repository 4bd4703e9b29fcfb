package audio

import "math"

// fluxSize is the window of the onset strength, 21 ms: short, so that a rise is
// placed within a few milliseconds.
const fluxSize = 512

// fluxLag is how many fine frames lie between the spectra that are compared.
const fluxLag = 2

// fluxer measures the rise of the log spectrum between frames 10 ms apart, bin by
// bin, each compared with the loudest of its neighbours before (so that vibrato,
// which moves a partial from bin to bin, is no rise; Böck and Widmer 2013). The
// unit is dB of rise, the mean over bins weighted by nothing.
type fluxer struct {
	t      *transform
	window []float64
	past   [fluxLag][]float64 // log spectra of the last frames, a ring
	at     int
}

// fluxTop is the highest bin looked at, 6 kHz: above lies bow noise.
const fluxTop = fluxSize / 4

// fluxFloor in amplitude: what is weaker is no rise.
const fluxFloor = 1e-3

func newFluxer() *fluxer {
	f := &fluxer{t: newTransform(fluxSize), window: hann(fluxSize)}
	for i := range f.past {
		f.past[i] = make([]float64, fluxTop+2)
		for k := range f.past[i] {
			f.past[i][k] = 20 * math.Log10(fluxFloor)
		}
	}
	return f
}

// next gives the rise up to this frame; it belongs to the middle of the two frames,
// fluxLag/2 frames before (the caller shifts nothing: see Features.Onset).
func (f *fluxer) next(x []float32) float32 {
	for i, v := range x {
		f.t.in[i] = float64(v) * f.window[i]
	}
	spec := f.t.run()
	old := f.past[f.at]
	sum := 0.0
	var before, here, after float64 = old[0], old[0], old[1]
	for k := 1; k <= fluxTop; k++ {
		before, here, after = here, after, old[k+1]
		re, im := real(spec[k]), imag(spec[k])
		amp := math.Sqrt(re*re+im*im) * (4.0 / fluxSize)
		db := 20 * math.Log10(amp+fluxFloor)
		if d := db - max(before, here, after); d > 0 {
			sum += d
		}
		old[k] = db
	}
	f.at = (f.at + 1) % fluxLag
	return float32(sum / fluxTop)
}
