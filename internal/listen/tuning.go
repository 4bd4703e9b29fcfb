package listen

import (
	"math"

	"pochette/internal/audio"
)

// The pitches of A4 in Hz that a take may be tuned to, from a low French to a high
// choir pitch.
const (
	LowestA4, HighestA4 = 385.0, 475.0
	usualA4             = 440.0 // ISO 16
)

// EstimateA4 finds the pitch of A4 that a take was tuned to: how far its pitches lie
// on average from the semitones of A4 = 440 Hz (a mean on the circle, weighted by
// clarity), and by how many semitones its pitches are moved from those of the score
// (the best match of how long each key sounds). ok is false where too little sounds.
func EstimateA4(f *audio.Features, l *Line) (hz float64, ok bool) {
	var x, y float64
	n := 0
	for i, h := range f.Hz {
		if h > 0 && f.Clarity[i] > 0.85 {
			s, c := math.Sincos(2 * math.Pi * keyOf(float64(h), usualA4))
			x, y, n = x+c, y+s, n+1
		}
	}
	if n < 50 {
		return usualA4, false
	}
	part := math.Atan2(y, x) / (2 * math.Pi) // of a semitone
	base := usualA4 * math.Exp2(part/12)
	var played [140]float64
	for i, h := range f.Hz {
		if h > 0 && f.Clarity[i] > 0.85 {
			if k := int(math.Round(keyOf(float64(h), base))); k >= 0 && k < len(played) {
				played[k]++
			}
		}
	}
	weights := l.weights()
	best := -1.0
	for shift := -4; shift <= 4; shift++ {
		cand := base * math.Exp2(float64(shift)/12)
		if cand < LowestA4 || cand > HighestA4 {
			continue
		}
		if m := match(&played, weights, shift); m > best {
			best, hz = m, cand
		}
	}
	return hz, best > 0.3
}

// match is the cosine between how long keys sound and how long the score has them.
func match(played *[140]float64, weights map[int]float64, shift int) float64 {
	var ab, aa, bb float64
	for k, v := range played {
		aa += v * v
		ab += v * weights[k-shift]
	}
	for _, w := range weights {
		bb += w * w
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}

// keyOf is a frequency as a MIDI key with its fraction.
func keyOf(hz, a4 float64) float64 { return 69 + 12*math.Log2(hz/a4) }
