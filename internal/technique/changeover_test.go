package technique

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pochette/internal/score"
)

// at puts words before an event of the shorthand.
func at(in Input, event int, words string) Input {
	in.Part.Directions = append(in.Part.Directions, score.Direction{Kind: "words", Text: words, At: in.Events[event].Onset})
	slices.SortStableFunc(in.Part.Directions, func(a, b score.Direction) int { return int(a.At - b.At) })
	return in
}

// Eighths at 60 quarters a minute: a rest of an eighth is half a second. What is
// plucked sounds on without the hand, what is bowed does not.
func TestChangeovers(t *testing.T) {
	for _, c := range []struct {
		in   Input
		want []Changeover
	}{
		{at(at(bowed("1 1 r r 1 r 1"), 4, "Con sord."), 6, "senza sordino"), []Changeover{{Kind: MuteOn, From: 1, To: 4, Seconds: 1}, {Kind: MuteOff, From: 4, To: 6, Seconds: 0.5}}},
		{at(bowed("1 2"), 0, "mit Dämpfer"), []Changeover{{Kind: MuteOn, From: -1, To: 0}}},
		{at(at(bowed("1 1 1 1"), 1, "pizz."), 3, "arco"), []Changeover{{Kind: Pluck, From: 0, To: 1}, {Kind: Arco, From: 2, To: 3, Seconds: 0.5}}},
		{at(at(bowed("1 r 1 r 1"), 1, "pizz."), 3, "arco, ohne Dämpfer"), []Changeover{{Kind: Pluck, From: 0, To: 2, Seconds: 0.5}, {Kind: Arco, From: 2, To: 4, Seconds: 1}}},
		{at(bowed("1 2 3"), 1, "una corda, poco a poco"), nil},
		{at(bowed("1 2 3"), 0, "pizz."), nil},
	} {
		got := Changeovers(c.in)
		if len(got) != len(c.want) {
			t.Errorf("%v: %+v, want %+v", c.in.Part.Directions, got, c.want)
			continue
		}
		for i, g := range got {
			w := c.want[i]
			if g.Kind != w.Kind || g.From != w.From || g.To != w.To || g.Jump || math.Abs(g.Seconds-w.Seconds) > 1e-9 {
				t.Errorf("%v: %+v, want %+v", c.in.Part.Directions, g, w)
			}
		}
	}
}

// The da capo goes from music with the mute to music without: nothing is printed
// there, and it is told.
func TestMuteOverDaCapo(t *testing.T) {
	in := at(bowed("1 1 1 r"), 1, "con sordino")
	m := in.Part.Measures[0]
	m.RepeatStart, m.RepeatTimes = true, 2
	in.Part.Measures[0] = m
	got := Changeovers(in)
	if len(got) != 2 || got[1].Kind != MuteOff || !got[1].Jump || got[1].From != 2 || got[1].To != 0 || math.Abs(got[1].Seconds-0.5) > 1e-9 {
		t.Fatalf("%+v", got)
	}
	fs := ChangeFindings(in, got)
	if len(fs) != 2 || fs[1].Grade != score.Caution || !strings.Contains(fs[1].Text, "when the music goes back, with 0.5 s") {
		t.Errorf("%+v", fs)
	}
}

// A mute is always told, in a rest long enough as a remark; plucking only where it
// comes too soon.
func TestChangeFindings(t *testing.T) {
	long := at(bowed("1 r r r r r r r r r r r 1"), 12, "con sord.")
	short := at(bowed("1 r 1"), 2, "con sord.")
	for _, c := range []struct {
		in    Input
		grade []score.Grade
	}{
		{long, []score.Grade{score.Remark}}, {short, []score.Grade{score.Caution}},
		{at(bowed("1 r 1"), 2, "pizz."), nil}, {at(bowed("1 1"), 1, "pizz."), []score.Grade{score.Caution}},
	} {
		var got []score.Grade
		for _, f := range ChangeFindings(c.in, Changeovers(c.in)) {
			got = append(got, f.Grade)
			if (f.Grade == score.Caution) != (f.Suggestion != "") || f.Why == "" || !strings.HasSuffix(f.Text, ".") {
				t.Errorf("%+v", f)
			}
		}
		if !slices.Equal(got, c.grade) {
			t.Errorf("%v: %v, want %v", c.in.Part.Directions, got, c.grade)
		}
	}
}
