package svg

import "math"

// Point is a place in some coordinate system, x right and y down.
type Point struct{ X, Y float64 }

// Matrix is the affine map of SVG 1.1 section 7.5:
//
//	x' = A*x + C*y + E
//	y' = B*x + D*y + F
type Matrix struct{ A, B, C, D, E, F float64 }

// Identity leaves every point where it is.
var Identity = Matrix{A: 1, D: 1}

// Translate moves by (x, y).
func Translate(x, y float64) Matrix { return Matrix{1, 0, 0, 1, x, y} }

// Scale stretches by x and y about the origin.
func Scale(x, y float64) Matrix { return Matrix{x, 0, 0, y, 0, 0} }

// Rotate turns by an angle in degrees, clockwise on a y-down page.
func Rotate(deg float64) Matrix {
	s, c := math.Sincos(deg * math.Pi / 180)
	return Matrix{c, s, -s, c, 0, 0}
}

// Mul is the map that applies n first and then m, so that m is the outer
// coordinate system (section 7.5: CTM * inner transform).
func (m Matrix) Mul(n Matrix) Matrix {
	return Matrix{
		A: m.A*n.A + m.C*n.B,
		B: m.B*n.A + m.D*n.B,
		C: m.A*n.C + m.C*n.D,
		D: m.B*n.C + m.D*n.D,
		E: m.A*n.E + m.C*n.F + m.E,
		F: m.B*n.E + m.D*n.F + m.F,
	}
}

// Apply maps a point.
func (m Matrix) Apply(p Point) Point {
	return Point{m.A*p.X + m.C*p.Y + m.E, m.B*p.X + m.D*p.Y + m.F}
}

// Det is the signed factor by which m changes areas.
func (m Matrix) Det() float64 { return m.A*m.D - m.B*m.C }

// MeanScale is the factor by which m changes lengths, averaged over directions
// as the square root of the change of area.
func (m Matrix) MeanScale() float64 { return math.Sqrt(math.Abs(m.Det())) }

// Similar reports whether m keeps shapes: the same scale in every direction,
// so that a pen stays round.
func (m Matrix) Similar() bool {
	tol := 1e-6 * (m.A*m.A + m.B*m.B + m.C*m.C + m.D*m.D)
	return math.Abs(m.A*m.C+m.B*m.D) <= tol &&
		math.Abs(m.A*m.A+m.B*m.B-m.C*m.C-m.D*m.D) <= tol
}

// tan is the tangent of an angle in degrees, kept finite near a right angle.
func tan(deg float64) float64 {
	return max(-1e6, min(1e6, math.Tan(math.Mod(deg, 360)*math.Pi/180)))
}
