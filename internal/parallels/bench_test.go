package parallels

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// piece makes a part of n eighths and sixteenths: themes of four bars that come back,
// transposed, with a note changed here and there, between bars that do not.
func piece(n int) (*score.Score, *score.Part) {
	r := rand.New(rand.NewPCG(4, 7))
	p := &score.Part{ID: "P1", Staves: 1}
	m := score.Meter{Num: 4, Den: 4, Len: 16, Groups: []score.Tick{16}}
	type one struct{ step, dur int }
	bar := func() []one {
		var out []one
		for left := 16; left > 0; {
			d := min(left, []int{1, 1, 2, 2, 2, 4}[r.IntN(6)])
			out = append(out, one{r.IntN(5) - 2, d})
			left -= d
		}
		return out
	}
	var themes [6][]one
	for i := range themes {
		for range 4 {
			themes[i] = append(themes[i], bar()...)
		}
	}
	at := score.Tick(0)
	for len(p.Notes) < n {
		t := bar()
		if r.IntN(2) == 0 {
			t = themes[r.IntN(len(themes))]
		}
		dia := 35 + r.IntN(8)
		for _, x := range t {
			dia = min(45, max(25, dia+x.step))
			if at%16 == 0 {
				k := len(p.Measures)
				p.Measures = append(p.Measures, score.Measure{Index: k, Number: fmt.Sprint(k + 1), Start: at, Len: 16, Meter: m})
			}
			id := score.NoteID(len(p.Notes))
			q := pitch.Pitch{Step: pitch.Step(dia % 7), Octave: int8(dia / 7)}
			note := score.Note{ID: id, Measure: len(p.Measures) - 1, Onset: at, Dur: score.Tick(x.dur), Voice: "1", Staff: 1, Head: id, TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q}
			if r.IntN(40) == 0 {
				note.Marks = []score.Mark{{Kind: score.Staccato}}
			}
			p.Notes = append(p.Notes, note)
			at += score.Tick(x.dur)
		}
	}
	return &score.Score{Quarter: 4, Parts: []*score.Part{p}}, p
}

// How the time grows with the length of a piece.
func BenchmarkAnalyze(b *testing.B) {
	for _, n := range []int{1000, 4000, 16000, 64000} {
		sc, p := piece(n)
		b.Run(fmt.Sprintf("notes=%d", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Analyze(sc, p, Options{})
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/note")
		})
	}
}
