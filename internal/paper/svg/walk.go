package svg

import (
	"fmt"
	"math"
	"strings"
)

// Drawing is a page or picture as a list of operations in drawing order.
type Drawing struct {
	Width, Height float64 // of the viewport, user units
	Ops           []Op
}

// Op is a *Shape or a *Text.
type Op interface{ op() }

// Shape is an outline to be filled, stroked or both (fill first). Uses of one
// definition share the Path pointer, so a renderer may draw it once and reuse.
type Shape struct {
	Path     *Path  // in its own coordinates
	M        Matrix // from those to the drawing's
	Fill     Color  // A == 0: not filled
	EvenOdd  bool   // the fill rule, else nonzero
	Stroke   Color  // A == 0: not stroked
	Width    float64
	Cap      Cap
	Join     Join
	Miter    float64
	Dash     []float64 // nil: solid
	Phase    float64
	Instance bool // drawn through <use>
}

// Text is a run of text in one font, starting at the origin of M on the
// baseline. Letters are set by their advances, one after the other.
type Text struct {
	S    string
	M    Matrix
	Size float64 // in the coordinates before M
	Face Face
	Fill Color
}

func (*Shape) op() {}
func (*Text) op()  {}

// Metrics tells the widths of letters, which place what follows them.
type Metrics interface {
	// Advance is how far r moves the pen, in ems.
	Advance(f Face, r rune) float64
}

// Parse reads an SVG document.
func Parse(src string, m Metrics) (*Drawing, error) {
	root, err := readXML(src)
	if err != nil {
		return nil, err
	}
	w := &walker{src: src, metrics: m, ids: map[string]*node{}, out: &Drawing{}}
	if root.name != "svg" {
		return nil, w.fail(root, "the root element is <%.30s>, not <svg>", root.name)
	}
	w.index(root, nil)
	w.rules = parseCSS(w.css.String())
	st := initial()
	if w.out.Width, w.out.Height, err = rootSize(root); err != nil {
		return nil, w.fail(root, "%v", err)
	}
	st.viewW, st.viewH = w.out.Width, w.out.Height
	if err := w.element(root, Identity, st, 0); err != nil {
		return nil, err
	}
	return w.out, nil
}

// Size is the size of the viewport of an SVG document, in user units, without
// reading the whole drawing.
func Size(src string) (width, height float64, err error) {
	for at := 0; ; {
		i := strings.Index(src[at:], "<svg")
		if i < 0 {
			return 0, 0, fmt.Errorf("svg: there is no svg element")
		}
		r := xmlReader{s: src, i: at + i, stack: []*node{{}}}
		if err := r.startTag(); err != nil {
			return 0, 0, err
		}
		root := r.stack[0].kids[0]
		if root.name != "svg" {
			at += i + 4
			continue
		}
		if width, height, err = rootSize(root); err != nil {
			return 0, 0, errorAt(src, root.pos, "%v", err)
		}
		return width, height, nil
	}
}

// rootSize is the size of the outermost viewport: width and height, else the
// view box.
func rootSize(root *node) (w, h float64, err error) {
	box, hasBox, err := viewBox(root)
	if err != nil {
		return 0, 0, err
	}
	ref := [2]float64{300, 150} // CSS 2.1 section 10.3.2, for want of anything else
	if hasBox {
		ref = [2]float64{box[2], box[3]}
	}
	dims := ref
	for i, key := range []string{"width", "height"} {
		if s, ok := root.attr(key); ok {
			if dims[i], err = length(s, ref[i], 16); err != nil {
				return 0, 0, fmt.Errorf("%s: %w", key, err)
			}
		}
	}
	if !(dims[0] > 0 && dims[1] > 0) {
		return 0, 0, fmt.Errorf("the size %g by %g is empty", dims[0], dims[1])
	}
	return dims[0], dims[1], nil
}

// viewBox reads the attribute of that name.
func viewBox(n *node) (box [4]float64, ok bool, err error) {
	s, ok := n.attr("viewBox")
	if !ok {
		return box, false, nil
	}
	a, err := numbers(s)
	if err != nil || len(a) != 4 || a[2] < 0 || a[3] < 0 {
		return box, false, fmt.Errorf("viewBox %.40q must be four numbers, the sizes not negative", s)
	}
	return [4]float64(a), a[2] > 0 && a[3] > 0, nil
}

