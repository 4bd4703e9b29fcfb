package bowing

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Loudness is a place on the printed scale of dynamics, 0 for pp, one step for
// each sign: p 1, mp 2, mf 3, f 4, ff 5 (timeline.Dynamics). Between signs a hairpin
// gives fractions.
type Loudness float64

// unmarked is what a part without dynamics is taken to be.
const unmarked Loudness = timeline.Unmarked

const dynamicMF Loudness = 3

var dynamicNames = [...]string{"ppp or less", "pp", "p", "mp", "mf", "f", "ff", "fff or more"}

// String names the nearest sign.
func (l Loudness) String() string {
	i := int(l + 1.5)
	if l < -1.5 {
		i = 0
	}
	return dynamicNames[min(max(i, 0), len(dynamicNames)-1)]
}

// dynamics is the loudness of a part over its length.
type dynamics timeline.Curve

func readDynamics(p *score.Part, beat score.Tick) dynamics {
	return dynamics(timeline.Dynamics(p, beat))
}

// at is the loudness at a tick.
func (d dynamics) at(t score.Tick) Loudness {
	return Loudness(timeline.Curve(d).At(t, timeline.Unmarked))
}
