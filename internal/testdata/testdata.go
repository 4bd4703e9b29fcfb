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
