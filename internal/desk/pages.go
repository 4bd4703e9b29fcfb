package desk

import (
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"pochette/internal/engrave"
	"pochette/internal/score"
)

// Sizes of the score on the screen, in mm.
const (
	usualStaff = 6.0
	leastStaff = 3.6
	mostStaff  = 9.6
	leastWidth = 60.0
	mostWidth  = 900.0
)

// look says how the pages are laid out.
type look struct {
	width, zoom, height float64 // mm; height 0: continuous
	layers              []string
}

func (l look) staff() float64 { return min(mostStaff, max(leastStaff, usualStaff*l.zoom)) }

func (l look) key() string {
	return fmt.Sprintf("%.1f %.2f %.1f %s", l.width, l.staff(), l.height, strings.Join(l.layers, ","))
}

func (l look) has(layer string) bool { return slices.Contains(l.layers, layer) }

// system is a run of measures on one line, page a run of systems.
type system struct{ First, Last int }

type pageOf struct {
	First   int     `json:"first"`
	Last    int     `json:"last"`
	Width   float64 `json:"width"`
	Height  float64 `json:"height"`
	systems []system
}

// drawings keeps what was laid out and drawn.
type drawings struct {
	mu      sync.Mutex
	breaks  map[string][]system
	drawn   map[string]engrave.Drawn
	order   []string
	heights map[string]float64 // of systems drawn, by place and size: a page keeps its room
}

func newDrawings() *drawings {
	return &drawings{breaks: map[string][]system{}, drawn: map[string]engrave.Drawn{}, heights: map[string]float64{}}
}

// maxDrawn bounds the pictures kept of one piece.
const maxDrawn = 1200

func (d *drawings) get(key string) (engrave.Drawn, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	v, ok := d.drawn[key]
	return v, ok
}

func (d *drawings) put(key string, v engrave.Drawn) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if _, ok := d.drawn[key]; !ok {
		d.order = append(d.order, key)
	}
	d.drawn[key] = v
	for len(d.order) > maxDrawn {
		delete(d.drawn, d.order[0])
		d.order = d.order[1:]
	}
}

// systemsOf breaks the score into systems of a width.
func (p *piece) systemsOf(f *engrave.Flow, l look) []system {
	key := fmt.Sprintf("%.1f %.2f", l.width, l.staff())
	p.drawing.mu.Lock()
	defer p.drawing.mu.Unlock()
	if s, ok := p.drawing.breaks[key]; ok {
		return s
	}
	if len(p.drawing.breaks) > 64 {
		clear(p.drawing.breaks)
	}
	s := breakLines(f, (l.width-6)/(l.staff()/4))
	p.drawing.breaks[key] = s
	return s
}

// breakLines cuts the measures into systems of a width in staff spaces so that the
// sum of squares of what each lacks, as a share of the width, is least; the last
// may be short. A measure wider than the system stands alone. It is the dynamic
// program for paragraphs (Knuth and Plass 1981) without stretch classes; O(n·k)
// for k measures to a system.
func breakLines(f spaced, width float64) []system {
	n := f.Measures()
	best, from := make([]float64, n+1), make([]int, n+1)
	for i := 1; i <= n; i++ {
		best[i] = math.Inf(1)
		used := 0.0
		for j := i - 1; j >= 0; j-- {
			used += f.Width(j)
			total := used
			if j > 0 {
				total += f.Lead(j)
			}
			if total > width*tightest && j < i-1 {
				break
			}
			lack := (width - total) / width
			if i == n && lack > 0 {
				lack = 0
			}
			if c := best[j] + lack*lack + perSystem; c < best[i] {
				best[i], from[i] = c, j
			}
		}
	}
	var out []system
	for i := n; i > 0; i = from[i] {
		out = append(out, system{from[i], i - 1})
	}
	slices.Reverse(out)
	return out
}

// spaced is what line breaking needs of a score: widths in staff spaces.
type spaced interface {
	Measures() int
	Width(measure int) float64
	Lead(measure int) float64 // of clef and key before a measure that begins a system
}

// tightest is how much wider than the line a system's natural width may be: notes
// stand a little closer then. perSystem decides between equals for fewer systems.
const (
	tightest  = 1.04
	perSystem = 1e-3
)

// pagesOf sorts the systems into pages: continuous pages of a few systems each, or
// screens as high as asked.
func (p *piece) pagesOf(f *engrave.Flow, l look) []pageOf {
	systems := p.systemsOf(f, l)
	// a staff with marks above and dynamics below takes about twelve of its spaces
	one := l.staff() / 4 * 14
	count := 3
	if l.height > 0 {
		count = max(1, int(l.height/one))
	}
	var out []pageOf
	for i := 0; i < len(systems); i += count {
		some := systems[i:min(i+count, len(systems))]
		out = append(out, pageOf{First: some[0].First, Last: some[len(some)-1].Last, Width: l.width, Height: one * float64(len(some)), systems: some})
	}
	return out
}

