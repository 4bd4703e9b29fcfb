package bowing

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Printed check (RESEARCH.md, "Bow physics"): three slurred notes down and one
// up take the same length of bow. At any pace from brisk to slow one length
// serves both, the single note travelling three times as fast; alone, the three
// ask for three times as much as the one.
func TestThreeSlurredDownAndOneUp(t *testing.T) {
	for _, pace := range []float64{40, 60, 84, 120, 160} {
		sc, p := build(t, 4, 4, "(c4 d4 e4) f4 | (c4 d4 e4) f4 | c1 |]")
		st := Analyze(sc, p, Options{Pace: evenPace(sc, pace)})
		if got := letters(st.Proposed); got != "DUDUD" {
			t.Fatalf("%s, want DUDUD", got)
		}
		three, one := st.Proposed[0].Use, st.Proposed[1].Use
		share, ok := Even(three, one)
		if !ok || share < three.Least || share > three.Most || share < one.Least || share > one.Most || share > 1 {
			t.Errorf("pace %v: no length of bow serves both (%+v, %+v)", pace, three, one)
		}
		if three.Asked < 1 && math.Abs(three.Asked/one.Asked-3) > 1e-9 {
			t.Errorf("pace %v: the three ask for %v times as much as the one", pace, three.Asked/one.Asked)
		}
		for _, f := range st.Findings {
			if f.Kind == "bow-unbalanced" || f.Kind == "bow-runs-out" {
				t.Errorf("pace %v: %s", pace, f.Text)
			}
		}
	}
}

// The published speeds are the ends of the scale: 650 mm of hair at 0.05 m/s last
// 13 s, at 1 m/s 0.65 s (RESEARCH.md, "Bow physics").
func TestUseAtTheEndsOfTheScale(t *testing.T) {
	if u := UseOf(13, 0); math.Abs(u.Least-1) > 1e-9 {
		t.Errorf("13 seconds at pp take %v of the bow at least, want 1", u.Least)
	}
	if u := UseOf(0.65, 3); math.Abs(u.Most-1) > 1e-9 {
		t.Errorf("0.65 seconds take %v of the bow at most, want 1", u.Most)
	}
	if u := UseOf(20, 5); u.Asked <= 1 || u.Asked != u.Least {
		t.Errorf("20 seconds at ff: %+v, want more than one bow", u)
	}
}

// Longer and louder takes more, and never more than the hair unless the slowest
// bow does.
func TestUseGrows(t *testing.T) {
	for s := 0.1; s < 12; s += 0.3 {
		for l := Loudness(-2); l <= 7; l++ {
			a, longer, louder := UseOf(s, l), UseOf(s+0.3, l), UseOf(s, l+1)
			if longer.Asked < a.Asked || louder.Asked < a.Asked || a.Least > a.Asked || a.Asked > max(1, a.Least) || a.Asked > a.Most {
				t.Fatalf("%v s at %v: %+v, longer %+v, louder %+v", s, l, a, longer, louder)
			}
		}
	}
}

func TestUsageOfSigns(t *testing.T) {
	sc, p := build(t, 4, 4, "c4 d4! e4> r4 | c4p (d4 e4) f4 | c1 |]")
	st := Analyze(sc, p, Options{})
	plain, dot, accent, plucked, two := st.Usage(0), st.Usage(1), st.Usage(2), st.Usage(3), st.Usage(4)
	if math.Abs(dot/plain-0.5) > 1e-9 || accent <= plain || plucked != 0 || math.Abs(two/plain-2) > 1e-9 {
		t.Errorf("plain %v, dot %v, accent %v, plucked %v, two slurred %v", plain, dot, accent, plucked, two)
	}
}

// Dynamics hold, hairpins lead to the sign at their end, or one step on.
func TestDynamics(t *testing.T) {
	_, p := build(t, 4, 4, "c4 d4 e4 f4 | c4 d4 e4 f4 | c4 d4 e4 f4 | c1 |]")
	p.Directions = []score.Direction{
		{At: 0, Kind: "dynamics", Text: "p"},
		{At: 4 * quarter, Kind: "wedge", Text: "crescendo", Number: 1}, {At: 6 * quarter, Kind: "wedge", Text: "stop", Number: 1},
		{At: 6 * quarter, Kind: "dynamics", Text: "f"},
		{At: 8 * quarter, Kind: "wedge", Text: "diminuendo", Number: 1}, {At: 10 * quarter, Kind: "wedge", Text: "stop", Number: 1},
		{At: 12 * quarter, Kind: "words", Text: "cresc."}, {At: 14 * quarter, Kind: "dynamics", Text: "ff"}}
	d := readDynamics(p, quarter)
	for _, c := range []struct {
		at   score.Tick
		want Loudness
	}{{0, 1}, {3 * quarter, 1}, {5 * quarter, 2.5}, {6 * quarter, 4}, {9 * quarter, 3.5}, {11 * quarter, 3}, {13 * quarter, 4}, {15 * quarter, 5}} {
		if got := d.at(c.at); math.Abs(float64(got-c.want)) > 1e-6 {
			t.Errorf("at quarter %d: %v, want %v", c.at/quarter, got, c.want)
		}
	}
	if l := (dynamics)(nil).at(5); l != unmarked {
		t.Errorf("nothing written: %v", l)
	}
	for l, want := range map[Loudness]string{-3: "ppp or less", 0: "pp", 1.2: "p", 3: "mf", 9: "fff or more"} {
		if l.String() != want {
			t.Errorf("%v is called %s, want %s", float64(l), l, want)
		}
	}
}

