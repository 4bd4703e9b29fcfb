package svg

import (
	"fmt"
	"math"
)

// Cmd is one drawing command of a path.
type Cmd byte

// The commands, with the number of points each takes from Path.Pts.
const (
	MoveTo  Cmd = iota // 1 point
	LineTo             // 1 point
	CurveTo            // 3 points: two controls of a cubic Bézier and its end
	Close              // none
)

// points is how many points each command takes.
var points = [...]int{MoveTo: 1, LineTo: 1, CurveTo: 3, Close: 0}

// Points is how many of a path's points the command takes.
func (c Cmd) Points() int { return points[c] }

// Path is an outline in absolute coordinates. Quadratic curves are raised to
// cubics and arcs are replaced by cubics. It always begins with MoveTo, and
// after Close the next command is MoveTo.
type Path struct {
	Cmds []Cmd
	Pts  []Point
}

// MoveTo begins a subpath at a.
func (p *Path) MoveTo(a Point) { p.Cmds = append(p.Cmds, MoveTo); p.Pts = append(p.Pts, a) }

// LineTo draws a straight line to a.
func (p *Path) LineTo(a Point) { p.Cmds = append(p.Cmds, LineTo); p.Pts = append(p.Pts, a) }

// CurveTo draws a cubic Bézier with controls a and b to c.
func (p *Path) CurveTo(a, b, c Point) {
	p.Cmds = append(p.Cmds, CurveTo)
	p.Pts = append(p.Pts, a, b, c)
}

// QuadTo draws a quadratic Bézier from p0, which must be the current point,
// raised to a cubic with the same shape.
func (p *Path) QuadTo(p0, q, p1 Point) {
	p.CurveTo(
		Point{p0.X + 2.0/3*(q.X-p0.X), p0.Y + 2.0/3*(q.Y-p0.Y)},
		Point{p1.X + 2.0/3*(q.X-p1.X), p1.Y + 2.0/3*(q.Y-p1.Y)},
		p1)
}

// Close draws a straight line back to where the subpath began.
func (p *Path) Close() { p.Cmds = append(p.Cmds, Close) }

// Bounds is the box of all the points, controls included; ok is false for an
// empty path.
func (p *Path) Bounds() (lo, hi Point, ok bool) {
	lo = Point{math.Inf(1), math.Inf(1)}
	hi = Point{math.Inf(-1), math.Inf(-1)}
	for _, q := range p.Pts {
		lo.X, lo.Y = min(lo.X, q.X), min(lo.Y, q.Y)
		hi.X, hi.Y = max(hi.X, q.X), max(hi.Y, q.Y)
	}
	return lo, hi, len(p.Pts) > 0
}

// maxNumber bounds every number read: far beyond any page, near enough that
// products of a few of them stay finite.
const maxNumber = 1e9

// ParsePath reads path data, the value of the attribute d (SVG 1.1 section
// 8.3). A mistake is an error that names the byte where it was found; nothing
// before it is returned, because half a shape is worse than none.
func ParsePath(d string) (*Path, error) {
	r := pathReader{scanner: scanner{s: d}, path: &Path{}}
	r.path.Cmds = make([]Cmd, 0, 8+len(d)/12)
	r.path.Pts = make([]Point, 0, 8+len(d)/8)
	r.skipSpace()
	var cmd byte
	for r.i < len(d) {
		c := d[r.i]
		switch {
		case isLetter(c):
			cmd = c
			r.i++
		case cmd == 0 || cmd == 'z' || cmd == 'Z':
			return nil, fmt.Errorf("path data, byte %d: %q where a command letter should stand", r.i, c)
		case cmd == 'M':
			cmd = 'L' // further pairs after a moveto are linetos, 8.3.2
		case cmd == 'm':
			cmd = 'l'
		}
		if !r.begun && cmd != 'M' && cmd != 'm' {
			return nil, fmt.Errorf("path data, byte %d: it begins with %q, a path must begin with a moveto", r.i, cmd)
		}
		if err := r.segment(cmd); err != nil {
			return nil, err
		}
		r.skipSpaceComma()
	}
	return r.path, nil
}

// pathReader keeps the state that relative and smooth commands depend on.
type pathReader struct {
	scanner
	path       *Path
	begun      bool
	open       bool  // a subpath has been begun and not closed
	cur, start Point // current point, first point of the subpath
	ctrl       Point // last control point, for smooth curves
	last       byte  // upper-case letter of the command before
}

// segment reads the arguments of one command and appends it.
func (r *pathReader) segment(cmd byte) error {
	rel := cmd >= 'a'
	up := cmd &^ 0x20
	n, known := pathArgs[up]
	if !known {
		return fmt.Errorf("path data, byte %d: unknown command %q", r.i-1, cmd)
	}
	var a [7]float64
	for k := range n {
		var err error
		if up == 'A' && (k == 3 || k == 4) {
			a[k], err = r.flag()
		} else {
			a[k], err = r.number()
		}
		if err != nil {
			return fmt.Errorf("path data, command %q: %w", cmd, err)
		}
	}
	base := Point{}
	if rel {
		base = r.cur
	}
	if up != 'M' && up != 'Z' && !r.open {
		// After a closepath the next subpath starts at the same place, 8.3.3.
		r.path.MoveTo(r.start)
		r.open = true
	}
	r.draw(up, base, a)
	r.last = up
	if math.Abs(r.cur.X) > maxNumber || math.Abs(r.cur.Y) > maxNumber {
		return fmt.Errorf("path data, byte %d: coordinate beyond %g", r.i, float64(maxNumber))
	}
	return nil
}

