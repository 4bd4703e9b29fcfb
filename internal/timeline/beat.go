package timeline

import (
	"fmt"
	"math/big"
	"strconv"

	"pochette/internal/score"
)

// Offset is where in the full measure the measure of this index begins: more
// than 0 for a pickup (counted back from the bar line it leads to) and for the
// second half of a measure split by a repeat or a double bar.
func Offset(p *score.Part, index int) score.Tick {
	m := &p.Measures[index]
	full := m.Meter.Len
	if full <= 0 || m.Len >= full {
		return 0
	}
	if index > 0 {
		prev := &p.Measures[index-1]
		if prev.Len < full && prev.Len+m.Len == full && Offset(p, index-1) == 0 {
			return prev.Len
		}
	}
	if index == 0 || m.Implicit {
		return full - m.Len
	}
	return 0
}

// Compound says that the printed unit goes in threes: 6/8, 9/8, 12/16, 6/4.
// 3/8 is simple, its beat the printed unit.
func Compound(m score.Meter) bool {
	return m.Num > 3 && m.Num%3 == 0 && (m.Den >= 8 || m.Num >= 6) && len(m.Groups) <= 1
}

// Unit is the length of the printed unit (an eighth in 6/8); 0 without a meter.
func Unit(m score.Meter) score.Tick {
	if m.Len <= 0 || m.Num <= 0 {
		return 0
	}
	return m.Len / score.Tick(m.Num)
}

// Beat is the length of the felt beat: three units in compound meter.
func Beat(m score.Meter) score.Tick {
	u := Unit(m)
	if Compound(m) {
		return 3 * u
	}
	return u
}

// Level ranks a place in the bar: 0 the downbeat, 1 the half bar where the meter
// has one, then the beats, then their divisions; larger is weaker. at counts
// from the beginning of the full measure. Levels follow the metrical grid of
// Lerdahl and Jackendoff (A Generative Theory of Tonal Music, 1983, ch. 4);
// places inside a tuplet come out below the binary divisions around them.
func Level(m score.Meter, at score.Tick) int {
	if m.Len <= 0 {
		if at == 0 {
			return 0
		}
		return 1
	}
	at %= m.Len
	if at == 0 {
		return 0
	}
	if len(m.Groups) > 1 {
		return groupLevel(m, at)
	}
	level := 1
	if beats := m.Len / Beat(m); beats >= 4 && beats%2 == 0 {
		if at%(m.Len/2) == 0 {
			return level
		}
		level++
	}
	if at%Beat(m) == 0 {
		return level
	}
	if Compound(m) {
		level++
		if at%Unit(m) == 0 {
			return level
		}
	}
	return divide(Unit(m), at%Unit(m), level+1)
}

func groupLevel(m score.Meter, at score.Tick) int {
	var sum score.Tick
	for _, g := range m.Groups {
		if at == sum {
			return 1
		}
		sum += g
	}
	if at%Unit(m) == 0 {
		return 2
	}
	return divide(Unit(m), at%Unit(m), 3)
}

// divide halves the unit until the place is met; six halvings reach the 128th
// of a half note, and what is met by none (a tuplet) stays below them.
func divide(unit, at score.Tick, level int) int {
	for i := 0; i < 6; i++ {
		if unit%2 != 0 {
			break
		}
		unit /= 2
		if at%unit == 0 {
			return level
		}
		level++
	}
	return level
}

// Name is what to call a measure: its printed number, or, for an uncounted second
// half of a split measure, the number before it.
func Name(p *score.Part, measure int) string {
	m := &p.Measures[measure]
	if !m.Implicit || measure == 0 {
		return m.Number
	}
	if _, err := strconv.Atoi(m.Number); err == nil {
		return m.Number
	}
	for i := measure - 1; i >= 0; i-- {
		if !p.Measures[i].Implicit {
			return p.Measures[i].Number + " (second part)"
		}
	}
	return m.Number
}

// PickupName is what players call an upbeat that stands before the first bar line.
const PickupName = "pickup"

// Pickup says that a measure is the upbeat the part begins with: not counted, or
// printed as 0, and shorter than the meter.
func Pickup(p *score.Part, measure int) bool {
	m := &p.Measures[measure]
	return measure == 0 && (m.Implicit || m.Number == "0") && Offset(p, 0) > 0
}

// FindRepeats marks the measures of which another has the same name, as where several
// movements stand in one file. A part is marked once, when it is made: asking at each
// place would read all measures each time.
func FindRepeats(p *score.Part) {
	type called struct{ number, name string }
	times := map[called]int{}
	for i := range p.Measures {
		times[called{p.Measures[i].Number, Name(p, i)}]++
	}
	for i := range p.Measures {
		p.Measures[i].Repeated = times[called{p.Measures[i].Number, Name(p, i)}] > 1
	}
}

// Label is what to print for a measure in a table: Name, or "pickup"; where names
// repeat with the place in the file, counted from 1: "46 (@143)".
func Label(p *score.Part, measure int) string {
	switch {
	case Pickup(p, measure):
		return PickupName
	case p.Measures[measure].Repeated:
		return fmt.Sprintf("%s (@%d)", Name(p, measure), measure+1)
	}
	return Name(p, measure)
}

// Place is a measure as decisions and options take it: its name, where names repeat
// its place in the file: "46", "@143".
func Place(p *score.Part, measure int) string {
	if p.Measures[measure].Repeated {
		return fmt.Sprintf("@%d", measure+1)
	}
	return Name(p, measure)
}

// Called is what to call a measure in a sentence: "measure 12", "the pickup".
func Called(p *score.Part, measure int) string {
	if Pickup(p, measure) {
		return "the " + PickupName
	}
	return "measure " + Label(p, measure)
}

// Range names measures from one to another, both included: "measure 3",
// "measures 3 to 6", "pickup to measure 3".
func Range(p *score.Part, first, last int) string {
	switch {
	case first == last && Pickup(p, first):
		return PickupName
	case first == last:
		return Called(p, first)
	case Pickup(p, first):
		return PickupName + " to " + Called(p, last)
	}
	return "measures " + Label(p, first) + " to " + Label(p, last)
}

// At gives the place of a tick inside a measure. The beat is counted in printed
// units from 1.
func At(p *score.Part, measure int, at score.Tick, note score.NoteID) score.Loc {
	m := &p.Measures[measure]
	return score.Loc{Measure: measure, Number: Name(p, measure), Repeated: m.Repeated, Pickup: Pickup(p, measure), Beat: BeatName(m.Meter, Offset(p, measure)+at-m.Start), Note: note}
}

// AtNote is the place of a note.
func AtNote(p *score.Part, id score.NoteID) score.Loc {
	n := &p.Notes[id]
	return At(p, n.Measure, n.Onset, id)
}

// BeatName counts a place from 1 in printed units: "2", "2+1/2". Without a
// meter it is empty.
func BeatName(m score.Meter, at score.Tick) string {
	u := Unit(m)
	if u <= 0 {
		return ""
	}
	whole, rest := at/u, at%u
	if rest == 0 {
		return fmt.Sprint(whole + 1)
	}
	return fmt.Sprintf("%d+%s", whole+1, big.NewRat(int64(rest), int64(u)).RatString())
}
