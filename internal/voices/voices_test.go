package voices

import (
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// lineOf makes a part of sixteenths of these key numbers.
func lineOf(keys ...int) (*score.Score, *score.Part) {
	p := &score.Part{ID: "P1", Staves: 1}
	m := score.Meter{Num: 4, Den: 4, Len: 16, Groups: []score.Tick{16}}
	for i, k := range keys {
		if i%16 == 0 {
			p.Measures = append(p.Measures, score.Measure{Index: i / 16, Number: "1", Start: score.Tick(i), Len: 16, Meter: m})
		}
		id := score.NoteID(i)
		q := pitch.FromMIDI(k, 0)
		p.Notes = append(p.Notes, score.Note{ID: id, Measure: i / 16, Onset: score.Tick(i), Dur: 1, Voice: "1", Staff: 1, Head: id, TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q})
	}
	return &score.Score{Quarter: 4, Parts: []*score.Part{p}}, p
}

func TestPedalAndMelody(t *testing.T) {
	var keys []int
	for _, k := range []int{76, 77, 79, 77, 76, 74, 72, 74, 76, 77, 79, 81, 79, 77, 76, 74} {
		keys = append(keys, k, 57)
	}
	sc, p := lineOf(keys...)
	st := Analyze(sc, p, Options{})
	for i := range keys {
		if want := i % 2; st.Of[i] != want {
			t.Errorf("note %d is in voice %d, not %d", i, st.Of[i], want)
		}
	}
	if len(st.Bass) < 15 || /* the last note sounds after the melody has ended */ len(st.Findings) == 0 || !strings.Contains(st.Findings[0].Text, "the lower stays on A3") {
		t.Errorf("bass %v, findings %+v", st.Bass, st.Findings)
	}
}

func TestScaleIsOneVoice(t *testing.T) {
	sc, p := lineOf(60, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79, 77, 76, 74, 72)
	if st := Analyze(sc, p, Options{}); len(st.Voices) != 1 || len(st.Findings) != 0 {
		t.Errorf("%d voices, %+v", len(st.Voices), st.Findings)
	}
}

func TestRegisterMove(t *testing.T) {
	sc, p := lineOf(60, 62, 64, 62, 60, 62, 64, 62, 76, 77, 79, 77, 76, 77, 79, 77)
	st := Analyze(sc, p, Options{Voices: 1})
	if len(st.Moves) != 1 || st.Moves[0].To != 8 || !strings.Contains(st.Findings[0].Text, "higher register") {
		t.Errorf("%+v %+v", st.Moves, st.Findings)
	}
}

// Written voices stay: the lower voice goes above the upper one, and is still one.
func TestWrittenVoicesStay(t *testing.T) {
	sc, p := lineOf(72, 60, 71, 64, 69, 67, 67, 72, 65, 76, 64, 79, 62, 81, 60, 83)
	for i := range p.Notes {
		if i%2 == 1 {
			p.Notes[i].Voice = "2"
		}
	}
	st := Analyze(sc, p, Options{})
	if st.Breaches != 0 {
		t.Errorf("%d breaches", st.Breaches)
	}
	for i := 2; i < len(p.Notes); i++ {
		if st.Prev[i] != score.NoteID(i-2) {
			t.Errorf("note %d goes on from %d", i, st.Prev[i])
		}
	}
}

func TestEmpty(t *testing.T) {
	if st := Analyze(&score.Score{Quarter: 4}, &score.Part{}, Options{}); len(st.Voices) > 0 {
		t.Errorf("%+v", st)
	}
}
