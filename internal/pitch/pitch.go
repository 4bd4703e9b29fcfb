// Package pitch knows steps, alterations, octaves, intervals, key signatures and
// frequencies. It is the lowest floor of the house and imports nothing of it.
//
// Octaves follow scientific pitch notation (C4 is middle C) and MIDI key numbers
// the usual numbering (C4 = 60), as in MusicXML 4.0, element <octave>.
package pitch

import (
	"fmt"
	"math"
	"strings"
)

// Step is a letter name without alteration, C = 0 … B = 6.
type Step int8

// The seven steps.
const (
	C Step = iota
	D
	E
	F
	G
	A
	B
)

const stepNames = "CDEFGAB"

// semitones above C of each natural step.
var naturals = [7]int{0, 2, 4, 5, 7, 9, 11}

func (s Step) String() string { return stepNames[s : s+1] }

// ParseStep reads one capital letter A–G.
func ParseStep(s string) (Step, bool) {
	if len(s) != 1 {
		return 0, false
	}
	i := strings.IndexByte(stepNames, s[0])
	return Step(i), i >= 0
}

// Pitch is a spelled pitch. Alter counts semitones (sharp = 1); Cents holds what
// a microtonal alteration leaves beyond the nearest semitone toward zero.
type Pitch struct {
	Step   Step
	Alter  int8
	Octave int8
	Cents  int16
}

// MIDI is the key number, C4 = 60; microtones are dropped.
func (p Pitch) MIDI() int { return 12*(int(p.Octave)+1) + naturals[p.Step] + int(p.Alter) }

// Class is the pitch class 0–11, C = 0.
func (p Pitch) Class() int { return ((p.MIDI() % 12) + 12) % 12 }

// Diatonic counts steps from C0, so that neighbours on the staff differ by one.
func (p Pitch) Diatonic() int { return 7*int(p.Octave) + int(p.Step) }

// Frequency in Hz in equal temperament for the given A4 in Hz (ISO 16: 440).
func (p Pitch) Frequency(a4 float64) float64 {
	return Hertz(float64(p.MIDI())+float64(p.Cents)/100, a4)
}

// Hertz is the frequency of a key number, with its fraction, in equal temperament for the
// given A4 (key 69) in Hz.
func Hertz(key, a4 float64) float64 { return a4 * math.Exp2((key-69)/12) }

var accidentals = map[int8]string{-3: "♭♭♭", -2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪", 3: "♯𝄪"}

// Name is the spelled note without its octave, as a player writes it: F♯, B♭.
func (p Pitch) Name() string {
	a, ok := accidentals[p.Alter]
	if !ok {
		a = fmt.Sprintf("(%+d)", p.Alter)
	}
	return p.Step.String() + a
}

// String is the name with its octave: F♯5.
func (p Pitch) String() string { return fmt.Sprintf("%s%d", p.Name(), p.Octave) }

// Parse reads a pitch such as "C4", "F#5", "Bb3", "B♭3", "E##4".
func Parse(s string) (Pitch, error) {
	bad := fmt.Errorf("pitch %q: want a letter A–G, accidentals # or b, and an octave, as in F#4", s)
	if s == "" {
		return Pitch{}, bad
	}
	step, ok := ParseStep(strings.ToUpper(s[:1]))
	if !ok {
		return Pitch{}, bad
	}
	alter, rest := 0, s[1:]
	for rest != "" {
		switch {
		case strings.HasPrefix(rest, "#"):
			alter, rest = alter+1, rest[1:]
		case strings.HasPrefix(rest, "b"):
			alter, rest = alter-1, rest[1:]
		case strings.HasPrefix(rest, "♯"):
			alter, rest = alter+1, rest[len("♯"):]
		case strings.HasPrefix(rest, "♭"):
			alter, rest = alter-1, rest[len("♭"):]
		default:
			var oct int
			var tail string
			if n, _ := fmt.Sscanf(rest, "%d%s", &oct, &tail); n != 1 || oct < -1 || oct > 10 || alter < -3 || alter > 3 {
				return Pitch{}, bad
			}
			return Pitch{Step: step, Alter: int8(alter), Octave: int8(oct)}, nil
		}
	}
	return Pitch{}, bad
}

// Interval is a distance in staff steps and in semitones, both signed:
// a major third up is {2, 4}.
type Interval struct{ Diatonic, Chromatic int }

// Between is the interval from a up to b (negative when b is lower).
func Between(a, b Pitch) Interval {
	return Interval{b.Diatonic() - a.Diatonic(), b.MIDI() - a.MIDI()}
}

// Transpose moves p by iv, keeping the spelling the interval asks for.
func (p Pitch) Transpose(iv Interval) Pitch {
	d := p.Diatonic() + iv.Diatonic
	oct := floorDiv(d, 7)
	q := Pitch{Step: Step(d - 7*oct), Octave: int8(oct), Cents: p.Cents}
	q.Alter = int8(p.MIDI() + iv.Chromatic - q.MIDI())
	return q
}

// FromMIDI spells a key number in the key of the given fifths (-7…7): notes of
// the scale as the signature has them, the others as sharps in sharp keys and
// flats in flat keys.
func FromMIDI(key, fifths int) Pitch {
	oct := floorDiv(key, 12) - 1
	pc := key - 12*(oct+1)
	best := Pitch{}
	found := false
	for s := C; s <= B; s++ {
		p := Pitch{Step: s, Alter: int8(KeyAlter(fifths, s)), Octave: int8(oct)}
		for _, o := range []int8{0, -1, 1} {
			q := p
			q.Octave += o
			if q.MIDI() == key {
				return q
			}
		}
	}
	for s := C; s <= B && !found; s++ {
		if naturals[s] == pc {
			best, found = Pitch{Step: s, Octave: int8(oct)}, true
		}
	}
	for s := C; s <= B && !found; s++ {
		a := int8(1)
		if fifths < 0 {
			a = -1
		}
		if q := (Pitch{Step: s, Alter: a, Octave: int8(oct)}); q.MIDI() == key {
			best, found = q, true
		}
	}
	return best
}

// order in which sharps enter a signature: F C G D A E B.
var sharpOrder = [7]Step{F, C, G, D, A, E, B}

// KeyAlter is the alteration that a signature of the given fifths (sharps
// positive, flats negative, beyond 7 doubled) gives to a step.
func KeyAlter(fifths int, s Step) int {
	pos := 0
	for i, t := range sharpOrder {
		if t == s {
			pos = i
		}
	}
	// sharps: the step at place i is raised once fifths exceeds i, again after 7 more.
	return floorDiv(fifths-pos-1, 7) + 1
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
