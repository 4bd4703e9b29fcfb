// Package listen hears a take against a score: it puts the sound of a solo string
// take (package audio's features) beside the notes of a part in the order of play,
// through mistakes, stops and restarts, and measures what was played: pitch against a
// chosen tuning, the tempo of bars, time inside a bar, dotting, loudness. It compares
// with what was planned; it knows no right or wrong.
package listen

import (
	"fmt"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Event is one thing the bow does in the order of play: a note, a chord or a grace
// note.
type Event struct {
	Visit, Measure int // index into Line.Visits; index of the measure
	Notes          []score.NoteID
	Keys           []int   // MIDI keys of the notes, and of those held on, lowest first
	At, Dur        float64 // quarters from the start of the order of play, and to the next event or rest
	Rest           float64 // quarters of rest after it, before the next event
	First          bool    // the first of its bar
	Slurred        bool    // bound to the event before
	Grace          bool
}

// Visit is one playing of a measure, from At for Len quarters.
type Visit struct {
	Measure, Round int
	At, Len        float64
	First          int // its first event, or the next there is
}

// Line is a part in the order of play.
type Line struct {
	Score  *score.Score
	Part   *score.Part
	Visits []Visit
	Events []Event
	// Skips are ways past a repeat that is not taken: from the event before (-1: the
	// beginning) to the event that is then next.
	Skips [][2]int
}

// maxEvents bounds the work: some six hours of running notes.
const maxEvents = 60000

// NewLine unrolls a part. The error says why there is nothing to hear.
func NewLine(sc *score.Score, p *score.Part) (*Line, error) {
	l := &Line{Score: sc, Part: p}
	evs := timeline.Events(p)
	byMeasure := make([][]int, len(p.Measures))
	for i, e := range evs {
		byMeasure[e.Measure] = append(byMeasure[e.Measure], i)
	}
	order, _ := timeline.PlayOrder(p)
	at := 0.0
	for v, visit := range order {
		m := &p.Measures[visit.Measure]
		l.Visits = append(l.Visits, Visit{Measure: visit.Measure, Round: visit.Round, At: at, Len: l.quarters(m.Len), First: len(l.Events)})
		first := true
		for _, i := range byMeasure[visit.Measure] {
			if l.add(&evs[i], v, at-l.quarters(m.Start), first) {
				first = false
			}
		}
		at += l.quarters(m.Len)
		if len(l.Events) > maxEvents {
			return nil, fmt.Errorf("with its repeats the part has over %d notes, the most that a take is heard against; give one movement", maxEvents)
		}
	}
	if len(l.Events) == 0 {
		return nil, fmt.Errorf("the part has no notes to hear")
	}
	l.rests(at)
	l.skips()
	return l, nil
}

func (l *Line) quarters(t score.Tick) float64 { return float64(t) / float64(l.Score.Quarter) }

// add appends an event; shift turns score time into time in the order of play.
func (l *Line) add(e *timeline.Event, visit int, shift float64, first bool) bool {
	if e.Rest || len(e.Struck) == 0 {
		return false
	}
	ev := Event{Visit: visit, Measure: e.Measure, Notes: e.Struck, At: l.quarters(e.Onset) + shift, Dur: l.quarters(e.Dur), First: first, Slurred: e.Slurred, Grace: e.Grace}
	for _, id := range append(slices.Clone(e.Struck), e.Held...) {
		ev.Keys = append(ev.Keys, l.Part.Notes[id].Sounding.MIDI())
	}
	slices.Sort(ev.Keys)
	ev.Keys = slices.Compact(ev.Keys)
	l.Events = append(l.Events, ev)
	return true
}

// rests finds the silences: what lies between the end of an event and the next.
func (l *Line) rests(end float64) {
	for i := range l.Events {
		next := end
		if i+1 < len(l.Events) {
			next = l.Events[i+1].At
		}
		e := &l.Events[i]
		if !e.Grace {
			e.Rest = max(0, next-e.At-e.Dur)
		}
	}
}

// skips finds the repeats: where play goes back to begin a round again, the rounds
// before may have been left out.
func (l *Line) skips() {
	for i := 1; i < len(l.Visits); i++ {
		if l.Visits[i].Round != l.Visits[i-1].Round+1 || l.Visits[i].Measure > l.Visits[i-1].Measure {
			continue
		}
		for j := i - 1; j >= 0; j-- {
			if l.Visits[j].Measure == l.Visits[i].Measure {
				l.skip(l.Visits[j].First-1, l.Visits[i].First)
				break
			}
		}
	}
}

func (l *Line) skip(from, to int) {
	if to < len(l.Events) && to > from+1 {
		l.Skips = append(l.Skips, [2]int{from, to})
	}
}

// Keys of the part with their whole lengths in quarters, by MIDI key.
func (l *Line) weights() map[int]float64 {
	out := map[int]float64{}
	for i := range l.Events {
		for _, k := range l.Events[i].Keys {
			out[k] += max(0.05, l.Events[i].Dur)
		}
	}
	return out
}
