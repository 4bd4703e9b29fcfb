package sequence

import (
	"math"
	"math/rand/v2"
	"testing"
)

// alignSlow tries every alignment.
func alignSlow(i, j, n, m int, pair func(i, j int) float64, skipA, skipB func(int) float64) float64 {
	if i == n && j == m {
		return 0
	}
	best := math.Inf(1)
	if i < n && j < m {
		best = min(best, pair(i, j)+alignSlow(i+1, j+1, n, m, pair, skipA, skipB))
	}
	if i < n {
		best = min(best, skipA(i)+alignSlow(i+1, j, n, m, pair, skipA, skipB))
	}
	if j < m {
		best = min(best, skipB(j)+alignSlow(i, j+1, n, m, pair, skipA, skipB))
	}
	return best
}

// Align is exact: against every alignment of small random cases, and the pairs that
// it gives cost what it says.
func TestAlignIsExact(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 5))
	for range 300 {
		n, m := r.IntN(6), r.IntN(6)
		costs := make([]float64, 36)
		alone := make([]float64, 12)
		for i := range costs {
			costs[i] = float64(r.IntN(9)) / 4
		}
		for i := range alone {
			alone[i] = float64(r.IntN(5)) / 4
		}
		pair := func(i, j int) float64 { return costs[i*6+j] }
		skipA := func(i int) float64 { return alone[i] }
		skipB := func(j int) float64 { return alone[6+j] }
		pairs, cost := Align(n, m, pair, skipA, skipB)
		if want := alignSlow(0, 0, n, m, pair, skipA, skipB); cost != want {
			t.Fatalf("n=%d m=%d: cost %g, the least is %g", n, m, cost, want)
		}
		sum, i, j := 0.0, 0, 0
		for _, p := range pairs {
			switch {
			case p.B < 0:
				sum += skipA(p.A)
			case p.A < 0:
				sum += skipB(p.B)
			default:
				sum += pair(p.A, p.B)
			}
			if p.A >= 0 {
				if p.A != i {
					t.Fatalf("%v passes over element %d", pairs, i)
				}
				i++
			}
			if p.B >= 0 {
				if p.B != j {
					t.Fatalf("%v passes over element %d of the second", pairs, j)
				}
				j++
			}
		}
		if i != n || j != m || math.Abs(sum-cost) > 1e-9 {
			t.Fatalf("n=%d m=%d: %v costs %g, not %g", n, m, pairs, sum, cost)
		}
	}
}
