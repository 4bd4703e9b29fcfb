// Package form reads how a movement is laid out in time: sections, phrases and
// their halves, what follows a cadence, hemiolas, how heavy each beat of the bar
// is in the music itself, pickups, and what the print leaves open about the
// division of the beat.
//
// A part and its events go in, plain values and sentences come out. Cadences are
// handed in as a slice (Cadence), since harmony stands on the same floor. Lengths
// in bars are counted as players count: uncounted second halves and pickups
// make no bar of their own.
//
// Sources: boundaries between notes after E. Cambouropoulos, The Local Boundary
// Detection Model, ICMC 2001; preference rules for phrases (gap, length, metrical
// parallelism) after D. Temperley, The Cognition of Basic Musical Structures,
// 2001, ch. 3; the weights of phrase ends are fitted as a semi-Markov conditional
// model (Sarawagi and Cohen 2004) by fit.go.
package form

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Cadence is a place where harmony closes, as told by another study.
type Cadence struct {
	At       score.Tick // onset of the chord that is arrived at
	Kind     string     // such as "perfect authentic", "half"
	Strength float64    // 0 to 1
}

// Input is what is read. Events are timeline.Events of the part.
type Input struct {
	Score    *score.Score
	Part     *score.Part
	Events   []timeline.Event
	Cadences []Cadence // in order of time; may be empty
}

// Level says how much theory a sentence holds.
type Level int8

// The levels of the words.
const (
	Student Level = iota
	Player
	Scholar
)

// Words is one statement at the three levels.
type Words struct{ Student, Player, Scholar string }

// At is the statement at a level.
func (w Words) At(l Level) string {
	switch l {
	case Student:
		return w.Student
	case Scholar:
		return w.Scholar
	}
	return w.Player
}

// Study is all that was read. Lists are in order of time.
type Study struct {
	Sections []Section
	Phrases  []Phrase
	Tags     []Tag
	Hemiolas []Hemiola
	Meters   []Meter
	Facts    []Fact
}

// Analyze reads the form of a part. It never fails; a part without notes or
// without measures gives an empty study.
func Analyze(in Input) *Study {
	if len(in.Part.Measures) == 0 || len(in.Events) == 0 {
		return &Study{}
	}
	g := newGrid(in)
	if len(g.onsets) == 0 {
		return &Study{}
	}
	s := &Study{Sections: g.sections()}
	s.Phrases = g.phrases(s.Sections)
	s.Sections = g.divide(s.Sections, s.Phrases)
	g.describe(s)
	s.Tags = g.tags(s.Sections, s.Phrases)
	s.Hemiolas = g.hemiolas(s.Phrases)
	s.Meters = g.meters()
	s.Facts = g.facts(s)
	return s
}
