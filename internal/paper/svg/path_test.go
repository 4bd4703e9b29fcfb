package svg

import (
	"math"
	"testing"
)

// parsePath reads path data that must be right.
func parsePath(t *testing.T, d string) *Path {
	t.Helper()
	p, err := ParsePath(d)
	if err != nil {
		t.Fatalf("%s: %v", d, err)
	}
	return p
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

func samePath(a, b *Path) bool {
	if string(cmdBytes(a)) != string(cmdBytes(b)) || len(a.Pts) != len(b.Pts) {
		return false
	}
	for i := range a.Pts {
		if !near(a.Pts[i].X, b.Pts[i].X, 1e-9) || !near(a.Pts[i].Y, b.Pts[i].Y, 1e-9) {
			return false
		}
	}
	return true
}

func cmdBytes(p *Path) []byte {
	var b []byte
	for _, c := range p.Cmds {
		b = append(b, "MLCZ"[c])
	}
	return b
}

// Pairs of path data that must mean the same, from the rules of SVG 1.1
// sections 8.3.1 to 8.3.7.
func TestPathEquivalents(t *testing.T) {
	for _, c := range [][2]string{
		{"M 100 100 L 200 200", "M100 100L200 200"},                          // 8.3.1, needless white space
		{"M 100 200 L 200 100 -100 -200", "M 100 200 L 200 100 L -100 -200"}, // 8.3.1, repeated command
		{"M0.6.5", "M0.6 0.5"},                                               // 8.3.9, greedy numbers
		{"M1-2", "M1,-2"},
		{"M10 10 20 20 30 10", "M10 10 L20 20 L30 10"}, // 8.3.2
		{"m10 10 20 20 30-10", "M10 10 L30 30 L60 20"}, // 8.3.2: a first m is absolute
		{"M10 10h5v5H0V0", "M10 10L15 10L15 15L0 15L0 0"},
		{"M5 5l10 0zl0 10", "M5 5L15 5ZM5 5L5 15"}, // 8.3.3: after z the start is current
		{"M10 10l5 5zm1 1l1 0", "M10 10L15 15ZM11 11L12 11"},
		{"M100,200 C100,100 250,100 250,200 S400,300 400,200", // 8.3.6, example cubic01
			"M100,200 C100,100 250,100 250,200 C250,300 400,300 400,200"},
		{"M100,200c0-100 150-100 150 0s150 100 150 0", "M100,200 C100,100 250,100 250,200 C250,300 400,300 400,200"},
		{"M10 10S20 30 40 50", "M10 10C10 10 20 30 40 50"},                                   // no curve before
		{"M200,300 Q400,50 600,300 T1000,300", "M200,300 Q400,50 600,300 Q800,550 1000,300"}, // 8.3.7, example quad01
		{"M10 10T20 20", "M10 10Q10 10 20 20"},
		{"M0 0Q3 0 3 3", "M0 0C2 0 3 1 3 3"}, // degree raised
		{"M0 0A5 5 0 0 1 0 0", "M0 0"},       // F.6.2: same end points, left out
		{"M0 0A0 5 0 0 1 9 9", "M0 0L9 9"},   // F.6.2: no radius, a line
		{"M0 0a1 1 0 00 2 0", "M0 0a1,1,0,0,0,2,0"},
		{"M1e2 1E-1", "M100 .1"},
		{"", ""},
	} {
		if a, b := parsePath(t, c[0]), parsePath(t, c[1]); !samePath(a, b) {
			t.Errorf("%q gives %s %v\n%q gives %s %v", c[0], cmdBytes(a), a.Pts, c[1], cmdBytes(b), b.Pts)
		}
	}
}

// Every point of an arc must lie on its ellipse. The first two are the pie of
// SVG 1.1 section 8.3.8 (example arcs01).
func TestArcs(t *testing.T) {
	for _, c := range []struct {
		d           string
		cx, cy      float64
		rx, ry, phi float64
		curves      int // quarter turns or less
	}{
		{"M300,200 h-150 a150,150 0 1,0 150,-150 z", 300, 200, 150, 150, 0, 3},
		{"M275,175 v-150 a150,150 0 0,0 -150,150 z", 275, 175, 150, 150, 0, 1},
		{"M0 0A1 1 0 0 1 10 0", 5, 0, 5, 5, 0, 2},      // F.6.6: radii scaled up
		{"M0 0A-5 -5 0 0 1 10 0", 5, 0, 5, 5, 0, 2},    // F.6.6: signs dropped
		{"M10 0A10 4 0 0 1 0 4", 0, 0, 10, 4, 0, 1},    // a quarter of an ellipse
		{"M0 10A10 4 90 0 1 -4 0", 0, 0, 10, 4, 90, 1}, // the same, turned
	} {
		p := parsePath(t, c.d)
		sin, cos := math.Sincos(c.phi * math.Pi / 180)
		curves, k := 0, 0
		for _, cmd := range p.Cmds {
			if cmd == CurveTo {
				curves++
				for i := 0; i <= 8; i++ {
					q := cubicAt(p.Pts[k-1], p.Pts[k], p.Pts[k+1], p.Pts[k+2], float64(i)/8)
					x, y := q.X-c.cx, q.Y-c.cy
					r := math.Hypot((x*cos+y*sin)/c.rx, (y*cos-x*sin)/c.ry)
					if !near(r, 1, 3e-4) { // the known error of a quarter as one cubic is 2.7e-4
						t.Errorf("%s: %v is at %g of the radius", c.d, q, r)
					}
				}
			}
			k += cmd.Points()
		}
		if curves != c.curves {
			t.Errorf("%s: %d curves, want %d", c.d, curves, c.curves)
		}
	}
}

func cubicAt(a, b, c, d Point, t float64) Point {
	u := 1 - t
	return Point{
		u*u*u*a.X + 3*u*u*t*b.X + 3*u*t*t*c.X + t*t*t*d.X,
		u*u*u*a.Y + 3*u*u*t*b.Y + 3*u*t*t*c.Y + t*t*t*d.Y,
	}
}

// With y downwards a positive sweep turns clockwise: over the top from left to
// right (8.3.8: sweep-flag 1 is the positive-angle direction).
func TestArcSweep(t *testing.T) {
	for sweep, want := range map[string]float64{"0": 5, "1": -5} {
		p := parsePath(t, "M0 0A5 5 0 0 "+sweep+" 10 0")
		if y := p.Pts[3].Y; !near(y, want, 1e-9) {
			t.Errorf("sweep %s: the middle is at y = %g, want %g", sweep, y, want)
		}
	}
}

func TestPathErrors(t *testing.T) {
	for _, d := range []string{"L1 1", "1 1", "M1", "M1 1 2", "M1 1 X", "M0 0A1 1 0 2 0 1 1", "M0 0Z1 1",
		"M1e400 0", "M0 0C1 1 2 2", "M..", "M0 0 L1,,1", "é"} {
		if p, err := ParsePath(d); err == nil {
			t.Errorf("%q was read as %s", d, cmdBytes(p))
		}
	}
}

// SVG 1.1 section 7.5: translate(50,90), rotate(-45) and translate(130,160)
// nested give the matrix [.707 -.707 .707 .707 255.03 111.21].
func TestNestedTransforms(t *testing.T) {
	m, err := parseTransform("translate(50,90),rotate(-45) translate(130,160)")
	if err != nil {
		t.Fatal(err)
	}
	want := Matrix{.707, -.707, .707, .707, 255.03, 111.21}
	got := [...]float64{m.A, m.B, m.C, m.D, m.E, m.F}
	for i, w := range [...]float64{want.A, want.B, want.C, want.D, want.E, want.F} {
		if !near(got[i], w, 0.05) {
			t.Errorf("%v, want %v", m, want)
			break
		}
	}
}

// SVG 1.1 section 7.6: the definitions of the named transforms.
func TestNamedTransforms(t *testing.T) {
	at := Point{3, 2}
	for s, want := range map[string]Point{
		"translate(10)":           {13, 2},
		"translate(10 -1)":        {13, 1},
		"scale(2)":                {6, 4},
		"scale(1,-1)":             {3, -2},
		"rotate(90)":              {-2, 3},
		"rotate(90 3,2)":          {3, 2},
		"rotate(180, 0, 0)":       {-3, -2},
		"skewX(45)":               {5, 2},
		"skewY(45)":               {3, 5},
		"matrix(1 2 3 4 5 6)":     {1*3 + 3*2 + 5, 2*3 + 4*2 + 6},
		"scale(2) translate(1,0)": {8, 4},
		"":                        at,
	} {
		m, err := parseTransform(s)
		if got := m.Apply(at); err != nil || !near(got.X, want.X, 1e-9) || !near(got.Y, want.Y, 1e-9) {
			t.Errorf("%q takes %v to %v (%v), want %v", s, at, got, err, want)
		}
	}
	for _, s := range []string{"spin(3)", "rotate(1 2)", "scale(", "scale)1(", "translate(a)", "matrix(1 2 3)"} {
		if _, err := parseTransform(s); err == nil {
			t.Errorf("%q was read", s)
		}
	}
}

func FuzzPath(f *testing.F) {
	for _, s := range []string{"M0 0h1v1z", "m1-2.5e1a1 1 0 00 2 0", "M0 0Q1 1 2 2T3 3S1 1 2 2", "M200,300 Q400,50 600,300 T1000,300"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, d string) {
		p, err := ParsePath(d)
		if err != nil {
			return
		}
		n := 0
		for i, c := range p.Cmds {
			if (i == 0 || p.Cmds[i-1] == Close) && c != MoveTo {
				t.Fatalf("%q: command %d is not a moveto", d, i)
			}
			n += c.Points()
		}
		if n != len(p.Pts) {
			t.Fatalf("%q: %d points for commands that take %d", d, len(p.Pts), n)
		}
		for _, q := range p.Pts {
			if math.IsNaN(q.X+q.Y) || math.IsInf(q.X+q.Y, 0) {
				t.Fatalf("%q: point %v", d, q)
			}
		}
	})
}
