package paper

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"

	"codeberg.org/go-pdf/fpdf"

	"pochette/internal/paper/svg"
)

// family is the name under which the text fonts are embedded.
const family = "liberationserif"

// fontStyles are the library's names for faces, by faceIndex.
var fontStyles = [4]string{"", "B", "I", "BI"}

// PDF writes a document of the given pages. Shapes are vectors, text is
// selectable text in embedded subset fonts, and a symbol that occurs often is
// written once. Nothing is written to w when a page has a fault.
func PDF(w io.Writer, pages []Page, meta Meta) error {
	if len(pages) == 0 {
		return fmt.Errorf("paper: a document needs at least one page")
	}
	d := newDocument(meta)
	sheets := make([]*sheet, len(pages))
	for i, p := range pages {
		s, err := layOut(p)
		if err != nil {
			return pageError(i, err)
		}
		s.notes(i, meta.Note)
		d.countUses(s)
		sheets[i] = s
	}
	for i, s := range sheets {
		if err := d.page(s, pages[i].Bookmark); err != nil {
			return pageError(i, err)
		}
	}
	d.registerForms()
	return d.pdf.Output(w)
}

// document is a PDF being written. Page content is gathered in buf and handed
// to the library whenever the library has to write something itself.
type document struct {
	pdf    *fpdf.Fpdf
	buf    []byte
	state  pen // what the page's graphics state is set to
	forms  map[string]*form
	byPtr  map[*svg.Path]*form
	list   []*form
	loaded [4]bool
	face   int     // of the font that is set, -1 for none on this page
	size   float64 // pt
	ever   bool    // a font has been set in this document
	height float64
}

// pen is the part of the graphics state that shapes and text change.
type pen struct {
	fill, stroke svg.Color
	alpha        uint8
	width, miter float64
	cap          svg.Cap
	join         svg.Join
	dash         string
}

func newDocument(meta Meta) *document {
	p := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "pt", Size: fpdf.SizeType{Wd: 100, Ht: 100}})
	date := meta.Date
	if date.IsZero() {
		date = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	p.SetCatalogSort(true)
	p.SetCreationDate(date)
	p.SetModificationDate(date)
	p.SetMargins(0, 0, 0)
	p.SetAutoPageBreak(false, 0)
	p.SetProducer("pochette", false)
	for _, f := range []struct {
		set func(string, bool)
		val string
	}{
		{p.SetTitle, meta.Title}, {p.SetAuthor, meta.Author}, {p.SetSubject, meta.Subject},
		{p.SetKeywords, meta.Keywords}, {p.SetCreator, meta.Creator},
	} {
		if f.val != "" {
			f.set(textString(f.val), false)
		}
	}
	if meta.Language != "" {
		p.SetLang(meta.Language)
	}
	return &document{pdf: p, forms: map[string]*form{}, byPtr: map[*svg.Path]*form{}, face: -1}
}

// textString writes a string for the document's catalogue: ASCII as it is, else
// UTF-16 with a byte order mark (PDF 1.7, section 7.9.2.2).
func textString(s string) string {
	ascii := true
	for i := range len(s) {
		ascii = ascii && s[i] < 0x80
	}
	if ascii {
		return s
	}
	var b strings.Builder
	b.WriteString("\xfe\xff")
	for _, u := range utf16.Encode([]rune(s)) {
		b.WriteByte(byte(u >> 8))
		b.WriteByte(byte(u))
	}
	return b.String()
}

// page writes one page.
func (d *document) page(s *sheet, bookmark string) error {
	wd, ht := s.w*ptPerMM, s.h*ptPerMM
	d.pdf.AddPageFormat("P", fpdf.SizeType{Wd: wd, Ht: ht})
	if bookmark != "" {
		d.bookmark(bookmark)
	}
	d.height, d.face = ht, -1
	d.state = pen{alpha: 255, width: -1, miter: -1, cap: 255, join: 255, dash: "?"}
	d.state.fill.A, d.state.stroke.A = 1, 1 // no ink has this, so the first is set
	toPDF := svg.Matrix{A: ptPerMM, D: -ptPerMM, F: ht}
	for _, op := range s.ops {
		base := toPDF.Mul(op.base)
		switch o := op.op.(type) {
		case *svg.Shape:
			if err := d.shape(o, base.Mul(o.M)); err != nil {
				return err
			}
		case *svg.Text:
			d.text(o, base.Mul(o.M))
		}
	}
	d.flush()
	return d.pdf.Error()
}

// bookmark adds an entry to the outline. The library takes the text as UTF-8
// once a text font has been set and as bytes before that.
func (d *document) bookmark(text string) {
	if d.ever {
		text = strings.Map(func(r rune) rune {
			if r > 0xFFFF {
				return 0xFFFD // the library's conversion knows no surrogates
			}
			return r
		}, strings.ToValidUTF8(text, "\ufffd"))
	} else {
		text = textString(text)
	}
	d.pdf.Bookmark(text, 0, 0)
}

