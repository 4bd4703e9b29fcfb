package fingering

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Move says how the hand gets to another position.
type Move int8

// Moves. A shift takes the hand more than a semitone along the string (on the cello
// any way). Where it leans, opens or closes within its reach and stands in another
// position for it, that is an adjustment.
const (
	Shifted Move = iota
	Adjusted
)

func (m Move) String() string { return [...]string{"shift", "adjust"}[m] }

// AdjustAt is the adjustment that leads to an event, nil for none.
func (st *Study) AdjustAt(event int) *Shift {
	i := sort.Search(len(st.Adjusts), func(i int) bool { return st.Adjusts[i].Event >= event })
	if i < len(st.Adjusts) && st.Adjusts[i].Event == event {
		return &st.Adjusts[i]
	}
	return nil
}

// Moves lists shifts and adjustments in the order of the music.
func (st *Study) Moves() []Shift {
	out := slices.Concat(st.Shifts, st.Adjusts)
	slices.SortStableFunc(out, func(a, b Shift) int { return a.Event - b.Event })
	return out
}

// moves writes position and move of every grip.
func (pr *Problem) moves(st *Study, path []int) {
	pr.positions(st, path)
	last := -1
	for k := range pr.layers {
		g := &st.Grips[pr.layers[k].event]
		if len(g.Stops) == 0 {
			continue
		}
		if last >= 0 && !pr.cutBetween(last, k) {
			pr.move(st, path, last, k)
		}
		last = k
	}
}

// cutBetween says that layer k is never played after layer a.
func (pr *Problem) cutBetween(a, k int) bool {
	for i := a + 1; i <= k; i++ {
		if pr.layers[i].pass.cut {
			return true
		}
	}
	return false
}

func (pr *Problem) move(st *Study, path []int, last, k int) {
	a, b := &pr.layers[last].states[path[last]], &pr.layers[k].states[path[k]]
	g := &st.Grips[pr.layers[k].event]
	sh := pr.shift(st, a, b, last, k)
	switch {
	case pr.m.isShift(way(a, b)):
		g.Shift = len(st.Shifts)
		st.Shifts = append(st.Shifts, sh)
		pr.quickShift(st, &pr.layers[k])
	case sh.FromPos != sh.ToPos:
		sh.Kind = Adjusted
		st.Adjusts = append(st.Adjusts, sh)
	}
}

// positions names the position of each stretch in which the hand does not move, once
// for all its grips: as a mark on one of its notes asks, else as the letters of most
// of its stopped notes tell. So an A sharp of a first finger drawn back does not put
// a hand that stands in first position into half position.
func (pr *Problem) positions(st *Study, path []int) {
	for from := 0; from < len(pr.layers); {
		hand := pr.layers[from].states[path[from]].hand
		to := from + 1
		for to < len(pr.layers) && pr.layers[to].states[path[to]].hand == hand {
			to++
		}
		position := pr.positionOver(path, from, to)
		for k := from; k < to; k++ {
			g := &st.Grips[pr.layers[k].event]
			g.Position = position
			for i := range g.Stops {
				if g.Stops[i].Finger == 0 {
					g.Stops[i].Position = position
				}
			}
		}
		from = to
	}
}

// positionOver is the position of an unmoved hand over some layers.
func (pr *Problem) positionOver(path []int, from, to int) int {
	hand := pr.layers[from].states[path[from]].hand
	votes := map[int]int{}
	for k := from; k < to; k++ {
		s := &pr.layers[k].states[path[k]]
		for i := range s.cells {
			c := &s.cells[i]
			if c.finger == 0 || c.held {
				continue
			}
			if w := pr.struck[c.note].want; w.hasPos && w.pos == c.pos { // one that is passed over says nothing of the hand
				return int(w.pos)
			}
			if c.touch == Pressed {
				votes[int(c.pos)]++
			}
		}
	}
	plain := instrument.PositionOf(hand, 1, -99, int(hand.Place))
	best := plain
	for p, n := range votes {
		switch near, was := gap(p, hand), gap(best, hand); {
		case n > votes[best], n == votes[best] && near < was, n == votes[best] && near == was && p < best:
			best = p
		}
	}
	return best
}

// gap is how far a hand stands from the plain place of a position, in semitones.
func gap(position int, h instrument.Hand) float64 {
	return math.Abs(instrument.PlainPlace(position) - float64(h.Place))
}

// before is the grip last played before an event, nil where there is none.
func (st *Study) before(event int) *Grip {
	for i := event - 1; i >= 0; i-- {
		if len(st.Grips[i].Stops) > 0 {
			return &st.Grips[i]
		}
	}
	return nil
}

// stays says that the hand comes to a grip from the same position, without moving.
func (st *Study) stays(g *Grip) bool {
	b := st.before(g.Event)
	return b != nil && b.Position == g.Position && g.Shift < 0
}

// openInstead is what the open string would cost more in place of a single stopped
// note of its pitch, with the grips around it as they are; terms from the largest
// down, nil where there is no such string.
func (pr *Problem) openInstead(path []int, k int) []score.Term {
	l := &pr.layers[k]
	s := &l.states[path[k]]
	if len(s.cells) != 1 || s.cells[0].finger == 0 || s.cells[0].touch != Pressed {
		return nil
	}
	best, at := 0.0, -1
	var vals [nTerms]float64
	for t := range l.states {
		if c := l.states[t].cells; len(c) != 1 || c[0].finger != 0 {
			continue
		}
		if v, ok := pr.around(path, k, t); ok {
			sum := 0.0
			for i := range v {
				sum += v[i]
			}
			if at < 0 || sum < best {
				best, at, vals = sum, t, v
			}
		}
	}
	own, ok := pr.around(path, k, path[k])
	if at < 0 || !ok {
		return nil
	}
	for i := range vals {
		vals[i] -= own[i]
	}
	out := named(vals[:])
	slices.SortStableFunc(out, func(a, b score.Term) int { return cmp.Compare(b.Value, a.Value) })
	return out
}

// around are the weighted terms of state t in layer k and of the ways to and from
// it; false where they cannot be gone.
func (pr *Problem) around(path []int, k, t int) (vals [nTerms]float64, ok bool) {
	l := &pr.layers[k]
	sum := tally{w: &pr.m.w, vals: &vals}
	pr.m.node(&l.states[t], &l.at, &sum)
	if k > 0 && !pr.m.edge(&pr.layers[k-1].states[path[k-1]], &l.states[t], &l.pass, &sum) {
		return vals, false
	}
	if k+1 < len(path) {
		n := &pr.layers[k+1]
		if !pr.m.edge(&l.states[t], &n.states[path[k+1]], &n.pass, &sum) {
			return vals, false
		}
	}
	for i := range vals {
		vals[i] *= pr.m.w[i]
	}
	return vals, true
}
