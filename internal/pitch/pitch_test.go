package pitch

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// MIDI 1.0 specification, key number table (middle C = 60); ISO 16: A = 440 Hz.
// Frequencies to two places: published equal-tempered tables, e.g. Suits, "Physics of Music".
func TestKeyNumbersAndFrequencies(t *testing.T) {
	for _, c := range []struct {
		name string
		midi int
		hz   float64
	}{{"C4", 60, 261.63}, {"A4", 69, 440}, {"G3", 55, 196.00}, {"E5", 76, 659.26}, {"C2", 36, 65.41}, {"C3", 48, 130.81}, {"F#4", 66, 369.99}, {"Bb3", 58, 233.08}, {"B#3", 60, 261.63}, {"Cb4", 59, 246.94}} {
		p, err := Parse(c.name)
		if err != nil {
			t.Fatal(err)
		}
		if p.MIDI() != c.midi || math.Abs(p.Frequency(440)-c.hz) > 0.006 {
			t.Errorf("%s: key %d, %.3f Hz; want %d, %.2f", c.name, p.MIDI(), p.Frequency(440), c.midi, c.hz)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, s := range []string{"", "H4", "C", "C#", "Cx4", "C44", "4", "C4 D"} {
		if p, err := Parse(s); err == nil {
			t.Errorf("Parse(%q) = %v, want an error", s, p)
		}
	}
}

// Signatures: circle of fifths, common practice (MusicXML 4.0, <fifths>).
func TestKeyAlter(t *testing.T) {
	for _, c := range []struct {
		fifths int
		want   [7]int // C D E F G A B
	}{
		{0, [7]int{}}, {1, [7]int{0, 0, 0, 1, 0, 0, 0}}, {-1, [7]int{0, 0, 0, 0, 0, 0, -1}},
		{4, [7]int{1, 1, 0, 1, 1, 0, 0}}, {-3, [7]int{0, 0, -1, 0, 0, -1, -1}},
		{7, [7]int{1, 1, 1, 1, 1, 1, 1}}, {-7, [7]int{-1, -1, -1, -1, -1, -1, -1}}, {8, [7]int{1, 1, 1, 2, 1, 1, 1}},
	} {
		for s := C; s <= B; s++ {
			if got := KeyAlter(c.fifths, s); got != c.want[s] {
				t.Errorf("KeyAlter(%d, %v) = %d, want %d", c.fifths, s, got, c.want[s])
			}
		}
	}
}

func TestTransposeProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := Pitch{Step: Step(rapid.IntRange(0, 6).Draw(t, "step")), Alter: int8(rapid.IntRange(-2, 2).Draw(t, "alter")), Octave: int8(rapid.IntRange(0, 8).Draw(t, "oct"))}
		q := Pitch{Step: Step(rapid.IntRange(0, 6).Draw(t, "step2")), Alter: int8(rapid.IntRange(-2, 2).Draw(t, "alter2")), Octave: int8(rapid.IntRange(0, 8).Draw(t, "oct2"))}
		if got := p.Transpose(Between(p, q)); got != q {
			t.Fatalf("%v + (%v - %v) = %v", p, q, p, got)
		}
	})
}

func TestFromMIDI(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k, f := rapid.IntRange(20, 110).Draw(t, "key"), rapid.IntRange(-7, 7).Draw(t, "fifths")
		if p := FromMIDI(k, f); p.MIDI() != k {
			t.Fatalf("FromMIDI(%d, %d) = %v = %d", k, f, p, p.MIDI())
		}
	})
	for _, c := range []struct {
		key, fifths int
		want        string
	}{{61, 2, "C♯4"}, {61, -4, "D♭4"}, {70, -1, "B♭4"}, {70, 3, "A♯4"}, {60, 7, "B♯3"}, {71, -7, "C♭5"}} {
		if got := FromMIDI(c.key, c.fifths).String(); got != c.want {
			t.Errorf("FromMIDI(%d, %d) = %s, want %s", c.key, c.fifths, got, c.want)
		}
	}
}
