package bowing

import (
	"slices"
	"strings"
	"testing"

	"pochette/internal/score"
)

// Syncopated notes alternate, over the bar line too: treatise of 1756, ch. IV, p. 82
// no. 1 (three bars here, ours the fourth). Nothing is called the wrong way round.
func TestSyncopationAlternates(t *testing.T) {
	sc, p := build(t, 4, 4, "c8 e4 d4 f4 e8 | c8 e4 d4 f4 e8 | c8 e4 d4 f4 e8 | c8 e4 d4 f4 e8 | c1 |]")
	st := Analyze(sc, p, Options{Pace: evenPace(sc, 100)})
	if got := letters(st.Proposed); got != "DUDUDUDUDUDUDUDUDUDUD" {
		t.Errorf("syncopated notes go %s", got)
	}
	if f := findingOf(st, "wrong-way-round"); f != nil {
		t.Errorf("called the wrong way round: %s", f.Text)
	}
}

func TestSyncopated(t *testing.T) {
	for _, c := range []struct {
		music string
		want  string // of each stroke
	}{
		{"c8 e4 d4 f4 e8 |", "nyyyn"},
		{"c4 d2 e4 |", "nyn"},
		{"c4. d8 e4. f8 |", "nnnn"},
		{"c2 d2 |", "nn"},
		{"c8 d8 (e8 f8) g4. a8 |", "nnnnn"},
	} {
		sc, p := build(t, 4, 4, c.music)
		m := newModel(sc, p, Options{})
		got := ""
		for b := range m.bowed {
			got += map[bool]string{true: "y", false: "n"}[m.syncopated(m.bow(b))]
		}
		if got != c.want {
			t.Errorf("%s: %s, want %s", c.music, got, c.want)
		}
	}
}

// At the same odd count of notes a bar the bow is righted where there is time, and not
// where there is none (rule too-quick; the limits are ours).
func TestNothingTooQuick(t *testing.T) {
	music := strings.Repeat("c16 d16 e16 f16 g16 | ", 8) + "c4 c16 |]"
	for _, c := range []struct {
		pace float64
		may  bool
	}{{20, true}, {120, false}, {200, false}} {
		sc, p := build(t, 5, 16, music)
		st := Analyze(sc, p, Options{Pace: evenPace(sc, c.pace)})
		n := 0
		for i := range st.Changes {
			if c := &st.Changes[i]; (c.Kind == Link || c.Kind == Retake) && st.Proposed[c.Stroke].Measure < 8 {
				n++
			}
		}
		if (n > 0) != c.may {
			t.Errorf("at %v quarters a minute %d stops and lifts among sixteenths", c.pace, n)
		}
	}
}

// Signs that ask for it are obeyed at any pace, without the term.
func TestQuickLinkAskedFor(t *testing.T) {
	sc, p := build(t, 2, 4, "c8 d16 e16 f8 g8 | c2 |]")
	p.Notes[1].Marks = append(p.Notes[1].Marks, score.Mark{Kind: score.UpBow})
	p.Notes[2].Marks = append(p.Notes[2].Marks, score.Mark{Kind: score.UpBow})
	st := Analyze(sc, p, Options{Pace: evenPace(sc, 160)})
	if st.Proposed[1].Direction != Up || st.Proposed[2].Direction != Up {
		t.Fatalf("signs not obeyed: %s", letters(st.Proposed))
	}
	if slices.ContainsFunc(st.Plan.Terms, func(x score.Term) bool { return x.Name == Rules[TooQuick].Name }) {
		t.Errorf("a pair that signs ask for is charged: %v", st.Plan.Terms)
	}
}

// A file that names no bar line at its end ends there; an ordinary one goes on.
func TestEndWithoutBarLine(t *testing.T) {
	for bar, ends := range map[string]bool{"": true, "light-heavy": true, "light-light": true, "regular": false, "dashed": false} {
		sc, p := build(t, 4, 4, "c4 d4 e4 f4 | c4 d4 e4 f4 | c1 |]")
		p.Measures[len(p.Measures)-1].RightBar = bar
		m := newModel(sc, p, Options{})
		final, goes := false, false
		for _, w := range m.wants[len(m.bowed)-1] {
			final, goes = final || w.rule == FinalNote, goes || w.rule == GoesOn
		}
		if final != ends || goes == ends {
			t.Errorf("bar line %q: final note %v, goes on %v", bar, final, goes)
		}
	}
}

// A direction decided on a note inside a slur is told as decided, not as printed.
func TestDecidedInsideSlur(t *testing.T) {
	sc, p := build(t, 4, 4, "(c4 d4 e4) f4 | c1 |]")
	f := findingOf(Analyze(sc, p, Options{Decided: map[score.NoteID]Direction{1: Up}}), "bow-inside-slur")
	if f == nil || f.Text != "Up-bow is decided on a note inside a slur." || f.Grade != score.Remark {
		t.Errorf("%+v", f)
	}
	p.Notes[1].Marks = append(p.Notes[1].Marks, score.Mark{Kind: score.UpBow})
	if f := findingOf(Analyze(sc, p, Options{}), "bow-inside-slur"); f == nil || f.Grade != score.Caution || !strings.Contains(f.Text, "A sign for up-bow") {
		t.Errorf("printed: %+v", f)
	}
}
