// Package harmony reads the harmony of a part: the home key, local keys, chords
// as Roman numerals, non-chord notes, cadences, sequences, tension.
//
// Keys and chords are found together by an exact semi-Markov search over
// segments of beats (search.go), scored by a linear model whose weights are
// learned (model.go, weights.txt). All else is read from that result.
package harmony

import (
	"strings"

	"pochette/internal/pitch"
)

// Tone is a spelled note without octave as a place on the line of fifths: C = 0,
// G = 1, F = -1, F♯ = 6, B♭ = -2. Intervals are differences: a fifth 1, a major
// third 4, a minor third -3 (Temperley, The Cognition of Basic Musical
// Structures, 2001, ch. 5).
type Tone int8

// Tones from loTone to loTone+tones-1 (C♭♭♭ … B♯♯♯ and beyond) are known.
const (
	loTone = -22
	tones  = 50
)

var fifthOf = [7]Tone{0, 2, 4, -1, 1, 3, 5} // C D E F G A B

// ToneOf is the place of a pitch on the line of fifths.
func ToneOf(p pitch.Pitch) Tone { return fifthOf[p.Step] + Tone(7*int(p.Alter)) }

func (t Tone) known() bool { return t >= loTone && t < loTone+tones }

var lineNames = [7]string{"F", "C", "G", "D", "A", "E", "B"}

// String is the note as players write it: F♯, B♭.
func (t Tone) String() string {
	i := int(t) + 1
	alter := floorDiv(i, 7)
	name := lineNames[i-7*alter]
	if alter < 0 {
		return name + strings.Repeat("♭", -alter)
	}
	return name + strings.Repeat("♯", alter)
}

// Class is the pitch class 0–11, C = 0.
func (t Tone) Class() int { return ((int(t)*7)%12 + 12) % 12 }

// Key is a local or home key.
type Key struct {
	Tonic Tone
	Minor bool
}

// String names the key as textbooks do: "G major", "B♭ minor".
func (k Key) String() string {
	if k.Minor {
		return k.Tonic.String() + " minor"
	}
	return k.Tonic.String() + " major"
}

// Fifths is the signature of the key, sharps positive.
func (k Key) Fifths() int {
	if k.Minor {
		return int(k.Tonic) - 3
	}
	return int(k.Tonic)
}

// degreeNames by distance from the tonic on the line of fifths, as degrees of the
// major scale.
var degreeNames = map[Tone]string{0: "I", 2: "II", 4: "III", -1: "IV", 1: "V", 3: "VI", 5: "VII"}

// RomanIn is the key as a degree of another: vi, ♭VII, III. In a minor home the
// plain degrees are those of the natural minor scale, as annotators write.
func (k Key) RomanIn(home Key) string {
	name := degreeIn(k.Tonic-home.Tonic, home.Minor)
	if k.Minor {
		return strings.ToLower(name)
	}
	return name
}

// degreeIn names the degree of a scale at a distance from its tonic: capital
// numeral with accidentals before it.
func degreeIn(d Tone, minor bool) string {
	if minor {
		for at, n := range degreeNames { // natural minor: III, VI, VII lie 7 lower
			if at > 2 {
				if d == at-7 {
					return n
				}
				if d == at {
					return "♯" + n
				}
			}
		}
	}
	acc := ""
	for n := 0; n < 4; n++ {
		if s, ok := degreeNames[d]; ok {
			return acc + s
		}
		if d > 5 {
			d, acc = d-7, acc+"♯"
		} else {
			d, acc = d+7, acc+"♭"
		}
	}
	return "?"
}

// scale is the set of tones of the key as bits from the tonic: in minor both
// forms of the sixth and seventh degree.
func (k Key) holds(t Tone) bool {
	d := t - k.Tonic
	if k.Minor {
		return d >= -4 && d <= 2 || d == 3 || d == 5
	}
	return d >= -1 && d <= 5
}

func floorDiv(a, b int) int {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}
