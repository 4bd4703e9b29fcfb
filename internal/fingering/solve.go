package fingering

import (
	"container/heap"
	"math"
	"slices"
)

// Solution is a path, a state for each layer.
type Solution struct {
	States []int
	Cost   float64
	Exact  bool
	Gap    float64 // how much too high the cost may be where Exact is false
}

// maxBranches bounds the search over repeats. Real movements with a dozen
// repeats took up to about a hundred.
const maxBranches = 400

// same is how far two costs may differ and still count as one, by rounding.
const same = 1e-9

// Solve finds the cheapest path: nodes, written neighbours and joins together.
//
// Without joins it is one pass of dynamic programming from the left. A join ties
// two far layers, so that the chain alone is no longer exact; it is solved by
// branch and bound: in a branch the target layer of each join may take a set of
// states, the join counts at its source as the cheapest over that set (a lower
// bound), and the pass over the chain is exact for that bound. The branch with
// the lowest bound is split, where a join's true cost lies above its bound, into
// the state that its target took and all others. The first branch whose bound
// is met is optimal. A branch differs from its parent in two layers; what lies
// before is shared, and so is what lies behind as soon as the costs differ from
// the parent's by one constant, for then the rest of the pass does too.
func (pr *Problem) Solve() Solution {
	open := branches{pr.root()}
	best := Solution{Cost: math.Inf(1)}
	for n := 0; len(open) > 0; n++ {
		b := heap.Pop(&open).(*branch)
		if b.bound >= best.Cost-same {
			break
		}
		if b.cost < best.Cost {
			best = Solution{States: b.path, Cost: b.cost}
		}
		if b.worst < 0 {
			break
		}
		if n >= maxBranches {
			best.Gap = best.Cost - b.bound
			return best
		}
		for _, keep := range []bool{true, false} {
			if c := pr.split(b, keep); !math.IsInf(c.bound, 1) {
				heap.Push(&open, c)
			}
		}
	}
	best.Exact = true
	return best
}

// branch is a set of paths with its bound. The forward costs of layer i are
// values[i] + offset[i]; slices of layers untouched are the parent's.
type branch struct {
	allowed [][]bool    // by layer; nil: every state
	lows    [][]float64 // by join: least cost from each state of its source
	values  [][]float64
	offset  []float64
	back    [][]int32
	path    []int
	bound   float64 // of all paths in the branch
	cost    float64 // of path
	worst   int     // the join whose true cost lies furthest above its bound, -1 if none
}

type branches []*branch

func (b branches) Len() int           { return len(b) }
func (b branches) Less(i, j int) bool { return b[i].bound < b[j].bound }
func (b branches) Swap(i, j int)      { b[i], b[j] = b[j], b[i] }
func (b *branches) Push(x any)        { *b = append(*b, x.(*branch)) }
func (b *branches) Pop() any {
	old := *b
	x := old[len(old)-1]
	*b = old[:len(old)-1]
	return x
}

// root is the branch of all paths.
func (pr *Problem) root() *branch {
	n := len(pr.layers)
	b := &branch{allowed: make([][]bool, n), lows: make([][]float64, len(pr.joins)),
		values: make([][]float64, n), offset: make([]float64, n), back: make([][]int32, n)}
	for k := range pr.joins {
		b.lows[k] = pr.joinLows(&pr.joins[k], nil)
	}
	for i := range pr.layers {
		pr.advance(b, i)
	}
	pr.finish(b)
	return b
}

// split makes the part of a branch in which the target of its worst join has
// the state of its path (keep), or any other.
func (pr *Problem) split(b *branch, keep bool) *branch {
	at := pr.joins[b.worst].to
	c := &branch{allowed: slices.Clone(b.allowed), lows: slices.Clone(b.lows),
		values: slices.Clone(b.values), offset: slices.Clone(b.offset), back: slices.Clone(b.back)}
	mask := make([]bool, len(pr.layers[at].states))
	for s := range mask {
		mask[s] = (s == b.path[at]) == keep && (b.allowed[at] == nil || b.allowed[at][s])
	}
	c.allowed[at] = mask
	dirty := []int{at}
	for k, j := range pr.joins {
		if j.to == at {
			c.lows[k] = pr.joinLows(&pr.joins[k], mask)
			dirty = append(dirty, j.from)
		}
	}
	slices.Sort(dirty)
	pr.renew(b, c, slices.Compact(dirty))
	pr.finish(c)
	return c
}

