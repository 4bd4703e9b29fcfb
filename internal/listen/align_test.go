package listen

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pochette/internal/audio"
)

// shortSound is some frames of sound whose tone changes at random.
func shortSound(rng *rand.Rand, seconds float64) *audio.Features {
	x := make([]float32, int(seconds*audio.Rate))
	phase, hz := 0.0, 440.0
	for i := range x {
		if rng.IntN(600) == 0 {
			hz = 220 * math.Exp2(float64(rng.IntN(24))/12)
		}
		phase += 2 * math.Pi * hz / audio.Rate
		x[i] = float32(0.3*math.Sin(phase) + 0.1*math.Sin(2*phase))
	}
	if rng.IntN(3) == 0 {
		clear(x[:len(x)/3])
	}
	a := audio.NewAnalyzer(170)
	a.Push(x)
	return a.Finish()
}

// shortLine is a line of n events with keys, rests, slurs and a repeat at random.
func shortLine(rng *rand.Rand, n int) *Line {
	l := &Line{}
	for i := range n {
		e := Event{At: float64(i), Dur: 1, Keys: []int{57 + rng.IntN(14)}, First: i%2 == 0, Slurred: rng.IntN(2) == 0, Grace: rng.IntN(6) == 0}
		if rng.IntN(3) == 0 {
			e.Keys = append(e.Keys, e.Keys[0]+4)
		}
		if rng.IntN(3) == 0 {
			e.Rest = 0.5
		}
		l.Events = append(l.Events, e)
	}
	if n > 2 && rng.IntN(2) == 0 {
		l.Skips = [][2]int{{-1 + rng.IntN(2), 2}}
		if l.Skips[0][0] == 0 {
			l.Skips[0][1] = min(n-1, 2)
		}
	}
	return l
}

// edge is the cost of going from state s to state u at frame t by the definition of the
// model, written out again: the least over all ways.
func edge(a *aligner, s, u, t int) float64 {
	event := func(s int) (int, int) {
		if s == 0 {
			return -1, stGap
		}
		return (s - 1) / kinds, (s - 1) % kinds
	}
	e, k := event(s)
	g, m := event(u)
	quiet, bound, struck := float64(a.em.quiet[t]), 0.0, 0.0
	b32, s32 := entryCosts(float64(a.em.on[t]))
	bound, struck = float64(b32), float64(s32)
	best := math.Inf(1)
	if s == u {
		switch {
		case m == stGap:
			best = 0
		default:
			best = float64(a.stay[g]) + quiet
		}
	}
	if g < 0 {
		return best
	}
	if m == stGap { // only from its own note
		if e == g && k != stGap {
			into := costGap
			if a.l.Events[g].Rest > 0 || g == len(a.l.Events)-1 {
				into = costRest
			}
			best = min(best, into)
		}
		return best
	}
	leave := 0.0
	switch {
	case e >= 0 && k == stGap:
		leave = 0.3
	case e >= 0:
		leave = float64(a.leave[e])
	}
	entry := struck
	if a.l.Events[g].Slurred {
		entry = bound
	}
	if m == stWrong {
		entry += costIntoWrong
	}
	if e == g-1 {
		best = min(best, leave+entry)
	}
	if g > 0 && e == g-2 {
		pass := costMissing
		if a.l.Events[g-1].Grace {
			pass = 1.5
		}
		best = min(best, leave+pass+entry)
	}
	for _, sk := range a.l.Skips {
		if sk[1] == g && sk[0] == e {
			best = min(best, leave+costSkipRepeat+entry)
		}
	}
	return min(best, float64(a.resume(g))+entry)
}

// The search is exact: against every path through small random cases.
func TestAlignerIsExact(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 25 {
		f := shortSound(rng, 0.05)
		l := shortLine(rng, 2+rng.IntN(2))
		if l.Events[len(l.Events)-1].Grace {
			l.Events[len(l.Events)-1].Grace = false
		}
		a := newAligner(f, l, 440)
		p, err := a.run(func(int, int) error { return nil })
		if err != nil {
			t.Fatal(err)
		}
		best := everyPath(newAligner(f, l, 440))
		if math.Abs(best-p.cost) > 1e-3*max(1, best) {
			t.Fatalf("cost %v, the least of all paths %v (%d frames, events %+v, skips %v)", p.cost, best, f.Frames(), l.Events, l.Skips)
		}
		if got := costOf(newAligner(f, l, 440), p.states); math.Abs(got-p.cost) > 1e-3*max(1, got) {
			t.Fatalf("the path given costs %v, not %v", got, p.cost)
		}
	}
}

// node costs of all frames, by the aligner's own emission.
func nodes(a *aligner) [][]float64 {
	out := make([][]float64, a.frames)
	for t := range out {
		wrong, gap := a.em.frame(t, a.emitted)
		out[t] = append(out[t], float64(gap))
		for e := range a.l.Events {
			out[t] = append(out[t], float64(a.emitted[a.of[e]]), float64(wrong), float64(gap))
		}
	}
	return out
}

