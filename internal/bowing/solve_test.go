package bowing

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// bruteForce tries every assignment.
func bruteForce(pr *problem) float64 {
	n := len(pr.node)
	states := make([]int, n)
	best := math.Inf(1)
	for {
		best = min(best, pr.total(states))
		i := 0
		for ; i < n; i++ {
			if states[i]++; states[i] < len(pr.node[i]) {
				break
			}
			states[i] = 0
		}
		if i == n {
			return best
		}
	}
}

func drawProblem(t *rapid.T) *problem {
	n := rapid.IntRange(1, 8).Draw(t, "n")
	pr := &problem{node: make([][]float64, n)}
	for i := range pr.node {
		pr.node[i] = make([]float64, rapid.SampledFrom([]int{1, 2, 2, 2, 4}).Draw(t, "states"))
		for s := range pr.node[i] {
			pr.node[i][s] = float64(rapid.IntRange(0, 40).Draw(t, "node")) / 4
			if s > 0 && rapid.IntRange(0, 9).Draw(t, "forbid") == 0 {
				pr.node[i][s] = math.Inf(1)
			}
		}
	}
	edge := func(a, b int) {
		var c [4][4]float64
		for i := range c {
			for k := range c[i] {
				c[i][k] = float64(rapid.IntRange(0, 40).Draw(t, "edge")) / 4
			}
		}
		pr.edges = append(pr.edges, pairCost{a: a, b: b, cost: func(sa, sb int) float64 { return c[sa][sb] }})
	}
	for i := 1; i < n; i++ {
		edge(i-1, i)
	}
	for k := rapid.IntRange(0, 4).Draw(t, "jumps"); k > 0 && n > 1; k-- {
		a, b := rapid.IntRange(0, n-1).Draw(t, "a"), rapid.IntRange(0, n-1).Draw(t, "b")
		if a != b {
			edge(a, b)
		}
	}
	return pr
}

// The elimination is exact: it agrees with trying everything.
func TestSolveAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pr := drawProblem(t)
		states, cost, dropped := solve(pr, 1<<20)
		if len(dropped) > 0 {
			t.Fatalf("dropped %v under a bound that was not reached", dropped)
		}
		if want := bruteForce(pr); math.Abs(cost-want) > 1e-9 || math.Abs(pr.total(states)-want) > 1e-9 {
			t.Fatalf("cost %v, of its states %v, brute force %v", cost, pr.total(states), want)
		}
	})
}

// Under a tight bound edges are left out, and the rest is still exact.
func TestSolveBounded(t *testing.T) {
	hit := 0
	rapid.Check(t, func(t *rapid.T) {
		pr := drawProblem(t)
		states, cost, dropped := solve(pr, 16)
		rest := &problem{node: pr.node}
		for i, e := range pr.edges {
			if !slices.Contains(dropped, i) {
				rest.edges = append(rest.edges, e)
			}
		}
		if len(dropped) > 0 {
			hit++
		}
		if want := bruteForce(rest); math.Abs(cost-want) > 1e-9 || math.Abs(rest.total(states)-want) > 1e-9 {
			t.Fatalf("cost %v, brute force without %v: %v", cost, dropped, want)
		}
	})
	if hit == 0 {
		t.Error("no case reached the bound: the test shows nothing")
	}
}
