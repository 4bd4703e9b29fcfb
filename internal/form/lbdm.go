package form

// Weights of the three profiles of the Local Boundary Detection Model, as
// published (Cambouropoulos 2001): pitch, time between onsets, rests.
const (
	lbdmPitch = 0.25
	lbdmGap   = 0.50
	lbdmRest  = 0.25
)

// boundaries gives for each onset the strength, 0 to 1, of the boundary before
// it; the first has 0. Chords count with their highest pitch.
func boundaries(os []onset) []float64 {
	out := make([]float64, len(os))
	if len(os) < 2 {
		return out
	}
	n := len(os) - 1 // intervals
	pitch, gap, rest := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		pitch[i] = float64(max(os[i+1].top-os[i].top, os[i].top-os[i+1].top))
		gap[i] = float64(os[i+1].at - os[i].at)
		rest[i] = float64(max(0, os[i+1].at-os[i].end))
	}
	a, b, c := profile(pitch), profile(gap), profile(rest)
	for i := range n {
		out[i+1] = lbdmPitch*a[i] + lbdmGap*b[i] + lbdmRest*c[i]
	}
	return out
}

// profile is the boundary strength of one row of intervals, brought to 0..1:
// s(i) = x(i)·(r(i-1,i) + r(i,i+1)), where r(i,j) = |x(i)-x(j)| / (x(i)+x(j)) is
// the degree of change, 0 where both are 0.
func profile(x []float64) []float64 {
	s := make([]float64, len(x))
	top := 0.0
	for i := range x {
		r := 0.0
		if i > 0 {
			r += change(x[i-1], x[i])
		}
		if i+1 < len(x) {
			r += change(x[i], x[i+1])
		}
		s[i] = x[i] * r
		top = max(top, s[i])
	}
	if top > 0 {
		for i := range s {
			s[i] /= top
		}
	}
	return s
}

func change(a, b float64) float64 {
	if a+b == 0 {
		return 0
	}
	return max(a-b, b-a) / (a + b)
}
