package instrument

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Setup is what a player may say of instrument and hand. The zero value is the
// usual size and an average hand.
type Setup struct {
	Size   string  // "3/4", or for a viola the body: "16.5in", "42cm"; "" the usual
	Length float64 // of the sounding string in mm; overrules Size; 0: by Size
	Hand   string  // "small", "average", "large", or the widest stretch in mm; "" average
	Tuning string  // open strings from low to high; "" the usual
}

// fractions are the string lengths in mm of the named sizes. From memory: makers
// differ by some millimetres.
var fractions = [...]map[string]float64{
	ViolinKind: {"4/4": 328, "7/8": 317, "3/4": 307, "1/2": 288, "1/4": 258, "1/8": 234, "1/10": 218, "1/16": 203},
	ViolaKind:  {"4/4": 372, "3/4": 328, "1/2": 307},
	CelloKind:  {"4/4": 690, "7/8": 655, "3/4": 620, "1/2": 575, "1/4": 510, "1/8": 450},
}

// order of the sizes in messages.
var sizeOrder = []string{"4/4", "7/8", "3/4", "1/2", "1/4", "1/8", "1/10", "1/16"}

// violaRatio is sounding string over body length of a viola: 372 mm on a body
// of 406 mm (16 inches). From memory.
const violaRatio = 372.0 / 406.4

// lengthLimits of a string in mm, wide around what is made: beyond them a slip of
// the unit is likelier.
var lengthLimits = [...][2]float64{ViolinKind: {150, 400}, ViolaKind: {250, 480}, CelloKind: {350, 800}}

// Hands: factors on the average stretch. The length of adult hands is 180 mm
// with a deviation of about 10 (from memory); small and large are one and a half
// deviations off.
var hands = map[string]float64{"small": 0.92, "average": 1, "large": 1.08}

// Set is the instrument of a kind as it is set up. The error is one clear line.
//
// A named fraction is chosen to fit the player, so that the average hand shrinks
// with it; a length in mm, inches or cm is one of the instrument alone.
func Set(k Kind, s Setup) (Instrument, error) {
	in := Of(k)
	length, fitted, err := lengthOf(k, s.Size)
	if err != nil {
		return in, err
	}
	if s.Length != 0 {
		length = s.Length
	}
	if lim := lengthLimits[k]; math.IsNaN(length) || length < lim[0] || length > lim[1] {
		return in, fmt.Errorf("string length %.4g mm: a %v has %g to %g mm from nut to bridge", length, k, lim[0], lim[1])
	}
	in = build(k, tuningOf(in), length)
	if in.Stretch, err = stretchOf(k, s.Hand, fitted); err != nil {
		return in, err
	}
	if frame := in.Span(1, 1+frameSemitones(k)); in.MaxReach() < frame {
		return in, fmt.Errorf("hand %q: a %v of %.0f mm asks for %.0f mm from first to fourth finger in half position alone, and the hand's stretch would have to be %.0f mm or more", s.Hand, k, length, frame, frame/reachShare)
	}
	if s.Tuning == "" {
		return in, nil
	}
	open, err := ParseTuning(s.Tuning)
	if err != nil {
		return in, err
	}
	return in.Tuned(open)
}

// frameSemitones from first to fourth finger: a fourth, on the cello a minor third.
func frameSemitones(k Kind) int {
	if k == CelloKind {
		return 3
	}
	return 5
}

func tuningOf(in Instrument) string {
	names := make([]string, len(in.Open))
	for i, p := range in.Open {
		names[len(names)-1-i] = p.String()
	}
	return strings.Join(names, ",")
}

var bodySize = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?)\s*(in|"|cm)$`)

// lengthOf a size in mm, and the share of the usual hand that it is made for.
func lengthOf(k Kind, size string) (length, fitted float64, err error) {
	size = strings.TrimSpace(size)
	if size == "" {
		return bodies[k].length, 1, nil
	}
	if l, ok := fractions[k][size]; ok {
		return l, l / bodies[k].length, nil
	}
	m := bodySize.FindStringSubmatch(size)
	if m == nil || k != ViolaKind {
		return 0, 0, fmt.Errorf("size %q: %s", size, sizesOf(k))
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return 0, 0, fmt.Errorf("size %q: %s", size, sizesOf(k))
	}
	mm := v * 25.4
	if m[2] == "cm" {
		mm = v * 10
	}
	return mm * violaRatio, 1, nil
}

func sizesOf(k Kind) string {
	var names []string
	for _, n := range sizeOrder {
		if _, ok := fractions[k][n]; ok {
			names = append(names, n)
		}
	}
	text := fmt.Sprintf("a %v comes as %s", k, strings.Join(names, ", "))
	if k == ViolaKind {
		text += `, or by the length of its body, as in 16.5in or 42cm`
	}
	return text
}

// stretchOf a hand in mm; 0 for the average one on the usual size.
func stretchOf(k Kind, hand string, fitted float64) (float64, error) {
	hand = strings.ToLower(strings.TrimSpace(hand))
	if hand == "" {
		hand = "average"
	}
	if f, ok := hands[hand]; ok {
		if f *= fitted; f != 1 {
			return averageStretch[k] * f, nil
		}
		return 0, nil
	}
	mm, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(hand, "mm")), 64)
	if err != nil || math.IsNaN(mm) || mm < 40 || mm > 300 {
		return 0, fmt.Errorf("hand %q: want small, average, large, or the widest stretch between first and fourth finger in mm, 40 to 300 (average for a %v: %.0f)", hand, k, averageStretch[k])
	}
	return mm, nil
}
