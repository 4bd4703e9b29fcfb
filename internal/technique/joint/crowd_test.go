package joint

import (
	"fmt"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// crowded is a part of chords of many notes, two in a bar of 2/4: all tones of two
// octaves again and again.
func crowded(chords, notes int) (*score.Score, *score.Part) {
	p := &score.Part{ID: "P1", Name: "Violin"}
	sc := &score.Score{Quarter: 480, Parts: []*score.Part{p}}
	for c := range chords {
		head := score.NoteID(len(p.Notes))
		for k := range notes {
			w := pitch.FromMIDI([]int{60, 62, 64, 65, 67, 69, 71}[k%7]+k/7%2*12, 0)
			p.Notes = append(p.Notes, score.Note{ID: score.NoteID(len(p.Notes)), Head: head, Chord: k > 0, Onset: score.Tick(c * 480), Dur: 480, Measure: c / 2, Voice: "1", Staff: 1,
				Written: w, Sounding: w, TieFrom: score.NoNote, TieTo: score.NoNote})
		}
	}
	for i := range (chords + 1) / 2 {
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: score.Tick(i * 960), Len: 960,
			Meter: score.Meter{Beats: "2", Unit: "4", Num: 2, Den: 4, Len: 960, Groups: []score.Tick{960}}})
	}
	return sc, p
}

// A chord of forty notes is told in one line and does not blow the search up: four
// notes are kept, and no layer has more grips than chords that can be played have.
func TestCrowdedChord(t *testing.T) {
	sc, p := crowded(6, 40)
	s := NewSolver(sc, p, Options{})
	if s.Plan() == nil {
		t.Fatal("no plan")
	}
	for i := range s.layers {
		if n := s.layers[i].grips; n > 200 {
			t.Errorf("layer %d has %d grips", i, n)
		}
	}
	h := s.Plan().HandStudy()
	for i := range h.Grips {
		if g := &h.Grips[i]; len(g.LeftOut) != 36 {
			t.Errorf("event %d leaves %d notes out", i, len(g.LeftOut))
		}
	}
	told := 0
	for _, f := range h.Findings {
		if f.Kind == "unplayable" {
			told++
			if !strings.HasPrefix(f.Text, "40 notes are struck together on 4 strings") || strings.Contains(f.Text, "\n") {
				t.Errorf("%q", f.Text)
			}
		}
	}
	if told != len(h.Grips) {
		t.Errorf("%d lines for %d chords", told, len(h.Grips))
	}
}

func BenchmarkCrowded(b *testing.B) {
	sc, p := crowded(6, 40)
	b.ReportAllocs()
	for range b.N {
		if NewSolver(sc, p, Options{}).Plan() == nil {
			b.Fatal("no plan")
		}
	}
}
