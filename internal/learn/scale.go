package learn

import (
	"math"
	"slices"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/sequence"
)

// Learning settles weights up to what the data's noise allows: their size says
// how sure the field is. Plans do not change with a common factor, but the costs
// of the bow stand beside those of the hand in the joint search. So the learned
// weights are brought to the scale of the hand-set ones: the median of what the
// second best stop of a note costs more is made the same.

// Rescale multiplies the violin's weights so that the examples' median
// second-best gap is that of base; kept terms stay.
func Rescale(exs []*Example, w, base *fingering.Weights, keep map[string]bool) *fingering.Weights {
	v, b := w.Vector(instrument.ViolinKind), base.Vector(instrument.ViolinKind)
	f := medianGap(exs, b) / medianGap(exs, v)
	if math.IsNaN(f) || math.IsInf(f, 0) || f <= 0 {
		return w
	}
	names := fingering.TermNames()
	for k := range v {
		if !keep[names[k]] {
			v[k] *= f
		}
	}
	return w.WithVector(instrument.ViolinKind, v)
}

func medianGap(exs []*Example, w []float64) float64 {
	var gaps []float64
	for _, ex := range exs {
		ex.pr.Reweigh(w)
		for i, row := range sequence.Through(ex.pr) {
			if g, ok := ex.gap(i, row); ok {
				gaps = append(gaps, g)
			}
		}
	}
	if len(gaps) == 0 {
		return math.NaN()
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2]
}

// gap is what the cheapest other string or finger of a layer costs more than the
// cheapest.
func (ex *Example) gap(i int, row []float64) (float64, bool) {
	best := 0
	for s := range row {
		if row[s] < row[best] {
			best = s
		}
	}
	is := ex.pr.Stops(i, best)
	other := math.Inf(1)
	for s := range row {
		if row[s] < other && !sameStops(ex.pr.Stops(i, s), is) {
			other = row[s]
		}
	}
	return other - row[best], !math.IsInf(other, 1)
}

func sameStops(a, b []fingering.Stop) bool {
	return slices.EqualFunc(a, b, func(x, y fingering.Stop) bool { return x.String == y.String && x.Finger == y.Finger })
}