// flush hands what is gathered to the library.
func (d *document) flush() {
	if len(d.buf) > 0 {
		d.pdf.RawWriteBuf(bytes.NewReader(bytes.TrimSuffix(d.buf, []byte("\n"))))
		d.buf = d.buf[:0]
	}
}

// maxCoord bounds coordinates on the page, in points; what lies beyond is far
// off any paper and breaks viewers.
const maxCoord = 1e6

// shape writes one shape; m is from its coordinates to the page's.
func (d *document) shape(s *svg.Shape, m svg.Matrix) error {
	lo, hi, ok := s.Path.Bounds()
	if !ok {
		return nil
	}
	for _, p := range [4]svg.Point{lo, hi, {X: lo.X, Y: hi.Y}, {X: hi.X, Y: lo.Y}} {
		if q := m.Apply(p); !(math.Abs(q.X) <= maxCoord && math.Abs(q.Y) <= maxCoord) {
			return fmt.Errorf("paper: a shape reaches %.3g, %.3g pt, far off the page", q.X, q.Y)
		}
	}
	fill, stroke := s.Fill.A > 0, stroked(s, m.MeanScale()*mmPerPt)
	if fill && stroke && s.Fill.A != s.Stroke.A {
		// One operator paints both with one opacity: draw them one by one.
		d.paint(s, m, true, false)
		d.paint(s, m, false, true)
		return nil
	}
	d.paint(s, m, fill, stroke)
	return nil
}

// paint writes a shape, filled, stroked or both.
func (d *document) paint(s *svg.Shape, m svg.Matrix, fill, stroke bool) {
	if fill {
		d.setFill(s.Fill)
	}
	if stroke {
		d.setStroke(s.Stroke)
	}
	if f := d.byPtr[s.Path]; f != nil && fill && !stroke && !s.EvenOdd && f.pays() {
		d.useForm(f, m)
		return
	}
	local := stroke && !m.Similar()
	scale := m.MeanScale()
	if local {
		// An uneven scale makes the pen oval: let the page's matrix do that.
		d.buf = append(d.buf, "q "...)
		d.matrix(m)
		m, scale = svg.Identity, 1
	}
	if stroke {
		d.setPen(s, scale)
	}
	d.buf = appendPath(d.buf, s.Path, m, 2)
	d.buf = append(d.buf, operator(fill, stroke, s.EvenOdd)...)
	if local {
		d.buf = append(d.buf, "Q\n"...)
		d.state.width = -1 // the pen inside is forgotten
	}
}

// operator is the path-painting operator (PDF 1.7, table 60).
func operator(fill, stroke, evenOdd bool) string {
	switch {
	case fill && stroke && evenOdd:
		return "B*\n"
	case fill && stroke:
		return "B\n"
	case fill && evenOdd:
		return "f*\n"
	case fill:
		return "f\n"
	}
	return "S\n"
}

func (d *document) setAlpha(a uint8) {
	if d.state.alpha != a {
		d.flush()
		d.pdf.SetAlpha(float64(a)/255, "Normal")
		d.state.alpha = a
	}
}

func (d *document) setFill(c svg.Color) {
	d.setAlpha(c.A)
	if d.state.fill != c {
		d.buf = appendColor(d.buf, c, "g", "rg")
		d.state.fill = c
	}
}

func (d *document) setStroke(c svg.Color) {
	d.setAlpha(c.A)
	if d.state.stroke != c {
		d.buf = appendColor(d.buf, c, "G", "RG")
		d.state.stroke = c
	}
}

// setPen sets width, ends, corners and dashes, each only if it changes.
func (d *document) setPen(s *svg.Shape, scale float64) {
	st := &d.state
	if w := s.Width * scale; w != st.width {
		d.buf = append(appendNum(d.buf, w, 3), " w\n"...)
		st.width = w
	}
	if s.Cap != st.cap {
		d.buf = append(strconv.AppendInt(d.buf, int64(s.Cap), 10), " J\n"...)
		st.cap = s.Cap
	}
	if s.Join != st.join {
		d.buf = append(strconv.AppendInt(d.buf, int64(s.Join), 10), " j\n"...)
		st.join = s.Join
	}
	if s.Miter != st.miter {
		d.buf = append(appendNum(d.buf, s.Miter, 2), " M\n"...)
		st.miter = s.Miter
	}
	dash := []byte{'['}
	for i, v := range s.Dash {
		if i > 0 {
			dash = append(dash, ' ')
		}
		dash = appendNum(dash, v*scale, 3)
	}
	dash = append(dash, "] "...)
	dash = append(appendNum(dash, s.Phase*scale, 3), " d\n"...)
	if string(dash) != st.dash {
		d.buf = append(d.buf, dash...)
		st.dash = string(dash)
	}
}

