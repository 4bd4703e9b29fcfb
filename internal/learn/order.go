package learn

import "pochette/internal/fingering"

// The files say little of slurs: one set has none, in the other a run of equal bow
// codes may be a slur, a link or a retake. What every player is taught stands
// against what could be learned from that: a shift is heard under a slur, less at a
// bow change, and hardly over an open string or in a rest (RESEARCH.md, Fingering;
// the treatise of 1756, ch. VIII, for the open string). order holds the weights to
// it: the first is at least factor times the second (factors: common practice, no
// source).
var order = []struct {
	more, less string
	factor     float64
}{
	{"shift_slur", "shift_bow", 1.5},
	{"shift_bow", "shift_open", 1},
	{"shift_bow", "shift_rest", 1},
}

// orderly moves weights that break the order to the nearest that keep it, one
// relation after the other.
func orderly(w []float64) {
	at := map[string]int{}
	for i, n := range fingering.TermNames() {
		at[n] = i
	}
	for range 4 {
		for _, o := range order {
			a, b := at[o.more], at[o.less]
			if w[a] < o.factor*w[b] {
				t := (w[b] + o.factor*w[a]) / (1 + o.factor*o.factor)
				w[b], w[a] = t, o.factor*t
			}
		}
	}
	for i := len(order) - 1; i >= 0; i-- { // what rounding leaves, from the least up
		if a, b := at[order[i].more], at[order[i].less]; w[a] < order[i].factor*w[b] {
			w[a] = order[i].factor * w[b]
		}
	}
}
