package form

import (
	"math"
	"slices"
	"sort"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// onset is a moment at which something is struck: an event that is neither a
// rest nor a grace note.
type onset struct {
	event    int
	at, end  score.Tick // end: when the last of what is struck falls silent
	gap      score.Tick // to the next onset
	low, top int        // MIDI
	notes    int
	measure  int
	place    score.Tick // in the full measure
}

// grid is the part as the readers of this package look at it.
type grid struct {
	in     Input
	p      *score.Part
	onsets []onset
	bar    []int     // of each measure: its number among the counted ones, from 1; a pickup at the head is 0
	strong []float64 // boundary strength before each onset, see boundaries
	median float64   // of the gaps, in ticks
	per    float64   // mean of onsets in a counted bar
}

func newGrid(in Input) *grid {
	g := &grid{in: in, p: in.Part}
	for i := range in.Events {
		if e := &in.Events[i]; !e.Rest && !e.Grace && len(e.Struck) > 0 {
			g.onsets = append(g.onsets, g.onset(i))
		}
	}
	for i := range g.onsets {
		stop := g.length()
		if i+1 < len(g.onsets) {
			stop = g.onsets[i+1].at
		}
		g.onsets[i].gap = stop - g.onsets[i].at
	}
	g.countBars()
	g.strong = boundaries(g.onsets)
	gaps := make([]float64, 0, len(g.onsets))
	for _, o := range g.onsets {
		gaps = append(gaps, float64(o.gap))
	}
	slices.Sort(gaps)
	if len(gaps) > 0 {
		g.median = math.Max(1, gaps[len(gaps)/2])
	}
	g.per = float64(len(g.onsets)) / float64(max(1, g.bar[len(g.bar)-1]))
	return g
}

func (g *grid) onset(event int) onset {
	e := &g.in.Events[event]
	o := onset{event: event, at: e.Onset, measure: e.Measure, notes: len(e.Struck), low: 1 << 20, top: -1 << 20}
	for _, id := range e.Struck {
		key := g.p.Notes[id].Sounding.MIDI()
		o.low, o.top = min(o.low, key), max(o.top, key)
		for n, steps := id, 0; n != score.NoNote && steps < len(g.p.Notes); steps++ {
			o.end = max(o.end, g.p.Notes[n].End())
			n = g.p.Notes[n].TieTo
		}
	}
	o.place = timeline.Offset(g.p, e.Measure) + e.Onset - g.p.Measures[e.Measure].Start
	return o
}

// length is the end of the part.
func (g *grid) length() score.Tick {
	m := &g.p.Measures[len(g.p.Measures)-1]
	return m.Start + m.Len
}

// countBars numbers the measures as a player counts: the second half of a split
// measure belongs to the bar that it fills up, a pickup to the bar before it, and
// what stands under a later ending has been counted under the first.
func (g *grid) countBars() {
	g.bar = make([]int, len(g.p.Measures))
	n := 0
	for i := range g.bar {
		if g.counts(i) {
			n++
		}
		g.bar[i] = n
	}
}

// counts says that a measure makes a bar of its own.
func (g *grid) counts(i int) bool {
	return timeline.Offset(g.p, i) == 0 && !g.later(i)
}

// later says that a measure stands under a later ending than the first.
func (g *grid) later(i int) bool {
	e := g.p.Measures[i].Endings
	return len(e) > 0 && !slices.Contains(e, 1)
}

// measureAt is the index of the measure that holds a tick.
func (g *grid) measureAt(at score.Tick) int {
	ms := g.p.Measures
	return max(0, sort.Search(len(ms), func(i int) bool { return ms[i].Start > at })-1)
}

// place is where in the full measure a tick lies.
func (g *grid) place(at score.Tick) score.Tick {
	m := g.measureAt(at)
	return timeline.Offset(g.p, m) + at - g.p.Measures[m].Start
}

// barPlace counts bars, with the part of the bar that is past, from the first
// downbeat; before it, it is negative.
func (g *grid) barPlace(at score.Tick) float64 {
	m := g.measureAt(at)
	full := g.p.Measures[m].Meter.Len
	if full <= 0 {
		full = max(1, g.p.Measures[m].Len)
	}
	return float64(g.bar[m]-1) + math.Min(float64(g.place(at))/float64(full), 0.999)
}

// from is the index of the first onset at or after a tick.
func (g *grid) from(at score.Tick) int {
	return sort.Search(len(g.onsets), func(i int) bool { return g.onsets[i].at >= at })
}

// nextDownbeat is the first bar line after a tick (the end where there is none).
func (g *grid) nextDownbeat(at score.Tick) score.Tick {
	for m := g.measureAt(at) + 1; m < len(g.p.Measures); m++ {
		if timeline.Offset(g.p, m) == 0 {
			return g.p.Measures[m].Start
		}
	}
	return g.length()
}

// loc is a tick as a place, with the note struck there where there is one.
func (g *grid) loc(at score.Tick) score.Loc {
	note := score.NoNote
	if i := g.from(at); i < len(g.onsets) && g.onsets[i].at == at {
		note = g.in.Events[g.onsets[i].event].Struck[0]
	}
	return timeline.At(g.p, g.measureAt(at), at, note)
}

func (g *grid) number(measure int) string { return timeline.Name(g.p, measure) }
