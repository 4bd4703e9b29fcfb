package harmony

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// running makes a part of sixteenths in 3/4: broken chords of a scale.
func running(notes int) *score.Part {
	r := rand.New(rand.NewPCG(1, 2))
	p := &score.Part{ID: "P1"}
	roots := []int{0, 3, 4, 0, 5, 1, 4, 0}
	for i := range notes {
		bar := i / 12
		if i%12 == 0 {
			p.Measures = append(p.Measures, score.Measure{Index: bar, Number: fmt.Sprint(bar + 1), Start: score.Tick(bar * 12), Len: 12, Key: score.Key{Fifths: 1},
				Meter: score.Meter{Beats: "3", Unit: "4", Num: 3, Den: 4, Len: 12, Groups: []score.Tick{12}}})
		}
		deg := roots[bar%len(roots)] + []int{0, 2, 4, 2, 4, 7, 4, 2}[i%8] + r.IntN(2)
		step := pitch.Step((deg + 4) % 7)
		pi := pitch.Pitch{Step: step, Alter: int8(pitch.KeyAlter(1, step)), Octave: int8(3 + (deg+4)/7)}
		p.Notes = append(p.Notes, score.Note{ID: score.NoteID(i), Head: score.NoteID(i), Measure: bar, Onset: score.Tick(i), Dur: 1, Voice: "1", Written: pi, Sounding: pi, TieFrom: score.NoNote, TieTo: score.NoNote})
	}
	return p
}

func BenchmarkAnalyze(b *testing.B) {
	for _, n := range []int{1000, 10000, 100000} {
		p := running(n)
		b.Run(fmt.Sprint(n, "-notes"), func(b *testing.B) {
			for b.Loop() {
				Analyze(p, 4)
			}
		})
	}
}
