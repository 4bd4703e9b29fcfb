package voices

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// wander makes a line of n sixteenths in one to three voices that wander, with a
// double stop here and there.
func wander(n int) (*score.Score, *score.Part) {
	r := rand.New(rand.NewPCG(7, 4))
	const quarter = 4
	p := &score.Part{ID: "P1", Staves: 1}
	m := score.Meter{Num: 4, Den: 4, Len: 16, Groups: []score.Tick{16}}
	at := [3]int{76, 66, 55}
	voices := 2
	for i := 0; len(p.Notes) < n; i++ {
		if i%64 == 0 {
			voices = 1 + r.IntN(3)
		}
		if i%16 == 0 {
			p.Measures = append(p.Measures, score.Measure{Index: i / 16, Number: fmt.Sprint(i/16 + 1), Start: score.Tick(i), Len: 16, Meter: m})
		}
		v := i % voices
		at[v] = min(90, max(50, at[v]+r.IntN(5)-2))
		add := func(key int) {
			id := score.NoteID(len(p.Notes))
			q := pitch.FromMIDI(key, 0)
			p.Notes = append(p.Notes, score.Note{ID: id, Measure: i / 16, Onset: score.Tick(i), Dur: 1, Voice: "1", Staff: 1, Head: id, TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q})
		}
		if i%32 == 0 {
			add(at[v] - 9)
		}
		add(at[v])
	}
	return &score.Score{Quarter: quarter, Parts: []*score.Part{p}}, p
}

// Notes a second must not fall as the line grows.
func BenchmarkAnalyze(b *testing.B) {
	for _, n := range []int{1000, 10000, 100000} {
		sc, p := wander(n)
		for _, most := range []int{2, 3, 4} {
			b.Run(fmt.Sprintf("notes=%d/voices=%d", n, most), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					Analyze(sc, p, Options{Voices: most})
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/note")
			})
		}
	}
}
