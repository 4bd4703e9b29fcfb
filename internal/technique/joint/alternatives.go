package joint

import (
	"cmp"
	"math"
	"slices"

	"pochette/internal/sequence"
)

// Alternative is a plan that differs from the best one in some measures.
type Alternative struct {
	Plan        *Plan
	First, Last int     // measures between which it was asked to differ
	Extra       float64 // what it costs more
}

// passageBars is how many measures Alternatives takes for one passage.
const passageBars = 4

// Alternatives gives the k cheapest plans that differ from the best one, and from
// each other, in a way a player would call different: each in another passage of
// four measures, by the hand being in another position or on another string on
// two felt beats of it at least, or by a bar of it begun in the other direction.
// For each passage the plan is the cheapest such plan there is (exact, repeats
// included, unless the plan says otherwise); they come cheapest first.
func (s *Solver) Alternatives(k int) []Alternative {
	if s.plan == nil {
		return nil
	}
	var out []Alternative
	base := s.tablesNow()
	for first := 0; first < len(s.part.Measures); first += passageBars {
		last := min(first+passageBars, len(s.part.Measures)) - 1
		if a, ok := s.alternative(base, first, last); ok {
			out = append(out, a)
		}
	}
	slices.SortStableFunc(out, func(a, b Alternative) int { return cmp.Compare(a.Extra, b.Extra) })
	return out[:min(k, len(out))]
}

// AlternativeIn gives the cheapest plan that differs so from the best one between
// two measures; false where there is none.
func (s *Solver) AlternativeIn(first, last int) (Alternative, bool) {
	if s.plan == nil {
		return Alternative{}, false
	}
	return s.alternative(s.tablesNow(), first, last)
}

// tablesNow are the tables under the decisions in force, without ties' branches.
func (s *Solver) tablesNow() *tables {
	x := sequence.Extras{Low: make([][]float64, len(s.ties)), Allowed: make([][]bool, len(s.ties))}
	for i := range s.ties {
		x.Low[i] = lows(&s.ties[i])
	}
	return s.chain.Pass(nil, &x, nil)
}

func (s *Solver) alternative(base *tables, first, last int) (Alternative, bool) {
	from, to := s.layersIn(first, last)
	if to < from {
		return Alternative{}, false
	}
	dirty := make([]int, 0, to-from+1)
	for i := from; i <= to; i++ {
		dirty = append(dirty, i)
	}
	for k := range s.ties {
		dirty = append(dirty, s.ties[k].From, s.ties[k].To)
	}
	slices.Sort(dirty)
	c := &chain{pr: s.Problem, only: s.chain.only, differ: &difference{s.plan, from, to}}
	j := sequence.NewSearch[*tables](c, s.ties, base, slices.Compact(dirty)).Solve(s.o.Branches)
	if math.IsInf(j.Cost, 1) {
		return Alternative{}, false
	}
	p := s.Problem.plan(j.States, j.Cost)
	p.Exact, p.Gap = j.Exact, j.Gap
	return Alternative{p, first, last, p.Cost - s.plan.Cost}, true
}

// layersIn are the first and the last layer of some measures.
func (s *Solver) layersIn(first, last int) (from, to int) {
	measure := func(i int) int { return s.Hand.Events[s.layers[i].event].Measure }
	from = len(s.layers)
	to = -1
	lo, _ := slices.BinarySearchFunc(s.layers, first, func(l layer, m int) int { return cmp.Compare(s.Hand.Events[l.event].Measure, m) })
	for i := lo; i < len(s.layers) && measure(i) <= last; i++ {
		from, to = min(from, i), i
	}
	return from, to
}
