package pace

import (
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/score"
)

// A passage of everything is the plan; one of some bars begins at 0 and has the same
// distances between its notes.
func TestPassage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawPart(t)
		plan := New(in, Options{Amounts: Proposed()})
		all := plan.Passage(0, len(in.Part.Measures)-1)
		if len(all.Bars) != len(plan.Bars) || len(all.Notes) != len(plan.Notes) || !near(all.Seconds, plan.Seconds, 1e-9) {
			t.Fatalf("all: %d bars, %d notes, %v s; plan %d, %d, %v", len(all.Bars), len(all.Notes), all.Seconds, len(plan.Bars), len(plan.Notes), plan.Seconds)
		}
		first := rapid.IntRange(0, len(in.Part.Measures)-1).Draw(t, "first")
		last := rapid.IntRange(first, len(in.Part.Measures)-1).Draw(t, "last")
		some := plan.Passage(first, last)
		if first > 0 || last < len(in.Part.Measures)-1 {
			if len(some.Bars) != last-first+1 {
				t.Fatalf("measures %d to %d: %d bars", first, last, len(some.Bars))
			}
			for i, b := range some.Bars {
				if b.Measure != first+i {
					t.Fatalf("bar %d is measure %d", i, b.Measure)
				}
			}
		}
		for i, n := range some.Notes {
			b := some.Bars[n.Bar]
			if n.Onset < b.Start-1e-9 || n.Onset > b.Start+b.Seconds || n.Release > some.Seconds+1e-9 {
				t.Fatalf("note %d at %v to %v in a bar from %v, %v s", i, n.Onset, n.Release, b.Start, b.Seconds)
			}
		}
	})
}

func TestScaled(t *testing.T) {
	plan := New(inputOf(dottedBars(), 60), Options{})
	slow := plan.Passage(0, 1)
	slow = slow.Scaled(0.5)
	if !near(slow.Seconds, 8, 1e-9) || !near(slow.Notes[1].Onset, 1.5, 1e-9) || slow.Notes[1].Key != 69 || slow.Bars[0].Base != 30 {
		t.Errorf("%v s, second note at %v, %v beats a minute", slow.Seconds, slow.Notes[1].Onset, slow.Bars[0].Base)
	}
}

// The click follows the plan, or the bar lines alone, or nothing.
func TestClicks(t *testing.T) {
	in := inputOf(dottedBars(), 60)
	plan := New(in, Options{Decisions: []Decision{{Key: Power, Value: 1.2, First: 0, Last: 0}, {Key: Breath, Value: 0.5, Placed: true, At: 2 * q, First: 1, Last: 1}}})
	p := plan.Passage(0, 1)
	bent := PowerMap(1, 2, 1.2)
	for f, want := range map[Follow][]float64{FollowPlan: {0, bent, 2.5, 3.5}, FollowBars: {0, 1, 2.5, 3.5}, FollowNothing: {0, 1, 2, 3}} {
		got := p.Clicks(f)
		for i := range want {
			if !near(got[i].At, want[i], 1e-9) || got[i].Strong != (i%2 == 0) {
				t.Errorf("%v: click %d at %v, want %v", f, i, got[i], want[i])
			}
		}
	}
	if !near(p.Apart(), 0.5, 1e-9) {
		t.Errorf("the metronome is %v s ahead", p.Apart())
	}
}

// A count-in before a pickup fills the bar that the pickup ends.
func TestCountIn(t *testing.T) {
	p := partOf(meterOf(3, 4), []item{{q / 2, 67}}, []item{{3 * q, 69}})
	p.Measures[0].Implicit = true
	plan := New(inputOf(p, 60), Options{})
	pass := plan.Passage(0, 1)
	clicks, lead := pass.CountIn(1)
	// three beats, then beats 1 to 3 of the bar whose last half beat is the pickup
	if !near(lead, 5.5, 1e-9) || len(clicks) != 6 || !clicks[3].Strong || !near(clicks[5].At, 5, 1e-9) {
		t.Errorf("%v s, %v", lead, clicks)
	}
	if c, s := pass.CountIn(0); c != nil || s != 0 {
		t.Errorf("no count-in: %v %v", c, s)
	}
}

// A trill on B in C major goes to C, in G major on B to C, on E in F major to F, on F
// in G major to G, on E in D major to F sharp; it fills the note and ends on it.
func TestTrill(t *testing.T) {
	for _, c := range []struct{ key, fifths, above int }{{71, 0, 72}, {64, -1, 65}, {66, 1, 67}, {64, 2, 66}, {69, -1, 70}} {
		p := partOf(meterOf(2, 4), []item{{2 * q, c.key}})
		p.Measures[0].Key.Fifths = c.fifths
		p.Notes[0].Marks = []score.Mark{{Kind: score.Trill}}
		plan := New(inputOf(p, 60), Options{})
		ns := plan.Passage(0, 0).PlayedOut(p).Notes
		last := len(ns) - 1
		if ns[0].Key != c.above || ns[1].Key != c.key || ns[last].Key != c.key || !ns[0].Begins || ns[1].Begins || len(ns)%2 != 1 {
			t.Errorf("%+v: %d notes, the first %d, the last %d", c, len(ns), ns[0].Key, ns[last].Key)
		}
		for i := 1; i < len(ns); i++ {
			if !near(ns[i].Onset, ns[i-1].Release, 1e-9) {
				t.Errorf("%+v: a gap before note %d", c, i)
			}
		}
		if ns[0].Onset != 0 || !near(ns[last].Release, 2, 1e-9) {
			t.Errorf("%+v: from %v to %v", c, ns[0].Onset, ns[last].Release)
		}
	}
}

// A tremolo of three beams is strokes down and up; one between two notes stays plain.
func TestTremolo(t *testing.T) {
	p := partOf(meterOf(2, 4), []item{{q, 60}, {q, 62}})
	p.Notes[0].Marks = []score.Mark{{Kind: score.Tremolo, Text: "3"}}
	p.Notes[1].Marks = []score.Mark{{Kind: score.Tremolo, Text: "start 3"}}
	ns := New(inputOf(p, 60), Options{}).Passage(0, 0)
	got := ns.PlayedOut(p).Notes
	if len(got) != 13 || got[0].Bow != Down || got[1].Bow != Up || !got[1].Begins || got[12].Key != 62 {
		t.Errorf("%d notes: %+v", len(got), got)
	}
}
