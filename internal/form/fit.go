package form

import (
	"cmp"
	"math"
	"slices"

	"pochette/internal/score"
)

// Example is a part with the arrivals that an expert marked.
type Example struct {
	In       Input
	Arrivals []score.Tick
}

// sample is one section of an example: its layout and the right arrivals.
type sample struct {
	layout
	truth []int
}

// samples cuts examples into sections. An arrival that is no candidate goes to
// the nearest one within a bar, else it is left out; a section without any is
// left out too.
func samples(exs []Example) []sample {
	var out []sample
	for i := range exs {
		g := newGrid(exs[i].In)
		if len(g.onsets) == 0 {
			continue
		}
		ss := g.sections()
		for k := range ss {
			smp := sample{layout: g.layout(&ss[k])}
			for _, at := range exs[i].Arrivals {
				if at < ss[k].From || at >= ss[k].To {
					continue
				}
				if j := nearest(smp.cands, g.barPlace(at)); j >= 0 && (len(smp.truth) == 0 || smp.truth[len(smp.truth)-1] < j) {
					smp.truth = append(smp.truth, j)
				}
			}
			if n := len(smp.truth); n > 0 && smp.truth[n-1] >= smp.last {
				out = append(out, smp)
			}
		}
	}
	return out
}

func nearest(cs []candidate, bars float64) int {
	best, at := 1.0, -1
	for j := range cs {
		if d := math.Abs(cs[j].bars - bars); d < best {
			best, at = d, j
		}
	}
	return at
}

// How the weights are fitted: what half their squares cost, and how many rounds.
const (
	fitSquares = 1.0
	fitRounds  = 120
)

// Fit finds the weights under which the marked layouts are likeliest among all
// layouts, with half their squares taken off (semi-Markov conditional
// model, Sarawagi and Cohen 2004). Gradient ascent with a step for each weight
// (Duchi and others 2011); the aim is concave, so the start does not matter.
func Fit(exs []Example) *Weights {
	data := samples(exs)
	w, seen := &Weights{}, &Weights{}
	for range fitRounds {
		grad := &Weights{}
		for i := range data {
			data[i].gradient(w, grad)
		}
		each(w, grad, seen, func(w, g, s *float64) {
			*g -= fitSquares * *w
			*s += *g * *g
			if *s > 0 {
				*w += 0.5 * *g / math.Sqrt(*s)
			}
		})
	}
	return w
}

// each visits the weights of three tables together.
func each(a, b, c *Weights, f func(a, b, c *float64)) {
	f(&a.Bias, &b.Bias, &c.Bias)
	for i := range a.Arrival {
		f(&a.Arrival[i], &b.Arrival[i], &c.Arrival[i])
	}
	for i := range a.Length {
		f(&a.Length[i], &b.Length[i], &c.Length[i])
	}
}

// gradient adds what the truth has more of than the mean over all layouts.
func (s *sample) gradient(w, grad *Weights) {
	prev := -1
	for _, j := range s.truth {
		grad.add(&s.cands[j], s.length(prev, j), 1)
		prev = j
	}
	s.expect(w, func(i, j int, p float64) { grad.add(&s.cands[j], s.length(i, j), -p) })
}

func (w *Weights) add(c *candidate, bars, times float64) {
	w.Bias += times
	for k, f := range c.features {
		w.Arrival[k] += times * f
	}
	class, uneven := lengthClass(bars)
	w.Length[class] += times
	if uneven {
		w.Length[lUneven] += times
	}
}

// expect gives each phrase from i to j its share p among all layouts, by their
// weights, from sums over all layouts up to i and from j on.
func (l *layout) expect(w *Weights, visit func(i, j int, p float64)) {
	n := len(l.cands)
	local := make([]float64, n)
	for j := range n {
		local[j] = math.Exp(w.arrival(&l.cands[j]))
	}
	long := w.lengths()
	fore, back := newScaled(n), newScaled(n)
	for j := range n {
		sum := 0.0
		l.before(j, func(i int, bars float64) { sum += fore.get(i) * long.of(bars) })
		fore.set(j, sum*local[j])
	}
	sums := make([]float64, n) // of the layouts from i on, at the scale of back
	scale := 0.0
	for j := n - 1; j >= 0; j-- {
		if j >= l.last {
			sums[j] += math.Exp(-scale)
		}
		back.set(j, sums[j])
		if back.scale != scale {
			shrink := math.Exp(scale - back.scale)
			l.before(j, func(i int, _ float64) {
				if i >= 0 {
					sums[i] *= shrink
				}
			})
			scale = back.scale
		}
		l.before(j, func(i int, bars float64) {
			if i >= 0 {
				sums[i] += back.get(j) * local[j] * long.of(bars)
			}
		})
	}
	total := nothing
	for j := l.last; j < n; j++ {
		total = logAdd(total, math.Log(fore.value[j])+fore.at[j])
	}
	for j := range n {
		scaled, factor := math.NaN(), 0.0
		l.before(j, func(i int, bars float64) {
			if s := fore.scaleAt(i); s != scaled {
				scaled, factor = s, math.Exp(s+back.at[j]-total)*local[j]*back.value[j]
			}
			visit(i, j, fore.valueAt(i)*factor*long.of(bars))
		})
	}
}

