package pace

import (
	"fmt"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// q is the ticks of a quarter in the tests.
const q = 48

// item is a note of a test bar: its length in ticks and its key number, 0 a rest.
type item struct {
	dur score.Tick
	key int
}

// meterOf makes a meter of num/den.
func meterOf(num, den int) score.Meter {
	l := score.Tick(num) * 4 * q / score.Tick(den)
	return score.Meter{Beats: fmt.Sprint(num), Unit: fmt.Sprint(den), Num: num, Den: den, Len: l, Groups: []score.Tick{l}}
}

// partOf makes a part from bars.
func partOf(m score.Meter, bars ...[]item) *score.Part {
	p := &score.Part{ID: "P1"}
	at := score.Tick(0)
	for i, bar := range bars {
		start := at
		for _, x := range bar {
			n := score.Note{ID: score.NoteID(len(p.Notes)), Measure: i, Onset: at, Dur: x.dur, Voice: "1", Rest: x.key == 0, TieFrom: score.NoNote, TieTo: score.NoNote}
			n.Head = n.ID
			if x.key > 0 {
				n.Sounding = pitch.FromMIDI(x.key, 0)
				n.Written = n.Sounding
			}
			p.Notes = append(p.Notes, n)
			at += x.dur
		}
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: start, Len: at - start, Meter: m})
	}
	timeline.FindRepeats(p)
	return p
}

// slur binds two notes.
func slur(p *score.Part, a, b score.NoteID) {
	p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: a, End: b})
}

// inputOf makes the input of a part at a tempo of quarters.
func inputOf(p *score.Part, tempo float64) Input {
	p.Directions = append(p.Directions, score.Direction{Kind: "metronome", Tempo: tempo})
	sc := &score.Score{Quarter: q, Parts: []*score.Part{p}}
	return Input{Part: p, Quarter: q, Events: timeline.Events(p), Base: timeline.PaceOf(sc, p)}
}

// eventOnsets are the moments at which something is struck, in order.
func eventOnsets(p *Plan) []float64 {
	var out []float64
	for i, n := range p.Notes {
		if i == 0 || n.InChord == 0 {
			out = append(out, n.Onset)
		}
	}
	return out
}
