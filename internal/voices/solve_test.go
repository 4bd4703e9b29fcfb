package voices

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// drawLine makes a small line of single tones and chords, some held, some in two
// written voices.
func drawLine(t *rapid.T) *line {
	l := &line{}
	n := rapid.IntRange(1, 6).Draw(t, "chords")
	at := 0.0
	last := []int{-1, -1}
	for c := 0; c < n; c++ {
		lo := len(l.tones)
		m := rapid.SampledFrom([]int{1, 1, 1, 2, 3}).Draw(t, "tones")
		for i := 0; i < m && len(l.tones) < 8; i++ {
			x := tone{onset: at, end: at + rapid.SampledFrom([]float64{0.5, 1, 2}).Draw(t, "length"), key: rapid.IntRange(55, 70).Draw(t, "key"),
				chord: c, written: rapid.IntRange(0, 1).Draw(t, "voice"), measure: c / 2, poly: rapid.Bool().Draw(t, "poly"), before: -1}
			if b := last[x.written]; b >= 0 && m == 1 && rapid.IntRange(0, 3).Draw(t, "bound") == 0 {
				x.before = b
			}
			l.tones = append(l.tones, x)
		}
		if len(l.tones) == lo {
			break
		}
		l.chords = append(l.chords, chord{lo, len(l.tones)})
		last[l.tones[lo].written] = lo
		at += rapid.SampledFrom([]float64{1, 1, 1, 20}).Draw(t, "step")
	}
	l.most = rapid.IntRange(1, 4).Draw(t, "most")
	for _, c := range l.chords {
		l.most = max(l.most, c.hi-c.lo)
	}
	return l
}

// brute tries every assignment, chord by chord, and adds each up with line.total.
func brute(l *line, w *Weights) float64 {
	prev := make([]int, len(l.tones))
	best := math.Inf(1)
	var try func(i int, live []int)
	try = func(i int, live []int) {
		if i == len(l.tones) {
			cost, breaches, _ := l.total(w, prev)
			best = min(best, cost+breach*float64(breaches))
			return
		}
		c := l.chords[l.tones[i].chord]
		if i == c.lo {
			live = l.opened(live, c.lo)
		}
		for _, a := range append([]int{-1}, live...) {
			taken := false
			for j := c.lo; j < i; j++ {
				taken = taken || a >= 0 && prev[j] == a
			}
			if taken {
				continue
			}
			prev[i] = a
			next := live
			if i == c.hi-1 {
				next = l.after(live, prev, c)
			}
			try(i+1, next)
		}
	}
	try(0, nil)
	return best
}

func drawWeights(t *rapid.T) *Weights {
	w := &Weights{}
	seed := rapid.Uint64().Draw(t, "weights")
	r := rand.New(rand.NewPCG(seed, 1))
	for _, at := range w.flat() {
		*at = float64(r.IntN(17)-4) / 4 // some are less than 0, as learned ones may be
	}
	return w
}

func TestSolveAgainstBrute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, w := drawLine(t), drawWeights(t)
		prev := solve(l, w)
		cost, breaches, terms := l.total(w, prev)
		want := brute(l, w)
		if got := cost + breach*float64(breaches); math.Abs(got-want) > 1e-6 {
			t.Fatalf("solver %v (%v), brute %v; %v", got, prev, want, l)
		}
		sum := 0.0
		for _, x := range terms {
			sum += x.Value
		}
		if math.Abs(sum-cost) > 1e-9 {
			t.Fatalf("terms %v do not add up to %v", terms, cost)
		}
	})
}
