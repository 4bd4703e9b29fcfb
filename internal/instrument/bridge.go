package instrument

import (
	"math"
	"slices"
)

// StringAngle is the tilt of the bow on one string, degrees; 0 is the middle of
// the bridge, positive towards string 1. The step between neighbours is their
// spacing over the bridge's radius: 15.7 degrees on the violin (RESEARCH.md,
// Crossings, gives 15–16).
func (in *Instrument) StringAngle(str int) float64 {
	step := in.StringSpacing / in.BridgeRadius * 180 / math.Pi
	return (float64(in.Strings()+1)/2 - float64(str)) * step
}

// BowAngle is the tilt of the bow that sounds these strings at once: their
// plane for one or two strings, the plane of the middle for more.
func (in *Instrument) BowAngle(strs []int) float64 {
	if len(strs) == 0 {
		return 0
	}
	lo, hi := slices.Min(strs), slices.Max(strs)
	return (in.StringAngle(lo) + in.StringAngle(hi)) / 2
}

// Bowing says how strings can sound in one stroke.
type Bowing int8

// Ways of sounding a set of strings.
const (
	// OneString, and TwoStrings that are neighbours: held as long as one likes.
	OneString Bowing = iota
	TwoStrings
	// ThreeTogether: three neighbours, pressed together for a moment near the
	// bow's middle, else broken.
	ThreeTogether
	// BrokenChord: four strings, taken two and two.
	BrokenChord
	// Apart: the strings are not neighbours and cannot be bowed as one chord
	// without touching the one between.
	Apart
)

// Bow tells how a set of different strings is bowed.
func Bow(strs []int) Bowing {
	if len(strs) <= 1 {
		return OneString
	}
	if slices.Max(strs)-slices.Min(strs) != len(strs)-1 {
		return Apart
	}
	switch len(strs) {
	case 2:
		return TwoStrings
	case 3:
		return ThreeTogether
	}
	return BrokenChord
}

// Clearance is how far, in degrees, the bow may tilt from a single string
// towards a neighbour before it touches it: half the step between them. The
// outer strings are free on their outer side (side +1 towards string 1, -1 away).
func (in *Instrument) Clearance(str, side int) float64 {
	next := str - side
	if next < 1 || next > in.Strings() {
		return 45 // as far as the body lets the bow
	}
	return math.Abs(in.StringAngle(next)-in.StringAngle(str)) / 2
}

// Neighbours lists the strings next to the bowed ones, which a careless bow may touch.
func (in *Instrument) Neighbours(strs []int) []int {
	var out []int
	for s := 1; s <= in.Strings(); s++ {
		if slices.Contains(strs, s) {
			continue
		}
		if slices.Contains(strs, s-1) || slices.Contains(strs, s+1) {
			out = append(out, s)
		}
	}
	return out
}

// Skipped lists the strings that lie strictly between two sets of strings, which
// a bow goes over on its way.
func Skipped(a, b []int) []int {
	if len(a) == 0 || len(b) == 0 {
		return nil
	}
	lo, hi := slices.Max(a)+1, slices.Min(b)-1
	if slices.Min(a) > slices.Max(b) {
		lo, hi = slices.Max(b)+1, slices.Min(a)-1
	}
	var out []int
	for s := lo; s <= hi; s++ {
		out = append(out, s)
	}
	return out
}
