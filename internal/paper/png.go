package paper

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/vector"

	"pochette/internal/paper/svg"
)

// MaxPixels is the most dots a picture may have: an A4 page at 600 dpi and some
// more.
const MaxPixels = 50_000_000

// PNG draws a page as a picture with the given number of dots per inch, black
// on white, edges smoothed. A page without colours becomes a grey picture.
func PNG(w io.Writer, page Page, dpi float64) error {
	img, err := Image(page, dpi)
	if err != nil {
		return err
	}
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	return enc.Encode(w, plain(img))
}

// Image draws a page as PNG does.
func Image(page Page, dpi float64) (*image.RGBA, error) {
	s, err := layOut(page)
	if err != nil {
		return nil, err
	}
	k := dpi / 25.4
	wd, ht := math.Round(s.w*k), math.Round(s.h*k)
	if !(wd >= 1 && ht >= 1) || wd*ht > MaxPixels {
		return nil, fmt.Errorf("paper: %g dpi makes %.0f by %.0f dots; there must be at least one and at most %d", dpi, wd, ht, MaxPixels)
	}
	c := &canvas{img: image.NewRGBA(image.Rect(0, 0, int(wd), int(ht)))}
	for i := range c.img.Pix {
		c.img.Pix[i] = 0xff
	}
	toPx := svg.Scale(k, k)
	for _, op := range s.ops {
		base := toPx.Mul(op.base)
		switch o := op.op.(type) {
		case *svg.Shape:
			if o.EvenOdd && o.Fill.A > 0 {
				return nil, fmt.Errorf("paper: the even-odd fill rule is not drawn in pictures")
			}
			c.shape(o, base.Mul(o.M), k)
		case *svg.Text:
			c.text(o, base.Mul(o.M))
		}
	}
	return c.img, nil
}

// plain turns a picture without colours into a grey one.
func plain(img *image.RGBA) image.Image {
	for i := 0; i < len(img.Pix); i += 4 {
		if p := img.Pix[i : i+4 : i+4]; p[0] != p[1] || p[0] != p[2] {
			return img
		}
	}
	grey := image.NewGray(img.Rect)
	for i := range grey.Pix {
		grey.Pix[i] = img.Pix[4*i]
	}
	return grey
}

// canvas draws filled outlines.
type canvas struct {
	img *image.RGBA
	z   vector.Rasterizer
}

// tolerance is how far, in dots, a flattened curve may stray.
const tolerance = 0.1

// shape draws one shape; m is to dots, of which there are perMM to the
// millimetre.
func (c *canvas) shape(s *svg.Shape, m svg.Matrix, perMM float64) {
	if s.Fill.A > 0 {
		c.fill(s.Path, m, s.Fill)
	}
	scale := m.MeanScale()
	if !stroked(s, scale/perMM) || scale == 0 {
		return
	}
	polys := strokeOutline(s, tolerance/scale)
	flip := m.Det() < 0
	var area bounds
	for _, poly := range polys {
		for i, p := range poly {
			poly[i] = m.Apply(p)
			area.add(poly[i])
		}
	}
	c.draw(area, s.Stroke, func(at func(svg.Point) (x, y float32)) {
		for _, poly := range polys {
			n := len(poly)
			c.z.MoveTo(at(poly[0]))
			for i := 1; i < n; i++ {
				if flip {
					c.z.LineTo(at(poly[n-i]))
				} else {
					c.z.LineTo(at(poly[i]))
				}
			}
			c.z.ClosePath()
		}
	})
}

// fill fills a path mapped by m.
func (c *canvas) fill(p *svg.Path, m svg.Matrix, ink svg.Color) {
	var area bounds
	for _, q := range p.Pts {
		area.add(m.Apply(q))
	}
	c.draw(area, ink, func(at func(svg.Point) (x, y float32)) {
		k := 0
		for _, cmd := range p.Cmds {
			switch cmd {
			case svg.MoveTo:
				c.z.ClosePath()
				c.z.MoveTo(at(m.Apply(p.Pts[k])))
			case svg.LineTo:
				c.z.LineTo(at(m.Apply(p.Pts[k])))
			case svg.CurveTo:
				ax, ay := at(m.Apply(p.Pts[k]))
				bx, by := at(m.Apply(p.Pts[k+1]))
				x, y := at(m.Apply(p.Pts[k+2]))
				c.z.CubeTo(ax, ay, bx, by, x, y)
			case svg.Close:
				c.z.ClosePath()
			}
			k += cmd.Points()
		}
		c.z.ClosePath()
	})
}

// draw lets trace add outlines and paints what they cover, working only in the
// box that the outlines and the picture share.
func (c *canvas) draw(area bounds, ink svg.Color, trace func(at func(svg.Point) (x, y float32))) {
	r := area.rect().Intersect(c.img.Rect)
	if r.Empty() {
		return
	}
	c.z.Reset(r.Dx(), r.Dy())
	c.z.DrawOp = draw.Over
	// Beyond the box only the side matters, so far points come nearer.
	lim := 4 * float64(max(c.img.Rect.Dx(), c.img.Rect.Dy()))
	trace(func(p svg.Point) (x, y float32) {
		return float32(max(-lim, min(lim, p.X-float64(r.Min.X)))), float32(max(-lim, min(lim, p.Y-float64(r.Min.Y))))
	})
	c.z.Draw(c.img, r, image.NewUniform(color.NRGBA{ink.R, ink.G, ink.B, ink.A}), image.Point{})
}

// text draws a run from the outlines of its letters.
func (c *canvas) text(t *svg.Text, m svg.Matrix) {
	x := 0.0
	for _, r := range t.S {
		g := resolve(t.Face, r)
		if len(g.path.Cmds) > 0 {
			c.fill(g.path, m.Mul(svg.Translate(x, 0)).Mul(svg.Scale(t.Size, t.Size)).Mul(g.m), t.Fill)
		}
		x += g.advance * t.Size
	}
}

// bounds grows around points.
type bounds struct {
	x0, y0, x1, y1 float64
	some           bool
}

func (b *bounds) add(p svg.Point) {
	if !b.some {
		*b = bounds{p.X, p.Y, p.X, p.Y, true}
		return
	}
	b.x0, b.y0 = min(b.x0, p.X), min(b.y0, p.Y)
	b.x1, b.y1 = max(b.x1, p.X), max(b.y1, p.Y)
}

// rect is the box in whole dots, far ends cut off.
func (b *bounds) rect() image.Rectangle {
	if !b.some {
		return image.Rectangle{}
	}
	const far = 1 << 24
	lo := func(v float64) int { return int(math.Floor(max(-far, min(far, v)))) }
	hi := func(v float64) int { return int(math.Ceil(max(-far, min(far, v)))) }
	return image.Rect(lo(b.x0), lo(b.y0), hi(b.x1), hi(b.y1))
}
