package paper

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pochette/internal/paper/smufl"
	"pochette/internal/paper/svg"
)

func pdfOf(t *testing.T, pages []Page, meta Meta) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := PDF(&b, pages, meta); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// onDisk writes a document to a file for an outside program.
func onDisk(t *testing.T, doc []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.pdf")
	if err := os.WriteFile(path, doc, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(tool(t, name), args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}

// extras is a page of the caller's own content.
func extras(t *testing.T) Page {
	return Page{Width: A4.Width, Height: A4.Height, Bookmark: "Čertův tanec 𝄫", Extra: []Extra{
		Text{X: 105, Y: 30, Size: 20, S: "Gigue in F♯ – ďábelská", Anchor: Middle, Bold: true},
		Text{X: 190, Y: 40, Size: 10, S: "Odile Marchéval", Anchor: End, Italic: true},
		Rule{X1: 20, Y1: 45, X2: 190, Y2: 45, Width: 0.3, Color: svg.Color{R: 120, A: 255}},
		Picture{X: 20, Y: 60, Width: 100, SVG: sample(t, "short")},
	}}
}

// qpdf's check is the outside judge of the syntax.
func TestQPDFCheck(t *testing.T) {
	tool(t, "qpdf")
	faint := Page{Width: 100, Height: 100, SVG: `<svg width="10" height="10"><rect width="5" height="5" opacity=".5"/><g transform="rotate(30)"><text font-size="2">turned</text></g></svg>`}
	doc := pdfOf(t, []Page{soloPage(t), shortPage(t), extras(t), faint}, Meta{Title: "Tänze (♯)", Author: "Odile Marchéval", Language: "en"})
	if out := run(t, "qpdf", "--check", onDisk(t, doc)); !strings.Contains(out, "No syntax or stream encoding errors") {
		t.Error(out)
	}
}

// pdftotext and pdfinfo (poppler) must find the text and the description.
func TestTextIsSelectable(t *testing.T) {
	tool(t, "pdftotext")
	path := onDisk(t, pdfOf(t, []Page{soloPage(t), extras(t)}, Meta{Title: "Gigue Ř♯", Author: "Odile Marchéval"}))
	text := run(t, "pdftotext", path, "-")
	for _, want := range []string{"Allègre, très léger", "Gigue des écluses", "Odile Marchéval", "sul D, à la pointe", "ďábelská"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q can't be selected", want)
		}
	}
	info := run(t, "pdfinfo", path)
	for _, want := range []string{"Gigue Ř♯", "Odile Marchéval", "595.28 x 841.89 pts (A4)", "Pages:           2"} {
		if !strings.Contains(info, want) {
			t.Errorf("pdfinfo: no %q in\n%s", want, info)
		}
	}
}

// The PDF drawn by poppler and the picture drawn here must show the same thing:
// no dot dark in one that has nothing dark within two dots in the other.
func TestPDFAgreesWithPNG(t *testing.T) {
	const dpi = 300 // enough for poppler, which widens and shifts thin lines to whole dots, to be within a dot
	for name, page := range map[string]Page{"solo": soloPage(t), "short": shortPage(t), "extras": extras(t)} {
		t.Run(name, func(t *testing.T) {
			tool(t, "pdftoppm")
			path := onDisk(t, pdfOf(t, []Page{page}, Meta{}))
			run(t, "pdftoppm", "-r", strconv.Itoa(dpi), "-png", "-singlefile", path, strings.TrimSuffix(path, ".pdf"))
			f, err := os.Open(strings.TrimSuffix(path, ".pdf") + ".png")
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			theirs, err := png.Decode(f)
			if err != nil {
				t.Fatal(err)
			}
			ours, err := Image(page, dpi)
			if err != nil {
				t.Fatal(err)
			}
			bad, ink := disagreement(grey(ours), grey(theirs))
			t.Logf("%d dots of %d inked disagree", bad, ink)
			if ink < 5000 || bad > ink/5000 {
				t.Errorf("%d dots of %d inked disagree", bad, ink)
			}
		})
	}
}

func grey(m image.Image) *image.Gray {
	g := image.NewGray(image.Rect(0, 0, m.Bounds().Dx(), m.Bounds().Dy()))
	for y := range g.Rect.Dy() {
		for x := range g.Rect.Dx() {
			g.Set(x, y, m.At(m.Bounds().Min.X+x, m.Bounds().Min.Y+y))
		}
	}
	return g
}

// disagreement counts the dots of one picture that are far darker or lighter
// than everything within two dots in the other, and the dark dots.
func disagreement(a, b *image.Gray) (bad, ink int) {
	w, h := min(a.Rect.Dx(), b.Rect.Dx()), min(a.Rect.Dy(), b.Rect.Dy())
	off := func(v uint8, g *image.Gray, x, y int) bool {
		lo, hi := 255, 0
		for j := max(0, y-2); j <= min(h-1, y+2); j++ {
			for i := max(0, x-2); i <= min(w-1, x+2); i++ {
				p := int(g.GrayAt(i, j).Y)
				lo, hi = min(lo, p), max(hi, p)
			}
		}
		return int(v) < lo-90 || int(v) > hi+90
	}
	for y := range h {
		for x := range w {
			va, vb := a.GrayAt(x, y).Y, b.GrayAt(x, y).Y
			if va < 128 {
				ink++
			}
			if va == vb {
				continue
			}
			if off(va, b, x, y) || off(vb, a, x, y) {
				bad++
			}
		}
	}
	return bad, ink
}

func TestDeterministic(t *testing.T) {
	pages := []Page{soloPage(t), extras(t), shortPage(t)}
	meta := Meta{Title: "Gigue"}
	first := pdfOf(t, pages, meta)
	for range 3 {
		if !bytes.Equal(first, pdfOf(t, pages, meta)) {
			t.Fatal("the same pages gave other bytes")
		}
	}
	var a, b bytes.Buffer
	if err := PNG(&a, pages[2], 96); err != nil {
		t.Fatal(err)
	}
	if err := PNG(&b, pages[2], 96); err != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Fatalf("the same page gave another picture (%v)", err)
	}
}

