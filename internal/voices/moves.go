package voices

import (
	"slices"
	"sort"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Move is a voice that goes to another register and stays there, without a break
// between (within one strand).
type Move struct {
	Voice         int
	From, To      score.NoteID
	Before, After int // MIDI keys about which the voice lies in the bar before and in the bar after
	// Step: the leap is a step of the voice put into another octave.
	Step bool
}

// Bounds of a register move: the leap in semitones; how far apart the middles of the
// notes of the bar before and of the bar after must lie (a major sixth), and of those of
// the bar after that, if the voice goes on; how many notes there must be on either
// side; and 1 in how many of them may lie nearer to the other register. Common
// practice, no source.
const (
	leapOfMove  = 9
	shiftOfMove = 9
	around      = 3
	strays      = 4
)

func (l *line) moves(st *Study) []Move {
	var out []Move
	key := func(id score.NoteID) int { return l.p.Notes[id].Sounding.MIDI() }
	for k := range st.Strands {
		n := st.Strands[k].Notes
		for i := around; i+around <= len(n); i++ {
			leap := key(n[i]) - key(n[i-1])
			if size(leap, 0) < leapOfMove || timeline.OtherTime(l.p, l.p.Notes[n[i-1]].Measure, l.p.Notes[n[i]].Measure) {
				continue
			}
			m := Move{Voice: st.Strands[k].Voice, From: n[i-1], To: n[i]}
			if !l.stays(&m, n, i, key) {
				continue
			}
			rest := size(leap, 0) % 12
			m.Step = size(leap, 0) > 9 && (rest <= 2 || rest >= 10) && rest != 0
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, func(a, b Move) int { return int(a.To - b.To) })
	return out
}

// stays says that a strand that leaps to its note i lies in another register in the bar
// from there on, and in the next, than in the bar before.
func (l *line) stays(m *Move, n []score.NoteID, i int, key func(score.NoteID) int) bool {
	measure := &l.p.Measures[l.p.Notes[n[i]].Measure]
	bar := max(measure.Len, measure.Meter.Len)
	at := l.p.Notes[n[i]].Onset
	until := func(t score.Tick) int {
		return sort.Search(len(n), func(j int) bool { return l.p.Notes[n[j]].Onset >= t })
	}
	before, here, next := n[until(at-bar):i], n[i:until(at+bar)], n[until(at+bar):until(at+2*bar)]
	if len(before) < around || len(here) < around {
		return false
	}
	m.Before, m.After = middle(before, key), middle(here, key)
	up := m.After > m.Before
	if size(m.Before, m.After) < shiftOfMove || up != (key(n[i]) > key(n[i-1])) {
		return false
	}
	far := func(ids []score.NoteID, side bool) bool { // of the middle between the registers
		stray := 0
		for _, id := range ids {
			if 2*key(id) != m.Before+m.After && (2*key(id) > m.Before+m.After) != side {
				stray++
			}
		}
		return stray*strays <= len(ids)
	}
	return far(before, !up) && far(here, up) && far(next, up) && (len(next) == 0 || size(m.Before, middle(next, key)) >= shiftOfMove)
}

func middle(ids []score.NoteID, key func(score.NoteID) int) int {
	var k []int
	for _, id := range ids {
		k = append(k, key(id))
	}
	slices.Sort(k)
	return k[len(k)/2]
}
