package bowing

import (
	"cmp"
	"slices"
)

// trail is the list of states chosen so far, the last first; lists share tails.
type trail struct {
	v, state int
	before   *trail
}

// ranked is one way to reach a joint state of the frontier.
type ranked struct {
	count tally
	cost  float64
	way   *trail
}

func (a ranked) compare(b ranked) int {
	if c := cmp.Compare(a.count, b.count); c != 0 {
		return c
	}
	return cmp.Compare(a.cost, b.cost)
}

// solveBest gives the k cheapest assignments, cheapest first, fewer where there
// are fewer. It is the elimination of solve with a list of the k cheapest ways in
// each cell of the table instead of one (for a chain the list Viterbi method:
// Seshadri and Sundberg 1994). Edges listed in dropped are left out.
func solveBest(pr *problem, dropped []int, k int) [][]int {
	n := len(pr.node)
	alive := make([]bool, len(pr.edges))
	for i := range alive {
		alive[i] = !slices.Contains(dropped, i)
	}
	last := lastNeighbour(n, pr.edges, alive)
	back := make([][]int, n)
	for i, e := range pr.edges {
		if alive[i] {
			back[max(e.a, e.b)] = append(back[max(e.a, e.b)], i)
		}
	}
	vars, cells := []int{}, [][]ranked{{{}}}
	for i := 0; i < n; i++ {
		vars, cells = pr.rankExtend(vars, cells, i)
		for _, ei := range back[i] {
			pr.rankEdge(vars, cells, pr.edges[ei])
		}
		for at := len(vars) - 1; at >= 0; at-- {
			if last[vars[at]] <= i {
				vars, cells = pr.rankMinimise(vars, cells, at, k)
			}
		}
	}
	var out [][]int
	for _, r := range cells[0] {
		if r.cost > maxCost {
			break
		}
		states := make([]int, n)
		for w := r.way; w != nil; w = w.before {
			states[w.v] = w.state
		}
		out = append(out, states)
	}
	return out
}

// maxCost separates costs from +Inf, which forbids.
const maxCost = 1e300

func (pr *problem) rankExtend(vars []int, cells [][]ranked, v int) ([]int, [][]ranked) {
	s := len(pr.node[v])
	out := make([][]ranked, 0, len(cells)*s)
	for _, c := range cells {
		for q, nc := range pr.node[v] {
			row := slices.Clone(c)
			for i := range row {
				row[i].cost += nc
				row[i].count += pr.nodeCount(v, q)
			}
			out = append(out, row)
		}
	}
	return append(vars, v), out
}

func (pr *problem) rankEdge(vars []int, cells [][]ranked, e pairCost) {
	t := table{vars: vars}
	sa, na := pr.stride(t, e.a)
	sb, nb := pr.stride(t, e.b)
	for i, row := range cells {
		x, y := i/sa%na, i/sb%nb
		c := e.cost(x, y)
		for k := range row {
			row[k].cost += c
			if e.count != nil {
				row[k].count += e.count(x, y)
			}
		}
	}
}

func (pr *problem) rankMinimise(vars []int, cells [][]ranked, at, k int) ([]int, [][]ranked) {
	v := vars[at]
	stride, s := pr.stride(table{vars: vars}, v)
	out := make([][]ranked, len(cells)/s)
	for i := range out {
		base := i/stride*stride*s + i%stride
		var row []ranked
		for q := 0; q < s; q++ {
			for _, r := range cells[base+q*stride] {
				r.way = &trail{v, q, r.way}
				row = append(row, r)
			}
		}
		slices.SortStableFunc(row, ranked.compareFinite)
		out[i] = row[:min(k, len(row))]
	}
	return slices.Concat(vars[:at], vars[at+1:]), out
}

// compareFinite puts what is forbidden last, whatever it counts.
func (a ranked) compareFinite(b ranked) int {
	if x, y := a.cost > maxCost, b.cost > maxCost; x != y {
		if x {
			return 1
		}
		return -1
	}
	return a.compare(b)
}
