package svg

import (
	"math"
	"strings"
)

// glyph is one character with its style and, where an attribute gives one, its
// absolute place.
type glyph struct {
	r            rune
	st           *style
	x, y, dx, dy float64
	atX, atY     bool
	advance      float64
}

// text lays a text element out (SVG 1.1 section 10): characters flow along the
// baseline; an absolute place begins a new chunk, and a chunk is anchored as a
// whole by the anchor of its first character (sections 10.5, 10.9.1).
func (w *walker) text(n *node, m Matrix, st style) error {
	t := textReader{w: w}
	t.pending.y, t.pending.atY, t.pending.atX = 0, true, true
	if err := t.node(n, st, 0); err != nil {
		return err
	}
	gs := t.glyphs
	for len(gs) > 0 && gs[len(gs)-1].r == ' ' && !gs[len(gs)-1].st.preserve {
		gs = gs[:len(gs)-1]
	}
	w.setText(gs, m)
	return nil
}

// textReader collects the characters of one text element.
type textReader struct {
	w       *walker
	glyphs  []glyph
	pending glyph // place for the next character
}

// node reads a text or tspan element whose style is st.
func (t *textReader) node(n *node, st style, depth int) error {
	if depth > MaxDepth {
		return t.w.fail(n, "nesting deeper than %d", MaxDepth)
	}
	if err := t.place(n, &st); err != nil {
		return err
	}
	for _, k := range n.kids {
		switch k.name {
		case "":
			t.chars(k.text, &st)
		case "tspan", "a":
			sub, err := t.w.styled(k, st)
			if err != nil {
				return err
			}
			if sub.none {
				continue
			}
			if err := t.node(k, sub, depth+1); err != nil {
				return err
			}
		case "title", "desc", "metadata":
		default:
			return t.w.fail(k, "<%.30s> inside text is not supported", k.name)
		}
	}
	return nil
}

// place notes x, y, dx, dy of an element for its first character.
func (t *textReader) place(n *node, st *style) error {
	var g geometry
	g.read(n, st)
	p := &t.pending
	for i := range n.attrs {
		a := &n.attrs[i]
		switch a.key {
		case "x":
			p.x, p.atX = g.get("x", 0, st.viewW), true
		case "y":
			p.y, p.atY = g.get("y", 0, st.viewH), true
		case "dx":
			p.dx += g.get("dx", 0, st.viewW)
		case "dy":
			p.dy += g.get("dy", 0, st.viewH)
		case "rotate", "textLength":
			return t.w.fail(n, "<%s>: attribute %s is not supported", n.name, a.key)
		}
	}
	if g.err != nil {
		return t.w.fail(n, "<%s>: %v", n.name, g.err)
	}
	return nil
}

// chars appends characters, collapsing white space: a run of it becomes one
// space in the style of its first character, and none at the beginning.
func (t *textReader) chars(s string, st *style) {
	for _, r := range s {
		switch r {
		case '\n', '\t', '\r', ' ':
			r = ' '
			if st.preserve {
				break
			}
			if k := len(t.glyphs); k == 0 || t.glyphs[k-1].r == ' ' {
				continue
			}
		}
		if r < ' ' {
			continue // control characters have no shape
		}
		g := t.pending
		g.r, g.st = r, st
		t.pending = glyph{}
		t.glyphs = append(t.glyphs, g)
	}
}

// setText places the characters and appends the runs to the drawing.
func (w *walker) setText(gs []glyph, m Matrix) {
	var pen Point
	for start := 0; start < len(gs); {
		end := start + 1
		for end < len(gs) && !gs[end].atX && !gs[end].atY {
			end++
		}
		chunk := gs[start:end]
		width := 0.0
		for i := range chunk {
			g := &chunk[i]
			g.advance = w.metrics.Advance(g.st.face, g.r)*g.st.size + g.st.spacing
			width += g.advance + g.dx
		}
		if chunk[0].atX {
			pen.X = chunk[0].x
		}
		if chunk[0].atY {
			pen.Y = chunk[0].y
		}
		pen.X -= width * chunk[0].st.anchor
		pen = w.setChunk(chunk, pen, m)
		start = end
	}
}

// setChunk cuts one chunk into runs of one style and returns the pen after it.
func (w *walker) setChunk(chunk []glyph, pen Point, m Matrix) Point {
	for i := 0; i < len(chunk); {
		st := chunk[i].st
		pen.X += chunk[i].dx
		pen.Y += chunk[i].dy
		at := pen
		var b strings.Builder
		j := i
		for j < len(chunk) && chunk[j].st == st && (j == i || chunk[j].dx == 0 && chunk[j].dy == 0 && st.spacing == 0) {
			b.WriteRune(chunk[j].r)
			pen.X += chunk[j].advance
			j++
		}
		i = j
		w.run(b.String(), at, st, m)
	}
	return pen
}

// run appends one run unless nothing of it would be seen.
func (w *walker) run(s string, at Point, st *style, m Matrix) {
	fill, ok := st.inked(st.fill, st.fillOp)
	if !ok || st.hidden || st.size <= 0 || strings.Trim(s, " \u00a0") == "" {
		return
	}
	if math.Abs(at.X) > maxNumber || math.Abs(at.Y) > maxNumber {
		return
	}
	w.out.Ops = append(w.out.Ops, &Text{S: s, M: m.Mul(Translate(at.X, at.Y)), Size: st.size, Face: st.face, Fill: fill})
}
