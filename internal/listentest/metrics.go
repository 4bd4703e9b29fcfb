package listentest

import (
	"math"
	"slices"
)

// The measures of agreement are those of mir_eval (Raffel et al. 2014), by its
// definitions, from memory: an onset is hit where a reference lies within the window,
// each used once, in a matching as large as can be; F is the harmonic mean of
// precision and recall; an alignment is judged by the absolute differences of its
// times and by the share of them within a window.

// Match pairs two rising lists of times within a window, as many pairs as can be: on
// a line the earliest open partner is never worse (checked against all matchings in
// the tests).
func Match(reference, estimated []float64, window float64) [][2]int {
	var out [][2]int
	j := 0
	for i, r := range reference {
		for j < len(estimated) && estimated[j] < r-window {
			j++
		}
		if j < len(estimated) && estimated[j] <= r+window {
			out = append(out, [2]int{i, j})
			j++
		}
	}
	return out
}

// FMeasure of precision and recall from counts; 0 where nothing is hit.
func FMeasure(hits, reference, estimated int) (f, precision, recall float64) {
	if reference == 0 || estimated == 0 || hits == 0 {
		return 0, 0, 0
	}
	precision, recall = float64(hits)/float64(estimated), float64(hits)/float64(reference)
	return 2 * precision * recall / (precision + recall), precision, recall
}

// OnsetF is FMeasure of onsets with a window in seconds (mir_eval: 0.05).
func OnsetF(reference, estimated []float64, window float64) (f, precision, recall float64) {
	return FMeasure(len(Match(reference, estimated, window)), len(reference), len(estimated))
}

// Quantile q of values, by linear interpolation between ranks; NaN of none.
func Quantile(values []float64, q float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	v := slices.Clone(values)
	slices.Sort(v)
	at := q * float64(len(v)-1)
	i := int(at)
	if i+1 >= len(v) {
		return v[len(v)-1]
	}
	return v[i] + (at-float64(i))*(v[i+1]-v[i])
}

// Absolute errors of paired values.
func Absolute(reference, estimated []float64) []float64 {
	if len(reference) != len(estimated) {
		panic("listentest: paired values of different number")
	}
	out := make([]float64, len(reference))
	for i := range out {
		out[i] = math.Abs(reference[i] - estimated[i])
	}
	return out
}

// Within is the share of errors at most a limit.
func Within(errors []float64, limit float64) float64 {
	n := 0
	for _, e := range errors {
		if e <= limit {
			n++
		}
	}
	if len(errors) == 0 {
		return math.NaN()
	}
	return float64(n) / float64(len(errors))
}
