package bowing

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestModelIsTheProblem: node and link costs of the model add up to what Analyze
// minimises, in every mode, and StudyFrom of its answer is its study.
func TestModelIsTheProblem(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		num, den, text := drawMusic(rt, rapid.IntRange(1, 6).Draw(rt, "bars"))
		sc, p := buildRapid(rt, num, den, text)
		o := Options{MayChangeSlurs: rapid.Bool().Draw(rt, "slurs"), Fewest: rapid.Bool().Draw(rt, "fewest"), Strict: rapid.Bool().Draw(rt, "strict")}
		st := Analyze(sc, p, o)
		c := NewModel(sc, p, o)
		if c.Bows() == 0 {
			return
		}
		states := c.m.solve(c.m.problem())
		numbers := make([]int, len(states))
		for b, s := range states {
			numbers[b] = -1
			for k := range c.States(b) {
				if c.m.states[b][k] == s {
					numbers[b] = k
				}
			}
		}
		sum := -c.Penalty(numbers)
		for b, k := range numbers {
			sum += c.NodeCost(b, k)
		}
		for i, l := range c.Links() {
			if l.A != l.B {
				sum += c.LinkCost(i, numbers[l.A], numbers[l.B])
			}
		}
		got := c.StudyFrom(numbers)
		if math.Abs(sum-st.Plan.Cost) > 1e-6 || got.Plan.Cost != st.Plan.Cost || letters(got.Proposed) != letters(st.Proposed) ||
			len(got.Findings) != len(st.Findings) || len(got.Changes) != len(st.Changes) {
			rt.Fatalf("%s: model %v, plan from states %v %s, Analyze %v %s", text, sum, got.Plan.Cost, letters(got.Proposed), st.Plan.Cost, letters(st.Proposed))
		}
	})
}
