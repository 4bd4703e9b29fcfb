package bowing

import (
	"math"
	"slices"
)

// problem is a small discrete optimisation: give each variable one of its states
// so that the sum of node and edge costs is least. Costs are finite except for
// forbidden node states, which are +Inf; each variable has an allowed state.
//
// Where counts is set, a whole number for each state, the sum of counts (edges
// may have their own) is to be least first, and cost decides between equals.
type problem struct {
	node   [][]float64
	counts [][]tally
	edges  []pairCost
}

// pairCost is a cost on the states of two different variables; +Inf forbids.
// count may be nil.
type pairCost struct {
	a, b  int
	cost  func(sa, sb int) float64
	count func(sa, sb int) tally
}

func (pr *problem) nodeCount(v, s int) tally {
	if pr.counts == nil {
		return 0
	}
	return pr.counts[v][s]
}

// frontierBound limits the table of solve: at most 2^12 joint states of the
// strokes that still wait for a later one (twelve open repeats with two
// directions each). Music as printed opens three or four at once.
const frontierBound = 1 << 12

// solve finds a cheapest assignment by variable elimination in index order
// (Bertelè and Brioschi, Nonserial Dynamic Programming, 1972): the table holds,
// for every joint state of the frontier, the least cost of everything already
// passed; a variable leaves the frontier, minimised out, once its last neighbour
// is in. With edges only between neighbours this is Viterbi's recursion. Of
// equally cheap answers the one with the smaller states of later variables is
// taken. Time and memory: the sum over variables of the size of the table.
//
// Edges that would carry the table beyond bound are left out, the widest first
// across the crowded place; their indices come back in dropped, and the answer
// is exact for the rest.
func solve(pr *problem, bound int) (states []int, cost float64, dropped []int) {
	edges := slices.Clone(pr.edges)
	alive := make([]bool, len(edges))
	for i := range alive {
		alive[i] = true
	}
	for {
		crowd := pr.crowded(edges, alive, bound)
		if crowd < 0 {
			break
		}
		w := pr.widest(edges, alive, crowd)
		alive[w] = false
		dropped = append(dropped, w)
	}
	slices.Sort(dropped)
	states, cost = pr.eliminate(edges, alive)
	return states, cost, dropped
}

// lastNeighbour gives for each variable the largest index it shares an edge
// with (itself at least).
func lastNeighbour(n int, edges []pairCost, alive []bool) []int {
	last := make([]int, n)
	for i := range last {
		last[i] = i
	}
	for i, e := range edges {
		if alive[i] {
			last[e.a] = max(last[e.a], e.b)
			last[e.b] = max(last[e.b], e.a)
		}
	}
	return last
}

// crowded is the first variable at which the table would exceed bound, or -1.
func (pr *problem) crowded(edges []pairCost, alive []bool, bound int) int {
	last := lastNeighbour(len(pr.node), edges, alive)
	leave := make([][]int, len(pr.node))
	for v, l := range last {
		leave[l] = append(leave[l], v)
	}
	size := 1.0
	for i := range pr.node {
		size *= float64(len(pr.node[i]))
		if size > float64(bound) {
			return i
		}
		for _, v := range leave[i] {
			size /= float64(len(pr.node[v]))
		}
	}
	return -1
}

// widest is the living edge with the largest span among those that reach over
// variable at.
func (pr *problem) widest(edges []pairCost, alive []bool, at int) int {
	best, span := -1, 0
	for i, e := range edges {
		lo, hi := min(e.a, e.b), max(e.a, e.b)
		if alive[i] && lo < at && hi >= at && hi-lo > span {
			best, span = i, hi-lo
		}
	}
	return best
}

// table is the elimination's memory: vals is indexed by the states of vars in
// mixed radix, the last variable fastest.
type table struct {
	vars   []int
	vals   []float64
	counts []tally // nil where nothing is counted
}

// choice remembers which state of variable v was best for each joint state of
// the variables that stayed.
type choice struct {
	v    int
	rest []int
	arg  []uint8
}

