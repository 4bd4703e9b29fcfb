package engrave

import (
	"context"
	"fmt"
	"hash/crc32"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// ExcerptSet is the excerpts of one call for one HTML page. The pictures use glyphs by
// reference: Glyphs must stand in the same page once, before them. No identifier in it
// occurs twice.
type ExcerptSet struct {
	// Glyphs is one <svg class="glyphs"> with the shapes, which draws nothing. Hide it by a
	// size of zero: with display:none some readers draw no reference to it.
	Glyphs string
	// SVG has one picture for each range, in their order, with width and height in
	// millimetres as wide as the music.
	SVG []string
}

// Excerpts draws ranges of measures, each {first, last} counted from 1 as in
// Layout.Measures, for a column of the given width in mm. A range wider than that is
// broken at its bar lines; a single wide measure stays whole. Each range begins with clef
// and key; the meter stands only in the first measure and where it changes.
//
// The ranges must be in the order of the score and share no measure, so that one layout
// of the whole serves them all, with a page for each: the cost is about that of one
// reading and one layout.
func (s *Session) Excerpts(ctx context.Context, ranges [][2]int, width float64) (ExcerptSet, error) {
	if len(ranges) == 0 {
		return ExcerptSet{}, nil
	}
	l := Excerpt("", width)
	l.Breaks, l.FitWidth = BreaksEncoded, true
	if err := l.Check(); err != nil {
		return ExcerptSet{}, err
	}
	e := excerpting{layout: l, ranges: ranges, source: barLines(s.mei)}
	if err := e.check(); err != nil {
		return ExcerptSet{}, err
	}
	in, back, err := s.borrow(ctx)
	if err != nil {
		return ExcerptSet{}, err
	}
	e.in = in
	svgs, err := e.drawn(ctx)
	back(err)
	if err != nil {
		return ExcerptSet{}, err
	}
	return s.shareGlyphs(svgs, ranges, l), nil
}

// borrow gives an engraver to read the excerpts into: a free one of the pool, else that
// of the session, which must then read again. back returns it.
func (s *Session) borrow(ctx context.Context) (in *instance, back func(error), err error) {
	if s.closed.Load() { // not behind the lock: pages may be under way there
		return nil, nil, ErrClosed
	}
	if in, err = s.pool.takeFree(ctx); err != nil {
		return nil, nil, err
	}
	if in != nil {
		return in, func(err error) { s.pool.give(context.Background(), in, !isFault(err)) }, nil
	}
	s.mu.Lock()
	if s.closed.Load() {
		err = ErrClosed
	} else if s.in == nil {
		err = s.take(ctx)
	}
	if err != nil {
		s.mu.Unlock()
		return nil, nil, err
	}
	s.holds = false
	return s.in, func(err error) {
		_ = s.guard(err)
		s.mu.Unlock()
	}, nil
}

// barLined is the engraver's form of a score, cut before each measure.
type barLined struct {
	head     string
	measures []string
}

var (
	measureStart = regexp.MustCompile(`<measure[ >]`)
	sourceBreaks = regexp.MustCompile(`<[ps]b\b[^>]*/>\s*`)
)

func barLines(mei string) barLined {
	mei = sourceBreaks.ReplaceAllString(mei, "") // those of the source would cut the ranges
	starts := measureStart.FindAllStringIndex(mei, -1)
	if len(starts) == 0 {
		return barLined{head: mei}
	}
	b := barLined{head: mei[:starts[0][0]]}
	for i, at := range starts {
		end := len(mei)
		if i+1 < len(starts) {
			end = starts[i+1][0]
		}
		b.measures = append(b.measures, mei[at[0]:end])
	}
	return b
}

// excerpting is one call of Excerpts.
type excerpting struct {
	in     *instance
	layout Layout
	ranges [][2]int
	source barLined
}

func (e *excerpting) drawn(ctx context.Context) ([]string, error) {
	svgs, err := e.pass(ctx, nil)
	if err != nil {
		return nil, err
	}
	systems := map[int]bool{}
	for i, svg := range svgs {
		if r := e.ranges[i]; r[1] > r[0] {
			maps.Copy(systems, systemStarts(svg, r[0], e.layout))
		}
	}
	if len(systems) == 0 {
		return svgs, nil
	}
	return e.pass(ctx, systems)
}

func (e *excerpting) check() error {
	last := 0
	for _, r := range e.ranges {
		switch {
		case r[0] < 1 || r[1] < r[0] || r[1] > len(e.source.measures):
			return fmt.Errorf("engrave: the score has no measures %d-%d; it has 1-%d", r[0], r[1], len(e.source.measures))
		case r[0] <= last:
			return fmt.Errorf("engrave: measures %d-%d are not after measure %d; give ranges in order, none sharing a measure", r[0], r[1], last)
		}
		last = r[1]
	}
	return nil
}

// pass lays the score out with each range on a page of its own, and new systems before
// the measures named, and draws the pages of the ranges.
func (e *excerpting) pass(ctx context.Context, systems map[int]bool) ([]string, error) {
	text, pages := e.paged(systems)
	if _, err := e.in.loadAs(ctx, "mei", text, e.options(), ownSeed); err != nil {
		return nil, err
	}
	n, err := e.in.pageCount(ctx)
	if err != nil {
		return nil, err
	}
	if want := slices.Max(pages); n < want {
		return nil, fmt.Errorf("engrave: %d pages where the excerpts need %d: the engraver passed over a page break", n, want)
	}
	svgs := make([]string, len(pages))
	for i, page := range pages {
		if svgs[i], err = e.in.page(ctx, page); err != nil {
			return nil, err
		}
	}
	return svgs, nil
}

// options leave the spaces between notes as they come and give the size of the picture.
func (e *excerpting) options() map[string]any {
	o := e.layout.options()
	o["noJustification"] = true
	o["svgViewBox"] = true
	return o
}

// paged writes the breaks into the score, and tells the page of each range.
func (e *excerpting) paged(systems map[int]bool) (text string, pages []int) {
	breaks := map[int]bool{} // before which measures a page begins
	for _, r := range e.ranges {
		breaks[r[0]], breaks[r[1]+1] = true, true
	}
	var b strings.Builder
	b.WriteString(e.source.head)
	page, next := 1, 0
	for i, m := range e.source.measures {
		switch n := i + 1; {
		case n > 1 && breaks[n]:
			page++
			b.WriteString("<pb/>")
		case systems[n]:
			b.WriteString("<sb/>")
		}
		if next < len(e.ranges) && e.ranges[next][0] == i+1 {
			pages = append(pages, page)
			next++
		}
		b.WriteString(m)
	}
	return b.String(), pages
}

var (
	drawnMeasure = regexp.MustCompile(`data-class="measure"`)
	staffLine    = regexp.MustCompile(`<path d="M-?[0-9]+ -?[0-9]+ L(-?[0-9]+) `)
)

// systemStarts breaks a picture that is too wide for the column: it names the measures
// that begin a new system, filling each as far as it goes. first is the number of the
// first measure of the picture.
func systemStarts(svg string, first int, l Layout) map[int]bool {
	const unitsPerMM = 100 // of the drawing's coordinates
	room := (l.PageWidth - l.MarginLeft - l.MarginRight) * unitsPerMM
	starts := map[int]bool{}
	used := 0.0
	lead := 0.0 // clef and key, repeated at each system
	for i, at := range drawnMeasure.FindAllStringIndex(svg, -1) {
		m := staffLine.FindStringSubmatch(svg[at[1]:])
		if m == nil {
			return nil
		}
		w, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return nil
		}
		if i == 0 {
			lead = math.Min(w/2, clefAndKey)
		}
		if used+w > room && used > 0 {
			starts[first+i] = true
			used = lead
		}
		used += w
	}
	return starts
}

