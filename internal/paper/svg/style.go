package svg

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Color is a colour with its opacity, each 0 to 255, not premultiplied.
type Color struct{ R, G, B, A uint8 }

// Black is the colour of ink.
var Black = Color{A: 255}

// Cap is how an open line ends, Join how two pieces of a line meet (SVG 1.1
// section 11.4).
type (
	Cap  uint8
	Join uint8
)

// The caps and joins.
const (
	ButtCap Cap = iota
	RoundCap
	SquareCap
)

// MiterJoin is the default.
const (
	MiterJoin Join = iota
	RoundJoin
	BevelJoin
)

// paint is the value of fill or stroke.
type paint struct {
	kind  uint8 // paintNone, paintCurrent, paintColor
	color Color
}

const (
	paintNone uint8 = iota
	paintCurrent
	paintColor
)

// Face chooses one of a family's fonts. Family is the value of font-family as
// written.
type Face struct {
	Family       string
	Bold, Italic bool
}

// style is the computed value of every property that is read. All but opacity
// and display are inherited.
type style struct {
	fill, stroke     paint
	color            Color
	fillOp, strokeOp float64
	width            float64
	cap              Cap
	join             Join
	miter            float64
	dash             []float64
	dashPhase        float64
	evenOdd          bool
	face             Face
	size             float64
	spacing          float64 // between letters
	anchor           float64 // share of the width that stands left of the place
	hidden           bool
	preserve         bool // xml:space
	none             bool // display: none
	opacity, outer   float64
	viewW, viewH     float64 // what 100% means
}

// initial is every property's initial value (SVG 1.1 appendix N); the initial
// font size is CSS's medium, 16 px.
func initial() style {
	return style{
		fill: paint{paintColor, Black}, color: Black, fillOp: 1, strokeOp: 1,
		width: 1, miter: 4, size: 16, opacity: 1,
	}
}

// refused are properties that would change the picture in ways not read here.
var refused = []string{"clip-path", "mask", "filter", "marker", "marker-start", "marker-mid", "marker-end"}

// set gives one property a value. An invalid value leaves the property as it
// was, as CSS wants; a value that is valid but not supported is an error.
func (s *style) set(key, val string) error {
	val = strings.TrimSpace(val)
	if val == "inherit" {
		return nil
	}
	switch key {
	case "fill":
		return s.fill.set(val)
	case "stroke":
		return s.stroke.set(val)
	case "color":
		if c, ok := parseColor(val); ok {
			s.color = c
		}
	case "fill-opacity":
		setUnit(&s.fillOp, val)
	case "stroke-opacity":
		setUnit(&s.strokeOp, val)
	case "opacity":
		setUnit(&s.opacity, val)
	case "display":
		s.none = val == "none"
	case "visibility":
		s.hidden = val != "visible"
	case "xml:space":
		s.preserve = val == "preserve"
	case "fill-rule":
		s.evenOdd = val == "evenodd"
	default:
		if strings.HasPrefix(key, "font") || key == "text-anchor" || key == "letter-spacing" {
			s.setFont(key, val)
			return nil
		}
		if strings.HasPrefix(key, "stroke-") {
			s.setPen(key, val)
			return nil
		}
		if val != "none" && slices.Contains(refused, key) {
			return fmt.Errorf("property %s is not supported", key)
		}
	}
	return nil
}

// setPen sets a property of the pen.
func (s *style) setPen(key, val string) {
	switch key {
	case "stroke-width":
		if v, err := length(val, (s.viewW+s.viewH)/2, s.size); err == nil && v >= 0 {
			s.width = v
		}
	case "stroke-linecap":
		if k := slices.Index([]string{"butt", "round", "square"}, val); k >= 0 {
			s.cap = Cap(k)
		}
	case "stroke-linejoin":
		if k := slices.Index([]string{"miter", "round", "bevel"}, val); k >= 0 {
			s.join = Join(k)
		}
	case "stroke-miterlimit":
		if v, err := length(val, 0, 0); err == nil && v >= 1 {
			s.miter = v
		}
	case "stroke-dashoffset":
		if v, err := length(val, (s.viewW+s.viewH)/2, s.size); err == nil {
			s.dashPhase = v
		}
	case "stroke-dasharray":
		if dash, ok := parseDash(val); ok {
			s.dash = dash
		}
	}
}

// parseDash reads a dash pattern; an odd one is doubled and one of only zeros
// is a solid line (section 11.4).
func parseDash(val string) ([]float64, bool) {
	if val == "none" {
		return nil, true
	}
	a, err := numbers(strings.ReplaceAll(val, "px", ""))
	if err != nil || len(a) > 64 {
		return nil, false
	}
	sum := 0.0
	for _, v := range a {
		if v < 0 {
			return nil, false
		}
		sum += v
	}
	if sum == 0 {
		return nil, true
	}
	if len(a)%2 == 1 {
		a = append(a, a...)
	}
	return a, true
}

