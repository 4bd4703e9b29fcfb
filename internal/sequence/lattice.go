// Package sequence finds cheapest paths through layered lattices. It knows no
// music.
//
// Costs are float64, smaller is better, +Inf forbids; they may be negative but
// not NaN. All searches are exact.
package sequence

import (
	"container/heap"
	"math"
	"slices"
)

// Lattice is a row of layers; a path takes one state of each.
type Lattice interface {
	Layers() int
	States(layer int) int
	// Node is the cost of being in a state.
	Node(layer, state int) float64
	// Edge is the cost of going from state from of layer-1 to state to of layer.
	Edge(layer, from, to int) float64
}

// Path is one way through a lattice: a state for each layer, and the sum of its
// node and edge costs.
type Path struct {
	States []int
	Cost   float64
}

// Best is the cheapest path, by dynamic programming from the left (Viterbi
// 1967): V[i][t] = node(i,t) + min over s of V[i-1][s] + edge(i,s,t). Time is
// the sum over layers of the product of neighbouring state counts. ok is false
// where every path is forbidden or a layer is empty. Of equal paths the one with
// the smaller states, compared from the right, is taken, so the answer does not
// depend on map order or luck.
func Best(l Lattice) (p Path, ok bool) {
	n := l.Layers()
	if n == 0 {
		return Path{}, true
	}
	back := make([][]int32, n)
	var prev []float64
	for i := 0; i < n; i++ {
		m := l.States(i)
		cur := make([]float64, m)
		back[i] = make([]int32, m)
		for t := range cur {
			node := l.Node(i, t)
			if i == 0 || math.IsInf(node, 1) {
				cur[t] = node
				continue
			}
			cur[t], back[i][t] = cheapestInto(l, i, t, prev)
			cur[t] += node
		}
		prev = cur
	}
	end, cost := argmin(prev)
	if math.IsInf(cost, 1) {
		return Path{}, false
	}
	states := make([]int, n)
	for i := n - 1; i >= 0; i-- {
		states[i] = end
		end = int(back[i][end])
	}
	return Path{states, cost}, true
}

func cheapestInto(l Lattice, i, t int, prev []float64) (float64, int32) {
	best, arg := math.Inf(1), int32(0)
	for s, v := range prev {
		if math.IsInf(v, 1) {
			continue
		}
		if c := v + l.Edge(i, s, t); c < best {
			best, arg = c, int32(s)
		}
	}
	return best, arg
}

func argmin(v []float64) (int, float64) {
	best, arg := math.Inf(1), 0
	for i, c := range v {
		if c < best {
			best, arg = c, i
		}
	}
	return arg, best
}

// Through gives for every state of every layer the cost of the cheapest whole
// path through it (forward plus backward pass); +Inf where there is none. The
// gap to the cheapest of a layer tells what choosing that state would cost.
func Through(l Lattice) [][]float64 {
	n := l.Layers()
	f := make([][]float64, n)
	for i := range f {
		f[i] = make([]float64, l.States(i))
		for t := range f[i] {
			f[i][t] = l.Node(i, t)
			if i > 0 {
				c, _ := cheapestInto(l, i, t, f[i-1])
				f[i][t] += c
			}
		}
	}
	var b []float64 // cost from layer i to the end, without node(i)
	for i := n - 1; i >= 0; i-- {
		cur := make([]float64, len(f[i]))
		if i < n-1 {
			for s := range cur {
				cur[s] = math.Inf(1)
				for t, v := range b {
					if c := v + l.Node(i+1, t); !math.IsInf(c, 1) {
						cur[s] = min(cur[s], c+l.Edge(i+1, s, t))
					}
				}
			}
		}
		for s := range cur {
			f[i][s] += cur[s]
		}
		b = cur
	}
	return f
}