// clefAndKey is about the width of a clef and a key of three signs, in units of the drawing.
const clefAndKey = 1500

var (
	glyphDefs  = regexp.MustCompile(`(?s)\s*<defs>(.*?)</defs>`)
	glyphShape = regexp.MustCompile(`(?s)<g id="([^"]+)">.*?</g>`)
	pictureTop = regexp.MustCompile(`^<svg viewBox="0 0 ([0-9.]+) ([0-9.]+)"[^>]*>`)
	engraverBy = regexp.MustCompile(`\s*<desc>[^<]*</desc>`)
)

// shareGlyphs takes the shapes out of the pictures, keeps each once, and names what the
// pictures have of their own.
func (s *Session) shareGlyphs(svgs []string, ranges [][2]int, l Layout) ExcerptSet {
	own := fmt.Sprintf("x%08x%08x", s.source.sum, l.sum()^crc32.ChecksumIEEE(fmt.Append(nil, ranges)))
	shapes := map[string]string{}
	set := ExcerptSet{SVG: make([]string, len(svgs))}
	for i, svg := range svgs {
		svg = s.renamed(svg, own, fmt.Sprintf("%s-%d", own, ranges[i][0]))
		if m := glyphDefs.FindStringSubmatchIndex(svg); m != nil {
			for _, g := range glyphShape.FindAllStringSubmatch(svg[m[2]:m[3]], -1) {
				shapes[g[1]] = g[0]
			}
			svg = svg[:m[0]] + svg[m[1]:]
		}
		svg = engraverBy.ReplaceAllString(svg, "")
		set.SVG[i] = sized(svg)
	}
	var b strings.Builder
	b.WriteString(`<svg class="glyphs" aria-hidden="true" xmlns="http://www.w3.org/2000/svg"><desc>Shapes of the music font</desc><defs>`)
	for _, id := range slices.Sorted(maps.Keys(shapes)) {
		b.WriteString(shapes[id])
	}
	b.WriteString("</defs></svg>")
	set.Glyphs = b.String()
	return set
}

// sized gives a picture with a viewBox in mm that size, so that all excerpts of a page
// have staves of one size; a style sheet finds the width in --w, to draw all of them
// larger or smaller.
func sized(svg string) string {
	m := pictureTop.FindStringSubmatchIndex(svg)
	if m == nil {
		return svg
	}
	w, h := svg[m[2]:m[3]], svg[m[4]:m[5]]
	return `<svg width="` + w + `mm" height="` + h + `mm"` + svg[len("<svg"):m[1]-1] + ` style="--w:` + w + `mm">` + svg[m[1]:]
}