// walker turns nodes into operations.
type walker struct {
	src     string
	metrics Metrics
	ids     map[string]*node
	css     strings.Builder
	rules   sheet
	out     *Drawing
	steps   int
	inUse   bool
}

func (w *walker) fail(n *node, format string, args ...any) error {
	return errorAt(w.src, n.pos, format, args...)
}

// index notes parents, ids and style sheets.
func (w *walker) index(n, parent *node) {
	n.parent = parent
	if id, ok := n.attr("id"); ok {
		if _, dup := w.ids[id]; !dup {
			w.ids[id] = n
		}
	}
	for _, k := range n.kids {
		if n.name == "style" && k.name == "" {
			w.css.WriteString(k.text)
			w.css.WriteByte('\n')
		}
		if k.name != "" {
			w.index(k, n)
		}
	}
}

// styled is the style of an element: its parent's, then presentation
// attributes, then the style sheets, then its own style attribute (CSS 2.1
// section 6.4, SVG 1.1 section 6.4).
func (w *walker) styled(n *node, st style) (style, error) {
	st.opacity0()
	for i := range n.attrs {
		switch a := &n.attrs[i]; a.key {
		case "id", "d", "class", "transform", "x", "y", "style", "points", "xlink:href":
		default:
			if err := st.set(a.key, a.val); err != nil {
				return st, w.fail(n, "<%s>: %v", n.name, err)
			}
		}
	}
	for i := range w.rules {
		if r := &w.rules[i]; r.matches(n) {
			for _, d := range r.decls {
				if err := st.set(d.key, d.val); err != nil {
					return st, w.fail(n, "<%s>: %v", n.name, err)
				}
			}
		}
	}
	if s, ok := n.attr("style"); ok {
		for _, d := range parseDecls(s) {
			if err := st.set(d.key, d.val); err != nil {
				return st, w.fail(n, "<%s>: %v", n.name, err)
			}
		}
	}
	st.fold()
	return st, nil
}

// silent are elements that draw nothing by themselves.
var silent = map[string]bool{"defs": true, "symbol": true, "style": true, "title": true, "desc": true, "metadata": true}

// element draws one element in the coordinates m.
func (w *walker) element(n *node, m Matrix, st style, depth int) error {
	if n.name == "" || silent[n.name] {
		return nil
	}
	// Uses of uses can multiply a small file without end.
	if w.steps++; w.steps > 2*MaxOps || len(w.out.Ops) > MaxOps {
		return w.fail(n, "the drawing has more than %d operations", MaxOps)
	}
	if depth > MaxDepth {
		return w.fail(n, "nesting deeper than %d, uses included", MaxDepth)
	}
	st, err := w.styled(n, st)
	if err != nil || st.none {
		return err
	}
	if t, ok := n.attr("transform"); ok {
		tm, err := parseTransform(t)
		if err != nil {
			return w.fail(n, "<%s>: %v", n.name, err)
		}
		m = m.Mul(tm)
		if !m.usable() {
			return w.fail(n, "<%s>: the transform leads beyond %g", n.name, float64(maxNumber))
		}
	}
	switch n.name {
	case "g", "a":
		return w.children(n, m, st, depth)
	case "svg":
		return w.viewport(n, m, st, depth)
	case "use":
		return w.use(n, m, st, depth)
	case "text":
		return w.text(n, m, st)
	}
	return w.shape(n, m, st)
}

func (w *walker) children(n *node, m Matrix, st style, depth int) error {
	for _, k := range n.kids {
		if err := w.element(k, m, st, depth+1); err != nil {
			return err
		}
	}
	return nil
}