func startCost(a *aligner, s int) float64 {
	switch {
	case s == 0 || s == 1+stNote:
		return 0
	case s == 1+stWrong:
		return costIntoWrong
	case (s-1)%kinds == stNote:
		return float64(a.resume((s - 1) / kinds))
	}
	return math.Inf(1)
}

func endCost(a *aligner, s int) float64 {
	if s < a.states()-kinds {
		return costEndEarly
	}
	return 0
}

func costOf(a *aligner, states []int32) float64 {
	n := nodes(a)
	sum := startCost(a, int(states[0])) + n[0][states[0]]
	for t := 1; t < len(states); t++ {
		sum += edge(a, int(states[t-1]), int(states[t]), t) + n[t][states[t]]
	}
	return sum + endCost(a, int(states[len(states)-1]))
}

// everyPath tries all, state by state, without a table.
func everyPath(a *aligner) float64 {
	n := nodes(a)
	cache := make([][][]float64, a.frames)
	for t := 1; t < a.frames; t++ {
		cache[t] = make([][]float64, a.states())
		for s := range cache[t] {
			for u := range a.states() {
				cache[t][s] = append(cache[t][s], edge(a, s, u, t))
			}
		}
	}
	best := math.Inf(1)
	var walk func(t, s int, sum float64)
	walk = func(t, s int, sum float64) {
		if sum+n[t][s] >= best {
			return // all costs are positive
		}
		sum += n[t][s]
		if t == a.frames-1 {
			best = min(best, sum+endCost(a, s))
			return
		}
		for u := range a.states() {
			if c := cache[t+1][s][u]; !math.IsInf(c, 1) {
				walk(t+1, u, sum+c)
			}
		}
	}
	for s := range a.states() {
		if c := startCost(a, s); !math.IsInf(c, 1) {
			walk(0, s, c)
		}
	}
	return best
}

// The segmental search is exact: against every choice of onsets and of events left out.
func TestBestOnsetsIsExact(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 2))
	for range 200 {
		n := 1 + rng.IntN(4)
		slots := make([]slot, n)
		at := 0
		for k := range slots {
			s := &slots[k]
			for range 1 + rng.IntN(4) {
				at += 1 + rng.IntN(8)
				s.at, s.onset = append(s.at, at), append(s.onset, 3*rng.Float64())
			}
			at -= rng.IntN(4)
			at = max(at, 1)
			s.expected = 0.02 + 0.1*rng.Float64()
			s.cum, s.wrong, s.quiet = []float64{0}, []float64{0}, []float64{0}
			for range 60 {
				s.cum = append(s.cum, s.cum[len(s.cum)-1]+2*rng.Float64())
				s.wrong = append(s.wrong, s.wrong[len(s.wrong)-1]+rng.Float64())
				s.quiet = append(s.quiet, s.quiet[len(s.quiet)-1]+0.2*rng.Float64())
			}
		}
		end := float64(at+10) * settleStep
		best := everyChoice(slots, fine(end))
		if math.IsInf(best, 1) {
			continue // no choice keeps the order
		}
		starts, _ := bestOnsets(slots, end)
		if got := choiceCost(slots, starts, fine(end)); math.Abs(got-best) > 1e-9 {
			t.Fatalf("cost %v, the least of all %v: %v", got, best, starts)
		}
	}
}

// choiceCost of onsets (-1: left out) by the definition.
func choiceCost(slots []slot, starts []int, end int) float64 {
	if starts[0] < 0 {
		return math.Inf(1)
	}
	sum, missing := 0.0, 0
	for k := 0; k < len(slots); k++ {
		if starts[k] < 0 {
			if missing++; missing > settleSkips {
				return math.Inf(1)
			}
			sum += settleMissing
			continue
		}
		missing = 0
		for i, t := range slots[k].at {
			if t == starts[k] {
				sum += slots[k].onset[i]
			}
		}
		next, expected := end, slots[k].expected
		m := k + 1
		for ; m < len(slots) && starts[m] < 0; m++ {
			expected += slots[m].expected
		}
		if m < len(slots) {
			next = starts[m]
			gap := float64(next-starts[k]) * settleStep
			if gap < shortestNote {
				return math.Inf(1)
			}
			sum += lengthCost(gap, expected)
		} else if starts[k] >= end {
			return math.Inf(1)
		}
		c, _ := slots[k].segment(starts[k], next)
		sum += c
	}
	return sum
}

func everyChoice(slots []slot, end int) float64 {
	starts := make([]int, len(slots))
	best := math.Inf(1)
	var walk func(k int)
	walk = func(k int) {
		if k == len(slots) {
			best = min(best, choiceCost(slots, starts, end))
			return
		}
		for _, t := range append([]int{-1}, slots[k].at...) {
			starts[k] = t
			walk(k + 1)
		}
	}
	walk(0)
	return best
}

// An error of the progress ends the work.
func TestAlignStops(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	f := shortSound(rng, 0.5)
	stop := errors.New("stop")
	if _, err := Align(f, shortLine(rng, 3), Options{A4: 440, Progress: func(int, int) error { return stop }}); err != stop {
		t.Errorf("error %v", err)
	}
}
