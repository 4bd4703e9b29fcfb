package sequence

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// drawTied makes a small lattice with ties between random layers, some costs
// forbidden.
func drawTied(t *rapid.T) (*dense, []Tie) {
	cost := rapid.OneOf(rapid.Float64Range(0, 10), rapid.Just(math.Inf(1)), rapid.Float64Range(0, 3))
	n := rapid.IntRange(1, 5).Draw(t, "layers")
	l := &dense{}
	for i := range n {
		m := rapid.IntRange(1, 4).Draw(t, "states")
		l.node = append(l.node, rapid.SliceOfN(cost, m, m).Draw(t, "node"))
		var e [][]float64
		if i > 0 {
			for range l.node[i-1] {
				e = append(e, rapid.SliceOfN(cost, m, m).Draw(t, "edge"))
			}
		}
		l.edge = append(l.edge, e)
	}
	var ties []Tie
	for range rapid.IntRange(0, 4).Draw(t, "ties") {
		from, to := rapid.IntRange(0, n-1).Draw(t, "from"), rapid.IntRange(0, n-1).Draw(t, "to")
		na := rapid.IntRange(1, len(l.node[from])).Draw(t, "classes")
		nb := rapid.IntRange(1, len(l.node[to])).Draw(t, "classes")
		c := rapid.SliceOfN(cost, na*nb, na*nb).Draw(t, "tie")
		tie := Tie{From: from, To: to, ClassesA: na, ClassesB: nb, Cost: func(a, b int) float64 { return c[a*nb+b] },
			ClassA: func(s int) int { return s % na }, ClassB: func(s int) int { return s % nb }}
		if rapid.Bool().Draw(t, "grouped") {
			tie.Group = func(q int) int { return q / 2 }
		}
		ties = append(ties, tie)
	}
	return l, ties
}

type dense struct {
	node [][]float64
	edge [][][]float64
}

func (d *dense) Layers() int                 { return len(d.node) }
func (d *dense) States(i int) int            { return len(d.node[i]) }
func (d *dense) Node(i, s int) float64       { return d.node[i][s] }
func (d *dense) Edge(i, from, t int) float64 { return d.edge[i][from][t] }

// tiedTwin tries every path.
func tiedTwin(l *dense, ties []Tie) float64 {
	best := math.Inf(1)
	path := make([]int, l.Layers())
	var walk func(i int, sum float64)
	walk = func(i int, sum float64) {
		if i == len(path) {
			for k := range ties {
				t := &ties[k]
				sum += t.Cost(t.ClassA(path[t.From]), t.ClassB(path[t.To]))
			}
			best = min(best, sum)
			return
		}
		for s := range l.States(i) {
			path[i] = s
			c := l.Node(i, s)
			if i > 0 {
				c += l.Edge(i, path[i-1], s)
			}
			walk(i+1, sum+c)
		}
	}
	walk(0, 0)
	return best
}

func agree(a, b float64) bool { return a == b || math.Abs(a-b) < 1e-9 }

func TestSolveJoinedAgainstTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, ties := drawTied(t)
		s := NewSearch[Extras](PlainChain{l, ties}, ties, Extras{}, nil)
		j := s.Solve(10000)
		if want := tiedTwin(l, ties); !agree(j.Cost, want) || !j.Exact {
			t.Fatalf("search %v (exact %v), twin %v", j.Cost, j.Exact, want)
		}
		// forbid what was chosen, a state at a time, and search on
		for range 3 {
			if math.IsInf(j.Cost, 1) {
				return
			}
			i := rapid.IntRange(0, l.Layers()-1).Draw(t, "forbid")
			l.node[i][j.States[i]] = math.Inf(1)
			s.Tighten(i)
			j = s.Solve(10000)
			if want := tiedTwin(l, ties); !agree(j.Cost, want) {
				t.Fatalf("after tightening: search %v, twin %v", j.Cost, want)
			}
		}
	})
}

// A search that goes on from some of the open branches finds the cheapest path, or says
// how much too dear what it found may be.
func TestForkAgainstTwin(t *testing.T) {
	cut, exact := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		l, ties := drawTied(t)
		s := NewSearch[Extras](PlainChain{l, ties}, ties, Extras{}, nil)
		j := s.Solve(10000)
		if math.IsInf(j.Cost, 1) {
			return
		}
		i := rapid.IntRange(0, l.Layers()-1).Draw(t, "forbid")
		l.node[i][j.States[i]] = math.Inf(1)
		f := s.Fork(PlainChain{l, ties}, []int{i}, rapid.IntRange(1, 3).Draw(t, "most")).Solve(10000)
		want := tiedTwin(l, ties)
		if f.Exact {
			exact++
			if !agree(f.Cost, want) {
				t.Fatalf("said to be exact: %v, twin %v", f.Cost, want)
			}
			return
		}
		cut++
		if f.Cost < want-1e-9 || !math.IsInf(f.Cost, 1) && f.Cost-f.Gap > want+1e-9 {
			t.Fatalf("cut short at %v with gap %v, twin %v", f.Cost, f.Gap, want)
		}
	})
	t.Logf("%d searches were cut short, %d exact", cut, exact)
}

// A search cut short tells how much too dear its answer may be.
func TestSolveJoinedGap(t *testing.T) {
	cut := 0
	rapid.Check(t, func(t *rapid.T) {
		l, ties := drawTied(t)
		j := SolveJoined[Extras](PlainChain{l, ties}, ties, 1)
		want := tiedTwin(l, ties)
		if j.Exact {
			if !agree(j.Cost, want) {
				t.Fatalf("said to be exact: %v, twin %v", j.Cost, want)
			}
			return
		}
		cut++
		if j.Cost < want-1e-9 || !math.IsInf(j.Cost, 1) && j.Cost-j.Gap > want+1e-9 {
			t.Fatalf("cut short at %v with gap %v, twin %v", j.Cost, j.Gap, want)
		}
	})
	t.Logf("%d searches were cut short", cut)
}
