package paper

import (
	"compress/gzip"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// sample is an engraved page of invented music: "solo" a whole A4 page of a
// viola jig, "short" a few bars on a small page.
func sample(tb testing.TB, name string) string {
	tb.Helper()
	f, err := os.Open(filepath.Join("testdata", name+".svg.gz"))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		tb.Fatal(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		tb.Fatal(err)
	}
	return string(b)
}

// tool is the path of an outside program, or the test is skipped.
func tool(tb testing.TB, name string) string {
	tb.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		tb.Skipf("%s is not installed: %v", name, err)
	}
	return path
}

var (
	soloPage  = func(tb testing.TB) Page { return Page{Width: 210, Height: 297, SVG: sample(tb, "solo")} }
	shortPage = func(tb testing.TB) Page { return Page{Width: 120, Height: 70, SVG: sample(tb, "short")} }
)
