package joint

import (
	"math"

	"pochette/internal/instrument"
	"pochette/internal/timeline"
)

// difference asks for a plan that differs from another one, between two layers,
// in a way a player would call different. The rows of those layers stand there in
// copies, one for each count of differences so far; from behind the last one only
// plans that have enough go on.
type difference struct {
	plan     *Plan
	from, to int // layers
}

// enough is how many differences make another plan: two beats on which the hand is
// elsewhere, or one bar begun in the other direction.
const enough = 2

// way leads into a copy of the rows: from a copy of the layer before, with
// states that count so much as different.
type way struct{ from, differs int }

// copy sets up the copies of the rows of a layer and the costs that belong to
// their ways.
func (a *arrival) copy() {
	a.hands[0] = a.ex.hand
	a.ways = [][]way{{{0, 0}}}
	d := a.c.differ
	switch {
	case d == nil || a.i < d.from || a.i > d.to+1:
	case a.i == d.to+1:
		a.ways[0][0].from = enough
	default:
		a.count(d)
	}
}

// count lists the ways into each copy inside a difference.
func (a *arrival) count(d *difference) {
	copies := enough + 1
	if a.i == d.from {
		copies = 1
	}
	marked := a.c.pr.marked(a.i)
	if marked {
		for w := range a.hands {
			a.hands[w] = a.share(d, w)
		}
	}
	a.ways = make([][]way, enough+1)
	for c := range copies {
		for w := range 3 {
			if w > 0 && !marked {
				break
			}
			to := min(enough, c+w)
			a.ways[to] = append(a.ways[to], way{c, w})
		}
	}
	for c := range a.ways {
		if a.ways[c] == nil && a.i == 0 {
			a.ways[c] = []way{{-1, 0}} // nothing leads here
		}
	}
}

// share is the costs with all states forbidden that do not count w.
func (a *arrival) share(d *difference, w int) [][]float64 {
	pr := a.c.pr
	out := make([][]float64, len(a.ex.hand))
	for k, h := range a.ex.hand {
		out[k] = make([]float64, len(h))
		for g, c := range h {
			out[k][g] = c
			if pr.differs(a.i, d, k, g) != w {
				out[k][g] = math.Inf(1)
			}
		}
	}
	return out
}

// marked says whether players compare plans at a layer: where a felt beat begins.
func (pr *Problem) marked(i int) bool {
	e := &pr.Hand.Events[pr.layers[i].event]
	m := &pr.part.Measures[e.Measure]
	beat := timeline.Beat(m.Meter)
	return !e.Grace && (beat <= 0 || (timeline.Offset(pr.part, e.Measure)+e.Onset-m.Start)%beat == 0)
}

// differs counts how different a state is from a plan on a beat: the hand in
// another position or on another string counts one, the other direction of the
// bow at the beginning of a bar two.
func (pr *Problem) differs(i int, d *difference, state, grip int) int {
	l := &pr.layers[i]
	if l.step == turn && pr.Hand.Events[l.event].Level == 0 {
		if pr.heading(i, state) != pr.heading(i, d.plan.Bows[l.bow]) {
			return 2
		}
	}
	if p, s := pr.where(i, grip), pr.where(i, d.plan.Grips[i]); p != s {
		return 1
	}
	return 0
}

// where is the position and the lowest string of a grip; open strings have no
// position.
func (pr *Problem) where(i, grip int) [2]int {
	h, open := pr.Hand.HandAt(i, grip)
	pos := -1
	if !open {
		pos = instrument.PositionOf(h, 1, -99, int(h.Place))
	}
	return [2]int{pos, int(pr.layers[i].hi[grip])}
}
