// Package sound makes a programme of planned passages audible: our own plain bowed
// tone, computed here, no recording and no sampled instrument. It is meant to be
// practised against: pitch, onset, length, loudness and the strokes of the bow are
// exact; beauty is not tried.
//
// The tone is the force of a bowed string on its bridge, which in the ideal motion is
// a sawtooth (Helmholtz; Cremer, The Physics of the Violin, 1984, from memory),
// through the resonances of a body (body.go). Each new stroke begins with a little
// noise of the bow and is shaped by its direction; slurred notes go over into each
// other without an attack.
//
// Output is mono, 44,100 samples a second, its highest peak at -3 dB of full scale
// (stream.go), written as WAV with 16 or 24 bits (package wave).
package sound

import "pochette/internal/pitch"

// Rate is the samples a second.
const Rate = 44100

// Frequency gives the pitch in Hz of a key number with the cents beyond it. It is the
// hook for temperaments.
type Frequency func(key, cents int) float64

// Equal is equal temperament at an A4 in Hz (ISO 16: 440).
func Equal(a4 float64) Frequency {
	return func(key, cents int) float64 {
		return pitch.Hertz(float64(key)+float64(cents)/100, a4)
	}
}

// Body is the kind of instrument.
type Body int8

// The bodies.
const (
	Violin Body = iota
	Viola
	Cello
)

// Options say how it sounds. The zero value is a violin, A4 = 440 Hz, no vibrato.
type Options struct {
	Body      Body
	Frequency Frequency
	// Vibrato is its depth in cents to each side, 0 none; on notes over vibratoFrom.
	Vibrato float64
	// Bits of the WAV: 16 (the default) or 24.
	Bits int
	// Step, where not nil, is told how far the work is, in samples of both passes.
	Step func(done, total int64)
}

func (o Options) frequency() Frequency {
	if o.Frequency == nil {
		return Equal(440)
	}
	return o.Frequency
}
