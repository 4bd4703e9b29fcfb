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
	cost        float64 // of its path: where changes are counted first, with what they count
}

// passageBars is how many measures Alternatives takes for one passage; of a very
// long part more, so that there are at most maxPassages and time and memory grow
// with the part alone.
const (
	passageBars = 4
	maxPassages = 200
)

// forkLeast branches of the search over repeats, more in short parts, are taken on into
// a passage: nearly all parts have fewer open. A quartet part of 1,500 events with 24
// ties has 140, which for each of its 70 passages would be 140 passes over the part.
const (
	forkLeast = 4
	forkWork  = 12000 // layers of all branches
)

// Alternatives gives the k cheapest plans that differ from the best one, and from
// each other, in a way a player would call different: two notes that follow each
// other, with one between at most, are taken with other fingers or on other
// strings, or a bar begins in the other direction. Each differs from the best in
// another passage of four measures (more in parts of over 800). For each passage
// the plan is the cheapest such plan there is (exact, repeats included, unless the
// plan says otherwise); they come cheapest first, and of two that reach into each
// other's passage and take a note there otherwise in the same way, or begin the same
// bar so, only the cheaper one stays.
//
// Every passage is bounded first, by the search without further branches; those are
// searched whose bound may still lie among the k.
func (s *Solver) Alternatives(k int) []Alternative {
	if s.plan == nil || k <= 0 {
		return nil
	}
	var all, out []Alternative
	for _, p := range s.passages(k) {
		if math.IsInf(p.bound, 1) || len(out) >= k && out[k-1].cost <= p.bound {
			break
		}
		a, ok := s.solvePassage(p)
		if !ok {
			continue
		}
		all = append(all, a)
		out = distinct(all, s.plan, k)
	}
	return out
}

// distinct sorts alternatives and picks the first k of which each is apart from
// those before it and differs from the best nowhere as one of them does.
func distinct(all []Alternative, best *Plan, k int) []Alternative {
	slices.SortStableFunc(all, func(a, b Alternative) int {
		return cmp.Or(cmp.Compare(a.cost, b.cost), cmp.Compare(a.First, b.First))
	})
	var out []Alternative
	for _, a := range all {
		if len(out) == k {
			break
		}
		if !slices.ContainsFunc(out, func(b Alternative) bool { return !apart(a.Plan, b.Plan) || overlap(a.Plan, b.Plan, best) }) {
			out = append(out, a)
		}
	}
	return out
}

// passages bounds all, cheapest first; the searches of the k best are kept.
func (s *Solver) passages(k int) []*passage {
	bars := len(s.part.Measures)
	step := max(passageBars, (bars+maxPassages-1)/maxPassages)
	var out []*passage
	for first := 0; first < bars; first += step {
		p := s.passage(first, min(first+step, bars)-1)
		if p == nil {
			continue
		}
		at, _ := slices.BinarySearchFunc(out, p.bound, func(q *passage, bound float64) int {
			if q.bound <= bound {
				return -1 // the earlier passage first
			}
			return 1
		})
		out = slices.Insert(out, at, p)
		if len(out) > k {
			out[k].search = nil
		}
	}
	return out
}

// passage is the search for a plan that differs in some measures.
type passage struct {
	first, last int
	search      *sequence.Search[*tables] // nil: to be laid out again
	bound       float64
}

// AlternativeIn gives the cheapest plan that differs so from the best one between
// two measures; false where there is none.
func (s *Solver) AlternativeIn(first, last int) (Alternative, bool) {
	if s.plan == nil {
		return Alternative{}, false
	}
	p := s.passage(first, last)
	if p == nil {
		return Alternative{}, false
	}
	return s.solvePassage(p)
}

// passage lays out the search; nil where no note is struck there.
// It goes on from the branches of the search for the best plan.
func (s *Solver) passage(first, last int) *passage {
	from, to := s.layersIn(first, last)
	if to < from {
		return nil
	}
	dirty := make([]int, 0, to-from+2)
	for i := from; i <= min(to+1, len(s.layers)-1); i++ {
		dirty = append(dirty, i)
	}
	c := &chain{pr: s.Problem, only: s.chain.only, differ: &difference{s.plan, from, to}}
	search := s.search.Fork(c, dirty, max(forkLeast, forkWork/len(s.layers)))
	return &passage{first, last, search, search.Bound()}
}

func (s *Solver) solvePassage(p *passage) (Alternative, bool) {
	if p.search == nil {
		p = s.passage(p.first, p.last)
	}
	j := p.search.Solve(s.o.Branches)
	if math.IsInf(j.Cost, 1) {
		return Alternative{}, false
	}
	plan := s.Problem.plan(j.States, j.Cost)
	plan.Exact, plan.Gap = j.Exact, j.Gap
	return Alternative{plan, p.first, p.last, plan.Cost - s.plan.Cost, j.Cost}, true
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
