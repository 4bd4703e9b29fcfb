package pace_test

import (
	"os"
	"path/filepath"
	"testing"

	"pochette/internal/musicxml"
	"pochette/internal/pace"
	"pochette/internal/testdata"
	"pochette/internal/timeline"
)

// BenchmarkNew plans a movement of 729 bars (first violin of a quartet).
func BenchmarkNew(b *testing.B) {
	name := filepath.Join(testdata.Dir(b), "timing/quartet_op74_1.mxl")
	data, err := os.ReadFile(name)
	if err != nil {
		b.Fatal(err)
	}
	src, err := musicxml.Open(data, name)
	if err != nil {
		b.Fatal(err)
	}
	sc, _, err := musicxml.Decode(src)
	if err != nil {
		b.Fatal(err)
	}
	p := sc.Parts[0]
	in := pace.Input{Part: p, Quarter: sc.Quarter, Events: timeline.Events(p), Base: timeline.PaceOf(sc, p)}
	var plan *pace.Plan
	for b.Loop() {
		plan = pace.New(in, pace.Options{Amounts: pace.Proposed()})
	}
	b.ReportMetric(float64(len(plan.Notes)), "notes")
	b.ReportMetric(float64(len(plan.Bars)), "bars")
}
