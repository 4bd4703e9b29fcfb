package learn

import (
	"fmt"
	"hash/fnv"

	"pochette/internal/fingering"
)

// Kept are the terms that stay as set by hand: what must not be had for any
// liking (notes left out, shifts beyond the hand), and what single lines hardly
// show (chords, trills).
func Kept() map[string]bool {
	out := map[string]bool{}
	for _, n := range []string{"left_out", "let_go", "shift_rush", "finger_order", "chord_stretch", "crowded_fingers", "fifth_stopped", "trill_fourth", "trill_open"} {
		out[n] = true
	}
	for _, n := range Floors() {
		out[n] = true
	}
	return out
}

// Folds is how many parts the works are split into for cross-validation.
const Folds = 5

// FoldOf deals the groups of works out over folds, in their order: works of one
// group (movements and excerpts of one piece) stay together.
func FoldOf(works []*Work, folds int) map[string]int {
	out := map[string]int{}
	for _, w := range works {
		if _, ok := out[w.Group]; !ok {
			out[w.Group] = len(out) % folds
		}
	}
	return out
}

// Fitted are the weights of one fit: as learned alone, and the default that is mixed
// of them (Settle).
type Fitted struct{ Learned, Default *fingering.Weights }

// CrossValidate fits for each fold, from the works of all the others.
func CrossValidate(works []*Work, base *fingering.Weights, o Settings, folds int) ([]Fitted, error) {
	exs, fold := Examples(works), FoldOf(works, folds)
	bare := Bare(base)
	out := make([]Fitted, folds)
	for f := range out {
		var train []*Example
		for _, e := range exs {
			if fold[e.Group] != f {
				train = append(train, e)
			}
		}
		w, err := Fit(train, bare, Kept(), o)
		if err != nil {
			return nil, err
		}
		learned := Rescale(train, w, bare, Kept())
		out[f] = Fitted{learned, Settle(learned, base)}
	}
	return out, nil
}

// ID tells a work by its notes, whatever its file is called.
func (w *Work) ID() string {
	h := fnv.New32a()
	fmt.Fprint(h, w.Set, len(w.Pieces), textOf(w.Pieces[0]))
	return fmt.Sprintf("%08x", h.Sum32())
}

// Sum adds up what examples know: labels, and those no state of the search has.
func Sum(exs []*Example) (labels, beyond int) {
	for _, e := range exs {
		labels, beyond = labels+e.Labels, beyond+e.Beyond
	}
	return labels, beyond
}
