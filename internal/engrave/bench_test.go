package engrave

import (
	"context"
	"path/filepath"
	"testing"

	"pochette/internal/demo"

	"pochette/internal/testdata"
)

// BenchmarkPageWarm draws one A4 page of 40 measures; target under 40 ms.
func BenchmarkPageWarm(b *testing.B) {
	p := openPool(b, 1)
	score := invented(plainMeasures(40)...)
	if pages, err := p.SVG(b.Context(), score, A4()); err != nil || len(pages) != 1 {
		b.Fatalf("%d pages, %v", len(pages), err)
	}
	for b.Loop() {
		if _, err := p.SVG(b.Context(), score, A4()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPageWarmDemo is the page of the demonstration's movement: 25 measures.
func BenchmarkPageWarmDemo(b *testing.B) {
	p := openPool(b, 1)
	if pages, err := p.SVG(b.Context(), demo.Jig, A4()); err != nil || len(pages) != 1 {
		b.Fatalf("%d pages, %v", len(pages), err)
	}
	for b.Loop() {
		if _, err := p.SVG(b.Context(), demo.Jig, A4()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkExcerptWarm draws two measures of a session of 100; the cost is the layout.
func BenchmarkExcerptWarm(b *testing.B) {
	p := openPool(b, 1)
	s, err := p.Session(b.Context(), invented(plainMeasures(100)...))
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	ranges := []string{"3-4", "50-51"}
	for i := 0; b.Loop(); i++ {
		if _, err := s.SVG(b.Context(), Excerpt(ranges[i%2], 120)); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkStartWarmCache opens a pool from a warm cache and draws a first page; target
// under 0.6 s.
func BenchmarkStartWarmCache(b *testing.B) {
	openPool(b, 1) // fills the cache
	dir, err := cacheDir()
	if err != nil {
		b.Fatal(err)
	}
	score := invented(plainMeasures(40)...)
	for b.Loop() {
		p, err := Open(b.Context(), PoolOptions{Size: 1, CacheDir: dir})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := p.SVG(b.Context(), score, A4()); err != nil {
			b.Fatal(err)
		}
		if err := p.Close(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkLoadLong reads and lays out a string quartet of some hundred measures.
func BenchmarkLoadLong(b *testing.B) {
	file := filepath.Join(testdata.Dir(b), "timing", "quartet_op74_1.mxl")
	score := readScore(b, file)
	p := openPool(b, 1)
	for b.Loop() {
		pages, err := p.SVG(b.Context(), score, A4())
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(pages)), "pages")
	}
}

// BenchmarkExcerptSet draws 30 single measures of a session of 100 in one layout; to be
// held against 30 times BenchmarkExcerptWarm.
func BenchmarkExcerptSet(b *testing.B) {
	p := openPool(b, 2)
	s, err := p.Session(b.Context(), invented(plainMeasures(100)...))
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	var ranges [][2]int
	for m := 1; m <= 90; m += 3 {
		ranges = append(ranges, [2]int{m, m})
	}
	for b.Loop() {
		if _, err := s.Excerpts(b.Context(), ranges, 120); err != nil {
			b.Fatal(err)
		}
	}
}
