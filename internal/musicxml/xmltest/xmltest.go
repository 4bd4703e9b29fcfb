// Package xmltest reads scores for the tests of other packages.
package xmltest

import (
	"os"
	"path/filepath"
	"testing"

	"pochette/internal/musicxml"
	"pochette/internal/score"
)

// Decode reads a score that has to be readable.
func Decode(t testing.TB, data []byte, name string) (*musicxml.Source, *score.Score) {
	t.Helper()
	src, err := musicxml.Open(data, name)
	if err != nil {
		t.Fatal(err)
	}
	sc, _, err := musicxml.Decode(src)
	if err != nil {
		t.Fatal(err)
	}
	return src, sc
}

// Read reads a score from a file, and gives the bytes of the file too.
func Read(t testing.TB, file string) ([]byte, *musicxml.Source, *score.Score) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	src, sc := Decode(t, data, filepath.Base(file))
	return data, src, sc
}