func TestMissingRunesAreReported(t *testing.T) {
	page := Page{Width: 100, Height: 100, Extra: []Extra{Text{X: 10, Y: 10, Size: 10, S: "a♯𝄫 漢漢\U0001F600"}}}
	var got []string
	pdfOf(t, []Page{page}, Meta{Note: func(n Note) { got = append(got, n.What) }})
	if len(got) != 2 || !strings.Contains(got[0], "U+6F22") || !strings.Contains(got[1], "U+1F600") {
		t.Errorf("notes %q", got)
	}
	notes, err := Inspect([]Page{shortPage(t), page})
	if err != nil || len(notes) != 2 || notes[0].Page != 2 {
		t.Errorf("Inspect: %v, %v", notes, err)
	}
}

func TestBadInput(t *testing.T) {
	good := Page{Width: 100, Height: 100}
	for name, pages := range map[string][]Page{
		"no pages":    nil,
		"no size":     {{}},
		"huge":        {{Width: 1e9, Height: 10}},
		"NaN":         {{Width: math.NaN(), Height: 10}},
		"not SVG":     {{Width: 100, Height: 100, SVG: "hello"}},
		"second page": {good, {Width: 100, Height: 100, SVG: `<svg width="9" height="9"><image/></svg>`}},
		"far extra":   {{Width: 100, Height: 100, Extra: []Extra{Rule{X2: math.Inf(1)}}}},
		"far shape":   {{Width: 100, Height: 100, SVG: `<svg width="1" height="1"><path d="M0 0H1e8"/></svg>`}},
		"no box":      {{Width: 100, Height: 100, Extra: []Extra{Picture{SVG: `<svg width="9" height="9"/>`}}}},
	} {
		var b bytes.Buffer
		err := PDF(&b, pages, Meta{})
		if err == nil || strings.Contains(err.Error(), "\n") || b.Len() > 0 {
			t.Errorf("%s: error %v with %d bytes written", name, err, b.Len())
		}
	}
	for _, dpi := range []float64{0, -1, 1e5, math.NaN(), math.Inf(1)} {
		if err := PNG(io.Discard, Page{Width: A4.Width, Height: A4.Height}, dpi); err == nil {
			t.Errorf("%g dpi was drawn", dpi)
		}
	}
}

