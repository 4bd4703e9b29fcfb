package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"

	"pochette/internal/engrave"
)

// A page that asks for a step may say what of the music is in sight. It is then
// answered in lines of JSON: first, as soon as the step is solved and on the disk, the
// systems in sight whose marks are others now; then what is known of the step. So the
// new marks take one way there and back, and nothing that is only read waits before them.

// sightRequest says what a page has in sight: how its pages are laid out, as the query
// of the pages does, and which of them, from 1.
type sightRequest struct {
	Look  string `json:"look"`
	Pages []int  `json:"pages"`
}

// maxSight is how many pages can be in sight at once.
const maxSight = 8

// markedPage is a page in sight after a step: the place of each system, and those that
// are drawn anew.
type markedPage struct {
	N       int            `json:"n"`
	Width   float64        `json:"width"`  // mm
	Height  float64        `json:"height"` // mm
	Systems []markedSystem `json:"systems"`
}

type markedSystem struct {
	Key  string  `json:"key"`            // names what is drawn
	Y    float64 `json:"y"`              // hundredths of a mm from the top of the page
	Body string  `json:"body,omitempty"` // an svg element with its glyphs; "" where nothing has changed
}

// marksLine is the line of new marks. Asked says that they are drawn before the step
// is solved: a slur or a lock, whose plan takes longer.
type marksLine struct {
	Marks struct {
		Revision int          `json:"revision"`
		Asked    bool         `json:"asked,omitempty"`
		Pages    []markedPage `json:"pages"`
	} `json:"marks"`
}

// sight is what a page has in sight while a step is made. A nil *sight is that of a
// page that said nothing.
type sight struct {
	w       http.ResponseWriter
	ctx     context.Context
	flow    *engrave.Flow
	look    look
	numbers []int
	was     map[system]string // the keys of the systems as they stand on the page
	pages   []markedPage      // after the step; nil where they could not be drawn
	begun   bool              // a line has been sent
}

// inSight readies the engraver before the piece is locked.
func (d *Desk) inSight(w http.ResponseWriter, r *http.Request, q *sightRequest) (*sight, error) {
	if q == nil {
		return nil, nil
	}
	query, err := url.ParseQuery(q.Look)
	if err != nil {
		return nil, bad("look: want the query of a page: %w", err)
	}
	l, err := lookOf(query)
	if err != nil {
		return nil, err
	}
	if len(q.Pages) > maxSight {
		return nil, bad("%d pages in sight: at most %d are drawn with an answer", len(q.Pages), maxSight)
	}
	pool, err := d.engraver()
	if err != nil {
		return nil, err
	}
	p, err := d.open(r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	f, err := p.theFlow(r.Context(), pool)
	if err != nil {
		return nil, err
	}
	return &sight{w: w, ctx: r.Context(), flow: f, look: l, numbers: q.Pages}, nil
}

// before notes what is on the page.
func (s *sight) before(p *piece) {
	if s == nil {
		return
	}
	s.was = map[system]string{}
	c := p.picture(s.flow, s.look)
	for _, pg := range s.shown(p) {
		for _, sys := range pg.systems {
			_, key := c.asDrawn(sys, c.loose(sys))
			s.was[sys] = key
		}
	}
}

// shown are the pages in sight that there are.
func (s *sight) shown(p *piece) []numberedPage {
	all := p.pagesOf(s.flow, s.look)
	var out []numberedPage
	for _, n := range s.numbers {
		if n >= 1 && n <= len(all) {
			out = append(out, numberedPage{all[n-1], n})
		}
	}
	return out
}

type numberedPage struct {
	pageOf
	n int
}

// draw draws the pages in sight in a state, the plan being what it is.
func (s *sight) draw(p *piece, st *state) {
	if s == nil {
		return
	}
	c := p.pictureOf(s.flow, s.look, st)
	pages := s.shown(p)
	s.pages = nil
	if err := c.ready(s.ctx, pages, s.was); err != nil {
		return // the page fetches what it misses, and is told what is wrong
	}
	s.pages = []markedPage{}
	for _, pg := range pages {
		m := markedPage{N: pg.n, Width: s.look.width, Systems: []markedSystem{}}
		for _, sys := range pg.systems {
			d, err := c.system(s.ctx, sys, c.loose(sys))
			if err != nil {
				s.pages = nil
				return
			}
			_, key := c.asDrawn(sys, c.loose(sys))
			ms := markedSystem{Key: key, Y: m.Height * 100}
			if key != s.was[sys] {
				ms.Body = aloneSystem(&d, pg.n)
			}
			m.Systems = append(m.Systems, ms)
			m.Height += d.Height
		}
		s.pages = append(s.pages, m)
	}
}

// aloneSystem is a system as a document of its own: its glyphs and its group.
func aloneSystem(d *engrave.Drawn, page int) string {
	svg := `<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"><defs>` + d.Defs + `</defs><g>` + d.Body + `</g></svg>`
	return strings.ReplaceAll(svg, engrave.GlyphMark+`"`, pageMark(page)+`"`)
}

// ready draws the systems that are not drawn yet side by side.
func (c *picture) ready(ctx context.Context, pages []numberedPage, was map[system]string) error {
	var wg sync.WaitGroup
	var mu sync.Mutex
	var first error
	for _, pg := range pages {
		for _, sys := range pg.systems {
			if _, key := c.asDrawn(sys, c.loose(sys)); key == was[sys] {
				continue
			}
			wg.Go(func() { // the pool says how many at once
				if _, err := c.system(ctx, sys, c.loose(sys)); err != nil {
					mu.Lock()
					defer mu.Unlock()
					first = err
				}
			})
		}
	}
	wg.Wait()
	return first
}

// asked shows what is decided before the plan is made, where that takes long: when the
// slurs change the solver begins anew.
func (s *sight) asked(p *piece, st *state) {
	if s == nil || slices.EqualFunc(p.st.slurChanges(p.live.Print, p.refs), st.slurChanges(p.live.Print, p.refs), sameSlurChange) {
		return
	}
	s.draw(p, st)
	s.tell(p.revision, true)
}

// show sends the new marks: the step is on the disk.
func (s *sight) show(revision int) {
	if s != nil {
		s.tell(revision, false)
	}
}

func (s *sight) tell(revision int, asked bool) {
	if s.pages == nil {
		return
	}
	var l marksLine
	l.Marks.Revision, l.Marks.Asked, l.Marks.Pages = revision, asked, s.pages
	s.line(l)
}

// line sends one line at once. A page that has gone cannot be told.
func (s *sight) line(v any) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false) // pictures would grow by half
	if enc.Encode(v) != nil {
		return
	}
	if !s.begun {
		s.begun = true
		s.w.Header().Set("Content-Type", "application/x-ndjson")
	}
	_, _ = s.w.Write(b.Bytes())
	_ = http.NewResponseController(s.w).Flush()
}

// end answers the step: as a last line, or whole where nothing was sent before.
func (s *sight) end(w http.ResponseWriter, r *http.Request, a *answer, err error) error {
	if s == nil || !s.begun {
		if err != nil {
			return err
		}
		return writeJSON(w, http.StatusOK, a)
	}
	if err != nil {
		status, matter := told(r, err)
		matter["status"] = status
		s.line(matter)
		return nil
	}
	s.line(a)
	return nil
}

func pageMark(n int) string { return fmt.Sprintf("-p%d", n) }
