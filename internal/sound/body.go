package sound

import (
	"math"
	"math/cmplx"
)

// resonance of a body: frequency in Hz, sharpness, height over the ground.
type resonance struct{ hz, q, height float64 }

// bodies are the strongest resonances: the air (A0), the body's first two (B1- and
// B1+), and the broad hill about the bridge. Violin: about 275, 440, 540 Hz and 2.3
// kHz (measurements after Jansson, from memory); viola and cello from memory too.
// Heights and sharpness are ours, plain rather than like any one instrument.
var bodies = map[Body][]resonance{
	Violin: {{275, 12, 1.4}, {440, 14, 1.6}, {540, 16, 1.6}, {1000, 4, 0.5}, {2300, 2, 1.6}},
	Viola:  {{220, 12, 1.4}, {350, 14, 1.6}, {440, 16, 1.5}, {800, 4, 0.5}, {1900, 2, 1.4}},
	Cello:  {{104, 12, 1.4}, {175, 14, 1.6}, {200, 16, 1.5}, {450, 4, 0.6}, {1500, 2, 1.3}},
}

// response of a body to a frequency: the ground and its resonances.
func (b Body) response(hz float64) complex128 {
	sum := complex(0.5, 0)
	for _, r := range bodies[b] {
		x := hz / r.hz
		sum += complex(0, r.height*x/r.q) / complex(1-x*x, x/r.q)
	}
	return sum
}

// Harmonics of a tone: up to so many, below this frequency.
const mostHarmonics, highestHz = 90, 14000

// tableSize is the samples of one period.
const tableSize = 2048

// table is one period of a tone, of root mean square 1, with its first sample again
// at the end.
type table []float64

// newTable sums the harmonics of a sawtooth through the body and a low-pass of first
// order at bright Hz: louder notes are brighter.
func newTable(b Body, f0, bright float64) table {
	t := make(table, tableSize+1)
	squares := 0.0
	for n := 1; n <= mostHarmonics && (float64(n)*f0 < highestHz || n == 1); n++ {
		hz := float64(n) * f0
		h := b.response(hz) / complex(1, hz/bright) / complex(float64(n), 0)
		amp, phase := cmplx.Polar(h)
		squares += amp * amp / 2
		// sin(phase + k step) by rotation: the table is made for each pitch
		step := cmplx.Rect(1, 2*math.Pi*float64(n)/tableSize)
		z := cmplx.Rect(amp, phase)
		for i := range tableSize {
			t[i] += imag(z)
			z *= step
		}
	}
	scale := 1 / math.Sqrt(squares)
	for i := range tableSize {
		t[i] *= scale
	}
	t[tableSize] = t[0]
	return t
}

// Brightness in Hz by level in dB: steps, so that tables can be kept.
const brightSteps, brightLow, brightHigh = 4, -24.0, -4.0

func brightStep(level float64) int {
	x := (level - brightLow) / (brightHigh - brightLow)
	return int(math.Round(min(max(x, 0), 1) * (brightSteps - 1)))
}

func brightHz(step int) float64 { return 2500 * math.Pow(2.6, float64(step)/(brightSteps-1)) }
