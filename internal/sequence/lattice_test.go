package sequence

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

type table struct {
	node [][]float64
	edge [][][]float64 // edge[i][s][t] into layer i
}

func (t table) Layers() int              { return len(t.node) }
func (t table) States(i int) int         { return len(t.node[i]) }
func (t table) Node(i, s int) float64    { return t.node[i][s] }
func (t table) Edge(i, s, u int) float64 { return t.edge[i][s][u] }
func (t table) cost(p []int) (sum float64) {
	for i, s := range p {
		sum += t.node[i][s]
		if i > 0 {
			sum += t.edge[i][p[i-1]][s]
		}
	}
	return sum
}

func drawTable(t *rapid.T) table {
	n := rapid.IntRange(1, 5).Draw(t, "layers")
	cost := func() float64 {
		v := rapid.IntRange(-3, 9).Draw(t, "cost")
		if v == 9 {
			return math.Inf(1)
		}
		return float64(v)
	}
	var tb table
	for i := 0; i < n; i++ {
		m := rapid.IntRange(1, 4).Draw(t, "states")
		node := make([]float64, m)
		for s := range node {
			node[s] = cost()
		}
		var edge [][]float64
		if i > 0 {
			edge = make([][]float64, len(tb.node[i-1]))
			for s := range edge {
				edge[s] = make([]float64, m)
				for u := range edge[s] {
					edge[s][u] = cost()
				}
			}
		}
		tb.node, tb.edge = append(tb.node, node), append(tb.edge, edge)
	}
	return tb
}

// allPaths is the brute-force twin: every path that is not forbidden, cheapest first.
func allPaths(tb table) []Path {
	var out []Path
	var walk func(p []int)
	walk = func(p []int) {
		if len(p) == tb.Layers() {
			if c := tb.cost(p); !math.IsInf(c, 1) {
				out = append(out, Path{slices.Clone(p), c})
			}
			return
		}
		for s := range tb.node[len(p)] {
			walk(append(p, s))
		}
	}
	walk(nil)
	slices.SortStableFunc(out, func(a, b Path) int {
		switch {
		case a.Cost < b.Cost:
			return -1
		case a.Cost > b.Cost:
			return 1
		}
		return 0
	})
	return out
}

func TestAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tb := drawTable(t)
		want := allPaths(tb)
		got, ok := Best(tb)
		if ok != (len(want) > 0) {
			t.Fatalf("Best ok = %v, brute force finds %d paths", ok, len(want))
		}
		if ok && (got.Cost != want[0].Cost || tb.cost(got.States) != got.Cost) {
			t.Fatalf("Best = %v (really %v), want cost %v", got, tb.cost(got.States), want[0].Cost)
		}
		k := rapid.IntRange(1, 20).Draw(t, "k")
		many := KBest(tb, k)
		if len(many) != min(k, len(want)) {
			t.Fatalf("KBest gives %d paths, want %d", len(many), min(k, len(want)))
		}
		seen := map[string]bool{}
		for i, p := range many {
			if p.Cost != want[i].Cost || tb.cost(p.States) != p.Cost {
				t.Fatalf("path %d: %v, really %v, want cost %v", i, p, tb.cost(p.States), want[i].Cost)
			}
			if key := fmt.Sprint(p.States); seen[key] {
				t.Fatalf("path %v twice", p.States)
			} else {
				seen[key] = true
			}
		}
		checkThrough(t, tb, want)
	})
}

func checkThrough(t *rapid.T, tb table, all []Path) {
	for i, row := range Through(tb) {
		for s, got := range row {
			want := math.Inf(1)
			for _, p := range all {
				if p.States[i] == s {
					want = min(want, p.Cost)
				}
			}
			if got != want {
				t.Fatalf("Through[%d][%d] = %v, want %v", i, s, got, want)
			}
		}
	}
}

func TestEmpty(t *testing.T) {
	if p, ok := Best(table{}); !ok || len(p.States) != 0 {
		t.Errorf("no layers: %v %v", p, ok)
	}
	if got := KBest(table{}, 3); got != nil {
		t.Errorf("KBest of no layers: %v", got)
	}
}

func BenchmarkBest1000x40(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	var tb table
	for i := 0; i < 1000; i++ {
		node := make([]float64, 40)
		edge := make([][]float64, 40)
		for s := range node {
			node[s] = r.Float64()
			edge[s] = make([]float64, 40)
			for u := range edge[s] {
				edge[s][u] = r.Float64()
			}
		}
		tb.node, tb.edge = append(tb.node, node), append(tb.edge, edge)
	}
	for b.Loop() {
		Best(tb)
	}
}