// scaled is a row of sums too large or small for a number: each is value·e^at.
type scaled struct {
	value, at []float64
	scale     float64 // of what is set next
}

func newScaled(n int) *scaled {
	return &scaled{value: make([]float64, n), at: make([]float64, n)}
}

// set stores a sum that is reckoned at the present scale, and moves the scale
// where it comes near the bounds of a number.
func (s *scaled) set(i int, v float64) {
	if v > 0 && (v > 1e100 || v < 1e-100) {
		s.scale += math.Log(v)
		v = 1
	}
	s.value[i], s.at[i] = v, s.scale
}

// get is a sum at the present scale; -1 is the head, 1.
func (s *scaled) get(i int) float64 {
	v, at := s.valueAt(i), s.scaleAt(i)
	if at != s.scale {
		v *= math.Exp(at - s.scale)
	}
	return v
}

func (s *scaled) valueAt(i int) float64 {
	if i < 0 {
		return 1
	}
	return s.value[i]
}

func (s *scaled) scaleAt(i int) float64 {
	if i < 0 {
		return 0
	}
	return s.at[i]
}

// lengthTable holds e to the weight of each class of length, even and uneven.
type lengthTable [2][lengthFeatures]float64

func (w *Weights) lengths() *lengthTable {
	t := &lengthTable{}
	for k := range w.Length {
		t[0][k] = math.Exp(w.Length[k])
		t[1][k] = math.Exp(w.Length[k] + w.Length[lUneven])
	}
	return t
}

func (t *lengthTable) of(bars float64) float64 {
	class, uneven := lengthClass(bars)
	if uneven {
		return t[1][class]
	}
	return t[0][class]
}

// before visits the candidates from which a phrase may lead to j: those within
// longestPhrase bars, and the head where nothing else reaches j.
func (l *layout) before(j int, visit func(i int, bars float64)) {
	i := j - 1
	for ; i >= 0; i-- {
		bars := l.length(i, j)
		if bars > longestPhrase {
			break
		}
		visit(i, bars)
	}
	if bars := l.length(-1, j); bars <= longestPhrase || j == 0 {
		visit(-1, bars)
	}
}

var nothing = math.Inf(-1)

func logAdd(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	if math.IsInf(a, -1) {
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// shares is for each candidate its share as an arrival among all layouts.
func (l *layout) shares(w *Weights) []float64 {
	out := make([]float64, len(l.cands))
	l.expect(w, func(_, j int, p float64) { out[j] += p })
	return out
}

// Phrases reads the phrases of a part under given weights.
func Phrases(in Input, w *Weights) []Phrase {
	if len(in.Part.Measures) == 0 || len(in.Events) == 0 {
		return nil
	}
	g := newGrid(in)
	if len(g.onsets) == 0 {
		return nil
	}
	return g.phrasesBy(g.sections(), w)
}

// Gaps is a baseline without any model: the onset before each of the n strongest
// local boundaries, in order of time.
func Gaps(in Input, n int) []score.Tick {
	g := newGrid(in)
	return g.strongest(n, 1, func(i int) float64 { return g.strong[i] })
}

// LongestNotes is a baseline too: the n moments after which it takes longest for
// the next to come, the first of equal ones, in order of time.
func LongestNotes(in Input, n int) []score.Tick {
	g := newGrid(in)
	return g.strongest(n, 0, func(i int) float64 { return float64(g.onsets[i].gap) })
}

// strongest lists the onsets, back of them by so many, with the n largest values.
func (g *grid) strongest(n, back int, value func(i int) float64) []score.Tick {
	order := make([]int, 0, len(g.onsets))
	for i := back; i < len(g.onsets); i++ {
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(value(b), value(a)) })
	order = order[:min(n, len(order))]
	slices.Sort(order)
	out := make([]score.Tick, len(order))
	for k, i := range order {
		out[k] = g.onsets[i-back].at
	}
	return out
}
