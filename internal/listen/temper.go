package listen

import (
	"fmt"
	"math"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// Tuning is what pitches are measured against.
type Tuning int8

// Equal divides the octave into twelve equal semitones. Pythagorean takes every pitch
// by pure fifths from A, as the open strings are tuned, so that an open string is in
// tune by itself. Just sets the root of the chord of the moment where the pure fifths
// put it, and the other notes of the chord pure above it; what belongs to no chord is
// taken by fifths.
const (
	Equal Tuning = iota
	Pythagorean
	Just
)

// Tunings are their names.
var Tunings = []string{"equal", "pythagorean", "just"}

func (t Tuning) String() string { return Tunings[t] }

// Name as it stands in a sentence.
func (t Tuning) Name() string { return [...]string{"equal", "Pythagorean", "just"}[t] }

// ParseTuning reads a name; "" is equal.
func ParseTuning(text string) (Tuning, error) {
	for i, n := range Tunings {
		if strings.EqualFold(strings.TrimSpace(text), n) {
			return Tuning(i), nil
		}
	}
	if text == "" {
		return Equal, nil
	}
	return Equal, fmt.Errorf("tuning %q: want %s", text, strings.Join(Tunings, ", "))
}

// Chord is a stretch of written time in which one chord holds.
type Chord struct {
	From, To score.Tick
	Root     pitch.Pitch // its octave does not matter
}

// fifth is how much a pure fifth (3:2) is wider than an equal one, in cents.
var fifth = 1200*math.Log2(1.5) - 700

// fifths is the place of a pitch on the line of fifths, A = 0, E = 1, D = -1.
func fifths(p pitch.Pitch) int {
	return [7]int{-3, -1, 1, -4, -2, 0, 2}[p.Step] + 7*int(p.Alter)
}

// pure intervals above a root, by steps and semitones: the ratios of the triads and
// sevenths of just intonation (Helmholtz, On the Sensations of Tone, tables of just
// intervals; the minor and the diminished seventh so that they are pure to the
// dominant's third and fifth; from memory).
var pure = map[[2]int][2]float64{
	{0, 0}: {1, 1}, {1, 2}: {9, 8}, {2, 4}: {5, 4}, {2, 3}: {6, 5}, {4, 7}: {3, 2}, {4, 6}: {64, 45}, {4, 8}: {25, 16},
	{6, 10}: {16, 9}, {6, 11}: {15, 8}, {6, 9}: {128, 75},
}

// Reference is how many cents above equal temperament (from the same A) a tuning has a
// pitch; chord may be nil.
func Reference(t Tuning, p pitch.Pitch, chord *Chord) float64 {
	switch {
	case t == Equal:
		return 0
	case t == Just && chord != nil:
		r := chord.Root
		steps := ((int(p.Step)-int(r.Step))%7 + 7) % 7
		semis := ((p.Class()-r.Class())%12 + 12) % 12
		if q, ok := pure[[2]int{steps, semis}]; ok {
			return float64(fifths(r))*fifth + 1200*math.Log2(q[0]/q[1]) - 100*float64(semis)
		}
	}
	return float64(fifths(p)) * fifth
}

// chordAt finds the chord at a tick, nil for none; chords are in order.
func chordAt(chords []Chord, at score.Tick) *Chord {
	for i := range chords {
		if chords[i].From <= at && at < chords[i].To {
			return &chords[i]
		}
	}
	return nil
}

// Pitched is a note's pitch against a reference.
type Pitched struct {
	Note     int // index of the measured Note
	ID       score.NoteID
	Sounding pitch.Pitch
	Off      float64 // cents above the reference (at the take's A, or the one given)
	Sure     float64 // cents
	Open     bool    // an open string's pitch
}

// Intonation puts the measured tones beside a tuning. Notes that are wrong or whose
// pitch is not known are left out; open lists the open strings' MIDI keys.
func Intonation(l *Line, notes []Note, t Tuning, chords []Chord, open []int) []Pitched {
	var out []Pitched
	for i := range notes {
		n := &notes[i]
		e := &l.Events[n.Event]
		for _, tone := range n.Tones {
			if math.IsNaN(tone.Cents) || tone.Heard != tone.Key {
				continue
			}
			id := l.noteOf(e, tone.Key)
			if id == score.NoNote {
				continue
			}
			w := &l.Part.Notes[id]
			p := Pitched{Note: i, ID: id, Sounding: w.Sounding, Sure: tone.Sure}
			p.Off = tone.Cents - Reference(t, w.Sounding, chordAt(chords, w.Onset))
			for _, k := range open {
				p.Open = p.Open || k == tone.Key
			}
			out = append(out, p)
		}
	}
	return out
}

// noteOf finds the struck note of an event with a key.
func (l *Line) noteOf(e *Event, key int) score.NoteID {
	for _, id := range e.Notes {
		if l.Part.Notes[id].Sounding.MIDI() == key {
			return id
		}
	}
	return score.NoNote
}
