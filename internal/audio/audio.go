// Package audio looks at sound: resampling, spectra, pitch, onsets and loudness of
// mono samples on slices. It knows no score and no file.
//
// Samples are float32 in -1 … 1; everything after Resampler is at Rate. Frame i of
// a feature is centred on sample i·hop, so frame 0 on the first sample, with
// silence assumed outside the take. Times are seconds from the first sample.
package audio

import "math"

// Rate is the sampling rate of the analysis in Hz: high enough for the partials of
// a violin's top notes, and a whole number of samples to a millisecond.
const Rate = 24000

// Hops of the two grids of frames in samples: Fine (5 ms) for level and onset
// strength, Coarse (10 ms) for pitch and partials.
const (
	FineHop   = Rate / 200
	CoarseHop = Rate / 100
)

// FineTime and CoarseTime are the times of frames in seconds.
func FineTime(i int) float64   { return float64(i) * FineHop / Rate }
func CoarseTime(i int) float64 { return float64(i) * CoarseHop / Rate }

// Silent is the level in dB relative to full scale below which nothing is looked
// for: under the noise of any microphone in a room.
const Silent = -100

// Decibels of an amplitude relative to full scale (a constant 1 is 0 dB), at least
// Silent.
func Decibels(rms float64) float64 {
	if rms <= 1e-5 {
		return Silent
	}
	return 20 * math.Log10(rms)
}

// Cents from b up to a; both in Hz and above 0.
func Cents(a, b float64) float64 { return 1200 * math.Log2(a/b) }