// matrix writes a change of coordinates.
func (d *document) matrix(m svg.Matrix) {
	for _, v := range [...]float64{m.A, m.B, m.C, m.D} {
		d.buf = append(appendNum(d.buf, v, 7), ' ')
	}
	d.buf = append(appendNum(d.buf, m.E, 3), ' ')
	d.buf = append(appendNum(d.buf, m.F, 3), " cm\n"...)
}

// text writes one run; m is from its coordinates to the page's. Runes of the
// text font are written as text, the others as shapes between.
func (d *document) text(t *svg.Text, m svg.Matrix) {
	face := faceIndex(t.Face)
	x, from := 0.0, 0.0
	var run strings.Builder
	out := func() {
		if strings.Trim(run.String(), " \u00a0") != "" {
			d.textRun(run.String(), face, t, m.Mul(svg.Translate(from, 0)))
		}
		run.Reset()
	}
	for _, r := range t.S {
		g := resolve(t.Face, r)
		if g.kind == fromFont {
			if run.Len() == 0 {
				from = x
			}
			run.WriteRune(r)
		} else {
			out()
			d.symbol(g, t, m.Mul(svg.Translate(x, 0)))
		}
		x += g.advance * t.Size
	}
	out()
}

// symbol writes a rune as a shape.
func (d *document) symbol(g resolved, t *svg.Text, m svg.Matrix) {
	s := &svg.Shape{Path: g.path, Fill: t.Fill}
	if len(g.path.Cmds) > 0 {
		d.paint(s, m.Mul(svg.Scale(t.Size, t.Size)).Mul(g.m), true, false)
	}
}

// textRun writes text in one font with its baseline's beginning at the origin
// of m.
func (d *document) textRun(s string, face int, t *svg.Text, m svg.Matrix) {
	d.setAlpha(t.Fill.A)
	d.flush()
	if !d.loaded[face] {
		d.pdf.AddUTF8FontFromBytes(family, fontStyles[face], faces[face].data)
		d.loaded[face] = true
	}
	upright := m.B == 0 && m.C == 0 && m.A > 0 && math.Abs(m.A+m.D) < 1e-9*m.A
	size := t.Size
	if upright {
		size *= m.A
	}
	if size*m.MeanScale() > maxCoord || !(size < maxCoord) {
		return
	}
	if face != d.face || size != d.size {
		d.pdf.SetFont(family, fontStyles[face], size)
		d.face, d.size, d.ever = face, size, true
	}
	d.pdf.SetTextColor(int(t.Fill.R), int(t.Fill.G), int(t.Fill.B))
	if upright {
		d.pdf.Text(m.E, d.height-m.F, s)
		return
	}
	// The library counts from the top of the page; undo that inside the matrix.
	d.buf = append(d.buf, "q "...)
	d.matrix(m.Mul(svg.Scale(1, -1)).Mul(svg.Translate(0, -d.height)))
	d.flush()
	d.pdf.Text(0, 0, s)
	d.buf = append(d.buf, "Q\n"...)
}

// form is a symbol written once in the document and drawn wherever it is used
// (a form XObject, PDF 1.7 section 8.10). It implements the library's Template.
type form struct {
	id     string
	origin svg.Point // of the form's box in the symbol's coordinates
	size   fpdf.SizeType
	body   []byte
	uses   int
	parts  []fpdf.Template
}

// worthwhile is how many bytes a form must save. Each form is a stream of its
// own, and setting up the compressor takes as long as writing out a few
// kilobytes of paths.
const worthwhile = 6000

// pays says whether the symbol is used so often that a form is worth it.
func (f *form) pays() bool { return (f.uses-1)*len(f.body) >= worthwhile }

// countUses finds the symbols on a sheet and counts how often they are used.
func (d *document) countUses(s *sheet) {
	for _, op := range s.ops {
		if sh, ok := op.op.(*svg.Shape); ok && sh.Instance && !sh.EvenOdd && sh.Fill.A > 0 {
			d.form(sh).uses++
		}
	}
}

// form finds or makes the form of a shape.
func (d *document) form(s *svg.Shape) *form {
	if f, ok := d.byPtr[s.Path]; ok {
		return f
	}
	lo, hi, _ := s.Path.Bounds()
	lo = svg.Point{X: math.Floor(lo.X), Y: math.Floor(lo.Y)}
	body := appendPath(nil, s.Path, svg.Translate(-lo.X, -lo.Y), 3)
	body = append(body, strings.TrimSuffix(operator(true, false, s.EvenOdd), "\n")...)
	key := fmt.Sprint(lo, string(body))
	f, ok := d.forms[key]
	if !ok {
		f = &form{
			id: "s" + strconv.Itoa(len(d.list)+1), origin: lo, body: body,
			size: fpdf.SizeType{Wd: math.Ceil(hi.X-lo.X) + 1, Ht: math.Ceil(hi.Y-lo.Y) + 1},
		}
		d.forms[key] = f
		d.list = append(d.list, f)
	}
	d.byPtr[s.Path] = f
	return f
}

