package paper

import (
	"math"

	"pochette/internal/paper/svg"
)

// A stroke is filled as the union of simple pieces: a rectangle for each
// straight bit, and a wedge, tip or disc for each join and cap (SVG 1.1 section
// 11.4). All pieces turn the same way, so that where they overlap the nonzero
// rule still fills once.

// polyline is a flattened subpath without repeated points.
type polyline struct {
	pts    []svg.Point
	smooth []bool // the corner at this point comes from flattening a curve
	closed bool
}

// add appends a point unless it repeats the last.
func (l *polyline) add(q svg.Point, smooth bool) {
	if n := len(l.pts); n == 0 || l.pts[n-1] != q {
		l.pts, l.smooth = append(l.pts, q), append(l.smooth, smooth)
	}
}

// flatten cuts the curves of a path into straight lines that stay within tol of
// them, after mapping by m.
func flatten(p *svg.Path, m svg.Matrix, tol float64) []polyline {
	var out []polyline
	var cur polyline
	end := func(closed bool) {
		if n := len(cur.pts); closed && n > 1 && cur.pts[0] == cur.pts[n-1] {
			cur.pts, cur.smooth = cur.pts[:n-1], cur.smooth[:n-1]
		}
		if len(cur.pts) > 0 {
			cur.closed = closed
			out = append(out, cur)
		}
		cur = polyline{}
	}
	k := 0
	for _, c := range p.Cmds {
		switch c {
		case svg.MoveTo:
			end(false)
			cur.add(m.Apply(p.Pts[k]), false)
		case svg.LineTo:
			cur.add(m.Apply(p.Pts[k]), false)
		case svg.CurveTo:
			from := cur.pts[len(cur.pts)-1]
			a, b, to := m.Apply(p.Pts[k]), m.Apply(p.Pts[k+1]), m.Apply(p.Pts[k+2])
			n := pieces(from, a, b, to, tol)
			for i := 1; i < n; i++ {
				cur.add(bezier(from, a, b, to, float64(i)/float64(n)), true)
			}
			cur.add(to, false)
		case svg.Close:
			end(true)
		}
		k += c.Points()
	}
	end(false)
	return out
}

// pieces is how many equal steps of the parameter keep a cubic within tol: the
// error of a chord over a step h is at most h*h/8 times the greatest second
// derivative, which is at most 6 times the greatest second difference of the
// controls.
func pieces(p0, p1, p2, p3 svg.Point, tol float64) int {
	d1 := math.Hypot(p0.X-2*p1.X+p2.X, p0.Y-2*p1.Y+p2.Y)
	d2 := math.Hypot(p1.X-2*p2.X+p3.X, p1.Y-2*p2.Y+p3.Y)
	n := math.Ceil(math.Sqrt(6 * max(d1, d2) / (8 * tol)))
	return int(max(1, min(256, n)))
}

func bezier(p0, p1, p2, p3 svg.Point, t float64) svg.Point {
	u := 1 - t
	a, b, c, d := u*u*u, 3*u*u*t, 3*u*t*t, t*t*t
	return svg.Point{X: a*p0.X + b*p1.X + c*p2.X + d*p3.X, Y: a*p0.Y + b*p1.Y + c*p2.Y + d*p3.Y}
}

// maxDashes bounds the dashes of one shape; a finer pattern is drawn solid.
const maxDashes = 20000

// dashed cuts lines into the dashes of a pattern.
func dashed(lines []polyline, dash []float64, phase float64) []polyline {
	sum, length := 0.0, 0.0
	for _, v := range dash {
		sum += v
	}
	for _, l := range lines {
		length += l.length()
	}
	if sum <= 0 || length/sum*float64(len(dash)) > maxDashes {
		return lines
	}
	var out []polyline
	for _, l := range lines {
		out = l.dash(out, dash, sum, phase)
	}
	return out
}

func (l *polyline) length() float64 {
	sum := 0.0
	for i := range l.segments() {
		a, b := l.segment(i)
		sum += math.Hypot(b.X-a.X, b.Y-a.Y)
	}
	return sum
}

func (l *polyline) segments() int {
	if l.closed {
		return len(l.pts)
	}
	return len(l.pts) - 1
}

func (l *polyline) segment(i int) (a, b svg.Point) {
	return l.pts[i], l.pts[(i+1)%len(l.pts)]
}

// dash appends the dashes of one line to out.
func (l *polyline) dash(out []polyline, dash []float64, sum, phase float64) []polyline {
	left := math.Mod(phase, sum)
	if left < 0 {
		left += sum
	}
	k := 0
	for left >= dash[k] && left > 0 {
		left -= dash[k]
		k = (k + 1) % len(dash)
	}
	left = dash[k] - left // of the current dash or gap
	var cur polyline
	if k%2 == 0 && len(l.pts) > 0 {
		cur.add(l.pts[0], false)
	}
	for i := range l.segments() {
		a, b := l.segment(i)
		d := math.Hypot(b.X-a.X, b.Y-a.Y)
		done := 0.0
		for d > 0 && d-done > left {
			done += left
			q := svg.Point{X: a.X + (b.X-a.X)*done/d, Y: a.Y + (b.Y-a.Y)*done/d}
			if k%2 == 0 {
				cur.add(q, false)
				out = append(out, cur)
				cur = polyline{}
			} else {
				cur = polyline{pts: []svg.Point{q}, smooth: []bool{false}}
			}
			k = (k + 1) % len(dash)
			left = dash[k]
		}
		left -= d - done
		if k%2 == 0 {
			cur.add(b, l.smooth[(i+1)%len(l.pts)])
		}
	}
	if len(cur.pts) > 1 {
		out = append(out, cur)
	}
	return out
}

