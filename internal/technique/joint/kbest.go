package joint

import (
	"container/heap"
	"math"
	"slices"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/sequence"
)

// KBest gives the k cheapest plans under the decisions made so far, cheapest
// first; plans that differ in the places on the bow alone are one. It is exact,
// repeats included, unless a plan says otherwise.
//
// The plans but the best are shared out (Lawler 1972): those that agree with it
// after layer j and differ in layer j, for each j. The least cost of a share is
// read off the forward tables and the costs of the one way on from j+1; over
// repeats that is a lower bound, and the share is searched when its turn comes.
// Time: a pass over the part for each plan.
func (s *Solver) KBest(k int) []*Plan {
	kb := kbest{s: s, base: s.chain.only}
	x := sequence.Extras{Low: make([][]float64, len(s.ties)), Allowed: make([][]bool, len(s.ties))}
	for i := range s.ties {
		x.Low[i] = lows(&s.ties[i])
	}
	kb.x = &x
	kb.t = s.chain.Pass(nil, &x, nil)
	first := &share{at: len(s.layers)}
	if s.plan == nil || k <= 0 {
		return nil
	}
	kb.settle(first)
	heap.Push(&kb.open, first)
	var out []*Plan
	for len(out) < k && len(kb.open) > 0 {
		sh := heap.Pop(&kb.open).(*share)
		if sh.states == nil {
			kb.settle(sh)
			heap.Push(&kb.open, sh)
			continue
		}
		if math.IsInf(sh.cost, 1) {
			break
		}
		p := s.Problem.plan(sh.states, sh.cost)
		p.Exact, p.Gap = sh.exact, sh.gap
		out = append(out, p)
		if len(out) < k {
			kb.divide(sh)
		}
	}
	return out
}

func lows(t *sequence.Tie) []float64 {
	out := make([]float64, t.ClassesA)
	for a := range out {
		out[a] = math.Inf(1)
		for q := range t.ClassesB {
			out[a] = min(out[a], t.Cost(a, q))
		}
	}
	return out
}

type kbest struct {
	s    *Solver
	base map[int]*restriction
	x    *sequence.Extras
	t    *tables
	open shares
}

// share is the set of plans whose marks in the layers after at are those of
// fixed and whose marks in layer at are none of not.
type share struct {
	at     int
	fixed  []int // marks: by layer, number of the bow's state times grips + grip
	not    []int
	cost   float64 // a bound until states is set
	states []int
	exact  bool
	gap    float64
}

type shares []*share

func (s shares) Len() int           { return len(s) }
func (s shares) Less(i, j int) bool { return s[i].cost < s[j].cost }
func (s shares) Swap(i, j int)      { s[i], s[j] = s[j], s[i] }
func (s *shares) Push(x any)        { *s = append(*s, x.(*share)) }
func (s *shares) Pop() any {
	old := *s
	x := old[len(old)-1]
	*s = old[:len(old)-1]
	return x
}

// settle finds the best plan of a share.
func (kb *kbest) settle(sh *share) {
	s := kb.s
	only := map[int]*restriction{}
	for i, r := range kb.base {
		only[i] = r
	}
	var dirty []int
	for i := sh.at; i < len(s.layers); i++ {
		allow := func(mark int) bool { return mark == sh.fixed[i] }
		if i == sh.at {
			allow = func(mark int) bool { return !slices.Contains(sh.not, mark) }
		}
		only[i] = s.byMark(kb.base[i], i, allow)
		dirty = append(dirty, i)
	}
	for k := range s.ties {
		dirty = append(dirty, s.ties[k].From, s.ties[k].To)
	}
	slices.Sort(dirty)
	dirty = slices.Compact(dirty)
	if dirty == nil {
		dirty = []int{}
	}
	c := &chain{pr: s.Problem, only: only}
	j := sequence.NewSearch[*tables](c, s.ties, kb.t, dirty).Solve(s.o.Branches)
	sh.cost, sh.states, sh.exact, sh.gap = j.Cost, j.States, j.Exact, j.Gap
	if sh.states == nil {
		sh.states = []int{}
	}
}

// byMark narrows a restriction to the marks allowed.
func (pr *Problem) byMark(old *restriction, i int, allow func(mark int) bool) *restriction {
	l := &pr.layers[i]
	n := 1
	if l.bow >= 0 {
		n = pr.Bow.States(l.bow)
	}
	r := &restriction{make([][]bool, n)}
	for k := range r.grips {
		if old != nil && old.grips[k] == nil {
			continue
		}
		ok, any := make([]bool, l.grips), false
		for g := range ok {
			ok[g] = (old == nil || old.grips[k][g]) && allow(k*l.grips+g)
			any = any || ok[g]
		}
		if any {
			r.grips[k] = ok
		}
	}
	return r
}

