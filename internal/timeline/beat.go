package timeline

import (
	"fmt"
	"math/big"
	"slices"

	"pochette/internal/score"
)

// Offset is where in the full measure the measure of this index begins: more
// than 0 for a pickup (counted back from the bar line it leads to) and for the
// second half of a measure split by a repeat or a double bar. A short measure that
// closes (see closes) lacks its end, not its beginning.
func Offset(p *score.Part, index int) score.Tick {
	m := &p.Measures[index]
	full := m.Meter.Len
	if full <= 0 || m.Len >= full {
		return 0
	}
	if i := before(p, index); i >= 0 {
		prev := &p.Measures[i]
		if prev.Len < full && prev.Len+m.Len == full && Offset(p, i) == 0 {
			return prev.Len
		}
	}
	if index == 0 || m.Implicit && !closes(p, index) {
		return full - m.Len
	}
	return 0
}

// before is the measure that is played before this one the first time it is come to:
// the one before it in print, but of the first under a later ending that before the
// first ending. -1: none.
func before(p *score.Part, index int) int {
	if first := firstEnding(p, index); first >= 0 && p.Measures[index].EndingStart {
		return first - 1
	}
	return index - 1
}

// later says that a measure stands under an ending that is not played the first time.
func later(m *score.Measure) bool { return len(m.Endings) > 0 && !slices.Contains(m.Endings, 1) }

// firstEnding is the measure with which the endings begin of which this one is under a
// later; -1 where it is under none, or where no first ending stands before.
func firstEnding(p *score.Part, index int) int {
	if !later(&p.Measures[index]) {
		return -1
	}
	i := index
	for i > 0 && later(&p.Measures[i]) {
		i--
	}
	if !slices.Contains(p.Measures[i].Endings, 1) {
		return -1
	}
	for i > 0 && !p.Measures[i].EndingStart && slices.Contains(p.Measures[i-1].Endings, 1) {
		i--
	}
	return i
}

// closes says that a measure stands at the end of something: under an ending, before a
// repeat sign, a final or a double bar, or last. Where such a measure is short it is
// so that the pickup, played again or still to come, may fill it up (common practice).
func closes(p *score.Part, index int) bool {
	m := &p.Measures[index]
	if index == len(p.Measures)-1 || len(m.Endings) > 0 || m.RepeatTimes > 1 {
		return true
	}
	return !m.RepeatStart && (m.RightBar == "light-heavy" || m.RightBar == "light-light" || p.Measures[index+1].RepeatStart)
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
