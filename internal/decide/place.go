package decide

import (
	"fmt"
	"math/big"
	"slices"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// Beats gives the beat of each note of a part as a Place counts it.
func Beats(p *score.Part) func(score.NoteID) *big.Rat {
	r := &resolver{p: p}
	return func(id score.NoteID) *big.Rat { return r.beat(&p.Notes[id]) }
}

// Struck sorts notes of one moment as Place.Nth counts them.
func Struck(p *score.Part, ids []score.NoteID) []score.NoteID {
	out := slices.Clone(ids)
	sortMoment(p, out)
	return out
}

// sortMoment puts grace notes first, in their order, then the others from the
// lowest up.
func sortMoment(p *score.Part, ids []score.NoteID) {
	slices.SortStableFunc(ids, func(a, b score.NoteID) int {
		x, y := &p.Notes[a], &p.Notes[b]
		if x.Grace != y.Grace {
			if x.Grace {
				return -1
			}
			return 1
		}
		if x.Grace {
			return 0
		}
		return x.Sounding.MIDI() - y.Sounding.MIDI()
	})
}

// PitchText writes a pitch as a Place has it: "F#5", "Bb3".
func PitchText(p pitch.Pitch) string {
	acc := strings.Repeat("#", max(0, int(p.Alter))) + strings.Repeat("b", max(0, -int(p.Alter)))
	return fmt.Sprintf("%v%s%d", p.Step, acc, p.Octave)
}
