// Package instrument knows violins, violas and cellos: strings, string length,
// the hand on the fingerboard, the bow on the bridge.
//
// Strings are numbered as players and MusicXML 4.0 (<string>) do: 1 is the
// highest. A semitone of a string is counted from its nut, the open string is 0.
// Distances are in millimetres, bow angles in degrees. Pitches are sounding
// pitches, also under scordatura.
package instrument

import (
	"fmt"
	"math"
	"strings"

	"pochette/internal/pitch"
)

// Kind is one of the three instruments.
type Kind int8

// The instruments.
const (
	ViolinKind Kind = iota
	ViolaKind
	CelloKind
)

func (k Kind) String() string { return [...]string{"violin", "viola", "cello"}[k] }

// ParseKind reads "violin", "viola" or "cello".
func ParseKind(s string) (Kind, error) {
	for k := ViolinKind; k <= CelloKind; k++ {
		if strings.EqualFold(s, k.String()) {
			return k, nil
		}
	}
	return 0, fmt.Errorf("instrument %q: want violin, viola or cello", s)
}

// Instrument is one instrument as it is strung.
type Instrument struct {
	Kind Kind
	// Open holds the open strings, highest first: Open[0] is string 1.
	Open []pitch.Pitch
	// Length of the sounding string, nut to bridge, mm.
	Length float64
	// Top is the last semitone with fingerboard under it.
	Top int
	// Bridge radius and distance between neighbouring strings at the bridge, mm.
	BridgeRadius, StringSpacing float64
	// Stretch is the widest distance along the string, in mm, that the player's
	// hand takes between first and fourth finger; 0: the average hand's.
	Stretch float64
}

// Violin in fifths from G3. String length 328 mm (RESEARCH.md, Fingering).
// Fingerboard 270 mm, bridge radius 42 mm and spacing 11.5 mm: from memory.
func Violin() Instrument { return build(ViolinKind, "G3,D4,A4,E5", 328) }

// Viola in fifths from C3. String length 372 mm (RESEARCH.md gives 370–375).
// Fingerboard 305 mm, bridge radius 45 mm and spacing 12.5 mm: from memory.
func Viola() Instrument { return build(ViolaKind, "C3,G3,D4,A4", 372) }

// Cello in fifths from C2. String length 690 mm (RESEARCH.md). Fingerboard
// 580 mm, bridge radius 62 mm and spacing 16 mm: from memory.
func Cello() Instrument { return build(CelloKind, "C2,G2,D3,A3", 690) }

// Of is the instrument of a kind in its usual tuning.
func Of(k Kind) Instrument {
	switch k {
	case ViolaKind:
		return Viola()
	case CelloKind:
		return Cello()
	}
	return Violin()
}

// bodies gives string length, fingerboard, bridge radius and string spacing of
// the usual size of each kind, mm; sources at Violin, Viola and Cello.
var bodies = [...]struct{ length, board, radius, spacing float64 }{
	ViolinKind: {328, 270, 42, 11.5},
	ViolaKind:  {372, 305, 45, 12.5},
	CelloKind:  {690, 580, 62, 16},
}

// build makes an instrument of a string length, its other measures in
// proportion to those of the usual size.
func build(k Kind, tuning string, length float64) Instrument {
	open, err := ParseTuning(tuning)
	if err != nil {
		panic("instrument: " + err.Error())
	}
	b := bodies[k]
	ratio := length / b.length
	// the last n with length·(1-2^(-n/12)) <= board
	top := int(math.Floor(-12 * math.Log2(1-b.board/b.length)))
	return Instrument{Kind: k, Open: open, Length: length, Top: top, BridgeRadius: b.radius * ratio, StringSpacing: b.spacing * ratio}
}

// ParseTuning reads open strings from low to high, "G3,D4,A4,E5", and gives
// them highest first, as Instrument.Open holds them. Three to six strings, each
// at least a semitone above the one before.
func ParseTuning(s string) ([]pitch.Pitch, error) {
	fields := strings.Split(s, ",")
	if len(fields) < 3 || len(fields) > 6 {
		return nil, fmt.Errorf("tuning %q: want three to six open strings from low to high, as in G3,D4,A4,E5", s)
	}
	open := make([]pitch.Pitch, len(fields))
	for i, f := range fields {
		p, err := pitch.Parse(strings.TrimSpace(f))
		if err != nil {
			return nil, fmt.Errorf("tuning %q, string %d from below: %w", s, i+1, err)
		}
		if i > 0 && p.MIDI() <= open[len(fields)-i].MIDI() {
			return nil, fmt.Errorf("tuning %q: %v does not lie above %v; write the strings from low to high", s, p, open[len(fields)-i])
		}
		open[len(fields)-1-i] = p
	}
	return open, nil
}

// fiveStringWidth: a bridge for five strings is this much wider between the
// outer strings than one for four; from memory.
const fiveStringWidth = 1.15

// Tuned is the instrument with other open strings (highest first): scordatura
// on its four strings, or five strings. On five the strings lie closer together.
func (in Instrument) Tuned(open []pitch.Pitch) (Instrument, error) {
	if len(open) != 4 && len(open) != 5 {
		return in, fmt.Errorf("tuning has %d strings; a %v has four, or five", len(open), in.Kind)
	}
	if len(open) != len(in.Open) {
		width := in.StringSpacing * float64(len(in.Open)-1)
		if len(open) == 5 {
			width *= fiveStringWidth
		} else {
			width /= fiveStringWidth
		}
		in.StringSpacing = width / float64(len(open)-1)
	}
	in.Open = open
	return in, nil
}

// Strings is how many there are.
func (in *Instrument) Strings() int { return len(in.Open) }

// Semitone is where a pitch lies on a string (1 = highest): 0 the open string,
// negative below it.
func (in *Instrument) Semitone(str int, p pitch.Pitch) int {
	return p.MIDI() - in.Open[str-1].MIDI()
}

// Distance from the nut in mm, L(1-2^(-n/12)): equal temperament on an ideal string.
func (in *Instrument) Distance(semitone float64) float64 {
	return in.Length * (1 - math.Exp2(-semitone/12))
}

// Span between two semitones of a string, mm, never negative.
func (in *Instrument) Span(a, b int) float64 {
	return math.Abs(in.Distance(float64(a)) - in.Distance(float64(b)))
}

// Lowest and highest pitch with fingerboard under it, as MIDI keys.
func (in *Instrument) Range() (low, high int) {
	low = in.Open[len(in.Open)-1].MIDI()
	return low, in.Open[0].MIDI() + in.Top
}

var numerals = [...]string{"", "I", "II", "III", "IV", "V", "VI"}

// Numeral is the string as players write it: I is the highest.
func Numeral(str int) string {
	if str < 1 || str >= len(numerals) {
		return fmt.Sprint(str)
	}
	return numerals[str]
}

// StringName is the string as players say it: "the D string".
func (in *Instrument) StringName(str int) string {
	return "the " + in.Open[str-1].Name() + " string"
}
