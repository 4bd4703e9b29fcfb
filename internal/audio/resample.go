package audio

import (
	"fmt"
	"math"
)

// halfWidth is the number of zero crossings of the sinc on each side of its middle;
// with beta the stop band lies some 110 dB down.
const (
	halfWidth = 32
	beta      = 11.0
)

// Resampler brings a stream of samples from one rate to another by a sinc under a
// Kaiser window (Smith, "Digital Audio Resampling"), each phase of the ratio worked
// out once. Frequencies above 0.92 of the lower Nyquist frequency are lost. The
// output is neither late nor early: sample n stands at time n/to.
type Resampler struct {
	up, down int // to/from in lowest terms: out sample n lies at input position n·down/up
	taps     int // to each side of the position
	phases   [][]float32
	buf      []float32 // input from position base on
	base     int
	next     int // the next output sample
	in       int // input samples seen
}

// NewResampler makes one. Rates are in Hz, above 0; the same rate passes through.
func NewResampler(from, to int) *Resampler {
	if from <= 0 || to <= 0 {
		panic(fmt.Sprintf("audio: resampling from %d to %d Hz", from, to))
	}
	g := gcd(from, to)
	r := &Resampler{up: to / g, down: from / g}
	if from == to {
		return r
	}
	cut := 0.92 * math.Min(1, float64(to)/float64(from)) // of the input's Nyquist frequency
	r.taps = int(math.Ceil(halfWidth / cut))
	r.phases = make([][]float32, r.up)
	r.buf, r.base = make([]float32, r.taps), -r.taps
	return r
}

// phase is the row of weights for an output that lies p/up beyond an input sample.
func (r *Resampler) phase(p int) []float32 {
	if r.phases[p] != nil {
		return r.phases[p]
	}
	cut := 0.92 * math.Min(1, float64(r.up)/float64(r.down))
	row := make([]float64, 2*r.taps)
	sum := 0.0
	for i := range row {
		x := float64(i-r.taps+1) - float64(p)/float64(r.up) // input sample minus position
		row[i] = cut * sinc(cut*x) * kaiser(x/float64(r.taps))
		sum += row[i]
	}
	out := make([]float32, len(row))
	for i, v := range row {
		out[i] = float32(v / sum) // a constant stays what it is in every phase
	}
	r.phases[p] = out
	return out
}

// Push takes more input and appends what can be said of the output to dst.
func (r *Resampler) Push(dst, in []float32) []float32 {
	r.in += len(in)
	if r.phases == nil {
		return append(dst, in...)
	}
	r.buf = append(r.buf, in...)
	return r.drain(dst)
}

// Flush appends what is left, as if silence followed: in all ⌈in·to/from⌉ samples.
func (r *Resampler) Flush(dst []float32) []float32 {
	if r.phases == nil {
		return dst
	}
	r.buf = append(r.buf, make([]float32, r.taps+1)...)
	return r.drain(dst)
}

func (r *Resampler) drain(dst []float32) []float32 {
	for {
		pos := r.next * r.down
		whole := pos / r.up
		first := whole - r.taps + 1 - r.base
		if first+2*r.taps > len(r.buf) || whole >= r.in {
			break
		}
		row := r.phase(pos % r.up)
		dst = append(dst, dot(row, r.buf[first:first+2*r.taps]))
		r.next++
	}
	if drop := r.next*r.down/r.up - r.taps + 1 - r.base; drop > 1<<14 {
		drop = min(drop, len(r.buf))
		r.buf = append(r.buf[:0], r.buf[drop:]...)
		r.base += drop
	}
	return dst
}

// dot in four sums: the processor then need not wait for each addition.
func dot(a, b []float32) float32 {
	var s0, s1, s2, s3 float32
	b = b[:len(a)]
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// kaiser is the Kaiser window at x in -1 … 1.
func kaiser(x float64) float64 {
	if x <= -1 || x >= 1 {
		return 0
	}
	return besselI0(beta*math.Sqrt(1-x*x)) / besselI0(beta)
}

// besselI0 by its power series (Abramowitz and Stegun 9.6.12).
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-14*sum; k++ {
		term *= (x / (2 * k)) * (x / (2 * k))
		sum += term
	}
	return sum
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
