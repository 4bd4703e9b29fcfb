package main

import (
	"path/filepath"
	"testing"

	"pochette/internal/testdata"
)

// Printed bow marks hidden one at a time (docs/ACCURACY.md). Sources: the music
// examples of chapter IV of the violin treatise of 1756 (edition
// ism-dme/lm-vs), and the études op. 32 book 1 by H. Sitt (MutopiaProject). The
// bounds are those of the goal, not of the last run.
func TestBowAgreement(t *testing.T) {
	dir := filepath.Join(testdata.Dir(t), "bowing")
	for _, c := range []struct {
		set          string
		marks, agree int
	}{{"treatise", 283, 275}, {"etudes", 97, 95}} {
		pieces, err := bowPieces(dir, c.set)
		if err != nil {
			t.Fatal(err)
		}
		_, all := tallyBow(pieces, nil)
		if all.marks != c.marks || all.agree < c.agree {
			t.Errorf("%s: %d of %d marks agree, want %d of %d at least; misses: %v", c.set, all.agree, all.marks, c.agree, c.marks, all.misses)
		}
	}
}

// The baseline that the data's README publishes comes out of our reading of it.
func TestTreatiseBaseline(t *testing.T) {
	pieces, err := bowPieces(filepath.Join(testdata.Dir(t), "bowing"), "treatise")
	if err != nil {
		t.Fatal(err)
	}
	if _, all := tallyBow(pieces, nil); all.fromFirst != 198 || all.alternateOf != 222 {
		t.Errorf("alternation from the first mark: %d of %d, README: 198 of 222", all.fromFirst, all.alternateOf)
	}
}
