package desk

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"pochette/internal/engrave"
	"pochette/internal/paper"
	"pochette/internal/store"
	"pochette/internal/study"
)

// The part on paper: the systems of the screen set on pages, so that decided marks can
// be told from proposed ones in black and white, and the readings that were chosen
// between the witnesses after it.

// Legend says in one line how decided and proposed marks are told apart on paper.
const Legend = "Bold, bow signs filled: decided. Slanted, bow signs open: proposed. All else as the source prints it."

// printStyle is the part of the page's style sheet that tells the two apart; a test
// holds it against style.css.
const printStyle = `<style>.decided text,.decided tspan{font-weight:bold;font-style:normal}.proposed text,.proposed tspan{font-weight:normal;font-style:italic}` +
	`.proposed.bow use{fill:none;stroke:black;stroke-width:14}.decided.bow use{stroke:black;stroke-width:64}</style>`

// printLayers are the marks of a printed part.
var printLayers = []string{"bow", "finger", "string"}

// printed is all that a printed part shows, gathered under the piece's lock.
type printed struct {
	picture               *picture
	title, part, composer string
	legend                bool // there are marks that are not printed in the source
	apparatus             *apparatusView
}

// getPrint is the part as PDF.
func (d *Desk) getPrint(w http.ResponseWriter, r *http.Request) error {
	meta, err := d.store.Piece(r.PathValue("id"))
	if err != nil {
		return err
	}
	layout, err := study.LayoutFor(r.URL.Query().Get("paper"))
	if err != nil {
		return badRequest{err}
	}
	c, err := d.gather(r, meta, layout)
	if err != nil {
		return err
	}
	pdf, err := c.pdf(r.Context(), layout)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", "inline; filename*=UTF-8''"+url.PathEscape(fileStem(meta)+".pdf"))
	w.Header().Set("Content-Length", strconv.Itoa(len(pdf)))
	_, _ = w.Write(pdf) // a page that has gone cannot be told
	return nil
}

func (d *Desk) gather(r *http.Request, meta store.Piece, layout engrave.Layout) (*printed, error) {
	l := look{width: layout.PageWidth - layout.MarginLeft - layout.MarginRight, zoom: layout.StaffHeight / usualStaff, layers: printLayers}
	pic, _, err := d.picture(r, l)
	if err != nil {
		return nil, err
	}
	ws, err := d.store.Witnesses(meta.ID)
	if err != nil {
		return nil, err
	}
	c := &printed{picture: pic, title: meta.Title, legend: len(pic.added) > 0}
	err = d.with(meta.ID, func(p *piece) error {
		c.part, c.composer = partName(p.live.Print), p.live.Score.Composer
		if len(ws) > 0 {
			c.apparatus, err = d.apparatus(p, ws)
		}
		return err
	})
	return c, err
}

// Type and distances on paper; points and mm.
const (
	titleSize  = 17.0
	plainSize  = 11.0
	legendSize = 8.5
	mmPerPoint = 25.4 / 72
	leading    = 1.3 // from line to line, in the size of the type
	// mostSpread is how far systems are moved apart, in mm each, to fill a page.
	mostSpread = 9.0
)

