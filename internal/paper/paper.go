// Package paper sets engraved pages on paper: SVG pages as the engraver writes
// them become a PDF of true vectors with selectable text, or a PNG picture.
//
// A page is measured in millimetres from its top left corner, type in points
// (1/72 inch). The SVG of a page is fitted into it from the top left corner, so
// an SVG made for the same proportions fills it. Extra content (a title, a
// rule, an excerpt) may stand on the page beside or instead of the SVG.
//
// Text is set in Liberation Serif, whose widths match the Times that engravers
// reckon with, without kerning. Music symbols inside text are drawn as
// outlines. A rune that no font has is drawn as an empty box and reported; it
// never fails the page.
//
// The same input gives the same bytes: dates are fixed by the caller.
package paper

import (
	"fmt"
	"math"
	"time"

	"pochette/internal/paper/svg"
)

// Size is a size of paper in millimetres.
type Size struct{ Width, Height float64 }

// Sizes of paper: ISO 216 A4 and ANSI/ASME Y14.1 A ("US Letter").
var (
	A4     = Size{210, 297}
	Letter = Size{215.9, 279.4}
)

// Page is one sheet.
type Page struct {
	Width, Height float64 // mm
	SVG           string  // fitted into the page from the top left corner; "" for none
	Extra         []Extra // drawn after the SVG, in order
	Bookmark      string  // entry in the PDF's outline; "" for none
}

// Extra is content that the caller puts on a page: Text, Rule or Picture.
type Extra interface {
	place(s *sheet) error
}

// Anchor says which point of a text stands at its place.
type Anchor uint8

// The anchors.
const (
	Start Anchor = iota
	Middle
	End
)

// Text is one line of type.
type Text struct {
	X, Y         float64 // mm, of the anchor on the baseline
	Size         float64 // pt
	S            string
	Anchor       Anchor
	Bold, Italic bool
	Color        svg.Color // the zero value is black
}

// Rule is a straight line.
type Rule struct {
	X1, Y1, X2, Y2 float64   // mm
	Width          float64   // mm
	Color          svg.Color // the zero value is black
}

// Picture is an SVG fitted into a box from its top left corner. A Width or
// Height of zero leaves that side free.
type Picture struct {
	X, Y, Width, Height float64 // mm
	SVG                 string
}

// Meta describes a document.
type Meta struct {
	Title, Author, Subject, Keywords, Creator string
	Language                                  string    // BCP 47, e.g. "en"; "" for none
	Date                                      time.Time // of creation; the zero time stands for 1 January 2000 UTC
	Note                                      func(Note)
}

// Note reports something that was drawn otherwise than asked, such as a rune
// that no font has.
type Note struct {
	Page int // from 1
	What string
}

// Limits on what is drawn.
const (
	minSide = 5.0    // mm
	maxSide = 3000.0 // mm
)

const (
	ptPerMM = 72 / 25.4
	mmPerPt = 25.4 / 72
)

// placed is an operation with the map from its drawing to millimetres.
type placed struct {
	op   svg.Op
	base svg.Matrix
}

// sheet is a page ready to be drawn.
type sheet struct {
	w, h float64 // mm
	ops  []placed
}

// layOut reads everything on a page.
func layOut(p Page) (*sheet, error) {
	for _, side := range []float64{p.Width, p.Height} {
		if !(side >= minSide && side <= maxSide) {
			return nil, fmt.Errorf("paper: page of %g by %g mm; each side must be between %g and %g mm", p.Width, p.Height, minSide, maxSide)
		}
	}
	s := &sheet{w: p.Width, h: p.Height}
	if p.SVG != "" {
		if err := (Picture{0, 0, p.Width, p.Height, p.SVG}).place(s); err != nil {
			return nil, err
		}
	}
	for i, x := range p.Extra {
		if err := x.place(s); err != nil {
			return nil, fmt.Errorf("extra %d: %w", i+1, err)
		}
	}
	return s, nil
}

