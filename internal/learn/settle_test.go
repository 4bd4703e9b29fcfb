package learn

import (
	"testing"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
)

// The committed default is the mixture of the committed learned and hand-set weights,
// to the digits of its file, and holds the floors in full.
func TestCommittedDefaultIsTheMixture(t *testing.T) {
	hand := fingering.UnlearnedWeights()
	want, err := fingering.ParseWeights(Settle(fingering.LearnedWeights(), hand).String())
	if err != nil {
		t.Fatal(err)
	}
	if *want != *fingering.DefaultWeights() {
		t.Error("weights.txt is not what go run ./cmd/fit -settle makes")
	}
	got, own := want.Vector(instrument.ViolinKind), hand.Vector(instrument.ViolinKind)
	learned := fingering.LearnedWeights().Vector(instrument.ViolinKind)
	for _, k := range termsNamed(Floors()) {
		if got[k] != own[k] || learned[k] != 0 {
			t.Errorf("%s: %v, by hand %v, learned %v", fingering.TermNames()[k], got[k], own[k], learned[k])
		}
	}
	for _, k := range termsNamed(Least()) {
		if got[k] < own[k] {
			t.Errorf("%s: %v, by hand %v", fingering.TermNames()[k], got[k], own[k])
		}
	}
	if n := len(termsNamed(append(Floors(), Least()...))); n != len(Floors())+len(Least()) {
		t.Errorf("%d terms are known of %v and %v", n, Floors(), Least())
	}
}
