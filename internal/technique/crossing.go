// Package technique looks at what both hands ask together once strokes and
// strings are known: string crossings, and the spots that they make.
package technique

import (
	"math"
	"slices"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Input is what crossings are found from.
type Input struct {
	Instrument instrument.Instrument
	Part       *score.Part
	Events     []timeline.Event
	Strings    [][]int // of each event, the strings bowed (1 = highest); empty for rests and what is plucked
	Stroke     []int   // of each event, its stroke; equal for events of one stroke
	Lifted     []bool  // of each event: the bow is lifted before it (retake)
	Pace       timeline.Pace
	// Grips and Shifts of the left hand, as the fingering study has them; difficulty
	// and hints need them, crossings do not.
	Grips  []fingering.Grip
	Shifts []fingering.Shift
	// Fixed notes have a finger or string that was decided: no hint moves them.
	Fixed map[score.NoteID]bool
}

// Crossing is a change of the strings under the bow from one event to the next.
type Crossing struct {
	From, To               int // events
	FromStrings, ToStrings []int
	Angle                  float64 // how far the bow tilts, degrees; positive towards string 1
	Skipped                []int   // strings passed over
	Slurred                bool    // inside one stroke
	Rest                   bool    // a rest or a lift lies between: the bow may leave the string
	Seconds                float64 // from the onset before to the onset after
	Touch                  []int   // strings that may sound by accident, likeliest first
	Load                   float64 // bits a second, see load
}

// holdShare is the part of a slurred note's time that a crossing may take
// without being heard as a portamento of the bow; between two strokes the change
// of bow gives the whole note. Common practice, no source.
const holdShare = 0.5

// doubleStopShare: two strings sound together only while the bow lies within
// this part of the step between them. Common practice, no source.
const doubleStopShare = 1.0 / 3

// Crossings lists every crossing in order of time.
func Crossings(in Input) []Crossing {
	var out []Crossing
	prev, rested := -1, false
	for i := range in.Events {
		if len(in.Strings[i]) == 0 {
			rested = rested || in.Events[i].Rest || len(in.Events[i].Struck) > 0
			continue
		}
		if prev >= 0 {
			if c, ok := crossing(&in, prev, i, rested); ok {
				out = append(out, c)
			}
		}
		prev, rested = i, false
	}
	return out
}

// leaves and arrives: a chord of three or four strings is broken upwards, so the
// bow comes onto its two lowest strings and goes from its two highest.
func leaves(strs []int) []int {
	s := slices.Clone(strs)
	slices.Sort(s)
	return s[:min(2, len(s))]
}

func arrives(strs []int) []int {
	s := slices.Clone(strs)
	slices.Sort(s)
	return s[max(0, len(s)-2):]
}

func crossing(in *Input, a, b int, rested bool) (Crossing, bool) {
	from, to := leaves(in.Strings[a]), arrives(in.Strings[b])
	angle := in.Instrument.BowAngle(to) - in.Instrument.BowAngle(from)
	if slices.Equal(from, to) || math.Abs(angle) < 1e-9 {
		return Crossing{}, false
	}
	c := Crossing{From: a, To: b, FromStrings: from, ToStrings: to, Angle: angle,
		Slurred: in.Stroke[a] == in.Stroke[b], Rest: rested || in.Lifted[b],
		Seconds: in.Pace.Seconds(in.Events[a].Onset, in.Events[b].Onset)}
	c.Skipped = instrument.Skipped(from, to)
	c.Touch = touch(&in.Instrument, &c)
	c.Load = load(&in.Instrument, &c)
	return c, true
}

// touch lists what the bow passes over, then the string just beyond the goal,
// which an overshoot meets. A bow that may leave the string passes over nothing.
func touch(in *instrument.Instrument, c *Crossing) []int {
	var out []int
	if !c.Rest {
		out = append(out, c.Skipped...)
	}
	for _, next := range in.Neighbours(c.ToStrings) {
		if c.Angle > 0 && next < slices.Min(c.ToStrings) || c.Angle < 0 && next > slices.Max(c.ToStrings) {
			out = append(out, next)
		}
	}
	return out
}

// Window is the range of bow tilt, in degrees, in which just these strings
// sound: for one string the clearances on both sides (an outer string is given
// no more on its free side than on the other), for two a share of their step.
func Window(in *instrument.Instrument, strs []int) float64 {
	if len(strs) == 1 {
		a, b := in.Clearance(strs[0], 1), in.Clearance(strs[0], -1)
		return 2 * math.Min(a, b) * outerEase(in, strs[0])
	}
	lo, hi := slices.Min(strs), slices.Max(strs)
	return math.Abs(in.StringAngle(lo)-in.StringAngle(hi)) * doubleStopShare
}

// outerEase widens the window of an outer string, whose free side forgives.
func outerEase(in *instrument.Instrument, str int) float64 {
	if str == 1 || str == in.Strings() {
		return 1.5
	}
	return 1
}

// minSeconds keeps crossings out of grace notes, which have no time of their
// own, from an infinite load: a quick grace note lasts about this long (common
// practice, no source).
const minSeconds = 0.06

// load ranks crossings as aimed movements (Fitts 1954, J. Exp. Psychol. 47): the
// index of difficulty log2(2A/W), A the tilt and W the window of the goal, over
// the time there is. Inside a stroke only a share of the note's time is free.
func load(in *instrument.Instrument, c *Crossing) float64 {
	seconds := max(c.Seconds, minSeconds)
	if c.Slurred {
		seconds *= holdShare
	}
	return max(0, math.Log2(2*math.Abs(c.Angle)/Window(in, c.ToStrings))) / seconds
}
