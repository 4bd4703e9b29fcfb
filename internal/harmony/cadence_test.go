package harmony

import (
	"slices"
	"testing"

	"pochette/internal/score"
)

// Kinds of cadence as textbooks define them (Kostka and Payne, Tonal Harmony, ch. 10;
// Caplin, Classical Form, ch. 3; chapters from memory): perfect is root-position V to
// root-position I with the tonic on top. The chords are set here, so that the test is
// of the kinds alone.
func TestKindsOfCadence(t *testing.T) {
	five, seven, one := Chord{1, Major}, Chord{5, Diminished}, Chord{0, Major}
	for _, c := range []struct {
		name   string
		text   string
		chords []Chord // one to each half note
		inv    []Inversion
		want   CadenceType
		none   bool
	}{
		{"V-I, tonic on top", "G3+D4+B4:4 C3+G3+C5:4", []Chord{five, one}, nil, PerfectAuthentic, false},
		{"V-I, third on top", "G3+D4+B4:4 C3+C4+E5:4", []Chord{five, one}, nil, ImperfectAuthentic, false},
		{"V6-I", "B3+D4+G4:4 C3+G3+C5:4", []Chord{five, one}, []Inversion{1, 0}, ImperfectAuthentic, false},
		{"V in one line, down to its root at the end", "B4 D5 G4 G3 C4:4", []Chord{five, one}, []Inversion{1, 0}, PerfectAuthentic, false},
		{"V-I6", "G3+D4+B4:4 E3+G3+C5:4", []Chord{five, one}, []Inversion{0, 1}, Evaded, false},
		{"vii°6-I, tonic on top", "D3+F4+B4:4 C3+G3+C5:4", []Chord{seven, one}, []Inversion{1, 0}, ImperfectAuthentic, false},
		{"vii° prolongs V", "G3+D4+G4:4 G3+F4+B4:4 C3+G3+C5:4", []Chord{five, seven, one}, nil, PerfectAuthentic, false},
		{"V-vi", "G3+D4+B4:4 A3+E4+C5:4", []Chord{five, {3, Minor}}, nil, Deceptive, false},
		{"IV-I", "F3+C4+A4:4 C3+C4+G4:4", []Chord{{-1, Major}, one}, nil, Plagal, false},
		{"ii-V", "D3+A3+F4:4 G3+D4+B4:4", []Chord{{2, Minor}, five}, nil, Half, false},
		{"I-ii", "C3+G3+E4:4 D3+A3+F4:4", []Chord{one, {2, Minor}}, nil, 0, true},
	} {
		s := &Study{part: tune(t, 4, 0, c.text), q: 4}
		at := score.Tick(0)
		for i, ch := range c.chords {
			span := ChordSpan{From: at, To: at + 8, Chord: ch, BassTone: ch.Root}
			if c.inv != nil {
				span.Inversion = c.inv[i]
			}
			if c.name == "V in one line, down to its root at the end" && i == 0 {
				span.To = 16
			}
			f := slices.IndexFunc(functions[0], func(f function) bool { return f.root == ch.Root && f.quality == ch.Quality && !f.applied })
			span.fn = &functions[0][f]
			s.Chords = append(s.Chords, span)
			at = span.To
		}
		got, ok := s.kindOf(len(s.Chords) - 1)
		if ok == c.none || ok && got != c.want {
			t.Errorf("%s: %s, found %v; want %s", c.name, got, ok, c.want)
		}
	}
}

// The regression that cadences are learned by finds the odds of a sign that alone
// decides, and what half cadences have of their own.
func TestLogistic(t *testing.T) {
	var rows []closeRow
	for i := range 4000 {
		r := closeRow{half: i%2 == 0}
		r.x[sgAlways] = 1
		if i%4 < 2 {
			r.x[sgLong] = 1
		}
		// of 10: 8 where long, 2 where not; of the half ones 5 either way
		k := i / 4 % 10
		if r.half && k < 5 || !r.half && (r.x[sgLong] == 1 && k < 8 || r.x[sgLong] == 0 && k < 2) {
			r.y = 1
		}
		rows = append(rows, r)
	}
	v, own := make([]float64, signs), make([]float64, signs)
	logistic(rows, v, own)
	for _, c := range []struct {
		what      string
		got, want float64
	}{ // logarithms of the odds 1:4, 4:1, 1:1
		{"authentic, not long", v[sgAlways], -1.386}, {"authentic, long", v[sgAlways] + v[sgLong], 1.386},
		{"half, not long", v[sgAlways] + own[sgAlways], 0}, {"half, long", v[sgAlways] + own[sgAlways] + v[sgLong] + own[sgLong], 0},
	} {
		if d := c.got - c.want; d > 0.1 || d < -0.1 {
			t.Errorf("%s: %.3f, want %.3f", c.what, c.got, c.want)
		}
	}
}
