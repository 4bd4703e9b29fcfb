package bowing

import (
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// gather groups events into strokes: a stroke begins at every event that is not
// slurred or tied to the one before; rests end it. Grace notes go with the note
// they lead into unless they are slurred to the one before (common practice, no
// source). Plucked and tremolo events are strokes of their own without a
// direction.
func gather(p *score.Part, events []timeline.Event) []Stroke {
	g := gatherer{p: p, events: events, plucked: pizzicato(p, events)}
	for i := range events {
		g.take(i)
	}
	g.close()
	for i := range g.out {
		g.finish(&g.out[i])
	}
	return g.out
}

type gatherer struct {
	p       *score.Part
	events  []timeline.Event
	plucked []bool
	out     []Stroke
	open    bool // the last stroke of out may grow
	graces  bool // and holds only grace notes so far
}

func (g *gatherer) take(i int) {
	e := &g.events[i]
	switch {
	case e.Rest:
		g.close()
	case g.plucked[i]:
		g.close()
		g.out = append(g.out, Stroke{First: i, Last: i, Pizzicato: true})
	case g.open && (e.Slurred || g.graces || g.leftHandOver(i)):
		g.out[len(g.out)-1].Last = i
		g.graces = g.graces && e.Grace
	default:
		g.close()
		g.out = append(g.out, Stroke{First: i, Last: i})
		g.open, g.graces = true, e.Grace
	}
}

// leftHandOver: the left hand plucks all that is struck while the bow draws a note
// begun before.
func (g *gatherer) leftHandOver(i int) bool {
	e := &g.events[i]
	return len(e.Held) > 0 && !slices.ContainsFunc(e.Struck, func(id score.NoteID) bool { return !g.p.Notes[id].Has(score.LeftHandPlucked) })
}

// close ends the open stroke. Grace notes that lead to nothing stay with the
// stroke they follow, where there is one.
func (g *gatherer) close() {
	n := len(g.out)
	if g.open && g.graces && n > 1 && !g.out[n-2].Pizzicato && g.out[n-2].Last+1 == g.out[n-1].First {
		g.out[n-2].Last = g.out[n-1].Last
		g.out = g.out[:n-1]
	}
	g.open, g.graces = false, false
}

func (g *gatherer) finish(s *Stroke) {
	first, last := &g.events[s.First], &g.events[s.Last]
	s.Measure, s.Onset = first.Measure, first.Onset
	s.Dur = last.Onset + last.Dur - first.Onset
	for i := s.First; i <= s.Last; i++ {
		s.Notes = append(s.Notes, g.events[i].Struck...)
	}
}

// pizzicato tells for each event whether the bow is off: between the words
// pizz. and arco, under a technical mark of plucking (of the left hand: on all notes
// that sound), or in a tremolo.
func pizzicato(p *score.Part, events []timeline.Event) []bool {
	out := make([]bool, len(events))
	d, on := 0, false
	for i, e := range events {
		for ; d < len(p.Directions) && p.Directions[d].At <= e.Onset; d++ {
			on = plucking(p.Directions[d], on)
		}
		out[i] = on && !e.Rest
		left := len(e.Held) == 0 && len(e.Struck) > 0
		for _, id := range e.Struck {
			n := &p.Notes[id]
			for _, k := range []score.MarkKind{score.NotePizzicato, score.SnapPizzicato, score.Tremolo} {
				out[i] = out[i] || n.Has(k)
			}
			left = left && n.Has(score.LeftHandPlucked)
		}
		out[i] = out[i] || left // beside a bowed note the left hand plucks while the bow draws on
	}
	return out
}

func plucking(d score.Direction, on bool) bool {
	if d.Kind != "words" {
		return on
	}
	t := strings.ToLower(d.Text)
	switch {
	case strings.Contains(t, "arco"):
		return false
	case strings.Contains(t, "pizz"):
		return true
	}
	return on
}

// mainEvent is the first event of the stroke that is not a grace note.
func (m *model) mainEvent(s *Stroke) *timeline.Event {
	for i := s.First; i <= s.Last; i++ {
		if !m.events[i].Grace {
			return &m.events[i]
		}
	}
	return &m.events[s.First]
}

// single says that the stroke is one note or chord, grace notes aside.
func (m *model) single(s *Stroke) bool {
	n := 0
	for i := s.First; i <= s.Last; i++ {
		if !m.events[i].Grace {
			n++
		}
	}
	return n == 1
}

// lastLength is the length of the stroke's last main note in ticks.
func (m *model) lastLength(s *Stroke) score.Tick {
	for i := s.Last; i >= s.First; i-- {
		if !m.events[i].Grace {
			return m.events[i].Dur
		}
	}
	return 0
}

func (m *model) hasMark(e *timeline.Event, kinds ...score.MarkKind) bool {
	for _, id := range e.Struck {
		for _, k := range kinds {
			if m.p.Notes[id].Has(k) {
				return true
			}
		}
	}
	return false
}