// useForm draws a form; m is from the symbol's coordinates to the page's.
func (d *document) useForm(f *form, m svg.Matrix) {
	d.buf = append(d.buf, "q "...)
	d.matrix(m.Mul(svg.Translate(f.origin.X, f.origin.Y)))
	d.buf = append(d.buf, "/TPL"...)
	d.buf = append(d.buf, f.id...)
	d.buf = append(d.buf, " Do Q\n"...)
}

// registerForms makes the forms known to the library, which takes in a template
// and its parts when it is used: an empty one is used that has all as parts.
func (d *document) registerForms() {
	all := &form{id: "symbols", size: fpdf.SizeType{Wd: 1, Ht: 1}}
	for _, f := range d.list {
		if f.pays() {
			all.parts = append(all.parts, f)
		}
	}
	if len(all.parts) > 0 {
		d.pdf.UseTemplate(all)
	}
}

// ID names the form in the document.
func (f *form) ID() string { return f.id }

// Size is the form's box.
func (f *form) Size() (fpdf.PointType, fpdf.SizeType) { return fpdf.PointType{}, f.size }

// Bytes is the form's content.
func (f *form) Bytes() []byte { return f.body }

// Images is empty: forms hold paths only.
func (f *form) Images() map[string]*fpdf.ImageInfoType { return nil }

// Templates are the forms this one makes known.
func (f *form) Templates() []fpdf.Template { return f.parts }

// NumPages is always 1.
func (f *form) NumPages() int { return 1 }

// FromPage gives the form itself, for page 1.
func (f *form) FromPage(page int) (fpdf.Template, error) {
	if page != 1 {
		return nil, fmt.Errorf("paper: a form has no page %d", page)
	}
	return f, nil
}

// FromPages gives the form itself.
func (f *form) FromPages() []fpdf.Template { return []fpdf.Template{f} }

// Serialize encodes the form's content.
func (f *form) Serialize() ([]byte, error) { return f.GobEncode() }

// GobEncode and GobDecode carry the content and the box.
func (f *form) GobEncode() ([]byte, error) {
	var b bytes.Buffer
	err := gob.NewEncoder(&b).Encode(gobForm{f.id, f.origin, f.size, f.body})
	return b.Bytes(), err
}

// GobDecode reads what GobEncode wrote.
func (f *form) GobDecode(data []byte) error {
	var g gobForm
	err := gob.NewDecoder(bytes.NewReader(data)).Decode(&g)
	*f = form{id: g.ID, origin: g.Origin, size: g.Size, body: g.Body}
	return err
}

type gobForm struct {
	ID     string
	Origin svg.Point
	Size   fpdf.SizeType
	Body   []byte
}

// appendPath writes path-construction operators, numbers with so many decimals.
func appendPath(b []byte, p *svg.Path, m svg.Matrix, decimals int) []byte {
	k := 0
	for _, c := range p.Cmds {
		for range c.Points() {
			q := m.Apply(p.Pts[k])
			k++
			b = append(appendNum(b, q.X, decimals), ' ')
			b = append(appendNum(b, q.Y, decimals), ' ')
		}
		b = append(b, "mlch"[c], '\n')
	}
	return b
}

// appendColor writes a colour, grey in its short form.
func appendColor(b []byte, c svg.Color, grey, rgb string) []byte {
	b = append(appendNum(b, float64(c.R)/255, 3), ' ')
	op := grey
	if c.R != c.G || c.G != c.B {
		b = append(appendNum(b, float64(c.G)/255, 3), ' ')
		b = append(appendNum(b, float64(c.B)/255, 3), ' ')
		op = rgb
	}
	return append(append(b, op...), '\n')
}

var powers = [...]float64{1, 10, 100, 1e3, 1e4, 1e5, 1e6, 1e7}

// appendNum writes a number with at most so many decimals and no needless
// zeros; PDF knows no exponents.
func appendNum(b []byte, v float64, decimals int) []byte {
	n := int64(math.Round(v * powers[decimals]))
	if n < 0 {
		b = append(b, '-')
		n = -n
	}
	unit := int64(powers[decimals])
	b = strconv.AppendInt(b, n/unit, 10)
	rest := n % unit
	if rest == 0 {
		return b
	}
	b = append(b, '.')
	for rest > 0 {
		unit /= 10
		b = append(b, byte('0'+rest/unit))
		rest %= unit
	}
	return b
}
