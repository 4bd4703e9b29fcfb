package timeline

import (
	"testing"

	"pochette/internal/score"
)

const eighth = 6

var common = score.Meter{Beats: "4", Unit: "4", Num: 4, Den: 4, Len: 48, Groups: []score.Tick{48}}

// joined lays measures one after the other, each of its own length, full where it has none.
func joined(ms ...score.Measure) *score.Part {
	p := &score.Part{}
	at := score.Tick(0)
	for i, m := range ms {
		if m.Len == 0 {
			m.Len = common.Len
		}
		m.Index, m.Start, m.Meter = i, at, common
		at += m.Len
		p.Measures = append(p.Measures, m)
	}
	FindRepeats(p)
	return p
}

// A short bar that closes is short at its end, one that opens at its beginning (common
// practice, no source; how the bars are counted: Gould, Behind Bars, 2011, from memory).
func TestShortBars(t *testing.T) {
	pickup := score.Measure{Number: "0", Implicit: true, Len: eighth}
	for _, c := range []struct {
		name   string
		p      *score.Part
		at     int
		offset score.Tick
		called string
	}{
		{"pickup", joined(pickup, score.Measure{Number: "1"}), 0, 42, "the pickup"},
		{"the second ending on the downbeat, short for the pickup", joined(pickup, score.Measure{Number: "1"},
			score.Measure{Number: "2", Len: 42, Endings: []int{1}, EndingStart: true, EndingStop: true, RepeatTimes: 2},
			score.Measure{Number: "X1", Implicit: true, Len: 42, Endings: []int{2}, EndingStart: true, EndingStop: true}), 3, 0, "measure 2 (2nd time)"},
		{"endings that divide a bar", joined(score.Measure{Number: "1"}, score.Measure{Number: "2", Len: 36},
			score.Measure{Number: "X1", Implicit: true, Len: 12, Endings: []int{1}, EndingStart: true, RepeatTimes: 2},
			score.Measure{Number: "X2", Implicit: true, Len: 12, Endings: []int{2}, EndingStart: true}, score.Measure{Number: "3"}), 3, 36, "measure 2 (2nd time)"},
		{"a full second ending of two bars", joined(score.Measure{Number: "1"}, score.Measure{Number: "2", Endings: []int{1}, EndingStart: true},
			score.Measure{Number: "3", Endings: []int{1}, RepeatTimes: 2}, score.Measure{Number: "X1", Implicit: true, Endings: []int{2}, EndingStart: true},
			score.Measure{Number: "X2", Implicit: true, Endings: []int{2}}), 4, 0, "measure 3 (2nd time)"},
		{"a pickup after a repeat", joined(score.Measure{Number: "1"}, score.Measure{Number: "2", Len: 42, RepeatTimes: 2},
			score.Measure{Number: "X1", Implicit: true, Len: eighth, RepeatStart: true}, score.Measure{Number: "3"}), 2, 42, "the pickup to 3"},
		{"a bar divided without a sign", joined(score.Measure{Number: "1"}, score.Measure{Number: "2", Len: 24},
			score.Measure{Number: "X1", Implicit: true, Len: 24}, score.Measure{Number: "3"}), 2, 24, "measure 2 (second part)"},
		{"an uncounted short bar before a repeat sign", joined(score.Measure{Number: "1"},
			score.Measure{Number: "X1", Implicit: true, Len: 42, RepeatTimes: 2}, score.Measure{Number: "2"}), 1, 0, "measure 1 (second part)"},
		{"an uncounted short bar at the end", joined(score.Measure{Number: "1"}, score.Measure{Number: "2", Implicit: true, Len: 36}), 1, 0, "measure 2"},
	} {
		if got := Offset(c.p, c.at); got != c.offset {
			t.Errorf("%s: offset %d, want %d", c.name, got, c.offset)
		}
		if got := Called(c.p, c.at); got != c.called {
			t.Errorf("%s: called %q, want %q", c.name, got, c.called)
		}
	}
}

func TestPickupAfterARepeatIsSaid(t *testing.T) {
	p := joined(score.Measure{Number: "1"}, score.Measure{Number: "2", Len: 42, RepeatTimes: 2},
		score.Measure{Number: "X1", Implicit: true, Len: eighth, RepeatStart: true}, score.Measure{Number: "3"})
	if got := At(p, 2, p.Measures[2].Start, score.NoNote).String(); got != "pickup to 3, beat 4+1/2" {
		t.Errorf("%q", got)
	}
	if got := Range(p, 2, 3); got != "the pickup to 3 to measure 3" {
		t.Errorf("%q", got)
	}
	if got := Stem(Name(p, 2)); got != "2" {
		t.Errorf("stem %q", got)
	}
}
