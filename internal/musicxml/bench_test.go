package musicxml

import (
	"io"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"pochette/internal/testdata"
)

func benchFile(b *testing.B, path string) readable {
	b.Helper()
	f, err := loadFile(b, filepath.Join(testdata.Dir(b), path))
	if err != nil {
		b.Fatal(err)
	}
	return f
}

// A solo movement (679 notes) and a quartet of four movements.
const (
	soloFile    = "musicxml/solo/bwv1002_mov7.mxl"
	quartetFile = "musicxml/quartets/0f27ba7c2cbd5fb652a4a1560c20bbb21f1c5a98.mxl"
)

func BenchmarkDecodeSolo(b *testing.B)    { benchDecode(b, soloFile) }
func BenchmarkDecodeQuartet(b *testing.B) { benchDecode(b, quartetFile) }

func benchDecode(b *testing.B, path string) {
	f := benchFile(b, path)
	b.SetBytes(int64(len(f.src.XML)))
	b.ReportAllocs()
	for b.Loop() {
		if _, _, err := Decode(f.src); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOpenSolo(b *testing.B) {
	f := benchFile(b, soloFile)
	b.SetBytes(int64(len(f.src.XML)))
	for b.Loop() {
		if _, err := Open(f.data, f.name); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSpliceSolo(b *testing.B) {
	f := benchFile(b, soloFile)
	marks, changes := randomMarks(rand.New(rand.NewPCG(1, 1)), f.score.Parts[0])
	b.SetBytes(int64(len(f.src.XML)))
	for b.Loop() {
		if _, err := Splice(f.src, f.score.Parts[0], marks, changes); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOnePartQuartet(b *testing.B) {
	f := benchFile(b, quartetFile)
	b.SetBytes(int64(len(f.src.XML)))
	for b.Loop() {
		if _, err := OnePart(f.src.XML, f.score.Parts[1].ID); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEncodeSolo(b *testing.B) {
	f := benchFile(b, soloFile)
	for b.Loop() {
		if err := Encode(io.Discard, f.score); err != nil {
			b.Fatal(err)
		}
	}
}

// A solo movement of 1,163 notes and rests without beams, and one that has beams.
func BenchmarkBeamedNone(b *testing.B) {
	benchBeamed(b, "bowing/solos/rolla-tor_1-vla1-1.musicxml")
}
func BenchmarkBeamedHas(b *testing.B) { benchBeamed(b, soloFile) }

func benchBeamed(b *testing.B, path string) {
	f := benchFile(b, path)
	b.SetBytes(int64(len(f.src.XML)))
	for b.Loop() {
		if _, err := Beamed(f.src.XML); err != nil {
			b.Fatal(err)
		}
	}
}
