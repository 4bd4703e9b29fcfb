package harmony

import (
	"math"
	"math/rand/v2"
	"testing"
)

// everyReading calls see with every segmentation and every state of each segment.
func everyReading(p *problem, see func(path []Segment)) {
	var path []Segment
	var try func(at int)
	try = func(at int) {
		if at == p.units {
			see(path)
			return
		}
		for to := at + 1; to <= min(p.units, at+maxLen); to++ {
			for k, row := range p.chord {
				for f := range row {
					path = append(path, Segment{at, to, State{k, f}})
					try(to)
					path = path[:len(path)-1]
				}
			}
		}
	}
	try(0)
}

// The sums over all readings, and the expected features that the weights are
// learned from, against adding up reading by reading.
func TestSumsAreExact(t *testing.T) {
	seed := uint64(20)
	r := rand.New(rand.NewPCG(seed, 4))
	t.Logf("seed %d", seed)
	for n := range 6 {
		p := newProblem(newGrid(randomPart(r, 1), 4), Key{Tone(r.IntN(5) - 2), r.IntN(2) == 0})
		narrow(p, r, 2+n%2)
		w := randomWeights(r)
		want, sum := make([]float64, features), 0.0
		everyReading(p, func(path []Segment) {
			e := math.Exp(p.score(w, path))
			sum += e
			p.pathFeatures(path, func(i int, v float64) { want[i] += e * v })
		})
		got := make([]float64, features)
		if log := expected(newScored(p, w), got); math.Abs(log-math.Log(sum)) > 1e-6 {
			t.Fatalf("case %d: logarithm of the sum %f, added up %f", n, log, math.Log(sum))
		}
		for _, b := range blocks {
			for i := range b.count() {
				if d := got[b.at+i] - want[b.at+i]/sum; math.Abs(d) > 1e-4 {
					t.Errorf("case %d: %s %f, added up %f", n, b.label(i), got[b.at+i], want[b.at+i]/sum)
				}
			}
		}
	}
}

// The chances of keys and roots over single units against adding them up, and the
// reading that agrees best with them against trying all.
func TestLikelyIsExact(t *testing.T) {
	seed := uint64(21)
	r := rand.New(rand.NewPCG(seed, 8))
	t.Logf("seed %d", seed)
	for n := range 6 {
		p := newProblem(newGrid(randomPart(r, 1), 4), Key{Tone(r.IntN(5) - 2), r.IntN(2) == 0})
		narrow(p, r, 2+n%2)
		w := randomWeights(r)
		for i := range w.w {
			w.w[i] /= 4
		}
		key, root, sum := make([][2]float64, p.units), make([][tones]float64, p.units), 0.0
		state := make([]map[State]float64, p.units)
		for u := range state {
			state[u] = map[State]float64{}
		}
		everyReading(p, func(path []Segment) {
			e := math.Exp(p.score(w, path))
			sum += e
			for _, s := range path {
				for u := s.From; u < s.To; u++ {
					key[u][s.Key] += e
					root[u][p.chordOf(s.State).Root-loTone] += e
					state[u][s.State] += e
				}
			}
		})
		best := math.Inf(-1)
		value := func(path []Segment) float64 {
			v := p.score(w, path)
			for _, s := range path {
				for u := s.From; u < s.To; u++ {
					if key[u][s.Key] < hopeless*sum {
						return math.Inf(-1)
					}
					v += float64(p.g.units[u].quarters) / sum * (agreement*(key[u][s.Key]+root[u][p.chordOf(s.State).Root-loTone]) + numeralAgreement*state[u][s.State])
				}
			}
			return v
		}
		everyReading(p, func(path []Segment) { best = max(best, value(path)) })
		if got := value(newScored(p, w).likely()); math.Abs(got-best) > 1e-4 {
			t.Fatalf("case %d: reading agrees by %f, the best by %f", n, got, best)
		}
	}
}