// added are the marks to draw in a state, by layer.
func (p *piece) added(l look, st *state) []engrave.Added {
	var out []engrave.Added
	marks := p.live.Marks
	if l.has("fingers-all") {
		marks = append(slices.Clone(marks), p.allFingers()...)
	}
	for _, m := range marks {
		if a, layer := addedMark(m); l.has(layer) || m.Mark.Origin == score.Decided {
			out = append(out, a)
		}
	}
	if l.has("chord") {
		out = append(out, chordNames(p.live.Reading, p.live.Print)...)
	}
	out = append(out, p.writtenIn(st)...)
	slices.SortStableFunc(out, func(a, b engrave.Added) int { return int(a.Kind) - int(b.Kind) }) // fingers before numerals
	return out
}

// allFingers are the fingers that the part does not need printed.
func (p *piece) allFingers() []score.NoteMark {
	have := map[score.NoteID]bool{}
	for _, m := range p.live.Marks {
		if m.Mark.Kind == score.Fingering || m.Mark.Kind == score.ThumbPosition || m.Mark.Kind == score.OpenString {
			have[m.Note] = true
		}
	}
	var out []score.NoteMark
	for _, m := range p.live.FingersOfAll() {
		n := &p.live.Print.Notes[m.Note]
		if m.Mark.Kind != score.String && !have[m.Note] && !n.Has(score.Fingering) {
			out = append(out, m)
		}
	}
	return out
}

// addedMark is a mark for the engraver and the layer that it is in.
func addedMark(m score.NoteMark) (engrave.Added, string) {
	a := engrave.Added{Note: idOf(m.Note), Text: m.Mark.Text, Strong: m.Mark.Origin == score.Decided}
	layer := ""
	switch m.Mark.Kind {
	case score.UpBow:
		a.Kind, a.Text, layer = engrave.Bow, "up", "bow"
	case score.DownBow:
		a.Kind, a.Text, layer = engrave.Bow, "dn", "bow"
	case score.Fingering:
		a.Kind, layer = engrave.Finger, "finger"
	case score.OpenString:
		a.Kind, a.Text, layer = engrave.Finger, "0", "finger"
	case score.ThumbPosition:
		a.Kind, a.Text, layer = engrave.Finger, "ϙ", "finger"
	case score.String:
		a.Kind, a.Text, layer = engrave.Numeral, numeral(m.Mark.Text), "string"
	default:
		a.Kind, layer = engrave.Words, "other"
	}
	a.Class = layer + " " + m.Mark.Origin.String()
	return a, layer
}

func numeral(text string) string {
	if n, err := strconv.Atoi(text); err == nil && n >= 1 && n <= 5 {
		return [...]string{"I", "II", "III", "IV", "V"}[n-1]
	}
	return text
}

// writtenIn are decided slurs, breaths, dynamics and words.
func (p *piece) writtenIn(st *state) []engrave.Added {
	var out []engrave.Added
	for ref, s := range st.notes {
		id, ok := p.refs.note(ref)
		if !ok {
			continue
		}
		put := func(k engrave.AddedKind, layer, text string, below bool) {
			out = append(out, engrave.Added{Note: idOf(id), Kind: k, Text: text, Class: layer + " decided", Strong: true, Below: below})
		}
		if v := s.set[keyDynamic]; v != "" {
			put(engrave.Dynamic, "dynamic", v, true)
		}
		if v := s.set[keyWords]; v != "" {
			put(engrave.Words, "words", v, false)
		}
		if s.set[keyBreath] != "" {
			put(engrave.Breath, "breath", "", false)
		}
	}
	for _, c := range st.slurChanges(p.live.Print, p.refs) {
		for _, sl := range c.Add {
			out = append(out, engrave.Added{Note: idOf(sl.Start), To: idOf(sl.End), Kind: engrave.SlurTo, Class: "slur decided"})
		}
	}
	slices.SortFunc(out, func(a, b engrave.Added) int { return strings.Compare(a.Note+a.Class, b.Note+b.Class) })
	return out
}

// cutSlurs are the ends of printed slurs that were decided away.
func (p *piece) cutSlurs(st *state) [][2]string {
	var out [][2]string
	for _, c := range st.slurChanges(p.live.Print, p.refs) {
		for _, i := range c.Remove {
			sl := p.live.Print.Slurs[i]
			out = append(out, [2]string{idOf(sl.Start), idOf(sl.End)})
		}
	}
	return out
}

// picture is what is needed to draw measures, gathered under the piece's lock;
// drawing goes on without it.
type picture struct {
	p     *piece
	flow  *engrave.Flow
	look  look
	added []engrave.Added
	cut   [][2]string
}

func (p *piece) picture(f *engrave.Flow, l look) *picture { return p.pictureOf(f, l, p.st) }

func (p *piece) pictureOf(f *engrave.Flow, l look, st *state) *picture {
	return &picture{p, f, l, p.added(l, st), p.cutSlurs(st)}
}

