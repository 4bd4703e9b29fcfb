package joint

import (
	"math"

	"pochette/internal/bowing"
)

// freedom tells how a stroke's first place hangs on the last one's end.
type freedom int8

const (
	bound freedom = iota // the bow stays on the string
	free                 // time to set it anywhere
	set                  // lifted and set anew
)

// matKey names the matrix of the costs from place to place.
type matKey struct {
	use   bowing.Use
	dir   bowing.Direction
	chord bool
	f     freedom
}

// at is a place as a share of the bow, 0 at the frog.
func (pr *Problem) at(place int) float64 { return float64(place) / float64(pr.places-1) }

// stroke is what one stretch in one direction needs of the bow.
func (pr *Problem) stroke(b int, second bool, state int) matKey {
	k := matKey{dir: pr.Bow.Entry(b, state)}
	if second {
		k.dir = pr.Bow.Exit(b, state)
	}
	k.use = pr.Bow.UseOf(b, state, second)
	k.chord = pr.Bow.Chord(b, second) >= 3
	return k
}

// draw is what it costs to draw the bow in one stroke from a place to a place;
// +Inf against its direction. The scale is coarse: half a step either way is
// free.
func (pr *Problem) draw(k *matKey, from, to int) (speed, out float64) {
	d := pr.at(to) - pr.at(from)
	if k.dir == bowing.Up {
		d = -d
	}
	if d < 0 {
		return math.Inf(1), 0
	}
	half := 0.5 / float64(pr.places-1)
	asked := max(k.use.Asked, 1e-3)
	x := min(max(asked, d-half), d+half)
	if x < k.use.Least {
		out = pr.w[BowRunsOut] * (1 - x/k.use.Least)
	}
	r := math.Log(x / asked)
	return pr.w[BowSpeed] * r * r, out
}

// begin is what it costs to begin a stroke at a place after one that ended at
// another.
func (pr *Problem) begin(k *matKey, end, start int) (moves, frog, chord float64) {
	switch k.f {
	case bound:
		moves = pr.w[BowMoves] * math.Abs(pr.at(end)-pr.at(start))
	case set:
		if k.dir == bowing.Down {
			frog = pr.w[RetakeAtFrog] * pr.at(start)
		}
	}
	if k.chord {
		chord = pr.w[ChordAtFrog] * pr.at(start)
	}
	return moves, frog, chord
}

// through is the cost from the end of a stroke over the best beginning to the
// end of the next, and that beginning.
func (pr *Problem) through(k *matKey, end, to int) (cost float64, start int) {
	cost = math.Inf(1)
	for j := range pr.places {
		speed, out := pr.draw(k, j, to)
		if math.IsInf(speed, 1) {
			continue
		}
		moves, frog, chord := pr.begin(k, end, j)
		if c := speed + out + moves + frog + chord; c < cost {
			cost, start = c, j
		}
	}
	return cost, start
}

// matrix holds through for all places, the next end fastest. Strokes alike share
// it. Where the place is free, all rows are equal.
func (pr *Problem) matrix(k matKey) []float64 {
	if m, ok := pr.mats[k]; ok {
		return m
	}
	m := make([]float64, pr.places*pr.places)
	for a := range pr.places {
		for b := range pr.places {
			m[a*pr.places+b], _ = pr.through(&k, a, b)
		}
	}
	if len(pr.mats) < maxMatrices {
		pr.mats[k] = m
	}
	return m
}

// maxMatrices bounds the memory of matrix.
const maxMatrices = 4096