func findingOf(st *Study, kind string) *score.Finding {
	for i := range st.Findings {
		if st.Findings[i].Kind == kind {
			return &st.Findings[i]
		}
	}
	return nil
}

// A slur longer than the bow is told, and divided before it runs out where slurs
// may change and the profile minds.
func TestBowRunsOut(t *testing.T) {
	sc, p := build(t, 4, 4, "(c1 d1 e1) | c1 |]")
	st := Analyze(sc, p, Options{Pace: evenPace(sc, 60)})
	f := findingOf(st, "bow-runs-out")
	if f == nil || !strings.Contains(f.Text, "12.0 seconds at mf") || !strings.Contains(f.Suggestion, "Change the bow inside the slur, best before measure 1") {
		t.Fatalf("%+v", f)
	}
	split := false
	for _, s := range Analyze(sc, p, Options{Pace: evenPace(sc, 60), MayChangeSlurs: true, Profile: "romantic"}).Proposed {
		split = split || s.Change == Split
	}
	if !split {
		t.Error("the slur is not divided")
	}
	if f := findingOf(Analyze(sc, p, Options{Pace: evenPace(sc, 240)}), "bow-runs-out"); f != nil {
		t.Errorf("three seconds: %s", f.Text)
	}
}

// Row of long and short strokes: the bow drifts, and is told where to go.
func TestBowUnbalanced(t *testing.T) {
	sc, p := build(t, 5, 4, "(c4 d4 e4 f4) g4! | (c4 d4 e4 f4) g4! | (c4 d4 e4 f4) g4! | c1 r4 |]")
	f := findingOf(Analyze(sc, p, Options{Pace: evenPace(sc, 120)}), "bow-unbalanced")
	if f == nil || !strings.Contains(f.Text, "3 times in a row a down-bow asks for about") || !strings.Contains(f.Text, "toward the tip") || f.At.Measure != 0 || f.To.Measure != 2 {
		t.Fatalf("%+v", f)
	}
	sc, p = build(t, 4, 4, "c4 d4 e4 f4 | (c4 d4) e4 f4 | c1 |]")
	if f := findingOf(Analyze(sc, p, Options{}), "bow-unbalanced"); f != nil {
		t.Errorf("nothing is out of balance: %s", f.Text)
	}
}

// evenPace is one pace all the time, in quarter notes a minute; nil for 0.
func evenPace(sc *score.Score, quarters float64) *timeline.Pace {
	if quarters == 0 {
		return nil
	}
	p := timeline.PaceOf(sc, &score.Part{Directions: []score.Direction{{Kind: "metronome", Tempo: quarters}}})
	return &p
}

// A slur of many bows is told with how many it takes and where to change, with no
// tempo printed too (hair 650 mm, 0.05 m/s at pp: RESEARCH.md, "Bow physics").
func TestBowRunsOutManyTimes(t *testing.T) {
	bar := " c4 d4 e4 f4 |"
	text := "(c4 d4 e4 f4 |" + strings.Repeat(bar, 14) + " c4 d4 e4 f4) |]"
	for _, pace := range []float64{0, 85} {
		sc, p := build(t, 4, 4, text)
		st := Analyze(sc, p, Options{Pace: evenPace(sc, pace)})
		f := findingOf(st, "bow-runs-out")
		if f == nil || f.Grade != score.Caution || !strings.Contains(f.Text, "seconds") {
			t.Fatalf("pace %v: %+v", pace, f)
		}
		bows := int(math.Ceil(st.Proposed[0].Use.Least))
		if want := fmt.Sprintf("in %d bows at least", bows); !strings.Contains(f.Suggestion, want) || strings.Count(f.Suggestion, "beat 1") != bows-1 {
			t.Errorf("pace %v: %q, want %q and %d bar lines", pace, f.Suggestion, want, bows-1)
		}
	}
}
