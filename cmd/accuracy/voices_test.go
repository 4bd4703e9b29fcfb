package main

import (
	"math/rand/v2"
	"testing"

	"pochette/internal/testdata"
	"pochette/internal/voices"
)

// Source: the quartets of the shared data. A line made of violin I and cello by turns
// comes apart again with more than 95 % of the links right over all movements, with
// more than 94 % in each, and better than by the nearest pitch or a cut at the median.
func TestInterleavedVoicesComeApart(t *testing.T) {
	all, err := readEnsembles(testdata.Dir(t))
	if err != nil {
		t.Fatal(err)
	}
	measured := 0
	var sum links
	for _, e := range all {
		if len(e.notes) < 4 {
			continue
		}
		measured++
		x := byTurns(e.notes[0], e.notes[3])
		m := x.measure(nil)
		sum.add(m.two)
		if 100*m.two.right < 94*m.two.all {
			t.Errorf("%s: %s of %d links right", e.name, m.two, m.two.all)
		}
		if m.two.right <= m.near.right || m.two.right <= m.half.right {
			t.Errorf("%s: %s, a baseline %s or %s", e.name, m.two, m.near, m.half)
		}
	}
	if measured == 0 {
		t.Skip("no quartets in the shared data")
	}
	if 100*sum.right <= 95*sum.all {
		t.Errorf("%s of %d links right over all", sum, sum.all)
	}
}

// A part by itself given to the measure is right by definition if every note goes on
// from the one before.
func TestLinksOfTheTruthAreRight(t *testing.T) {
	all, err := readEnsembles(testdata.Dir(t))
	if err != nil || len(all) == 0 {
		t.Skip("no quartets in the shared data")
	}
	x := alone(all[0].notes[0])
	if k := x.running(); k.right != k.all || k.all == 0 {
		t.Errorf("%+v", k)
	}
	if k := x.searched(voices.Options{Voices: 1}); k.right != k.all {
		t.Errorf("one voice: %+v", k)
	}
}

// Planted differences (seeded) are found, and clean copies show none.
// Source: the real parts of the shared data.
func TestPlantedDifferences(t *testing.T) {
	parts, err := realParts(testdata.Dir(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(parts) == 0 {
		t.Skip("no real parts in the shared data")
	}
	r := rand.New(rand.NewPCG(plantSeed, 1))
	by := make([]found, len(plantings))
	var sum found
	for _, x := range parts {
		sum.add(plantIn(x, 1, r, by, func(m string) { t.Log("not found:", m) }))
		for _, c := range copyIntervals {
			if n, cover := cleanCopy(x, c.iv); n > 0 || cover < 0.95 {
				t.Errorf("%s, copy %s: %d differences, %.1f %% covered", x.name, c.name, n, 100*cover)
			}
		}
	}
	t.Logf("%+v", sum)
	if sum.all < 100 || 100*sum.seen < 99*sum.all {
		t.Errorf("%d of %d planted differences found", sum.seen, sum.all)
	}
}
