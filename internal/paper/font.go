package paper

import (
	"fmt"
	"strings"
	"sync"

	"github.com/go-fonts/liberation/liberationserifbold"
	"github.com/go-fonts/liberation/liberationserifbolditalic"
	"github.com/go-fonts/liberation/liberationserifitalic"
	"github.com/go-fonts/liberation/liberationserifregular"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"pochette/internal/paper/smufl"
	"pochette/internal/paper/svg"
)

// typeface is one font of the family, read when first used. What has been looked up is
// kept: a page repeats few letters many times.
type typeface struct {
	data []byte

	mu    sync.Mutex
	font  *sfnt.Font
	buf   sfnt.Buffer
	upem  float64
	chars map[rune]*letter
}

// letter is one glyph of a font.
type letter struct {
	index   sfnt.GlyphIndex
	advance float64 // ems
	path    *svg.Path
}

// faces, indexed by faceIndex.
var faces = [4]*typeface{
	{data: liberationserifregular.TTF},
	{data: liberationserifbold.TTF},
	{data: liberationserifitalic.TTF},
	{data: liberationserifbolditalic.TTF},
}

func faceIndex(f svg.Face) int {
	i := 0
	if f.Bold {
		i |= 1
	}
	if f.Italic {
		i |= 2
	}
	return i
}

// lookup finds the glyph of a rune; nil when the font hasn't got it.
func (f *typeface) lookup(r rune) *letter {
	f.mu.Lock()
	defer f.mu.Unlock()
	if c, ok := f.chars[r]; ok {
		return c
	}
	if f.font == nil {
		fnt, err := sfnt.Parse(f.data)
		if err != nil {
			panic("paper: an embedded font can't be read: " + err.Error())
		}
		f.font, f.upem, f.chars = fnt, float64(fnt.UnitsPerEm()), map[rune]*letter{}
	}
	c := f.load(r)
	f.chars[r] = c
	return c
}

// load reads one glyph from the font, in font units.
func (f *typeface) load(r rune) *letter {
	gi, err := f.font.GlyphIndex(&f.buf, r)
	if err != nil || gi == 0 || r > 0xFFFF {
		return nil
	}
	ppem := fixed.Int26_6(f.upem) << 6 // so that one pixel is one font unit
	adv, err := f.font.GlyphAdvance(&f.buf, gi, ppem, font.HintingNone)
	if err != nil {
		return nil
	}
	segs, err := f.font.LoadGlyph(&f.buf, gi, ppem, nil)
	if err != nil {
		return nil
	}
	return &letter{index: gi, advance: float64(adv) / 64 / f.upem, path: fontOutline(segs, 1/f.upem)}
}

// fontOutline is the outline of a glyph in ems, y downwards.
func fontOutline(segs sfnt.Segments, k float64) *svg.Path {
	p := &svg.Path{}
	at := func(v fixed.Point26_6) svg.Point {
		return svg.Point{X: float64(v.X) / 64 * k, Y: float64(v.Y) / 64 * k}
	}
	for i, s := range segs {
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if i > 0 {
				p.Close()
			}
			p.MoveTo(at(s.Args[0]))
		case sfnt.SegmentOpLineTo:
			p.LineTo(at(s.Args[0]))
		case sfnt.SegmentOpQuadTo:
			p.QuadTo(p.Pts[len(p.Pts)-1], at(s.Args[0]), at(s.Args[1]))
		case sfnt.SegmentOpCubeTo:
			p.CurveTo(at(s.Args[0]), at(s.Args[1]), at(s.Args[2]))
		}
	}
	if len(segs) > 0 {
		p.Close()
	}
	return p
}

// musicPaths keeps the parsed outlines of music symbols.
var musicPaths sync.Map // rune -> *svg.Path, in 1/1000 em, y upwards

func musicPath(r rune, d string) *svg.Path {
	if p, ok := musicPaths.Load(r); ok {
		return p.(*svg.Path)
	}
	p, err := svg.ParsePath(d)
	if err != nil {
		panic(fmt.Sprintf("paper: music symbol U+%04X: %v", r, err))
	}
	musicPaths.Store(r, p)
	return p
}

// musicFamilies are the SMuFL fonts an engraver may name in font-family.
var musicFamilies = []string{"Leipzig", "Bravura", "Gootville", "Leland", "Petaluma"}

func isMusic(family string) bool {
	first, _, _ := strings.Cut(family, ",")
	first = strings.Trim(first, `'" `)
	for _, m := range musicFamilies {
		if strings.EqualFold(first, m) {
			return true
		}
	}
	return false
}

// kind says how a rune is drawn.
type kind uint8

const (
	fromFont kind = iota
	symbol
	missing
)

// resolved is a rune with the way it is drawn.
type resolved struct {
	kind    kind
	advance float64   // ems
	path    *svg.Path // outline
	m       svg.Matrix
}

// boxAdvance is the width of the box drawn for a missing rune, in ems.
const boxAdvance = 0.6

// box is the outline drawn for a missing rune: a frame, in ems, y downwards.
var box = func() *svg.Path {
	p, err := svg.ParsePath("M.05 0V-.66H.55V0ZM.09-.04H.51V-.62H.09Z")
	if err != nil {
		panic(err)
	}
	return p
}()

// resolve chooses how a rune is drawn: from the text font, or as a music symbol
// if the family is a music font or the text font hasn't got it.
func resolve(face svg.Face, r rune) resolved {
	music := isMusic(face.Family)
	if !music && !smufl.Private(r) {
		if c := faces[faceIndex(face)].lookup(r); c != nil {
			return resolved{fromFont, c.advance, c.path, svg.Identity}
		}
	}
	if g, ok := smufl.Lookup(r); ok {
		return resolved{symbol, g.Advance, musicPath(r, g.D), svg.Scale(0.001, -0.001)}
	}
	if music {
		if c := faces[faceIndex(face)].lookup(r); c != nil {
			return resolved{fromFont, c.advance, c.path, svg.Identity}
		}
	}
	return resolved{missing, boxAdvance, box, svg.Identity}
}

// metrics gives the reader of SVG the widths of letters.
type metrics struct{}

func (metrics) Advance(f svg.Face, r rune) float64 { return resolve(f, r).advance }

// width is the width of a line of text in ems.
func width(face svg.Face, s string) float64 {
	w := 0.0
	for _, r := range s {
		w += resolve(face, r).advance
	}
	return w
}

// TextWidth is the width in millimetres of a line of text set in the given size
// in points.
func TextWidth(s string, size float64, bold, italic bool) float64 {
	return width(svg.Face{Bold: bold, Italic: italic}, s) * size * mmPerPt
}
