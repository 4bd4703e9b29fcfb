package audio

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// transform is a real Fourier transform of one length with its buffers. It is not
// safe for several goroutines: gonum keeps scratch space inside.
type transform struct {
	fft *fourier.FFT
	in  []float64
	out []complex128
}

func newTransform(n int) *transform {
	return &transform{fourier.NewFFT(n), make([]float64, n), make([]complex128, n/2+1)}
}

func (t *transform) run() []complex128 { return t.fft.Coefficients(t.out, t.in) }

// hann is the periodic Hann window of length n.
func hann(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	return w
}
