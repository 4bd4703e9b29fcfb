package bowing

import (
	"cmp"
	"slices"
	"sort"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// model is one study at work.
type model struct {
	sc        *score.Score
	p         *score.Part
	o         Options
	w         *Weights
	events    []timeline.Event
	strokes   []Stroke
	bowed     []int // strokes with a direction; "bow i" below is an index into this
	links     []link
	same      [][2]following // per link
	fixed     []Direction    // per bow
	wants     [][]want       // per bow
	written   []Direction    // per bow
	cuts      []cut          // per bow: where its slur could be split
	last      int            // the bow that ends the music as played
	opening   int            // the bow that begins it
	fixedAt   []int          // per bow: the event that carries its mark
	inside    []int          // per bow: how many events carry one
	turnAt    []int          // per bow: the first event whose mark contradicts it, 0
	turnsBack []bool         // per bow: and a later one agrees again
	bindsOf   [][]int        // per bow: the new slurs it may come under
	binds     []bind
	states    [][]int // per bow: the states it may take, see problem
	mode      mode
	held      []Direction // per bow: how a strong place must come, see fewest.go
	leave     int         // how many strong places in a run may come up, see beforeLong
	dropped   []int
	barOf     []int // see countBars
	loud      dynamics
	into      []int // per bow: the first link that leads to it, -1
	place     []int // per bow: its index in the proposal
	sforzati  map[score.Tick]bool
	wedges    []score.Direction
	leads     []bool // per event: a chord that leads its row, see chordRows
	implied   []implied
	told      map[int]bool // changes that a finding has told of already, see remedies
	findings  []score.Finding
}

// want is a wish of a stroke for one direction.
type want struct {
	dir  Direction
	rule int
	size float64
}

func newModel(sc *score.Score, p *score.Part, o Options) *model {
	o.MayChangeSlurs = o.MayChangeSlurs && !o.Strict
	m := &model{sc: sc, p: p, o: o, w: o.Weights, events: timeline.Events(p), leave: beforeLong}
	if m.w == nil {
		m.w = weightsOf(o.Profile)
	}
	m.strokes = gather(p, m.events)
	m.chordRows()
	m.readDirections()
	for i := range m.strokes {
		if !m.strokes[i].Pizzicato {
			m.bowed = append(m.bowed, i)
		}
	}
	for _, i := range m.bowed {
		m.strokes[i].Use = m.useOfStroke(&m.strokes[i])
	}
	m.transitions()
	m.fixMarks()
	m.wants = make([][]want, len(m.bowed))
	m.cuts = make([]cut, len(m.bowed))
	for b := range m.bowed {
		m.wants[b] = m.wantsOf(b)
		if o.MayChangeSlurs {
			m.cuts[b] = m.cutOf(b)
		}
	}
	m.followings()
	return m
}

func (m *model) bow(b int) *Stroke { return &m.strokes[m.bowed[b]] }

// readDirections keeps what the rules ask of the marks between the notes.
func (m *model) readDirections() {
	if m.o.Pace == nil {
		pace := timeline.PaceOf(m.sc, m.p)
		m.o.Pace = &pace
	}
	m.sforzati = map[score.Tick]bool{}
	for _, d := range m.p.Directions {
		switch d.Kind {
		case "dynamics":
			if sforzato(d.Text) {
				m.sforzati[d.At] = true
			}
		case "wedge":
			m.wedges = append(m.wedges, d)
		}
	}
	beat := m.sc.Quarter
	if len(m.p.Measures) > 0 {
		beat = max(beat, timeline.Beat(m.p.Measures[0].Meter))
	}
	m.loud = readDynamics(m.p, beat)
	slices.SortStableFunc(m.wedges, func(a, b score.Direction) int { return cmp.Compare(a.At, b.At) })
}

func sforzato(text string) bool {
	switch text {
	case "sf", "sfz", "sffz", "sfp", "sfpp", "fz", "fp", "rf", "rfz":
		return true
	}
	return false
}

// seconds is how long a stretch from a tick on lasts.
func (m *model) seconds(at, length score.Tick) float64 {
	return m.o.Pace.Seconds(at, at+length)
}

// levelAt is the metric level of any tick; the end of the music counts as a bar line.
func (m *model) levelAt(at score.Tick) int {
	p := m.p
	i := sort.Search(len(p.Measures), func(i int) bool { return p.Measures[i].Start > at }) - 1
	if i < 0 {
		return 0
	}
	ms := &p.Measures[i]
	if i == len(p.Measures)-1 && at >= ms.Start+ms.Len {
		return timeline.Level(ms.Meter, timeline.Offset(p, i)+ms.Len)
	}
	return timeline.Level(ms.Meter, timeline.Offset(p, i)+at-ms.Start)
}

func (m *model) locate(s *Stroke) score.Loc {
	return timeline.At(m.p, s.Measure, s.Onset, m.firstNote(s))
}

// firstNote carries the stroke's sign: the lowest note of its first event.
func (m *model) firstNote(s *Stroke) score.NoteID {
	if len(s.Notes) == 0 {
		return score.NoNote
	}
	return m.p.Notes[s.Notes[0]].Head
}

// signNote carries the bow sign of a stroke: of what is struck first the highest
// note, so that among several voices the sign stands above the staff; in a chord
// the note with the stem.
func (m *model) signNote(s *Stroke) score.NoteID {
	struck := m.events[s.First].Struck
	if len(struck) == 0 {
		return m.firstNote(s)
	}
	return m.p.Notes[struck[len(struck)-1]].Head
}