// loose says that a system is not stretched to the width.
func (c *picture) loose(s system) bool { return s.Last == c.flow.Measures()-1 }

// asDrawn is what the engraver is asked for a system, and a key that names it: the same
// key is the same picture.
func (c *picture) asDrawn(s system, loose bool) (engrave.System, string) {
	sys := engrave.System{First: s.First, Last: s.Last, Width: c.look.width, StaffHeight: c.look.staff(), Loose: loose, CutSlurs: c.cut}
	sys.Added = c.flow.Within(c.added, s.First, s.Last)
	h := fnv.New128a()
	fmt.Fprintf(h, "%v", sys)
	return sys, fmt.Sprintf("%x", h.Sum(nil))
}

// system draws one system, or takes it from those drawn before.
func (c *picture) system(ctx context.Context, s system, loose bool) (engrave.Drawn, error) {
	sys, key := c.asDrawn(s, loose)
	if d, ok := c.p.drawing.get(key); ok {
		return d, nil
	}
	d, err := c.flow.Draw(ctx, sys)
	if err != nil {
		return d, err
	}
	d.Body = c.named(d.Body, s.First)
	c.p.drawing.put(key, d)
	return d, nil
}

var (
	idAttr   = regexp.MustCompile(`\sid\s*=\s*("[^"]*"|'[^']*')`)
	groupTag = regexp.MustCompile(`<g id="([^"]*)" class="([^"]*)"`)
	tagSpace = regexp.MustCompile(`>\s+<`)
)

// named gives notes and measures of a picture what a page finds them by, and
// takes the identifiers away, which would stand several times in one document.
func (c *picture) named(body string, first int) string {
	measure := first - 1
	body = groupTag.ReplaceAllStringFunc(body, func(tag string) string {
		m := groupTag.FindStringSubmatch(tag)
		id, class := m[1], m[2]
		switch {
		case class == "measure" || strings.HasPrefix(class, "measure "):
			measure++
			return fmt.Sprintf(`<g class="%s" data-measure="%d"`, class, measure)
		case strings.HasPrefix(id, "note-"):
			n, ok := noteOf(id)
			if !ok || int(n) >= len(c.p.refs.of) {
				break
			}
			if ref := c.p.refs.of[c.p.refs.struck(n)]; ref != "" {
				return fmt.Sprintf(`<g class="%s" data-note="%s"`, class, ref)
			}
		}
		return fmt.Sprintf(`<g class="%s"`, class)
	})
	return tagSpace.ReplaceAllString(idAttr.ReplaceAllString(body, ""), "><")
}

// page draws a page: its systems one under the other.
func (c *picture) page(ctx context.Context, pg pageOf, n int) (string, error) {
	var defs, body strings.Builder
	seen := map[string]bool{}
	y := 0.0
	for _, s := range pg.systems {
		d, err := c.system(ctx, s, c.loose(s))
		if err != nil {
			return "", err
		}
		_, key := c.asDrawn(s, c.loose(s))
		for _, g := range engrave.Glyphs(d.Defs) {
			if !seen[g] {
				seen[g] = true
				defs.WriteString(g)
			}
		}
		fmt.Fprintf(&body, `<g class="system" data-first="%d" data-last="%d" data-key="%s" transform="translate(0,%.0f)">%s</g>`, s.First, s.Last, key, y*100, d.Body)
		y += d.Height
	}
	return framed(defs.String(), body.String(), c.look.width, y, pageMark(n)), nil
}

// framed is a whole picture; mark makes its glyphs' names its own.
func framed(defs, body string, width, height float64, mark string) string {
	svg := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" class="score-page" viewBox="0 0 %.1f %.1f"><defs>%s</defs><svg class="definition-scale" color="black" viewBox="0 0 %.0f %.0f">%s</svg></svg>`,
		width, height, defs, width*100, height*100, body)
	return strings.ReplaceAll(svg, engrave.GlyphMark+`"`, mark+`"`)
}

// excerpt draws a few measures by themselves, as wide as they need, at most the
// width of the look.
func (c *picture) excerpt(ctx context.Context, first, last int, mark string) (string, error) {
	var systems []system
	room := (c.look.width - 6) / (c.look.staff() / 4)
	used, widest := 0.0, 0.0
	from := first
	for m := first; m <= last; m++ {
		w := c.flow.Width(m)
		if m == from && m > 0 {
			w += c.flow.Lead(m)
		}
		if m > from && used+w > room {
			systems = append(systems, system{from, m - 1})
			from, used = m, c.flow.Lead(m)+c.flow.Width(m)
		} else {
			used += w
		}
		widest = max(widest, used)
	}
	systems = append(systems, system{from, last})
	c.look.width = min(c.look.width, max(leastWidth, widest*(c.look.staff()/4)*1.1+6))
	return c.page(ctx, pageOf{systems: systems}, 0)
}
