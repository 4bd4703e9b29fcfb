package audio

import "math"

// pitcher finds readings of the pitch of a frame by the normalised square
// difference function n(τ) = 2 Σ x(j)x(j+τ) / Σ (x(j)² + x(j+τ)²) (McLeod and
// Wyvill 2005): it is 1 where the sound repeats itself after τ, it does not lean
// to short or long lags, and its window lies evenly about the middle of the frame
// for every lag, so that a change of pitch is not seen early or late.
type pitcher struct {
	size   int // of the window in samples
	maxLag int
	t      *transform
	inv    *transform
	acf    []float64
	nsdf   []float64
	energy []float64 // running sums of squares
}

// minLag is the shortest period, 4800 Hz: above the top of the fingerboard.
const minLag = 5

// most candidates of a frame, and how clear one must be beside the clearest.
const (
	maxCandidates = 5
	nearBest      = 0.75
	leastClarity  = 0.3
)

// newPitcher looks for pitches from lowest Hz up. The window holds three periods
// of the lowest, and at least 43 ms.
func newPitcher(lowest float64) *pitcher {
	p := &pitcher{size: 1024, maxLag: int(Rate/lowest*1.06) + 2}
	p.maxLag = min(p.maxLag, 600)
	for p.size < 3*p.maxLag && p.size < 1536 {
		p.size += 256
	}
	p.t, p.inv = newTransform(2048+256), newTransform(2048+256)
	if p.size+p.maxLag <= 2048 {
		p.t, p.inv = newTransform(2048), newTransform(2048)
	}
	p.acf = make([]float64, len(p.t.in))
	p.nsdf = make([]float64, p.maxLag+2)
	p.energy = make([]float64, p.size+1)
	return p
}

// candidates appends the readings of one window, clearest lags first to last.
func (p *pitcher) candidates(dst []Candidate, x []float32) []Candidate {
	if !p.correlate(x) {
		return dst
	}
	best := 0.0
	var found [64]Candidate
	n := 0
	for lag, end := p.firstDip(), p.maxLag; lag < end && n < len(found); lag++ {
		v := p.nsdf[lag]
		if v > leastClarity && v >= p.nsdf[lag-1] && v > p.nsdf[lag+1] {
			at, top := parabola(p.nsdf[lag-1], v, p.nsdf[lag+1])
			best = max(best, top)
			found[n] = Candidate{float32(float64(lag) + at), float32(min(1, top))}
			n++
		}
	}
	kept := 0
	for _, c := range found[:n] {
		if float64(c.Clarity) >= nearBest*best && kept < maxCandidates {
			c.Hz = float32(Rate / p.sharpen(float64(c.Hz)))
			dst = append(dst, c)
			kept++
		}
	}
	return dst
}

// firstDip is the first lag below zero: the hill around lag 0 is no period.
func (p *pitcher) firstDip() int {
	for lag := minLag; lag < p.maxLag; lag++ {
		if p.nsdf[lag] < 0 {
			return lag
		}
	}
	return p.maxLag
}

// sharpen reads a short period off a later peak, at several periods: an error of a
// part of a sample is then divided by their number.
func (p *pitcher) sharpen(period float64) float64 {
	for k := 2; k <= 16; k *= 2 {
		lag := int(math.Round(period * float64(k)))
		if lag+1 > p.maxLag || lag > p.size/4 {
			break
		}
		for lag > 1 && p.nsdf[lag-1] > p.nsdf[lag] {
			lag--
		}
		for lag+1 < p.maxLag && p.nsdf[lag+1] > p.nsdf[lag] {
			lag++
		}
		at, _ := parabola(p.nsdf[lag-1], p.nsdf[lag], p.nsdf[lag+1])
		longer := (float64(lag) + at) / float64(k)
		if math.Abs(longer/period-1) > 0.02 {
			break // the pitch moves, or this is another hill
		}
		period = longer
	}
	return period
}

// correlate fills nsdf; it says no of silence.
func (p *pitcher) correlate(x []float32) bool {
	clear(p.t.in)
	for i, v := range x {
		p.t.in[i] = float64(v)
		p.energy[i+1] = p.energy[i] + float64(v)*float64(v)
	}
	total := p.energy[p.size]
	if total < 1e-8*float64(p.size) {
		return false
	}
	spec := p.t.run()
	for i, c := range spec {
		spec[i] = complex(real(c)*real(c)+imag(c)*imag(c), 0)
	}
	acf := p.inv.fft.Sequence(p.acf, spec)
	norm := 1 / float64(len(acf))
	for lag := range p.nsdf {
		m := p.energy[p.size-lag] + total - p.energy[lag]
		p.nsdf[lag] = 0
		if m > 1e-12 {
			p.nsdf[lag] = 2 * acf[lag] * norm / m
		}
	}
	return true
}

// parabola through three points at -1, 0, 1: where its top is, and how high.
func parabola(a, b, c float64) (at, top float64) {
	d := a - 2*b + c
	if d >= 0 {
		return 0, b
	}
	at = 0.5 * (a - c) / d
	return at, b - 0.25*(a-c)*at
}