func (p Picture) place(s *sheet) error {
	d, err := svg.Parse(p.SVG, metrics{})
	if err != nil {
		return fmt.Errorf("paper: %w", err)
	}
	if err := finite(p.X, p.Y, p.Width, p.Height); err != nil {
		return err
	}
	k := math.Inf(1)
	if p.Width > 0 {
		k = p.Width / d.Width
	}
	if p.Height > 0 {
		k = min(k, p.Height/d.Height)
	}
	if math.IsInf(k, 1) {
		return fmt.Errorf("paper: a picture needs a width or a height")
	}
	base := svg.Translate(p.X, p.Y).Mul(svg.Scale(k, k))
	for _, op := range d.Ops {
		s.ops = append(s.ops, placed{op, base})
	}
	return nil
}

func (t Text) place(s *sheet) error {
	if err := finite(t.X, t.Y, t.Size); err != nil {
		return err
	}
	face := svg.Face{Bold: t.Bold, Italic: t.Italic}
	size := t.Size * mmPerPt
	x := t.X - float64(t.Anchor)/2*width(face, t.S)*size
	op := &svg.Text{S: t.S, M: svg.Translate(x, t.Y), Size: size, Face: face, Fill: ink(t.Color)}
	if t.S != "" && t.Size > 0 {
		s.ops = append(s.ops, placed{op, svg.Identity})
	}
	return nil
}

func (r Rule) place(s *sheet) error {
	if err := finite(r.X1, r.Y1, r.X2, r.Y2, r.Width); err != nil {
		return err
	}
	line := &svg.Path{
		Cmds: []svg.Cmd{svg.MoveTo, svg.LineTo},
		Pts:  []svg.Point{{X: r.X1, Y: r.Y1}, {X: r.X2, Y: r.Y2}},
	}
	op := &svg.Shape{Path: line, M: svg.Identity, Stroke: ink(r.Color), Width: r.Width, Miter: 4}
	s.ops = append(s.ops, placed{op, svg.Identity})
	return nil
}

func ink(c svg.Color) svg.Color {
	if c == (svg.Color{}) {
		return svg.Black
	}
	return c
}

func finite(v ...float64) error {
	for _, x := range v {
		if !(math.Abs(x) <= 10*maxSide) {
			return fmt.Errorf("paper: a place or size of %g is off every page", x)
		}
	}
	return nil
}

// hairline is the width in millimetres below which the stroke around a filled
// shape is left out. The engraver's style sheet strokes every symbol with a
// thousandth of its size; viewers draw such a line a whole pixel wide, which
// makes symbols too fat, while leaving it out takes at most 0.01 mm from each
// side, a quarter of a dot at 600 dpi.
const hairline = 0.02

// stroked says whether a shape's stroke is to be drawn; scale is from the
// shape's coordinates to millimetres.
func stroked(s *svg.Shape, scale float64) bool {
	if s.Stroke.A == 0 {
		return false
	}
	return s.Fill != s.Stroke || s.Width*scale >= hairline
}

// Inspect reports what would be drawn otherwise than asked, without drawing.
func Inspect(pages []Page) ([]Note, error) {
	var notes []Note
	for i, p := range pages {
		s, err := layOut(p)
		if err != nil {
			return nil, pageError(i, err)
		}
		s.notes(i, func(n Note) { notes = append(notes, n) })
	}
	return notes, nil
}

// notes reports the runes that no font has, each once for a page.
func (s *sheet) notes(page int, report func(Note)) {
	if report == nil {
		return
	}
	seen := map[rune]bool{}
	for _, op := range s.ops {
		t, ok := op.op.(*svg.Text)
		if !ok {
			continue
		}
		for _, r := range t.S {
			if !seen[r] && resolve(t.Face, r).kind == missing {
				seen[r] = true
				report(Note{page + 1, fmt.Sprintf("no font has %q (U+%04X) in the text %.40q: an empty box is drawn", r, r, t.S)})
			}
		}
	}
}

func pageError(i int, err error) error { return fmt.Errorf("page %d: %w", i+1, err) }