func (c *printed) pdf(ctx context.Context, l engrave.Layout) ([]byte, error) {
	pages, err := c.music(ctx, l)
	if err != nil {
		return nil, err
	}
	if c.apparatus != nil {
		pages = append(pages, c.apparatus.pages(l)...)
	}
	for i := range pages {
		pages[i].Extra = append(pages[i].Extra, paper.Text{X: l.PageWidth / 2, Y: l.PageHeight - l.MarginBottom + 4, Size: plainSize, S: fmt.Sprint(i + 1), Anchor: paper.Middle})
	}
	var buf bytes.Buffer
	meta := paper.Meta{Title: c.title, Author: c.composer, Subject: c.part + ", with bow marks and fingerings", Creator: "pochette", Language: "en"}
	if err := paper.PDF(&buf, pages, meta); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

// stacked is what line breaking needs to break systems into pages: heights.
type stacked struct {
	heights []float64 // mm
	head    float64   // mm above the first system
}

func (s stacked) Measures() int    { return len(s.heights) }
func (s stacked) Lead(int) float64 { return 0 }
func (s stacked) Width(i int) float64 {
	if i == 0 {
		return s.heights[0] + s.head
	}
	return s.heights[i]
}

// music sets the systems on pages under a heading, with the legend at the foot of each.
func (c *printed) music(ctx context.Context, l engrave.Layout) ([]paper.Page, error) {
	systems := c.picture.p.systemsOf(c.picture.flow, c.picture.look)
	drawn := make([]engrave.Drawn, len(systems))
	st := stacked{heights: make([]float64, len(systems))}
	for i, s := range systems {
		d, err := c.picture.system(ctx, s, c.picture.loose(s))
		if err != nil {
			return nil, err
		}
		drawn[i], st.heights[i] = d, d.Height
	}
	head, y := c.heading(l)
	st.head = y - l.MarginTop
	room := l.PageHeight - l.MarginTop - l.MarginBottom
	if c.legend {
		room -= legendSize * mmPerPoint * leading * 2
	}
	var pages []paper.Page
	for n, pg := range breakLines(st, room/tightest) {
		p := paper.Page{Width: l.PageWidth, Height: l.PageHeight}
		at := l.MarginTop
		if n == 0 {
			p.Extra, at = append(p.Extra, head...), y
		}
		spread := spreadOf(st, pg, room, pg.Last == len(systems)-1)
		for i := pg.First; i <= pg.Last; i++ {
			d := drawn[i]
			var defs strings.Builder
			for _, g := range engrave.Glyphs(d.Defs) {
				defs.WriteString(g)
			}
			svg := framed(printStyle+defs.String(), d.Body, c.picture.look.width, d.Height, "-s")
			p.Extra = append(p.Extra, paper.Picture{X: l.MarginLeft, Y: at, Width: c.picture.look.width, SVG: svg})
			at += d.Height + spread
		}
		if c.legend {
			p.Extra = append(p.Extra, paper.Text{X: l.MarginLeft, Y: l.PageHeight - l.MarginBottom - legendSize*mmPerPoint*0.6, Size: legendSize, S: Legend})
		}
		pages = append(pages, p)
	}
	return pages, nil
}

// spreadOf is how far apart the systems of a page are moved so that it is filled; the
// last page stays as it is.
func spreadOf(st stacked, pg system, room float64, last bool) float64 {
	used := 0.0
	for i := pg.First; i <= pg.Last; i++ {
		used += st.Width(i)
	}
	if n := pg.Last - pg.First; n > 0 && used < room && !last {
		return min(mostSpread, (room-used)/float64(n))
	}
	return 0
}

// heading sets the title in the middle, the part to the left and the composer to the
// right, as a printed part does, and gives the place below.
func (c *printed) heading(l engrave.Layout) (out []paper.Extra, y float64) {
	wide := l.PageWidth - l.MarginLeft - l.MarginRight
	y = l.MarginTop
	for _, s := range wrapped(c.title, wide, titleSize, false) {
		y += titleSize * mmPerPoint * leading
		out = append(out, paper.Text{X: l.PageWidth / 2, Y: y, Size: titleSize, S: s, Anchor: paper.Middle})
	}
	from := y + 2
	for _, side := range []struct {
		x      float64
		anchor paper.Anchor
		text   string
	}{{l.MarginLeft, paper.Start, c.part}, {l.PageWidth - l.MarginRight, paper.End, c.composer}} {
		at := from
		for _, s := range wrapped(side.text, wide/2-2, plainSize, false) {
			at += plainSize * mmPerPoint * leading
			out = append(out, paper.Text{X: side.x, Y: at, Size: plainSize, S: s, Anchor: side.anchor})
		}
		y = max(y, at)
	}
	return out, y + 2
}

// wrapped breaks a text into lines of a width in mm; a longer word stands alone.
func wrapped(text string, width, size float64, bold bool) []string {
	var lines []string
	line := ""
	for _, w := range strings.Fields(text) {
		if line != "" && paper.TextWidth(line+" "+w, size, bold, false) > width {
			lines = append(lines, line)
			line = w
			continue
		}
		line = strings.TrimSpace(line + " " + w)
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// pages are the readings on paper: the sources, then each difference with what was
// chosen and why.
func (a *apparatusView) pages(l engrave.Layout) []paper.Page {
	t := typeset{l: l}
	t.line(0, "Readings", titleSize, true, false)
	t.space(2)
	for _, s := range a.Sources {
		t.text(0, 8, s, false)
	}
	t.space(1)
	t.text(0, 0, fmt.Sprintf("%d of %d differences are settled.", a.Settled, a.Together), false)
	t.space(2)
	for i := range a.Entries {
		e := &a.Entries[i]
		t.keep(3) // a place is not left alone at the foot
		t.text(0, 0, capital(e.Place), true)
		t.text(6, 6, capital(e.Text)+".", false)
		if e.Reason != "" {
			t.slanted(6, "Reason: "+e.Reason)
		}
		t.space(1.5)
	}
	return t.out
}

func capital(s string) string {
	if s == "" {
		return s
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// typeset sets lines of type down a page and on to the next.
type typeset struct {
	l   engrave.Layout
	out []paper.Page
	y   float64
}

func (t *typeset) turn() {
	t.out = append(t.out, paper.Page{Width: t.l.PageWidth, Height: t.l.PageHeight})
	t.y = t.l.MarginTop
}

// keep turns the page where less than some lines of plain type are left of it.
func (t *typeset) keep(lines float64) {
	if len(t.out) == 0 || t.y+lines*plainSize*mmPerPoint*leading > t.l.PageHeight-t.l.MarginBottom-2 {
		t.turn()
	}
}

func (t *typeset) line(indent float64, s string, size float64, bold, italic bool) {
	t.keep(size / plainSize)
	t.y += size * mmPerPoint * leading
	p := &t.out[len(t.out)-1]
	p.Extra = append(p.Extra, paper.Text{X: t.l.MarginLeft + indent, Y: t.y, Size: size, S: s, Bold: bold, Italic: italic})
}

func (t *typeset) space(mm float64) { t.y += mm }

// text sets lines, the first at an indent and the rest at another, in mm.
func (t *typeset) text(indent, hang float64, s string, bold bool) {
	for i, line := range wrapped(s, t.l.PageWidth-t.l.MarginLeft-t.l.MarginRight-max(indent, hang), plainSize, bold) {
		if i > 0 {
			indent = hang
		}
		t.line(indent, line, plainSize, bold, false)
	}
}

func (t *typeset) slanted(indent float64, s string) {
	for _, line := range wrapped(s, t.l.PageWidth-t.l.MarginLeft-t.l.MarginRight-indent, plainSize, false) {
		t.line(indent, line, plainSize, false, true)
	}
}