// pathArgs is the number of arguments of each command.
var pathArgs = map[byte]int{'M': 2, 'L': 2, 'H': 1, 'V': 1, 'C': 6, 'S': 4, 'Q': 4, 'T': 2, 'A': 7, 'Z': 0}

// draw appends one command with its arguments a, relative to base.
func (r *pathReader) draw(up byte, base Point, a [7]float64) {
	at := func(k int) Point { return Point{base.X + a[k], base.Y + a[k+1]} }
	switch up {
	case 'M':
		r.begun, r.open = true, true
		r.cur = at(0)
		r.start = r.cur
		r.path.MoveTo(r.cur)
	case 'L':
		r.line(at(0))
	case 'H':
		r.line(Point{base.X + a[0], r.cur.Y})
	case 'V':
		r.line(Point{r.cur.X, base.Y + a[0]})
	case 'C':
		r.cubic(at(0), at(2), at(4))
	case 'S':
		r.cubic(r.reflected('C', 'S'), at(0), at(2))
	case 'Q':
		r.quad(at(0), at(2))
	case 'T':
		r.quad(r.reflected('Q', 'T'), at(0))
	case 'A':
		to := at(5)
		r.path.arc(r.cur, a[0], a[1], a[2], a[3] != 0, a[4] != 0, to)
		r.cur = to
	case 'Z':
		if r.open {
			r.path.Close()
		}
		r.open = false
		r.cur = r.start
	}
}

func (r *pathReader) line(to Point) {
	r.path.LineTo(to)
	r.cur = to
}

func (r *pathReader) cubic(a, b, to Point) {
	r.path.CurveTo(a, b, to)
	r.ctrl, r.cur = b, to
}

func (r *pathReader) quad(q, to Point) {
	r.path.QuadTo(r.cur, q, to)
	r.ctrl, r.cur = q, to
}

// reflected is the implied control point of a smooth command: the last control
// point mirrored in the current point if the command before was of the same
// family, else the current point (8.3.6, 8.3.7).
func (r *pathReader) reflected(family, smooth byte) Point {
	if r.last == family || r.last == smooth {
		return Point{2*r.cur.X - r.ctrl.X, 2*r.cur.Y - r.ctrl.Y}
	}
	return r.cur
}

// arc appends an elliptical arc as cubics: the centre from the end points by
// SVG 1.1 appendix F.6.5, radii out of range mended by F.6.6, then one cubic
// for each quarter turn or less.
func (p *Path) arc(from Point, rx, ry, phiDeg float64, large, sweep bool, to Point) {
	if from == to {
		return
	}
	rx, ry = math.Abs(rx), math.Abs(ry)
	if rx < 1e-12 || ry < 1e-12 {
		p.LineTo(to)
		return
	}
	sin, cos := math.Sincos(math.Mod(phiDeg, 360) * math.Pi / 180)
	c, rx, ry, th1, dth := arcCentre(from, rx, ry, sin, cos, large, sweep, to)
	n := max(1, int(math.Ceil(math.Abs(dth)/(math.Pi/2)-1e-9)))
	step := dth / float64(n)
	k := 4.0 / 3 * math.Tan(step/4) // makes the cubic touch the arc at its middle
	on := func(x, y float64) Point {
		return Point{c.X + cos*rx*x - sin*ry*y, c.Y + sin*rx*x + cos*ry*y}
	}
	for i := range n {
		s0, c0 := math.Sincos(th1 + float64(i)*step)
		s1, c1 := math.Sincos(th1 + float64(i+1)*step)
		end := on(c1, s1)
		if i == n-1 {
			end = to // exactly, so that closed shapes stay closed
		}
		p.CurveTo(on(c0-k*s0, s0+k*c0), on(c1+k*s1, s1-k*c1), end)
	}
}

// arcCentre turns end points into centre, mended radii, first angle and sweep
// in radians (appendix F.6.5, equations F.6.5.1 to F.6.5.6, and F.6.6).
func arcCentre(p1 Point, rx, ry, sin, cos float64, large, sweep bool, p2 Point) (c Point, rx2, ry2, th1, dth float64) {
	dx, dy := (p1.X-p2.X)/2, (p1.Y-p2.Y)/2
	x, y := cos*dx+sin*dy, -sin*dx+cos*dy
	if l := x*x/(rx*rx) + y*y/(ry*ry); l > 1 {
		rx, ry = rx*math.Sqrt(l), ry*math.Sqrt(l)
	}
	den := rx*rx*y*y + ry*ry*x*x
	f := 0.0
	if den > 0 {
		f = math.Sqrt(max(0, (rx*rx*ry*ry-den)/den))
	}
	if large == sweep {
		f = -f
	}
	cx, cy := f*rx*y/ry, -f*ry*x/rx
	c = Point{cos*cx - sin*cy + (p1.X+p2.X)/2, sin*cx + cos*cy + (p1.Y+p2.Y)/2}
	th1 = math.Atan2((y-cy)/ry, (x-cx)/rx)
	dth = math.Atan2((-y-cy)/ry, (-x-cx)/rx) - th1
	switch {
	case sweep && dth < 0:
		dth += 2 * math.Pi
	case !sweep && dth > 0:
		dth -= 2 * math.Pi
	}
	return c, rx, ry, th1, dth
}
