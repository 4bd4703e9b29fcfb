// Package testdata finds the shared, read-only data that tests check against.
package testdata

import (
	"os"
	"path/filepath"
	"testing"
)

// Dir gives the folder of the shared data: POCHETTE_DATA, or the first
// ../shared/data going up from the working folder. It skips the test, saying
// why, where there is none.
func Dir(t testing.TB) string {
	t.Helper()
	if d := os.Getenv("POCHETTE_DATA"); d != "" {
		if _, err := os.Stat(d); err != nil {
			t.Fatalf("POCHETTE_DATA names %s: %v", d, err)
		}
		return d
	}
	wd, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for d := wd; ; d = filepath.Dir(d) {
		cand := filepath.Join(d, "..", "shared", "data")
		if st, err := os.Stat(cand); err == nil && st.IsDir() {
			return cand
		}
		if d == filepath.Dir(d) {
			t.Skip("shared data absent: no ../shared/data above this folder and POCHETTE_DATA is not set")
		}
	}
}

// Scores lists the MusicXML files of the shared data by patterns below its folder, such
// as "musicxml/solo/*". A pattern without a file fails the test.
func Scores(t testing.TB, patterns ...string) []string {
	t.Helper()
	dir := Dir(t)
	var out []string
	for _, p := range patterns {
		files, err := filepath.Glob(filepath.Join(dir, p))
		if err != nil || len(files) == 0 {
			t.Fatalf("no shared files for %s (%v)", p, err)
		}
		for _, f := range files {
			switch filepath.Ext(f) {
			case ".xml", ".musicxml", ".mxl":
				out = append(out, f)
			}
		}
	}
	return out
}