// KBest gives the k cheapest paths in order of cost, fewer where there are
// fewer. Each node's sorted list of paths is drawn lazily from its
// predecessors' (Huang and Chiang 2005, algorithm 3, on a chain). Time
// O(Viterbi + k·layers·log k), memory likewise.
func KBest(l Lattice, k int) []Path {
	n := l.Layers()
	if n == 0 || k <= 0 {
		return nil
	}
	kb := kbest{l: l, nodes: make([][]lazyNode, n)}
	for i := range kb.nodes {
		kb.nodes[i] = make([]lazyNode, l.States(i))
	}
	last := lazyNode{final: true}
	kb.open(n, 0, &last)
	var out []Path
	for len(out) < k {
		if !kb.draw(n, &last, len(out)) {
			break
		}
		d := last.done[len(out)]
		p := Path{Cost: d.cost, States: make([]int, 0, n)}
		for i, at := n-1, d; i >= 0; i-- {
			p.States = append(p.States, int(at.from))
			at = kb.nodes[i][at.from].done[at.rank]
		}
		slices.Reverse(p.States)
		out = append(out, p)
	}
	return out
}

type kbest struct {
	l     Lattice
	nodes [][]lazyNode
}

// lazyNode holds the paths that end in one state: done in order, rest as a heap
// of the next candidate from each predecessor.
type lazyNode struct {
	opened, final bool
	done          []derivation
	rest          derivations
}

type derivation struct {
	cost float64
	from int32 // state in the layer before
	rank int32 // which of that state's paths
}

type derivations []derivation

func (d derivations) Len() int { return len(d) }
func (d derivations) Less(i, j int) bool {
	if d[i].cost != d[j].cost {
		return d[i].cost < d[j].cost
	}
	if d[i].from != d[j].from {
		return d[i].from < d[j].from
	}
	return d[i].rank < d[j].rank
}
func (d derivations) Swap(i, j int) { d[i], d[j] = d[j], d[i] }
func (d *derivations) Push(x any)   { *d = append(*d, x.(derivation)) }
func (d *derivations) Pop() any {
	old := *d
	x := old[len(old)-1]
	*d = old[:len(old)-1]
	return x
}

// step is the cost added by coming into the node from a predecessor state.
func (kb *kbest) step(layer, from, to int, final bool) float64 {
	if final {
		return 0
	}
	return kb.l.Node(layer, to) + kb.l.Edge(layer, from, to)
}

func (kb *kbest) open(layer, state int, nd *lazyNode) {
	nd.opened = true
	if layer == 0 {
		if c := kb.l.Node(0, state); !math.IsInf(c, 1) {
			nd.rest = derivations{{c, 0, 0}}
		}
		return
	}
	for s := range kb.nodes[layer-1] {
		kb.pushFrom(layer, state, nd, s, 0)
	}
}

func (kb *kbest) pushFrom(layer, state int, nd *lazyNode, from, rank int) {
	st := kb.step(layer, from, state, nd.final)
	if math.IsInf(st, 1) {
		return
	}
	pred := &kb.nodes[layer-1][from]
	if !pred.opened {
		kb.open(layer-1, from, pred)
	}
	if layer-1 == 0 && rank > 0 || !kb.drawAt(layer-1, from, pred, rank) {
		return
	}
	heap.Push(&nd.rest, derivation{pred.done[rank].cost + st, int32(from), int32(rank)})
}

func (kb *kbest) draw(layer int, nd *lazyNode, rank int) bool { return kb.drawAt(layer, 0, nd, rank) }

// drawAt makes sure that path number rank of the node is known.
func (kb *kbest) drawAt(layer, state int, nd *lazyNode, rank int) bool {
	for len(nd.done) <= rank {
		if len(nd.rest) == 0 {
			return false
		}
		d := heap.Pop(&nd.rest).(derivation)
		nd.done = append(nd.done, d)
		if layer > 0 {
			kb.pushFrom(layer, state, nd, int(d.from), int(d.rank)+1)
		}
	}
	return true
}
