package engrave

import (
	"encoding/json"
	"fmt"
	"hash/crc32"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Breaks says where systems and pages end.
type Breaks int

const (
	BreaksAuto    Breaks = iota // as the music fits
	BreaksEncoded               // where the source says (print new-system, new-page)
	BreaksNone                  // one system, as wide as the music: with PageWidth as the least width
)

// Layout says how a score is laid out. Lengths are in millimetres on paper. The zero
// value is not usable: start from A4, Letter or Excerpt.
type Layout struct {
	PageWidth, PageHeight float64 // 10 to 1000 and 10 to 6000
	MarginTop, MarginBottom,
	MarginLeft, MarginRight float64 // 0 to 50 each
	StaffHeight float64 // from the lowest to the highest line of a five-line staff; 3.6 to 9.6

	// FitHeight cuts the page to the height of the music; FitWidth to its width.
	FitHeight, FitWidth bool
	// Justify spreads the systems over the height of a full page.
	Justify bool

	// Header draws, at the top of the first page, the title of the work and of the
	// movement, the part, the composer and the arranger, as far as the score names them.
	Header bool
	// Footer draws the page number at the foot of each page.
	Footer bool

	// Measures is a range of measures such as "3-6" or "5", counted from 1 in the order of
	// the score (a pickup is 1), whatever numbers are printed; "start" and "end" stand for
	// the first and the last. "" is the whole score.
	Measures string

	Breaks Breaks
	// MeasureNumbers is the interval of printed measure numbers; 0 numbers each system at
	// its start (except measure 1).
	MeasureNumbers int

	// Inline writes data-id and data-class in place of id and class on everything but the
	// glyphs, for several pieces of music inside one HTML page: identifiers must not clash.
	Inline bool
	// ViewBox leaves width and height out, so that the picture takes the size its place gives.
	ViewBox bool
}

// A4 is a full part on portrait A4 with header and footer.
func A4() Layout {
	return Layout{PageWidth: 210, PageHeight: 297, MarginTop: 14, MarginBottom: 14, MarginLeft: 15, MarginRight: 15,
		StaffHeight: 7, Header: true, Footer: true, Justify: true}
}

// Letter is a full part on portrait US Letter with header and footer.
func Letter() Layout {
	l := A4()
	l.PageWidth, l.PageHeight = 215.9, 279.4
	return l
}

// excerptMargin, in mm on every side, holds a measure number of four digits, which the
// engraver centres on the beginning of the staff, and the brace of two staves.
const excerptMargin = 3

// Excerpt is the measures of a range alone, as high as the music, for a column of the
// given width in millimetres.
func Excerpt(measures string, width float64) Layout {
	return Layout{PageWidth: width, PageHeight: 6000, MarginTop: excerptMargin, MarginBottom: excerptMargin,
		MarginLeft: excerptMargin, MarginRight: excerptMargin, StaffHeight: 6, FitHeight: true, Measures: measures, Inline: true, ViewBox: true}
}

var measureRange = regexp.MustCompile(`^([1-9][0-9]{0,5}|start)(-([1-9][0-9]{0,5}|end))?$`)

// Check says in one line what is wrong with a layout; every use of it does so too.
func (l Layout) Check() error {
	for _, v := range []struct {
		name        string
		value       float64
		least, most float64
	}{
		{"page width", l.PageWidth, 10, 1000}, {"page height", l.PageHeight, 10, 6000},
		{"top margin", l.MarginTop, 0, 50}, {"bottom margin", l.MarginBottom, 0, 50},
		{"left margin", l.MarginLeft, 0, 50}, {"right margin", l.MarginRight, 0, 50},
		{"staff height", l.StaffHeight, 3.6, 9.6},
	} {
		if !(v.value >= v.least && v.value <= v.most) { // so that NaN fails
			return fmt.Errorf("engrave: %s is %g mm; it must be from %g to %g mm", v.name, v.value, v.least, v.most)
		}
	}
	if l.MeasureNumbers < 0 || l.MeasureNumbers > 64 {
		return fmt.Errorf("engrave: measure numbers every %d measures; it must be from 0 to 64", l.MeasureNumbers)
	}
	if l.Measures != "" && !measureRange.MatchString(l.Measures) {
		return fmt.Errorf("engrave: measures %q: write a range such as 3-6, counted from 1", l.Measures)
	}
	if from, to, ok := strings.Cut(l.Measures, "-"); ok {
		first, err1 := strconv.Atoi(from)
		last, err2 := strconv.Atoi(to)
		if err1 == nil && err2 == nil && first > last { // else one of them is "start" or "end"
			return fmt.Errorf("engrave: measures %q: the range runs backwards", l.Measures)
		}
	}
	return nil
}

// options are the engraver's own for a layout. Its page unit is a tenth of a
// millimetre, its "unit" half a staff space, so an eighth of the staff's height.
func (l Layout) options() map[string]any {
	tenths := func(mm float64) int { return int(math.Round(mm * 10)) }
	onOff := func(on bool, yes string) string {
		if on {
			return yes
		}
		return "none"
	}
	return map[string]any{
		"pageWidth": tenths(l.PageWidth), "pageHeight": tenths(l.PageHeight),
		"pageMarginTop": tenths(l.MarginTop), "pageMarginBottom": tenths(l.MarginBottom + l.numberRoom()),
		"pageMarginLeft": tenths(l.MarginLeft), "pageMarginRight": tenths(l.MarginRight),
		"unit": l.StaffHeight * 10 / 8, "mmOutput": true,
		"adjustPageHeight": l.FitHeight, "adjustPageWidth": l.FitWidth, "justifyVertically": l.Justify,
		"header": onOff(l.Header, "encoded"), "footer": "none",
		"fingeringScale": 0.7, "defaultBottomMargin": 1.0, "breaksNoWidow": true,
		"breaks":       map[Breaks]string{BreaksAuto: "auto", BreaksEncoded: "encoded", BreaksNone: "none"}[l.Breaks],
		"mnumInterval": l.MeasureNumbers, "svgHtml5": l.Inline, "svgViewBox": l.ViewBox,
	}
}

// numberRoom is the height in mm that the page number takes.
func (l Layout) numberRoom() float64 {
	if !l.Footer {
		return 0
	}
	return numberHeight * l.StaffHeight / headingStaff / 100
}

// classAttr is the name of the attribute that holds a class.
func (l Layout) classAttr() string {
	if l.Inline {
		return "data-class"
	}
	return "class"
}

// sum is a checksum of the layout.
func (l Layout) sum() uint32 {
	b, _ := json.Marshal(l) // plain numbers, texts and flags always encode: Check has refused NaN
	return crc32.ChecksumIEEE(b)
}