// viewport draws a nested svg, or the content of the outermost one.
func (w *walker) viewport(n *node, m Matrix, st style, depth int) error {
	var g geometry
	g.read(n, &st)
	x, y := g.get("x", 0, st.viewW), g.get("y", 0, st.viewH)
	width, height := g.get("width", st.viewW, st.viewW), g.get("height", st.viewH, st.viewH)
	if depth == 0 {
		x, y, width, height = 0, 0, w.out.Width, w.out.Height
	}
	if g.err != nil {
		return w.fail(n, "<svg>: %v", g.err)
	}
	return w.box(n, m.Mul(Translate(x, y)), st, width, height, depth)
}

// box draws the children of n in a viewport of the given size, fitting the view
// box into it.
func (w *walker) box(n *node, m Matrix, st style, width, height float64, depth int) error {
	vb, ok, err := viewBox(n)
	if err != nil {
		return w.fail(n, "<%s>: %v", n.name, err)
	}
	st.viewW, st.viewH = width, height
	if ok {
		par, _ := n.attr("preserveAspectRatio")
		fit, err := fitBox(vb, width, height, par)
		if err != nil {
			return w.fail(n, "<%s>: %v", n.name, err)
		}
		m = m.Mul(fit)
		st.viewW, st.viewH = vb[2], vb[3]
	}
	return w.children(n, m, st, depth)
}

// fitBox maps a view box into a viewport (SVG 1.1 section 7.8).
func fitBox(vb [4]float64, width, height float64, par string) (Matrix, error) {
	sx, sy := width/vb[2], height/vb[3]
	ax, ay := 0.5, 0.5
	f := strings.Fields(par)
	if len(f) > 0 && f[0] == "none" {
		ax, ay = 0, 0
	} else {
		s := min(sx, sy)
		if len(f) > 1 && f[1] == "slice" {
			s = max(sx, sy)
		}
		sx, sy = s, s
	}
	if len(f) > 0 && f[0] != "none" {
		align := map[string]float64{"Min": 0, "Mid": 0.5, "Max": 1}
		a := f[0]
		if len(a) != 8 || a[0] != 'x' || a[4] != 'Y' {
			return Identity, fmt.Errorf("preserveAspectRatio %.30q is not known", par)
		}
		var okX, okY bool
		ax, okX = align[a[1:4]]
		ay, okY = align[a[5:8]]
		if !okX || !okY {
			return Identity, fmt.Errorf("preserveAspectRatio %.30q is not known", par)
		}
	}
	return Translate((width-vb[2]*sx)*ax, (height-vb[3]*sy)*ay).
		Mul(Scale(sx, sy)).Mul(Translate(-vb[0], -vb[1])), nil
}

// use draws a definition (section 5.6).
func (w *walker) use(n *node, m Matrix, st style, depth int) error {
	href, ok := n.attr("xlink:href")
	if !ok {
		href, ok = n.attr("href")
	}
	def := w.ids[strings.TrimPrefix(href, "#")]
	if !ok || !strings.HasPrefix(href, "#") || def == nil {
		return w.fail(n, "<use> of %.40q, which is not defined in this file", href)
	}
	var g geometry
	g.read(n, &st)
	x, y := g.get("x", 0, st.viewW), g.get("y", 0, st.viewH)
	width, height := g.get("width", st.viewW, st.viewW), g.get("height", st.viewH, st.viewH)
	if g.err != nil {
		return w.fail(n, "<use>: %v", g.err)
	}
	m = m.Mul(Translate(x, y))
	outer := w.inUse
	w.inUse = true
	defer func() { w.inUse = outer }()
	switch def.name {
	case "symbol":
		st, err := w.styled(def, st)
		if err != nil || st.none {
			return err
		}
		return w.box(def, m, st, width, height, depth+1)
	case "svg":
		if depth+1 > MaxDepth {
			return w.fail(n, "nesting deeper than %d, uses included", MaxDepth)
		}
		return w.box(def, m, st, width, height, depth+1)
	}
	return w.element(def, m, st, depth+1)
}

// usable says whether the matrix is still made of ordinary numbers.
func (m Matrix) usable() bool {
	for _, v := range [...]float64{m.A, m.B, m.C, m.D, m.E, m.F} {
		if !(math.Abs(v) <= maxNumber) {
			return false
		}
	}
	return true
}
