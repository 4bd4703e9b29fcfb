package bowing

import (
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// The left hand plucks under a long bowed note: the bow draws on, in one stroke. A
// note that it plucks alone has no bow; one that is bowed beside it has.
func TestLeftHandPlucksUnderTheBow(t *testing.T) {
	const quarter = 8
	note := func(id int, at, dur score.Tick, key int, voice string, plucked bool) score.Note {
		n := score.Note{ID: score.NoteID(id), Head: score.NoteID(id), Onset: at * quarter, Dur: dur * quarter, Voice: voice, TieFrom: score.NoNote, TieTo: score.NoNote,
			Written: pitch.FromMIDI(key, 0), Sounding: pitch.FromMIDI(key, 0)}
		if plucked {
			n.Marks = []score.Mark{{Kind: score.LeftHandPlucked}}
		}
		return n
	}
	measure := score.Measure{Number: "1", Len: 4 * quarter, Meter: score.Meter{Beats: "4", Unit: "4", Num: 4, Den: 4, Len: 4 * quarter, Groups: []score.Tick{4 * quarter}}}
	for _, c := range []struct {
		what  string
		notes []score.Note
		want  []bool // of each stroke: without a bow
	}{
		{"under a whole note", []score.Note{note(0, 0, 4, 76, "1", false), note(1, 1, 1, 55, "2", true), note(2, 2, 2, 55, "2", true)}, []bool{false}},
		{"alone", []score.Note{note(0, 0, 1, 76, "1", false), note(1, 1, 1, 55, "1", true), note(2, 2, 2, 76, "1", false)}, []bool{false, true, false}},
		{"beside a bowed note", []score.Note{note(0, 0, 2, 76, "1", false), note(1, 2, 2, 55, "2", true), note(2, 2, 2, 76, "1", false)}, []bool{false, false}},
	} {
		p := &score.Part{ID: "P1", Measures: []score.Measure{measure}, Notes: c.notes}
		st := Analyze(&score.Score{Quarter: quarter, Parts: []*score.Part{p}}, p, Options{})
		var got []bool
		for _, s := range st.Proposed {
			got = append(got, s.Pizzicato)
		}
		if len(got) != len(c.want) {
			t.Errorf("%s: strokes %v, want %v", c.what, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s: strokes %v, want %v", c.what, got, c.want)
			}
		}
	}
}
