package learn

import (
	"pochette/internal/fingering"
	"pochette/internal/instrument"
)

// Share is how much of the default weights is learned; the rest is set by hand. The
// works learned from are played by soloists, who leave first position for colour; a
// player who asks for nothing wants it left for a reason.
// Chosen by the printed fingers of the études, all hidden: of 538 about 480 to 490 are
// found by shares to 0.7, 492 by 0.8 and 497 by 0.9 (the études are among the works learned from,
// which favours the most), and tunes of first position stay there with all of these.
const Share = 0.85

// Floors are the terms that the fit never sees and that enter the default in full:
// what keeps a hand low whose music asks for no more. Common practice, no source.
func Floors() []string {
	return []string{"high_on_low_convex", "above_first", "fourth_extension", "slide_of_fourth",
		"shift_slur_needless", "shift_inside_beat", "stopped_for_open_in_chord", "plucked_stopped", "plucked_without_finger"}
}

// Least are the terms that the default never has for less than set by hand: one pitch
// keeps its finger around a neighbour. Common practice, no source.
func Least() []string { return []string{"adjust_in_turn"} }

// Bare is w without the floors and what is least: where the fit begins.
func Bare(w *fingering.Weights) *fingering.Weights {
	v := w.Vector(instrument.ViolinKind)
	for _, k := range termsNamed(append(Floors(), Least()...)) {
		v[k] = 0
	}
	return w.WithVector(instrument.ViolinKind, v)
}

// Settle makes the default of what was fitted and what was set by hand: Share of the
// one, the rest of the other, and the floors.
func Settle(fit, base *fingering.Weights) *fingering.Weights {
	v := base.Mix(instrument.ViolinKind, fit, Share).Vector(instrument.ViolinKind)
	own := base.Vector(instrument.ViolinKind)
	for _, k := range termsNamed(Floors()) {
		v[k] = own[k]
	}
	for _, k := range termsNamed(Least()) {
		v[k] = max(v[k], own[k])
	}
	return base.WithVector(instrument.ViolinKind, v)
}

func termsNamed(names []string) (out []int) {
	want := map[string]bool{}
	for _, n := range names {
		want[n] = true
	}
	for i, n := range fingering.TermNames() {
		if want[n] {
			out = append(out, i)
		}
	}
	return out
}
