package fingering

import (
	"testing"

	"pochette/internal/instrument"
)

// gripsOf are all single-note grips of a pitch.
func gripsOf(t *testing.T, in instrument.Instrument, name string) []Stop {
	t.Helper()
	sc, p := notes(480, name)
	pr := NewProblem(sc, p, Options{Instrument: in})
	var out []Stop
	for s := range pr.States(0) {
		out = append(out, pr.Stops(0, s)...)
	}
	return out
}

// The position that the first finger gives to a note on a string; 0 is half.
//
// Violin, E string: the treatise of 1756, ch. VIII, names the even positions
// "halbe", the odd ones from the third "ganze Applicatur"; its example 168/1
// (digital edition ism-dme/lm-vs, 1756_168_1) has the first finger on G "halbe", A
// "ganze", B "halbe", C "ganze", D "halbe": second to sixth position. All strings of
// violin, viola and cello: the published tables named in package instrument's tests
// (Grove 1883 and 1889, Davidoff 1888); violin and viola beyond the third position go
// on as they do.
func TestPositionsOfTheFirstFinger(t *testing.T) {
	for _, c := range []struct {
		kind  instrument.Kind
		str   int
		notes []string // first position, second …
	}{
		{instrument.ViolinKind, 1, []string{"F#5", "G5", "A5", "B5", "C6", "D6", "E6"}},
		{instrument.ViolinKind, 2, []string{"B4", "C5", "D5", "E5", "F5", "G5", "A5"}},
		{instrument.ViolinKind, 3, []string{"E4", "F4", "G4", "A4", "B4", "C5", "D5"}},
		{instrument.ViolinKind, 4, []string{"A3", "B3", "C4", "D4", "E4", "F4", "G4"}},
		{instrument.ViolaKind, 1, []string{"B4", "C5", "D5", "E5", "F5", "G5", "A5"}},
		{instrument.ViolaKind, 2, []string{"E4", "F4", "G4", "A4", "B4", "C5", "D5"}},
		{instrument.ViolaKind, 3, []string{"A3", "B3", "C4", "D4", "E4", "F4", "G4"}},
		{instrument.ViolaKind, 4, []string{"D3", "E3", "F3", "G3", "A3", "B3", "C4"}},
		{instrument.CelloKind, 1, []string{"B3", "C4", "D4", "E4"}},
		{instrument.CelloKind, 2, []string{"E3", "F3", "G3", "A3"}},
		{instrument.CelloKind, 3, []string{"A2", "B2", "C3", "D3"}},
		{instrument.CelloKind, 4, []string{"D2", "E2", "F2", "G2"}},
	} {
		in := instrument.Of(c.kind)
		for i, name := range c.notes {
			found := false
			for _, s := range gripsOf(t, in, name) {
				if s.String == c.str && s.Finger == 1 && s.Extension == 0 {
					found = true
					if s.Position != i+1 {
						t.Errorf("%v, string %d, first finger on %s: %s, want %s", c.kind, c.str, name, instrument.PositionName(s.Position), instrument.PositionName(i+1))
					}
				}
			}
			if !found {
				t.Errorf("%v, string %d: no first finger on %s", c.kind, c.str, name)
			}
		}
	}
}

// Frames of the hand: violin and viola a perfect fourth from first to fourth finger
// (Grove, vol. 3, 1883, p. 20, and vol. 4, 1889, p. 89); cello a minor third, a major
// third extended (C. Davidoff, Violoncell-Schule, 1888, part 1, art. XI). Half position
// lies a semitone behind the first (cello: Davidoff, part 2, art. I; violin and viola:
// from memory).
func TestFrames(t *testing.T) {
	for k := instrument.ViolinKind; k <= instrument.CelloKind; k++ {
		in := instrument.Of(k)
		for _, sh := range in.Shapes() {
			want := map[instrument.Shape]int{instrument.Square: 5, instrument.Closed: 3, instrument.Extended: 4}[sh]
			if want == 0 {
				continue
			}
			h := instrument.Hand{Place: 2, Shape: sh}
			for semi := 1; semi <= 12; semi++ {
				wide, ok := instrument.Fits(h, 4, semi, false)
				if ok && wide == 0 && semi > 2+want {
					t.Errorf("%v, %v: fourth finger %d semitones above the first without stretching", k, sh, semi-2)
				}
			}
			if wide, ok := instrument.Fits(h, 4, 2+want, false); !ok || wide != 0 {
				t.Errorf("%v, %v: no fourth finger %d semitones above the first", k, sh, want)
			}
		}
		half := false
		for _, s := range gripsOf(t, in, []string{"E#5", "A#4", "A#3"}[k]) {
			half = half || s.String == 1 && s.Finger == 1 && s.Position == 0 && s.Semitone == 1
		}
		if !half {
			t.Errorf("%v: no half position on the highest string", k)
		}
	}
}