// renew passes over the layers of c from the first dirty one, and over those
// between two dirty ones only until the costs run level with the parent's.
func (pr *Problem) renew(parent, c *branch, dirty []int) {
	n := len(pr.layers)
	for k, i := range dirty {
		until := n
		if k+1 < len(dirty) {
			until = dirty[k+1]
		}
		for ; i < until; i++ {
			pr.advance(c, i)
			shift, level := levelWith(parent.values[i], c.values[i])
			if !level {
				continue
			}
			delta := shift - parent.offset[i] // c.offset[i] is 0 after advance
			// the way into layer i is still the branch's own
			for i++; i < until; i++ {
				c.values[i], c.back[i] = parent.values[i], parent.back[i]
				c.offset[i] = parent.offset[i] + delta
			}
		}
	}
}

// levelWith says whether b = a + shift in every state.
func levelWith(a, b []float64) (shift float64, level bool) {
	first := true
	for s := range a {
		ia, ib := math.IsInf(a[s], 1), math.IsInf(b[s], 1)
		switch {
		case ia != ib:
			return 0, false
		case ia:
		case first:
			shift, first = b[s]-a[s], false
		case math.Abs(b[s]-a[s]-shift) > same:
			return 0, false
		}
	}
	return shift, !first
}

// finish reads off the path of a branch, its bound and its true cost.
func (pr *Problem) finish(b *branch) {
	n := len(pr.layers)
	b.worst = -1
	if n == 0 {
		b.path = []int{}
		return
	}
	at := 0
	for s, v := range b.values[n-1] {
		if v < b.values[n-1][at] {
			at = s
		}
	}
	b.bound = b.values[n-1][at] + b.offset[n-1]
	b.cost = b.bound
	if math.IsInf(b.bound, 1) {
		return
	}
	b.path = make([]int, n)
	for i := n - 1; i >= 0; i-- {
		b.path[i] = at
		at = int(b.back[i][at])
	}
	gap := same
	for k, j := range pr.joins {
		real := pr.way(&pr.layers[j.from].states[b.path[j.from]], &pr.layers[j.to].states[b.path[j.to]], &j.pass)
		d := real - b.lows[k][b.path[j.from]]
		b.cost += d
		if d > gap {
			gap, b.worst = d, k
		}
	}
}

// joinLows is the least cost of the join from each state of its source.
func (pr *Problem) joinLows(j *join, allowed []bool) []float64 {
	from, to := &pr.layers[j.from], &pr.layers[j.to]
	out := make([]float64, len(from.states))
	for s := range out {
		out[s] = math.Inf(1)
		for t := range to.states {
			if allowed == nil || allowed[t] {
				out[s] = min(out[s], pr.way(&from.states[s], &to.states[t], &j.pass))
			}
		}
	}
	return out
}

// advance computes the forward costs of layer i of a branch from those of the
// layer before. Edges are not negative, so the states before are tried from the
// cheapest on and the search for one state ends as soon as none left can win:
// the result is that of the full product.
func (pr *Problem) advance(b *branch, i int) {
	l := &pr.layers[i]
	cur := make([]float64, len(l.states))
	back := make([]int32, len(l.states))
	var prev []float64
	var order []int
	if i > 0 {
		prev = b.values[i-1]
		order = cheapestFirst(prev)
	}
	for t := range cur {
		cur[t] = l.nodes[t]
		if b.allowed[i] != nil && !b.allowed[i][t] {
			cur[t] = math.Inf(1)
			continue
		}
		if i > 0 {
			var v float64
			v, back[t] = pr.into(i, t, prev, order)
			cur[t] += v + b.offset[i-1]
		}
	}
	for k := range pr.joins {
		if pr.joins[k].from == i {
			for t := range cur {
				cur[t] += b.lows[k][t]
			}
		}
	}
	b.values[i], b.back[i], b.offset[i] = cur, back, 0
}

// cheapestFirst orders the states that are not forbidden by cost.
func cheapestFirst(v []float64) []int {
	order := make([]int, 0, len(v))
	for t := range v {
		if !math.IsInf(v[t], 1) {
			order = append(order, t)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case v[a] < v[b]:
			return -1
		case v[a] > v[b]:
			return 1
		}
		return a - b
	})
	return order
}

// into is the cheapest way into state t of layer i. The cheapest state with the
// hand in the same place mostly wins: tried first, it ends the search early.
func (pr *Problem) into(i, t int, prev []float64, order []int) (float64, int32) {
	best, arg := math.Inf(1), int32(0)
	l := &pr.layers[i]
	to := &l.states[t]
	before := pr.layers[i-1].states
	for _, s := range order {
		if before[s].hand == to.hand {
			if c := prev[s] + pr.way(&before[s], to, &l.pass); c < best {
				best, arg = c, int32(s)
			}
			break
		}
	}
	for _, s := range order {
		if prev[s] >= best {
			break
		}
		if prev[s]+pr.m.least(&before[s], to, &l.pass) >= best {
			continue
		}
		if c := prev[s] + pr.wayBelow(&before[s], to, &l.pass, best-prev[s]); c < best {
			best, arg = c, int32(s)
		}
	}
	return best, arg
}
