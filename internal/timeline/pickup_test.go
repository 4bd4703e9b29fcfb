package timeline

import (
	"testing"

	"pochette/internal/score"
)

// An upbeat is called the pickup where it is not counted or is printed as 0; a first
// bar that is full is not, nor is a short bar that is counted, nor one further on.
func TestPickup(t *testing.T) {
	const q = 8
	meter := score.Meter{Beats: "4", Unit: "4", Num: 4, Den: 4, Len: 4 * q, Groups: []score.Tick{4 * q}}
	part := func(first score.Measure) *score.Part {
		first.Meter = meter
		p := &score.Part{Measures: []score.Measure{first}}
		for i, n := range []string{"1", "2"} {
			p.Measures = append(p.Measures, score.Measure{Index: i + 1, Number: n, Start: first.Len + score.Tick(i)*4*q, Len: 4 * q, Meter: meter})
		}
		FindRepeats(p)
		return p
	}
	for _, c := range []struct {
		first            score.Measure
		label, one, most string
		loc              string
	}{
		{score.Measure{Number: "0", Implicit: true, Len: q}, "pickup", "pickup", "pickup to measure 2", "pickup, beat 4"},
		{score.Measure{Number: "0", Len: q}, "pickup", "pickup", "pickup to measure 2", "pickup, beat 4"},
		{score.Measure{Number: "X1", Implicit: true, Len: q}, "pickup", "pickup", "pickup to measure 2", "pickup, beat 4"},
		{score.Measure{Number: "0", Len: 4 * q}, "0", "measure 0", "measures 0 to 2", "measure 0, beat 1"},
		// counted, so that the next is a second measure 1
		{score.Measure{Number: "1", Len: q}, "1 (@1)", "measure 1 (@1)", "measures 1 (@1) to 2", "measure 1 (@1), beat 4"},
	} {
		p := part(c.first)
		if got := Label(p, 0); got != c.label {
			t.Errorf("%+v: label %q, want %q", c.first, got, c.label)
		}
		if got := Range(p, 0, 0); got != c.one {
			t.Errorf("%+v: %q, want %q", c.first, got, c.one)
		}
		if got := Range(p, 0, 2); got != c.most {
			t.Errorf("%+v: %q, want %q", c.first, got, c.most)
		}
		if got := At(p, 0, 0, score.NoNote).String(); got != c.loc {
			t.Errorf("%+v: %q, want %q", c.first, got, c.loc)
		}
		second := "measure 1"
		if c.first.Number == "1" {
			second += " (@2)"
		}
		if Pickup(p, 1) || Called(p, 1) != second || Range(p, 1, 2) != "measures"+second[len("measure"):]+" to 2" {
			t.Errorf("%+v: the second measure is %q", c.first, Called(p, 1))
		}
	}
}
