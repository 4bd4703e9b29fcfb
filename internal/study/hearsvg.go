package study

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"strings"

	"pochette/internal/timeline"
)

// Names of the files of a hearing.
const (
	HeardJSON     = "heard.json"
	TempoSVG      = "tempo.svg"
	IntonationSVG = "intonation.svg"
	DottingSVG    = "dotting.svg"
)

// Pictures are drawn in this ink and this accent; readable in print without colour.
const (
	ink    = "#222"
	pale   = "#bbb"
	accent = "#a33"
)

// Files are the data and the pictures of a hearing.
func (h *Heard) Files(version string) ([]File, error) {
	files := []File{{TempoSVG, h.TempoPicture()}, {IntonationSVG, h.IntonationPicture()}}
	if len(h.Pairs) > 0 {
		files = append(files, File{DottingSVG, h.DottingPicture()})
	}
	sums := map[string]string{}
	for _, f := range files {
		sums[f.Name] = Sum(f.Data)
	}
	data, err := h.json(version, sums)
	return append(files, File{HeardJSON, data}), err
}

// picture is an SVG with a plot area.
type picture struct {
	bytes.Buffer
	w, h                     float64
	left, right, top, bottom float64
}

func newPicture(w, h float64, title string) *picture {
	p := &picture{w: w, h: h, left: 52, right: 14, top: 30, bottom: 34}
	fmt.Fprintf(p, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" font-family="sans-serif" font-size="11" fill="%s" role="img"><title>%s</title>`+"\n", w, h, w, h, ink, html.EscapeString(title))
	fmt.Fprintf(p, `<rect width="100%%" height="100%%" fill="#fff"/><text x="%.0f" y="18" font-size="13">%s</text>`+"\n", p.left, html.EscapeString(title))
	return p
}

func (p *picture) line(x1, y1, x2, y2 float64, colour string, width float64) {
	fmt.Fprintf(p, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="%s" stroke-width="%.1f"/>`+"\n", x1, y1, x2, y2, colour, width)
}

func (p *picture) text(x, y float64, anchor, text string) {
	fmt.Fprintf(p, `<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`+"\n", x, y, anchor, html.EscapeString(text))
}

func (p *picture) done() []byte {
	p.WriteString("</svg>\n")
	return p.Bytes()
}

// TempoPicture is the tempo bar by bar in the order of the take.
func (h *Heard) TempoPicture() []byte {
	step := 14.0
	p := newPicture(max(360, 66+step*float64(len(h.Bars))), 240, "Tempo by bar, quarter notes a minute")
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, b := range h.Bars {
		if b.Whole {
			lo, hi = min(lo, b.Quarter), max(hi, b.Quarter)
		}
	}
	if math.IsInf(lo, 1) {
		p.text(p.left, 60, "start", "no bar was played through")
		return p.done()
	}
	pad := max(2, 0.1*(hi-lo))
	lo, hi = lo-pad, hi+pad
	y := func(v float64) float64 { return p.top + (hi-v)/(hi-lo)*(p.h-p.top-p.bottom) }
	for _, v := range ticks(lo, hi, 5) {
		p.line(p.left, y(v), p.w-p.right, y(v), pale, 0.5)
		p.text(p.left-6, y(v)+4, "end", fmt.Sprintf("%g", v))
	}
	p.line(p.left, y(h.Quarter), p.w-p.right, y(h.Quarter), pale, 1.5)
	last := math.NaN()
	for i, b := range h.Bars {
		x := p.left + step*(float64(i)+0.5)
		h.barNumber(p, i, x)
		if !b.Whole {
			last = math.NaN()
			continue
		}
		if !math.IsNaN(last) {
			p.line(x-step, y(last), x, y(b.Quarter), ink, 1)
		}
		fmt.Fprintf(p, `<circle cx="%.1f" cy="%.1f" r="2.6"><title>%s: %.1f</title></circle>`+"\n", x, y(b.Quarter), html.EscapeString(timeline.Range(h.Line.Part, h.Line.Visits[b.Visit].Measure, h.Line.Visits[b.Visit].Measure)), b.Quarter)
		if b.Planned > 0 {
			p.line(x-4, y(b.Planned), x+4, y(b.Planned), accent, 1.5)
		}
		last = b.Quarter
	}
	return p.done()
}

// barNumber prints every fourth bar's number, and each that does not follow the last.
func (h *Heard) barNumber(p *picture, i int, x float64) {
	m := h.Line.Visits[h.Bars[i].Visit].Measure
	jump := i > 0 && h.Line.Visits[h.Bars[i-1].Visit].Measure != m-1
	if i == 0 || jump || (m%4 == 0 && !h.jumpNear(i)) {
		p.text(x, p.h-p.bottom+16, "middle", h.short(m))
	}
	if jump {
		p.line(x-7, p.top, x-7, p.h-p.bottom, pale, 0.8)
	}
}

// jumpNear: play jumps within the next two bars or the last, whose number is printed.
func (h *Heard) jumpNear(i int) bool {
	for k := max(1, i-1); k <= min(len(h.Bars)-1, i+2); k++ {
		if h.Line.Visits[h.Bars[k].Visit].Measure != h.Line.Visits[h.Bars[k-1].Visit].Measure+1 {
			return true
		}
	}
	return false
}

// short is the label of a measure without what is in brackets.
func (h *Heard) short(measure int) string {
	label, _, _ := strings.Cut(timeline.Label(h.Line.Part, measure), " (")
	return label
}

// ticks are some round values from lo to hi.
func ticks(lo, hi float64, n int) []float64 {
	raw := (hi - lo) / float64(n)
	unit := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, k := range []float64{1, 2, 5, 10} {
		if unit*k >= raw {
			unit *= k
			break
		}
	}
	var out []float64
	for v := math.Ceil(lo/unit) * unit; v <= hi; v += unit {
		out = append(out, math.Round(v/unit)*unit)
	}
	return out
}

// IntonationPicture is a strip: every note that was measured, by its distance from the
// tuning, with the bar numbers.
func (h *Heard) IntonationPicture() []byte {
	const step, most = 7.0, 50.0
	p := newPicture(max(360, 66+step*float64(len(h.Notes))), 240, fmt.Sprintf("Pitch of each note against %s tuning at A4 = %.1f Hz, cents", h.Tuning.Name(), h.Alignment.A4))
	y := func(v float64) float64 {
		return p.top + (most-max(-most, min(most, v)))/(2*most)*(p.h-p.top-p.bottom)
	}
	for v := -40.0; v <= 40; v += 20 {
		p.line(p.left, y(v), p.w-p.right, y(v), pale, map[bool]float64{true: 1.5, false: 0.5}[v == 0])
		p.text(p.left-6, y(v)+4, "end", fmt.Sprintf("%+.0f", v))
	}
	for i, b := range h.Bars {
		x := p.left + step*float64(b.First)
		p.line(x, p.top, x, p.h-p.bottom, pale, 0.5)
		if i%2 == 0 {
			p.text(x+2, p.h-p.bottom+16, "start", h.short(h.Line.Visits[b.Visit].Measure))
		}
	}
	for _, t := range h.Pitches {
		x := p.left + step*(float64(t.Note)+0.5)
		p.line(x, y(t.Off-t.Sure), x, y(t.Off+t.Sure), pale, 1)
		fill := ink
		if t.Open {
			fill = "none"
		}
		fmt.Fprintf(p, `<circle cx="%.1f" cy="%.1f" r="2.4" fill="%s" stroke="%s"><title>%s %+.0f</title></circle>`+"\n", x, y(t.Off), fill, ink, t.Sounding, t.Off)
	}
	return p.done()
}

// DottingPicture is a histogram of the long notes' shares for each figure.
func (h *Heard) DottingPicture() []byte {
	const lo, hi, width = 0.5, 1.0, 0.01
	row := 110.0
	p := newPicture(560, 50+row*float64(len(h.Figures)), "Dotted pairs: share of the long note")
	x := func(v float64) float64 { return p.left + (v-lo)/(hi-lo)*(p.w-p.left-p.right) }
	for k, f := range h.Figures {
		base := p.top + row*float64(k) + row - 26
		var bins [int((hi-lo)/width) + 1]int
		most := 1
		for _, q := range h.Pairs {
			if q.Figure == f.Name {
				i := int((max(lo, min(hi-1e-9, q.Fraction)) - lo) / width)
				bins[i]++
				most = max(most, bins[i])
			}
		}
		for i, n := range bins {
			if n > 0 {
				tall := float64(n) / float64(most) * (row - 50)
				fmt.Fprintf(p, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f"><title>%.2f: %d</title></rect>`+"\n", x(lo+float64(i)*width), base-tall, x(lo+width)-x(lo)-1, tall, lo+float64(i)*width, n)
			}
		}
		p.line(p.left, base, p.w-p.right, base, ink, 1)
		for _, m := range []struct {
			v    float64
			name string
		}{{2.0 / 3, "2 : 1"}, {0.75, "3 : 1"}, {0.875, "7 : 1"}} {
			p.line(x(m.v), base, x(m.v), base+5, ink, 1)
			p.text(x(m.v), base+16, "middle", m.name)
		}
		p.line(x(f.Mean), base-row+50, x(f.Mean), base, accent, 1)
		p.text(p.left, base-row+44, "start", fmt.Sprintf("%s, %d times: %.3f ± %.3f", f.Name, f.Count, f.Mean, f.Spread))
	}
	return p.done()
}