// setFont sets a property of text.
func (s *style) setFont(key, val string) {
	switch key {
	case "font-family":
		s.face.Family = val
	case "font-size":
		// The em of font-size itself is the parent's, and so is 100%.
		if v, err := length(val, s.size, s.size); err == nil && v >= 0 {
			s.size = v
		}
	case "font-style":
		s.face.Italic = val == "italic" || val == "oblique"
	case "font-weight":
		n, err := strconv.Atoi(val)
		s.face.Bold = val == "bold" || val == "bolder" || err == nil && n >= 600
	case "text-anchor":
		if k := slices.Index([]string{"start", "middle", "end"}, val); k >= 0 {
			s.anchor = float64(k) / 2
		}
	case "letter-spacing":
		if val == "normal" {
			s.spacing = 0
		} else if v, err := length(val, 0, s.size); err == nil {
			s.spacing = v
		}
	}
}

func setUnit(dst *float64, val string) {
	if v, err := length(val, 1, 0); err == nil {
		*dst = max(0, min(1, v))
	}
}

func (p *paint) set(val string) error {
	switch {
	case val == "none":
		p.kind = paintNone
	case strings.EqualFold(val, "currentColor"):
		p.kind = paintCurrent
	case strings.HasPrefix(val, "url("):
		return fmt.Errorf("paint %.30q (gradients and patterns) is not supported", val)
	default:
		if c, ok := parseColor(val); ok {
			*p = paint{paintColor, c}
		}
	}
	return nil
}

// named are the colour names of CSS 2.1 section 4.3.6, and transparent.
var named = map[string]Color{
	"black": {0, 0, 0, 255}, "white": {255, 255, 255, 255}, "gray": {128, 128, 128, 255},
	"silver": {192, 192, 192, 255}, "red": {255, 0, 0, 255}, "maroon": {128, 0, 0, 255},
	"orange": {255, 165, 0, 255}, "yellow": {255, 255, 0, 255}, "olive": {128, 128, 0, 255},
	"lime": {0, 255, 0, 255}, "green": {0, 128, 0, 255}, "aqua": {0, 255, 255, 255},
	"teal": {0, 128, 128, 255}, "blue": {0, 0, 255, 255}, "navy": {0, 0, 128, 255},
	"fuchsia": {255, 0, 255, 255}, "purple": {128, 0, 128, 255}, "grey": {128, 128, 128, 255},
	"transparent": {},
}

// parseColor reads #rgb, #rrggbb, #rrggbbaa, rgb(), rgba() and the basic names.
func parseColor(s string) (Color, bool) {
	if c, ok := named[strings.ToLower(s)]; ok {
		return c, true
	}
	if hex, ok := strings.CutPrefix(s, "#"); ok {
		return hexColor(hex)
	}
	open := strings.IndexByte(s, '(')
	if open < 0 || !strings.HasSuffix(s, ")") || s[:open] != "rgb" && s[:open] != "rgba" {
		return Color{}, false
	}
	parts := strings.Split(s[open+1:len(s)-1], ",")
	if len(parts) != 3 && len(parts) != 4 {
		return Color{}, false
	}
	c := [4]uint8{3: 255}
	for i, p := range parts {
		full := 255.0
		v, err := length(p, full, 0)
		if i == 3 {
			v, err = length(p, 1, 0)
			v *= 255
		}
		if err != nil {
			return Color{}, false
		}
		c[i] = uint8(max(0, min(255, v+0.5)))
	}
	return Color{c[0], c[1], c[2], c[3]}, true
}

func hexColor(h string) (Color, bool) {
	v, err := strconv.ParseUint(h, 16, 32)
	if err != nil {
		return Color{}, false
	}
	switch len(h) {
	case 3:
		return Color{uint8(v>>8&15) * 17, uint8(v>>4&15) * 17, uint8(v&15) * 17, 255}, true
	case 6:
		return Color{uint8(v >> 16), uint8(v >> 8), uint8(v), 255}, true
	case 8:
		return Color{uint8(v >> 24), uint8(v >> 16), uint8(v >> 8), uint8(v)}, true
	}
	return Color{}, false
}

// inked resolves a paint to a colour; ok is false when nothing is painted.
func (s *style) inked(p paint, op float64) (Color, bool) {
	c := p.color
	switch p.kind {
	case paintNone:
		return Color{}, false
	case paintCurrent:
		c = s.color
	}
	c.A = uint8(float64(c.A)*op*s.opacity + 0.5)
	return c, c.A > 0
}

// opacity0 and fold carry the opacity of groups. It is not inherited but
// multiplies what is inside; applying it to each part in turn is exact where
// the parts of a group do not overlap. While an element's own properties are
// read, the outer product waits in outer.
func (s *style) opacity0() { s.outer, s.opacity, s.none = s.opacity, 1, false }

func (s *style) fold() { s.opacity *= s.outer }
