package engrave

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
)

// SVG draws a score: MusicXML (score-partwise) in, one SVG for each page out. The same
// score and layout give the same bytes.
func (p *Pool) SVG(ctx context.Context, musicxml []byte, l Layout) ([]string, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	s, err := p.Session(ctx, musicxml)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return s.SVG(ctx, l)
}

// Timemap is the engraver's own reading of a score in time, as JSON: an array of moments
// with "qstamp" (quarters from the start), "tstamp" (milliseconds), "on" and "off"
// (identifiers of notes), repeats played out. It is an independent check on our reader.
func (p *Pool) Timemap(ctx context.Context, musicxml []byte) ([]byte, error) {
	s, err := p.Session(ctx, musicxml)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return s.Timemap(ctx)
}

// MIDI is the engraver's own reading of a score as a Standard MIDI File.
func (p *Pool) MIDI(ctx context.Context, musicxml []byte) ([]byte, error) {
	s, err := p.Session(ctx, musicxml)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return s.MIDI(ctx)
}

// Session is one score held in one engraver of a pool, to be drawn several times:
// reading a long score takes longer than drawing an excerpt of it. A Session is safe for
// concurrent use and keeps its engraver until Close; Excerpts borrows another one where
// the pool has it free, so that pages and excerpts are drawn side by side.
type Session struct {
	pool   *Pool
	source prepared
	mei    string          // the engraver's own form of the source, with our numerals
	ids    map[string]bool // the identifiers in mei

	mu       sync.Mutex // guards what follows
	in       *instance  // nil after a fault: the next use takes a fresh one
	holds    bool       // in has read the score
	now      Layout     // what in is laid out for
	warnings []string

	closed atomic.Bool
}

// Session reads a score and holds it. The error says in one line what is wrong with it.
func (p *Pool) Session(ctx context.Context, musicxml []byte) (*Session, error) {
	text, err := plainText(musicxml)
	if err != nil {
		return nil, err
	}
	source, err := prepare(text)
	if err != nil {
		return nil, err
	}
	s := &Session{pool: p, source: source}
	if err := s.take(ctx); err != nil {
		return nil, err
	}
	if err := s.guard(s.readSource(ctx)); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// flat is the cheapest layout: no systems to break, nothing to justify.
func flat() Layout {
	l := Excerpt("", 210)
	l.Breaks = BreaksNone
	return l
}

// Close gives the engraver back. It is safe to call twice.
func (s *Session) Close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed.Store(true)
	s.drop(true)
}

func (s *Session) drop(sound bool) {
	if s.in != nil {
		s.pool.give(context.Background(), s.in, sound)
		s.in = nil
	}
}

// Warnings are what the engraver remarked while it read the score, in its own words.
func (s *Session) Warnings() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.warnings)
}

// isFault says that an error leaves an engraver unusable.
func isFault(err error) bool {
	_, fault := errors.AsType[*faultError](err)
	return fault
}

// guard drops the engraver after a fault.
func (s *Session) guard(err error) error {
	if isFault(err) {
		s.drop(false)
	}
	return err
}

// take takes an engraver that holds nothing yet.
func (s *Session) take(ctx context.Context) error {
	in, err := s.pool.take(ctx)
	if err == nil {
		s.in, s.holds, s.now = in, false, Layout{}
	}
	return err
}

// ready makes sure that an engraver holds the score. It is read when first drawn, or
// again in a fresh engraver after a fault; always in the flat layout, so that what it
// names does not depend on the layout to be drawn.
func (s *Session) ready(ctx context.Context) error {
	if s.closed.Load() {
		return ErrClosed
	}
	if s.in == nil {
		if err := s.take(ctx); err != nil {
			return err
		}
	}
	if s.holds {
		return nil
	}
	err := s.guard(s.load(ctx))
	if err != nil {
		s.drop(true)
		return err
	}
	s.holds, s.now = true, Layout{}
	return nil
}

// load reads the score to be drawn: the source itself, or where numerals had to be put
// into it the engraver's own form.
func (s *Session) load(ctx context.Context) error {
	format, text, seed := "xml", s.source.xml, sourceSeed
	if s.source.stacked {
		format, text, seed = "mei", s.mei, ownSeed
	}
	_, err := s.in.loadAs(ctx, format, text, flat().options(), seed)
	return err
}

