package svg

import (
	"fmt"
)

// geometry reads the lengths of a basic shape, keeping the first mistake.
type geometry struct {
	n   *node
	st  *style
	err error
}

func (g *geometry) read(n *node, st *style) { g.n, g.st = n, st }

// get is one length; def stands when the attribute is absent.
func (g *geometry) get(key string, def, ref float64) float64 {
	s, ok := g.n.attr(key)
	if !ok {
		return def
	}
	v, err := length(s, ref, g.st.size)
	if err != nil && g.err == nil {
		g.err = fmt.Errorf("%s: %w", key, err)
	}
	return v
}

// shape draws a path or a basic shape.
func (w *walker) shape(n *node, m Matrix, st style) error {
	path := n.path
	if path == nil {
		var err error
		if path, err = outline(n, &st); err != nil {
			return w.fail(n, "<%.30s>: %v", n.name, err)
		}
		if n.name == "path" {
			n.path = path // the same wherever it is used; other shapes may have lengths in %
		}
	}
	if st.hidden || len(path.Cmds) == 0 {
		return nil
	}
	s := &Shape{Path: path, M: m, EvenOdd: st.evenOdd, Instance: w.inUse}
	s.Fill, _ = st.inked(st.fill, st.fillOp)
	if n.name == "line" {
		s.Fill = Color{}
	}
	if c, ok := st.inked(st.stroke, st.strokeOp); ok && st.width > 0 {
		s.Stroke, s.Width, s.Cap, s.Join = c, st.width, st.cap, st.join
		s.Miter, s.Dash, s.Phase = st.miter, st.dash, st.dashPhase
	}
	if s.Fill.A > 0 || s.Stroke.A > 0 {
		w.out.Ops = append(w.out.Ops, s)
	}
	return nil
}

// outline makes the path of a shape (SVG 1.1 section 9).
func outline(n *node, st *style) (*Path, error) {
	var g geometry
	g.read(n, st)
	p := &Path{}
	vw, vh := st.viewW, st.viewH
	switch n.name {
	case "path":
		d, _ := n.attr("d")
		return ParsePath(d)
	case "line":
		p.MoveTo(Point{g.get("x1", 0, vw), g.get("y1", 0, vh)})
		p.LineTo(Point{g.get("x2", 0, vw), g.get("y2", 0, vh)})
	case "polyline", "polygon":
		return polyPath(n)
	case "circle":
		r := g.get("r", 0, (vw+vh)/2)
		p.ellipse(g.get("cx", 0, vw), g.get("cy", 0, vh), r, r)
	case "ellipse":
		p.ellipse(g.get("cx", 0, vw), g.get("cy", 0, vh), g.get("rx", 0, vw), g.get("ry", 0, vh))
	case "rect":
		rx, ry := g.get("rx", -1, vw), g.get("ry", -1, vh)
		p.rect(g.get("x", 0, vw), g.get("y", 0, vh), g.get("width", 0, vw), g.get("height", 0, vh), rx, ry)
	default:
		return nil, fmt.Errorf("this element is not supported")
	}
	return p, g.err
}

// polyPath is a polyline or polygon; points past the last whole pair are an
// error (section 9.7).
func polyPath(n *node) (*Path, error) {
	s, _ := n.attr("points")
	a, err := numbers(s)
	if err != nil {
		return nil, fmt.Errorf("points: %w", err)
	}
	if len(a)%2 != 0 {
		return nil, fmt.Errorf("points: an odd count of numbers (%d)", len(a))
	}
	p := &Path{}
	for i := 0; i < len(a); i += 2 {
		if q := (Point{a[i], a[i+1]}); i == 0 {
			p.MoveTo(q)
		} else {
			p.LineTo(q)
		}
	}
	if n.name == "polygon" && len(a) > 0 {
		p.Close()
	}
	return p, nil
}

// rect appends a rectangle; a negative radius means it was not given. An empty
// one appends nothing.
func (p *Path) rect(x, y, w, h, rx, ry float64) {
	if w <= 0 || h <= 0 {
		return
	}
	if rx < 0 {
		rx = ry
	}
	if ry < 0 {
		ry = rx
	}
	rx, ry = max(0, min(rx, w/2)), max(0, min(ry, h/2))
	round := rx > 0 && ry > 0
	if !round {
		rx, ry = 0, 0
	}
	corner := func(from, to Point) {
		if round {
			p.arc(from, rx, ry, 0, false, true, to)
		}
	}
	p.MoveTo(Point{x + rx, y})
	p.LineTo(Point{x + w - rx, y})
	corner(Point{x + w - rx, y}, Point{x + w, y + ry})
	p.LineTo(Point{x + w, y + h - ry})
	corner(Point{x + w, y + h - ry}, Point{x + w - rx, y + h})
	p.LineTo(Point{x + rx, y + h})
	corner(Point{x + rx, y + h}, Point{x, y + h - ry})
	if round {
		p.LineTo(Point{x, y + ry})
		corner(Point{x, y + ry}, Point{x + rx, y})
	}
	p.Close()
}

// ellipse appends a whole ellipse, or nothing when a radius is not positive.
func (p *Path) ellipse(cx, cy, rx, ry float64) {
	if rx <= 0 || ry <= 0 {
		return
	}
	a, b := Point{cx + rx, cy}, Point{cx - rx, cy}
	p.MoveTo(a)
	p.arc(a, rx, ry, 0, false, true, b)
	p.arc(b, rx, ry, 0, false, true, a)
	p.Close()
}