// divide shares out the plans of a settled share but its best.
func (kb *kbest) divide(sh *share) {
	pr := kb.s.Problem
	n := len(pr.layers)
	marks := make([]int, n)
	for i, st := range sh.states {
		g := st % pr.layers[i].grips
		marks[i] = pr.bowState(st/pr.layers[i].grips)*pr.layers[i].grips + g
	}
	var onward []float64 // by row of layer i+1: cost of the one way on from there
	for i := n - 1; i >= 0; i-- {
		var ways [][]step1
		if i+1 < n {
			kb.s.chain.look(i+1, false)
			ways = pr.waysInto(i+1, marks[i+1]/pr.layers[i+1].grips)
		}
		if i <= sh.at {
			c := &share{at: i, fixed: marks, not: []int{marks[i]}}
			if i == sh.at {
				c.not = append(slices.Clone(sh.not), marks[i])
			}
			c.cost = kb.bound(c, ways, onward)
			if !math.IsInf(c.cost, 1) {
				heap.Push(&kb.open, c)
			}
		}
		onward = kb.back(i, marks, ways, onward)
	}
}

// step1 is one way of the bow from a row to a row.
type step1 struct {
	to   int
	how  fingering.Bow
	cost float64
}

// waysInto lists for each row of the layer before the ways of the bow into the
// rows of one state of layer i, node costs of the bow included.
func (pr *Problem) waysInto(i, state int) [][]step1 {
	l := &pr.layers[i]
	out := make([][]step1, pr.rows(i-1))
	for r := range out {
		q := pr.bowState(r)
		switch {
		case l.step == turn:
			if pr.layers[i-1].bow < 0 {
				q = 0
			}
			k := pr.stroke(l.bow, false, state)
			how, cost, f := pr.onward(i, q, state)
			k.f = f
			mat := pr.matrix(k)
			for e := range pr.places {
				out[r] = append(out[r], step1{state*pr.places + e, how, cost + pr.Bow.NodeCost(l.bow, state) + mat[r%pr.places*pr.places+e]})
			}
		case l.bow >= 0 && q != state:
		case l.step == split && pr.Bow.Split(l.bow, state):
			mat := pr.matrix(pr.stroke(l.bow, true, state))
			for e := range pr.places {
				out[r] = append(out[r], step1{state*pr.places + e, fingering.Changed, mat[r%pr.places*pr.places+e]})
			}
		case l.plucked:
			out[r] = []step1{{r, l.edge, 0}}
		default:
			out[r] = []step1{{r, fingering.Slurred, 0}}
		}
	}
	return out
}

// hand is the cost of the hand's way into layer i with the crossing.
func (c *chain) hand(i int, how fingering.Bow, d bowing.Direction, from, to int) float64 {
	sum := c.edge(i, how, from, to)
	if d != bowing.None && c.pr.crossed(i, how) {
		sum += c.pr.crossing(d, how, &c.pr.layers[i-1], &c.pr.layers[i], from, to)
	}
	return sum
}

// on is the least cost from a row and grip of layer i over the marked way on.
func (kb *kbest) on(i, r, g int, mark int, ways [][]step1, onward []float64) float64 {
	pr := kb.s.Problem
	best := math.Inf(1)
	d := pr.heading(i, pr.bowState(r))
	for _, w := range ways[r] {
		if c := w.cost + onward[w.to]; c < best {
			best = min(best, c+kb.s.chain.hand(i+1, w.how, d, g, mark%pr.layers[i+1].grips))
		}
	}
	return best
}

// bound is the least cost in a share as far as the tables know.
func (kb *kbest) bound(sh *share, ways [][]step1, onward []float64) float64 {
	pr := kb.s.Problem
	t, i := kb.t.layers[sh.at], sh.at
	best := math.Inf(1)
	for r := range t.rows {
		rw := &t.rows[r]
		if rw.p == nil {
			continue
		}
		for g, v := range rw.p.v {
			c := rw.off + v + kb.t.shift[i]
			if c >= best || slices.Contains(sh.not, pr.bowState(r)*pr.layers[i].grips+g) {
				continue
			}
			if ways != nil {
				c += kb.on(i, r, g, sh.fixed[i+1], ways, onward)
			}
			best = min(best, c)
		}
	}
	return best
}

// back is onward for layer i: its own cost by the marks, and the way on.
func (kb *kbest) back(i int, marks []int, ways [][]step1, onward []float64) []float64 {
	pr := kb.s.Problem
	ex := (&chain{pr: pr}).extra(i, kb.x)
	g, k := marks[i]%pr.layers[i].grips, marks[i]/pr.layers[i].grips
	out := make([]float64, pr.rows(i))
	for r := range out {
		out[r] = math.Inf(1)
		if pr.layers[i].bow >= 0 && pr.bowState(r) != k {
			continue
		}
		c := 0.0
		if ways != nil {
			c = kb.on(i, r, g, marks[i+1], ways, onward)
		}
		out[r] = c + ex.hand[k][g] + ex.bow[k]
	}
	return out
}