// stroker collects the pieces of a stroke as polygons.
type stroker struct {
	half  float64
	cap   svg.Cap
	join  svg.Join
	miter float64
	disc  int // corners of a full circle
	polys [][]svg.Point
}

// strokeOutline is the set of polygons whose union is the stroke of a shape, in
// the shape's coordinates; tol is the error allowed there.
func strokeOutline(s *svg.Shape, tol float64) [][]svg.Point {
	lines := flatten(s.Path, svg.Identity, tol)
	if len(s.Dash) > 0 {
		lines = dashed(lines, s.Dash, s.Phase)
	}
	st := stroker{half: s.Width / 2, cap: s.Cap, join: s.Join, miter: s.Miter}
	st.disc = int(max(8, min(96, math.Ceil(math.Pi/math.Acos(max(0, 1-tol/max(st.half, tol)))))))
	for i := range lines {
		st.line(&lines[i])
	}
	return st.polys
}

func (st *stroker) line(l *polyline) {
	n := l.segments()
	if n == 0 || len(l.pts) == 1 {
		st.dot(l.pts[0])
		return
	}
	for i := range n {
		st.segment(l.segment(i))
	}
	first := 1
	if l.closed {
		first = 0
	}
	for i := first; i < n; i++ {
		prev, at := l.segment((i - 1 + n) % n)
		_, next := l.segment(i)
		st.corner(prev, at, next, l.smooth[i])
	}
	if !l.closed {
		a, b := l.segment(0)
		st.end(a, b)
		a, b = l.segment(n - 1)
		st.end(b, a)
	}
}

// dot is a subpath of no length: it shows only with round or square ends.
func (st *stroker) dot(at svg.Point) {
	h := st.half
	switch st.cap {
	case svg.RoundCap:
		st.circle(at)
	case svg.SquareCap:
		st.add(svg.Point{X: at.X - h, Y: at.Y - h}, svg.Point{X: at.X + h, Y: at.Y - h},
			svg.Point{X: at.X + h, Y: at.Y + h}, svg.Point{X: at.X - h, Y: at.Y + h})
	}
}

// normal is the vector of length half to the left of a to b.
func (st *stroker) normal(a, b svg.Point) svg.Point {
	d := math.Hypot(b.X-a.X, b.Y-a.Y)
	return svg.Point{X: -(b.Y - a.Y) / d * st.half, Y: (b.X - a.X) / d * st.half}
}

func (st *stroker) segment(a, b svg.Point) {
	v := st.normal(a, b)
	st.add(svg.Point{X: a.X + v.X, Y: a.Y + v.Y}, svg.Point{X: b.X + v.X, Y: b.Y + v.Y},
		svg.Point{X: b.X - v.X, Y: b.Y - v.Y}, svg.Point{X: a.X - v.X, Y: a.Y - v.Y})
}

// corner fills the outer side of the bend prev-at-next.
func (st *stroker) corner(prev, at, next svg.Point, smooth bool) {
	u, v := st.normal(prev, at), st.normal(at, next)
	cross := u.X*v.Y - u.Y*v.X
	dot := u.X*v.X + u.Y*v.Y
	if st.join == svg.RoundJoin && !smooth {
		st.circle(at)
		return
	}
	if cross > 0 { // bends to the left: the right side is open
		u, v = svg.Point{X: -u.X, Y: -u.Y}, svg.Point{X: -v.X, Y: -v.Y}
	}
	a, b := svg.Point{X: at.X + u.X, Y: at.Y + u.Y}, svg.Point{X: at.X + v.X, Y: at.Y + v.Y}
	h2 := st.half * st.half
	// The miter's length over the width is 1/cos(half the turn).
	cos2 := (1 + dot/h2) / 2
	if (st.join == svg.MiterJoin || smooth) && cos2*st.miter*st.miter >= 1 {
		k := 1 / (2 * cos2)
		st.add(at, a, svg.Point{X: at.X + (u.X+v.X)*k, Y: at.Y + (u.Y+v.Y)*k}, b)
		return
	}
	st.add(at, a, b)
}

// end draws the cap at the end a of the line that comes from b.
func (st *stroker) end(a, b svg.Point) {
	switch st.cap {
	case svg.RoundCap:
		st.circle(a)
	case svg.SquareCap:
		v := st.normal(b, a)
		f := svg.Point{X: v.Y, Y: -v.X} // forward, out of the line
		st.add(svg.Point{X: a.X + v.X, Y: a.Y + v.Y}, svg.Point{X: a.X + v.X + f.X, Y: a.Y + v.Y + f.Y},
			svg.Point{X: a.X - v.X + f.X, Y: a.Y - v.Y + f.Y}, svg.Point{X: a.X - v.X, Y: a.Y - v.Y})
	}
}

func (st *stroker) circle(at svg.Point) {
	pts := make([]svg.Point, st.disc)
	for i := range pts {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(st.disc))
		pts[i] = svg.Point{X: at.X + c*st.half, Y: at.Y + s*st.half}
	}
	st.add(pts...)
}

// add keeps a polygon, turned so that its area is positive.
func (st *stroker) add(pts ...svg.Point) {
	area := 0.0
	for i, p := range pts {
		q := pts[(i+1)%len(pts)]
		area += p.X*q.Y - p.Y*q.X
	}
	if area < 0 {
		for i, j := 0, len(pts)-1; i < j; i, j = i+1, j-1 {
			pts[i], pts[j] = pts[j], pts[i]
		}
	}
	st.polys = append(st.polys, pts)
}
