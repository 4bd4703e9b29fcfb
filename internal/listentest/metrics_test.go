package listentest

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Values that can be derived by hand from mir_eval's definitions; identical input
// scores 1.
func TestMetricsByHand(t *testing.T) {
	ref := []float64{1, 2, 3, 4}
	if f, p, r := OnsetF(ref, ref, 0.05); f != 1 || p != 1 || r != 1 {
		t.Errorf("identical: %v %v %v", f, p, r)
	}
	// two of four hit (1.04 and 3.0), three estimated: P 2/3, R 1/2, F 4/7
	if f, p, r := OnsetF(ref, []float64{1.04, 2.06, 3}, 0.05); math.Abs(f-4.0/7) > 1e-12 || math.Abs(p-2.0/3) > 1e-12 || r != 0.5 {
		t.Errorf("%v %v %v", f, p, r)
	}
	// one reference is used once, however many lie near
	if f, p, r := OnsetF([]float64{1}, []float64{0.98, 1.01, 1.03}, 0.05); p != 1.0/3 || r != 1 || f != 0.5 {
		t.Errorf("%v %v %v", f, p, r)
	}
	if f, _, _ := OnsetF(nil, ref, 0.05); f != 0 {
		t.Errorf("nothing to find: %v", f)
	}
	e := Absolute([]float64{1, 2, 3}, []float64{1.01, 1.98, 3.05})
	if math.Abs(Quantile(e, 0.5)-0.02) > 1e-9 || math.Abs(Within(e, 0.03)-2.0/3) > 1e-9 {
		t.Errorf("%v", e)
	}
	if q := Quantile([]float64{4, 1, 3, 2}, 0.5); q != 2.5 {
		t.Errorf("median %v", q)
	}
}

// Match is as large as any matching, by trying all.
func TestMatchIsLargest(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	times := func() []float64 {
		v := make([]float64, rng.IntN(6))
		for i := range v {
			v[i] = rng.Float64()
		}
		slices.Sort(v)
		return v
	}
	for range 2000 {
		ref, est := times(), times()
		if got, want := len(Match(ref, est, 0.15)), largest(ref, est, 0.15, 0); got != want {
			t.Fatalf("%v %v: %d, want %d", ref, est, got, want)
		}
	}
}

func largest(ref, est []float64, window float64, used int) int {
	if len(ref) == 0 {
		return 0
	}
	best := largest(ref[1:], est, window, used)
	for j := range est {
		if used>>j&1 == 0 && math.Abs(est[j]-ref[0]) <= window {
			best = max(best, 1+largest(ref[1:], est, window, used|1<<j))
		}
	}
	return best
}
