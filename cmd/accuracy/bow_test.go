package main

import (
	"path/filepath"
	"regexp"
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
		for _, m := range all.misses {
			if rawValue.MatchString(m) {
				t.Errorf("%s: a value as Go prints it: %s", c.set, m)
			}
		}
	}
}

// rawValue is a value that no one has formatted: a struct, a slice, a map, more than two
// decimals, a verb without its value.
var rawValue = regexp.MustCompile(`\[\{|\{[a-z]|map\[|\d\.\d{3}|%!`)

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

// The notes of p073_5 without its marks: the fix that the treatise prints for
// the same notes as p. 74 no. 1, slurs in place of lifts, is among the cheapest
// of all plans (treatise of 1756, ch. IV, edition ism-dme/lm-vs).
func TestPrintedFixAmongTheCheapest(t *testing.T) {
	pieces, err := bowPieces(filepath.Join(testdata.Dir(t), "bowing"), "treatise")
	if err != nil {
		t.Fatal(err)
	}
	for profile, k := range map[string]int{"": 12, "classical": 8} {
		r, err := rankOfFix(pieces, profile, "p074_1")
		if err != nil {
			t.Fatal(err)
		}
		if r.rank == 0 || r.rank > k {
			t.Errorf("profile %q: the printed fix is no. %d of the cheapest plans, want %d at most", profile, r.rank, k)
		}
		t.Logf("profile %q: no. %d, cost %.1f, cheapest %.1f", profile, r.rank, r.cost, r.best)
	}
}

// First notes of bars in the fingered pieces whose strokes are given
// (wayonbvc/Violin-Fingering-Generation-Through-Audio-Symbolic-Fusion): more of
// them right than by always beginning a bar down. The README's 75 % of 2,834
// bars covers the pieces held back as well.
func TestFirstNotesOfBars(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(testdata.Dir(t), "fingering", "ytvf", "*.csv"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	var all firstTally
	for _, f := range files {
		one, err := firstNotes(f)
		if err != nil {
			t.Fatal(err)
		}
		all.add(one)
	}
	if all.free <= all.down || all.bars < 1800 {
		t.Errorf("%d of %d first notes as played, always down %d", all.free, all.bars, all.down)
	}
}