func (pr *problem) eliminate(edges []pairCost, alive []bool) ([]int, float64) {
	n := len(pr.node)
	last := lastNeighbour(n, edges, alive)
	back := make([][]int, n) // edges by their later end
	for i, e := range edges {
		if alive[i] {
			hi := max(e.a, e.b)
			back[hi] = append(back[hi], i)
		}
	}
	t := table{vals: []float64{0}}
	if pr.counts != nil {
		t.counts = []tally{0}
	}
	trail := make([]choice, 0, n)
	for i := 0; i < n; i++ {
		t = pr.extend(t, i)
		for _, ei := range back[i] {
			pr.addEdge(t, edges[ei])
		}
		for k := len(t.vars) - 1; k >= 0; k-- {
			if last[t.vars[k]] <= i {
				var c choice
				t, c = pr.minimise(t, k)
				trail = append(trail, c)
			}
		}
	}
	states := make([]int, n)
	for k := len(trail) - 1; k >= 0; k-- {
		c := trail[k]
		idx := 0
		for _, v := range c.rest {
			idx = idx*len(pr.node[v]) + states[v]
		}
		states[c.v] = int(c.arg[idx])
	}
	return states, t.vals[0]
}

func (pr *problem) extend(t table, v int) table {
	s := len(pr.node[v])
	out := table{vars: append(t.vars, v), vals: make([]float64, len(t.vals)*s)}
	for i, c := range t.vals {
		for k, nc := range pr.node[v] {
			out.vals[i*s+k] = c + nc
		}
	}
	if t.counts != nil {
		out.counts = make([]tally, len(out.vals))
		for i := range out.counts {
			out.counts[i] = t.counts[i/s] + pr.nodeCount(v, i%s)
		}
	}
	return out
}

func (pr *problem) addEdge(t table, e pairCost) {
	sa, na := pr.stride(t, e.a)
	sb, nb := pr.stride(t, e.b)
	for i := range t.vals {
		t.vals[i] += e.cost(i/sa%na, i/sb%nb)
	}
	if t.counts == nil || e.count == nil {
		return
	}
	for i := range t.counts {
		t.counts[i] += e.count(i/sa%na, i/sb%nb)
	}
}

func (pr *problem) stride(t table, v int) (stride, states int) {
	stride = 1
	for k := len(t.vars) - 1; k >= 0; k-- {
		if t.vars[k] == v {
			break
		}
		stride *= len(pr.node[t.vars[k]])
	}
	return stride, len(pr.node[v])
}

func (pr *problem) minimise(t table, k int) (table, choice) {
	v := t.vars[k]
	stride, s := pr.stride(t, v)
	rest := slices.Concat(t.vars[:k], t.vars[k+1:])
	out := table{vars: rest, vals: make([]float64, len(t.vals)/s)}
	if t.counts != nil {
		out.counts = make([]tally, len(out.vals))
	}
	c := choice{v: v, rest: rest, arg: make([]uint8, len(out.vals))}
	for i := range out.vals {
		base := i/stride*stride*s + i%stride
		best, fewest := math.Inf(1), tally(math.MaxInt64)
		for q := 0; q < s; q++ {
			x, n := t.vals[base+q*stride], tally(0)
			if t.counts != nil {
				n = t.counts[base+q*stride]
			}
			if x <= maxCost && (best > maxCost || n < fewest || n == fewest && x < best) {
				best, fewest, c.arg[i] = x, n, uint8(q)
			}
		}
		out.vals[i] = best
		if t.counts != nil {
			out.counts[i] = fewest
			if best > maxCost {
				out.counts[i] = 0
			}
		}
	}
	return out, c
}

// total is the cost of an assignment.
func (pr *problem) total(states []int) float64 {
	sum := 0.0
	for i, s := range states {
		sum += pr.node[i][s]
	}
	for _, e := range pr.edges {
		sum += e.cost(states[e.a], states[e.b])
	}
	return sum
}

// tally is what an assignment counts.
func (pr *problem) tally(states []int) tally {
	var sum tally
	for i, s := range states {
		sum += pr.nodeCount(i, s)
	}
	for _, e := range pr.edges {
		if e.count != nil {
			sum += e.count(states[e.a], states[e.b])
		}
	}
	return sum
}