func TestPaperSizes(t *testing.T) {
	for _, c := range []struct {
		page Page
		want string
	}{
		{Page{Width: A4.Width, Height: A4.Height}, "/MediaBox [0 0 595.28 841.89]"},
		{Page{Width: Letter.Width, Height: Letter.Height}, "/MediaBox [0 0 612.00 792.00]"}, // 8.5 by 11 in
		{Page{Width: A4.Height, Height: A4.Width}, "/MediaBox [0 0 841.89 595.28]"},
	} {
		two := []Page{{Width: 50, Height: 60}, c.page}
		if doc := pdfOf(t, two, Meta{}); !bytes.Contains(doc, []byte(c.want)) {
			t.Errorf("%g by %g: no %q in the document", c.page.Width, c.page.Height, c.want)
		}
	}
}

// inkOf is the area in square millimetres that a drawing of 100 by 100 mm
// covers at 10 dots to the millimetre.
func inkOf(t *testing.T, body string) float64 {
	t.Helper()
	src := `<svg width="100" height="100">` + body + `</svg>`
	img, err := Image(Page{Width: 100, Height: 100, SVG: src}, 254)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for i := 0; i < len(img.Pix); i += 4 {
		sum += 255 - float64(img.Pix[i])
	}
	return sum / 255 / 100
}

// Areas that plane geometry gives, for fills and for the caps, joins and dashes
// of SVG 1.1 section 11.4.
func TestAreas(t *testing.T) {
	line := func(attrs, d string) string {
		return `<path fill="none" stroke="black" ` + attrs + ` d="` + d + `"/>`
	}
	for _, c := range []struct {
		name, body string
		want       float64
	}{
		{"rect", `<rect x="10" y="10" width="30" height="20"/>`, 600},
		{"circle", `<circle cx="50" cy="50" r="20"/>`, math.Pi * 400},
		{"hole", `<path d="M10 10H50V50H10ZM20 20V40H40V20Z"/>`, 1600 - 400},
		{"butt", line(`stroke-width="4"`, "M10 50H60"), 200},
		{"square", line(`stroke-width="4" stroke-linecap="square"`, "M10 50H60"), 216},
		{"round", line(`stroke-width="4" stroke-linecap="round"`, "M10 50L60 60"), 4*math.Hypot(50, 10) + math.Pi*4},
		{"miter", line(`stroke-width="4"`, "M10 60H50V20"), 160 + 160 - 4 + 4}, // less the overlap, plus the tip
		{"bevel", line(`stroke-width="4" stroke-linejoin="bevel"`, "M10 60H50V20"), 160 + 160 - 4 + 2},
		{"round join", line(`stroke-width="4" stroke-linejoin="round"`, "M10 60H50V20"), 160 + 160 - 4 + math.Pi},
		{"miter limit", line(`stroke-width="4" stroke-miterlimit="1"`, "M10 60H50V20"), 160 + 160 - 4 + 2},
		{"closed", line(`stroke-width="4"`, "M10 10H50V50H10Z"), 44*44 - 36*36},
		{"ring", `<circle cx="50" cy="50" r="20" fill="none" stroke="black" stroke-width="4"/>`, math.Pi * (22*22 - 18*18)},
		{"dashes", line(`stroke-width="4" stroke-dasharray="10 5"`, "M10 50H70"), 160},
		{"odd dashes", line(`stroke-width="2" stroke-dasharray="10" stroke-dashoffset="5"`, "M10 50H70"), 60},
		{"dots", line(`stroke-width="4" stroke-linecap="round" stroke-dasharray="0 10"`, "M10 50H55"), 5 * math.Pi * 4},
		{"mirrored", `<g transform="scale(1,-1)">` + line(`stroke-width="4"`, "M10 -50H60") + `</g>`, 200},
		{"oval pen", `<g transform="scale(2,1)">` + line(`stroke-width="4"`, "M5 50H30M40 20V40") + `</g>`, 200 + 160},
		{"half", `<rect width="10" height="10" opacity=".5"/>`, 50},
	} {
		got := inkOf(t, c.body)
		if math.Abs(got-c.want) > 0.01*c.want {
			t.Errorf("%s: area %.2f, want %.2f", c.name, got, c.want)
		}
	}
}

