package audio

import "math"

// biquad is a second-order filter in direct form I with a0 = 1.
type biquad struct {
	b0, b1, b2, a1, a2 float64
	x1, x2, y1, y2     float64
}

func (q *biquad) step(x float64) float64 {
	y := q.b0*x + q.b1*q.x1 + q.b2*q.x2 - q.a1*q.y1 - q.a2*q.y2
	q.x2, q.x1, q.y2, q.y1 = q.x1, x, q.y1, y
	return y
}

// kWeighting is the two filters of ITU-R BS.1770 for any rate: the standard gives
// their coefficients at 48 kHz alone; these are the analogue shapes that give those
// (centre frequency, gain and Q as commonly derived; from memory, checked against
// the standard's table in the tests).
func kWeighting(rate float64) [2]biquad {
	k := math.Tan(math.Pi * 1681.974450955533 / rate)
	const q1, gain = 0.7071752369554196, 3.999843853973347
	vh := math.Pow(10, gain/20)
	vb := math.Pow(vh, 0.4996667741545416)
	a0 := 1 + k/q1 + k*k
	shelf := biquad{b0: (vh + vb*k/q1 + k*k) / a0, b1: 2 * (k*k - vh) / a0, b2: (vh - vb*k/q1 + k*k) / a0,
		a1: 2 * (k*k - 1) / a0, a2: (1 - k/q1 + k*k) / a0}
	k = math.Tan(math.Pi * 38.13547087602444 / rate)
	const q2 = 0.5003270373238773
	a0 = 1 + k/q2 + k*k
	high := biquad{b0: 1, b1: -2, b2: 1, a1: 2 * (k*k - 1) / a0, a2: (1 - k/q2 + k*k) / a0}
	return [2]biquad{shelf, high}
}

// gatedLoudness gathers K-weighted power in steps of 100 ms for the integrated
// loudness of ITU-R BS.1770-4 (mono: one channel of weight 1).
type gatedLoudness struct {
	filters [2]biquad
	sum     float64
	n       int
	steps   []float32 // mean square of each 100 ms
}

func newGatedLoudness() gatedLoudness { return gatedLoudness{filters: kWeighting(Rate)} }

func (g *gatedLoudness) push(in []float32) {
	for _, v := range in {
		y := g.filters[1].step(g.filters[0].step(float64(v)))
		g.sum += y * y
		if g.n++; g.n == Rate/10 {
			g.steps = append(g.steps, float32(g.sum/float64(g.n)))
			g.sum, g.n = 0, 0
		}
	}
}

func lufs(meanSquare float64) float64 {
	if meanSquare <= 1e-10 {
		return Silent
	}
	return -0.691 + 10*math.Log10(meanSquare)
}

// integrated is the loudness of all blocks of 400 ms, overlapping by three quarters,
// that are above -70 LUFS and above the mean of those less 10.
func (g *gatedLoudness) integrated() float64 {
	var blocks []float64
	for i := 0; i+4 <= len(g.steps); i++ {
		blocks = append(blocks, float64(g.steps[i]+g.steps[i+1]+g.steps[i+2]+g.steps[i+3])/4)
	}
	gate := -70.0
	for range 2 {
		sum, n := 0.0, 0
		for _, b := range blocks {
			if lufs(b) > gate {
				sum, n = sum+b, n+1
			}
		}
		if n == 0 {
			return Silent
		}
		if gate > -70 {
			return lufs(sum / float64(n))
		}
		gate = max(-70, lufs(sum/float64(n))-10)
		if gate == -70 { // the relative gate lies lower: nothing more to leave out
			return lufs(sum / float64(n))
		}
	}
	return Silent
}
