package technique

import (
	"fmt"
	"testing"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// BenchmarkHard1000 weighs and prepares a thousand fingered notes.
func BenchmarkHard1000(b *testing.B) {
	const q = 480
	p := &score.Part{}
	sc := &score.Score{Quarter: q, Parts: []*score.Part{p}}
	for i := range 1000 {
		at := score.Tick(i) * q / 2
		if at%(4*q) == 0 {
			p.Measures = append(p.Measures, score.Measure{Index: len(p.Measures), Number: fmt.Sprint(len(p.Measures) + 1), Start: at, Len: 4 * q,
				Meter: score.Meter{Num: 4, Den: 4, Beats: "4", Unit: "4", Len: 4 * q, Groups: []score.Tick{4 * q}}})
		}
		pt := pitch.FromMIDI(55+i*7%36, 0)
		id := score.NoteID(i)
		p.Notes = append(p.Notes, score.Note{ID: id, Head: id, Onset: at, Dur: q / 2, Measure: len(p.Measures) - 1, Voice: "1", Staff: 1, Written: pt, Sounding: pt, TieFrom: score.NoNote, TieTo: score.NoNote})
	}
	st := fingering.Analyze(sc, p, fingering.Options{})
	in := Input{Instrument: instrument.Violin(), Part: p, Events: st.Events, Grips: st.Grips, Shifts: st.Shifts, Pace: timeline.PaceOf(sc, p), Lifted: make([]bool, len(st.Events))}
	for i := range st.Events {
		in.Stroke = append(in.Stroke, i)
		var strs []int
		for _, s := range st.Grips[i].Stops {
			strs = append(strs, s.String)
		}
		in.Strings = append(in.Strings, strs)
	}
	for b.Loop() {
		h := Hard(in, Crossings(in))
		if len(Prepare(in, h)) == 0 {
			b.Fatal("nothing to prepare")
		}
	}
}