// The widths of Times that PDF's standard fonts have (Adobe Font Metrics,
// Times-Roman: A 722, a 444, space 250, one 500) are those of Liberation Serif.
func TestTextWidth(t *testing.T) {
	for s, want := range map[string]float64{"A": .722, "a": .444, " ": .25, "1": .5, "Aa 1": 1.916} {
		if got := TextWidth(s, 72/25.4*100, false, false); math.Abs(got-100*want) > 0.1 {
			t.Errorf("%q is %g wide, want %g", s, got, 100*want)
		}
	}
}

// SMuFL 1.4, "Font metrics": an em is four staff spaces and a notehead, one
// space high, is centred on the baseline. Every outline must be readable.
func TestMusicOutlines(t *testing.T) {
	n := 0
	for r := rune(0x2669); r <= 0xF8FF; r++ {
		g, ok := smufl.Lookup(r)
		if !ok {
			continue
		}
		n++
		if p := musicPath(r, g.D); g.D != "" && len(p.Cmds) == 0 {
			t.Errorf("U+%04X has no outline", r)
		}
	}
	if n < 600 {
		t.Errorf("%d symbols", n)
	}
	g, _ := smufl.Lookup(0xE0A4) // noteheadBlack: one staff space, 250/1000 em, high
	lo, hi, _ := musicPath(0xE0A4, g.D).Bounds()
	if lo.Y > -110 || lo.Y < -150 || hi.Y > 180 || hi.Y < 110 {
		t.Errorf("the notehead reaches from %g to %g", lo.Y, hi.Y)
	}
}

func TestColoursStay(t *testing.T) {
	img, err := Image(Page{Width: 10, Height: 10, SVG: `<svg width="10" height="10"><rect width="10" height="10" fill="#123456"/></svg>`}, 25.4)
	if err != nil || img.RGBAAt(5, 5) != (color.RGBA{0x12, 0x34, 0x56, 0xff}) {
		t.Errorf("%v, %v", img.RGBAAt(5, 5), err)
	}
}

// Whatever the reader accepts, the writers must survive.
func FuzzDraw(f *testing.F) {
	f.Add(`<svg width="9" height="9"><g transform="matrix(1 2 3 4 5 6)"><path d="M0 0C1 1 2 2 3 3" stroke="red" stroke-dasharray="1 .1" stroke-width="3"/><text font-size="3">a♯</text></g></svg>`)
	f.Add(`<svg width="9" height="9"><defs><path id="a" d="M0 0h1e3v7z"/></defs><use href="#a" transform="scale(0)"/><circle r="3" stroke="blue"/></svg>`)
	f.Fuzz(func(t *testing.T, src string) {
		page := Page{Width: 20, Height: 20, SVG: src}
		if err := PDF(io.Discard, []Page{page}, Meta{}); err != nil && strings.Contains(err.Error(), "\n") {
			t.Fatalf("error of more than one line: %q", err)
		}
		_ = PNG(io.Discard, page, 50) // faults are errors; only a panic is a failure
	})
}
