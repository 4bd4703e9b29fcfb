package voices

import (
	"math/rand/v2"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// Of notes struck together the highest stands in the highest column, whatever the
// search made of them.
func TestColumnsByHeight(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 4))
		var keys []int
		for range 96 {
			keys = append(keys, 48+r.IntN(40))
		}
		sc, p := lineOf(keys...)
		for i := range p.Notes { // chords of up to three
			if i%16 != 0 && r.IntN(3) == 0 && p.Notes[i].Measure == p.Notes[i-1].Measure {
				p.Notes[i].Onset = p.Notes[i-1].Onset
			}
		}
		st := Analyze(sc, p, Options{})
		at := map[score.Tick][]score.NoteID{}
		for i := range p.Notes {
			at[p.Notes[i].Onset] = append(at[p.Notes[i].Onset], p.Notes[i].ID)
		}
		for _, ids := range at {
			for _, a := range ids {
				for _, b := range ids {
					if len(ids) <= MostVoices && p.Notes[a].Sounding.MIDI() > p.Notes[b].Sounding.MIDI() && st.Column[a] >= st.Column[b] {
						t.Fatalf("seed %d: %v in column %d, %v in %d", seed, p.Notes[a].Sounding, st.Column[a], p.Notes[b].Sounding, st.Column[b])
					}
				}
			}
		}
	}
}

// Strands that lie in one order as often as in the other are no two voices.
func TestCrossingStrandsAreNotTold(t *testing.T) {
	_, p := lineOf(60, 55, 61, 54, 50, 72, 49, 73)
	l := readLine(&score.Score{Quarter: 4}, p)
	s := Span{Lines: []Line{{Notes: []score.NoteID{0, 2, 4, 6}}, {Notes: []score.NoteID{1, 3, 5, 7}}}}
	if !l.crosses(&s, 0, 7) {
		t.Error("half of the moments crossed, and told as two voices")
	}
	if l.crosses(&s, 0, 4) {
		t.Error("told as crossed where one moment of five is")
	}
}

// A chromatic turn up is no step down.
func TestChromaticTurnEndsTheStepwiseBass(t *testing.T) {
	_, p := lineOf(60, 59, 57, 58, 56)
	for i, q := range []pitch.Pitch{{Step: 2, Octave: 4}, {Step: 1, Octave: 4}, {Step: 0, Octave: 4}, {Step: 6, Octave: 3}, {Step: 5, Octave: 3}, {Step: 5, Octave: 3, Alter: 1}} {
		if i < len(p.Notes) {
			p.Notes[i].Sounding = q
		}
	}
	ids := []score.NoteID{0, 1, 2, 3, 4}
	if got := bassRuns(p, ids); len(got) != 1 || len(got[0]) != 5 {
		t.Fatalf("a plain descent: %v", got)
	}
	p.Notes[4].Sounding = pitch.Pitch{Step: 6, Octave: 3, Alter: 1} // B♯ after B: up
	if got := bassRuns(p, ids); len(got) != 1 || len(got[0]) != 4 {
		t.Errorf("a turn up is kept: %v", got)
	}
}

// A leap after which the line comes back is no move to another register, and nothing
// moves from one ending to the other.
func TestRegisterMovesStay(t *testing.T) {
	low := []int{60, 62, 64, 62, 60, 62, 64, 62, 60, 62, 64, 62, 60, 62, 64, 62}
	high := make([]int, 16)
	for i := range high {
		high[i] = low[i] + 16
	}
	line := func(bars ...[]int) (out []int) {
		for _, b := range bars {
			out = append(out, b...)
		}
		return out
	}
	sc, p := lineOf(line(low, high, high, low)...)
	if st := Analyze(sc, p, Options{Voices: 1}); len(st.Moves) != 2 {
		t.Errorf("a register kept for two bars: %+v", st.Moves)
	}
	p.Measures[0].Endings, p.Measures[1].Endings = []int{1}, []int{2}
	if st := Analyze(sc, p, Options{Voices: 1}); len(st.Moves) != 1 || st.Moves[0].To != 48 {
		t.Errorf("from one ending to the other: %+v", st.Moves)
	}
	sc, p = lineOf(line(low, high[:4], low[4:], low)...)
	if st := Analyze(sc, p, Options{Voices: 1}); len(st.Moves) != 0 {
		t.Errorf("a turn of four notes: %+v", st.Moves)
	}
	for _, f := range Analyze(sc, p, Options{}).Findings {
		if strings.Contains(f.Text, "register") {
			t.Errorf("%s", f.Text)
		}
	}
}
