package paper

import (
	"io"
	"testing"
)

func BenchmarkPDFPage(b *testing.B) {
	page := Page{Width: 210, Height: 297, SVG: sample(b, "solo")}
	b.SetBytes(int64(len(page.SVG)))
	b.ReportAllocs()
	for b.Loop() {
		if err := PDF(io.Discard, []Page{page}, Meta{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPDFTenPages(b *testing.B) {
	pages := make([]Page, 10)
	for i := range pages {
		pages[i] = Page{Width: 210, Height: 297, SVG: sample(b, "solo")}
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := PDF(io.Discard, pages, Meta{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPNGPage150(b *testing.B) {
	page := Page{Width: 210, Height: 297, SVG: sample(b, "solo")}
	b.ReportAllocs()
	for b.Loop() {
		if err := PNG(io.Discard, page, 150); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkImage150(b *testing.B) {
	page := Page{Width: 210, Height: 297, SVG: sample(b, "solo")}
	for b.Loop() {
		if _, err := Image(page, 150); err != nil {
			b.Fatal(err)
		}
	}
}
