package listentest

import (
	"bytes"

	"pochette/internal/wave"
)

// WAV is a take as a file of 24 bits, which take reads.
func WAV(samples []float32, rate int) []byte {
	xs := make([]float64, len(samples))
	for i, x := range samples {
		xs[i] = float64(x)
	}
	var b bytes.Buffer
	w, err := wave.New(&b, rate, 24, int64(len(xs)))
	if err == nil {
		err = w.Write(xs)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		panic("listentest: " + err.Error()) // memory does not fail
	}
	return b.Bytes()
}
