package joint

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// TestKBestIsExact: the list is the head of the twin's list of all plans.
func TestKBestIsExact(t *testing.T) {
	r := seeded(t)
	cases, plans := 1500, 0
	if testing.Short() {
		cases = 150
	}
	for n := range cases {
		s, search := randomCase(r, 2)
		s.search = search
		if s.plan = s.solve(); s.plan == nil {
			continue
		}
		w := twin{pr: s.Problem, only: s.chain.only, keep: true}
		w.run()
		slices.Sort(w.all)
		k := 1 + r.IntN(8)
		got := s.KBest(k)
		if len(got) != min(k, len(w.all)) {
			t.Fatalf("case %d: %d plans, the twin has %d, asked for %d", n, len(got), len(w.all), k)
		}
		seen := map[string]bool{}
		for i, p := range got {
			plans++
			want := w.all[i]
			if cost := p.Cost + s.Bow.Penalty(p.Bows); math.Abs(cost-want) > tol(want) || !p.Exact {
				t.Fatalf("case %d: plan %d costs %v, the twin's %v", n, i, cost, want)
			}
			key := fmt.Sprint(p.Bows, p.Grips)
			if seen[key] {
				t.Fatalf("case %d: plan %d comes twice", n, i)
			}
			seen[key] = true
			checkPlan(t, n, p, want)
		}
	}
	t.Logf("%d plans", plans)
}
