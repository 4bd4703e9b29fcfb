package main

import (
	"path/filepath"
	"testing"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/learn"
	"pochette/internal/testdata"
)

// Source: the YTVF set (see ../shared/data/README.md). Costs set by hand, before
// any learning, already agree with the players more often than the lowest place
// for every note does; weights fitted on one half of the works agree more often on
// the other half than those set by hand.
func TestFingersBeatTheBaseline(t *testing.T) {
	dir := filepath.Join(testdata.Dir(t), "fingering", "ytvf")
	if files, err := filepath.Glob(filepath.Join(dir, "*.csv")); err != nil || len(files) < 4 {
		t.Skip("no YTVF files in the shared data")
	}
	works, err := learn.ReadSet(dir)
	if err != nil {
		t.Fatal(err)
	}
	var half [2][]*learn.Work
	for i, w := range works {
		half[i%2] = append(half[i%2], w)
	}
	o := learn.Usual()
	o.Epochs = 2
	base := fingering.UnlearnedWeights()
	fit, err := learn.Fit(learn.Examples(half[0]), base, learn.Kept(), o)
	if err != nil {
		t.Fatal(err)
	}
	var low, hand, learned learn.Agreement
	for _, w := range half[1] {
		low.Add(learn.Lowest(w))
		hand.Add(learn.Measure(w, base))
		learned.Add(learn.Measure(w, fit))
	}
	t.Logf("string, position, finger, all: lowest %s; by hand %s; learned %s (%d notes)", row(low), row(hand), row(learned), low.N)
	if hand.All <= low.All || learned.All <= hand.All {
		t.Errorf("all three: lowest %d, by hand %d, learned %d", low.All, hand.All, learned.All)
	}
}

// Source: violin études, op. 32 book 1 (shared data, bowing/etudes), written for
// first position: all of it is playable, and only the one finger that the data's
// README calls wrong (étude 1, bar 41) is passed over.
func TestEtudesArePlayable(t *testing.T) {
	dir := testdata.Dir(t)
	files, err := filepath.Glob(filepath.Join(dir, "bowing", "etudes", "*.musicxml"))
	if err != nil || len(files) == 0 {
		t.Skip("no études in the shared data")
	}
	for _, f := range files {
		sc, err := readScore(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range sc.Parts {
			st := fingering.Analyze(sc, p, fingering.Options{Instrument: instrument.Violin()})
			for _, g := range st.Findings {
				known := filepath.Base(f) == "sitt-op32-1-01.musicxml" && g.At.Number == "41"
				if !known {
					t.Errorf("%s, %s: %s", filepath.Base(f), g.At, g.Text)
				}
			}
		}
	}
}