// readSource reads the score as MusicXML and keeps the engraver's own form of it, with
// our numerals in it where the source has any.
func (s *Session) readSource(ctx context.Context) error {
	warnings, err := s.in.loadAs(ctx, "xml", s.source.xml, flat().options(), sourceSeed)
	s.warnings = append(s.warnings, warnings...)
	if err != nil {
		return err
	}
	if s.mei, err = s.in.mei(ctx); err != nil {
		return err
	}
	if s.source.stacked {
		s.mei = stackNumerals(s.mei)
	}
	s.holds = !s.source.stacked
	s.ids = map[string]bool{}
	for from, to := range values(s.mei, ` xml:id="`) {
		s.ids[s.mei[from:to]] = true
	}
	return nil
}

// The engraver numbers what has no identifier with a counter that begins at a seed, and
// makes the identifier from the number. Its own form of the score holds identifiers made
// while the source was read: when that is read in turn, the counter must run elsewhere,
// or a new element gets the identifier of a note, and what hangs on the note (a slur, a
// finger) moves. Seeds this far apart give no number twice, whatever the length.
const (
	sourceSeed int32 = 1
	ownSeed    int32 = 1 << 30
)

// loadAs reads a text in a format the engraver knows ("xml" or "mei") and gives what it
// remarked.
func (in *instance) loadAs(ctx context.Context, format, text string, options map[string]any, seed int32) ([]string, error) {
	if err := in.selectMeasures(ctx, ""); err != nil {
		return nil, err
	}
	options["inputFrom"] = format
	if err := in.setOptions(ctx, options); err != nil {
		return nil, err
	}
	if err := in.seed(ctx, seed); err != nil {
		return nil, err
	}
	ok, err := in.load(ctx, text)
	if err != nil {
		return nil, err
	}
	warnings, err := in.log(ctx)
	if err == nil && !ok {
		err = unreadable(warnings)
	}
	return warnings, err
}

// SVG draws the score in a layout, one SVG for each page.
func (s *Session) SVG(ctx context.Context, l Layout) ([]string, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.ready(ctx); err != nil {
		return nil, err
	}
	pages, err := s.draw(ctx, l)
	return pages, s.guard(err)
}

func (s *Session) draw(ctx context.Context, l Layout) ([]string, error) {
	in := s.in
	if l != s.now {
		if err := in.setOptions(ctx, l.options()); err != nil {
			return nil, err
		}
		if err := in.selectMeasures(ctx, l.Measures); err != nil {
			return nil, err
		}
		if err := in.redoLayout(ctx); err != nil {
			return nil, err
		}
		s.now = l
	}
	if err := s.foundMeasures(ctx, l); err != nil {
		s.now = Layout{} // the selection did not take hold
		return nil, err
	}
	n, err := in.pageCount(ctx)
	if err != nil {
		return nil, err
	}
	pages := make([]string, 0, n)
	for i := 1; i <= n; i++ {
		svg, err := in.page(ctx, i)
		if err != nil {
			return nil, err
		}
		pages = append(pages, s.source.heading.furnish(s.ownIDs(svg, l, i), l, i))
	}
	return pages, emptyPages(pages, l)
}

// foundMeasures refuses a range outside the score: the engraver only warns of it, and
// then draws everything.
func (s *Session) foundMeasures(ctx context.Context, l Layout) error {
	lines, err := s.in.log(ctx)
	if err != nil || l.Measures == "" {
		return err
	}
	for _, line := range lines {
		if strings.Contains(line, "Measure range") {
			return fmt.Errorf("engrave: the score has no measures %s", l.Measures)
		}
	}
	return nil
}

// emptyPages refuses a result without a single measure.
func emptyPages(pages []string, l Layout) error {
	for _, p := range pages {
		if strings.Contains(p, `class="measure"`) || strings.Contains(p, `data-class="measure"`) {
			return nil
		}
	}
	if l.Measures != "" {
		return fmt.Errorf("engrave: the score has no measures %s", l.Measures)
	}
	return errors.New("engrave: the score has no measures to draw")
}

// Timemap is Pool.Timemap of the session's score.
func (s *Session) Timemap(ctx context.Context) ([]byte, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.ready(ctx); err != nil {
		return nil, err
	}
	b, err := s.in.timemap(ctx, `{"includeMeasures":true,"includeRests":true}`)
	return b, s.guard(err)
}

// MIDI is Pool.MIDI of the session's score.
func (s *Session) MIDI(ctx context.Context) ([]byte, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.ready(ctx); err != nil {
		return nil, err
	}
	b, err := s.in.midi(ctx)
	return b, s.guard(err)
}
