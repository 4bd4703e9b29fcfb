package main

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const output = `goos: linux
BenchmarkJoint1000-2            10   100000000 ns/op   50000000 B/op   1000 allocs/op   80.5 peak-MB
BenchmarkJoint1000-2            12    90000000 ns/op   50000000 B/op   1000 allocs/op   81.0 peak-MB
BenchmarkJoint10000              1   900000000 ns/op
BenchmarkJoint1000Repeats-2      1   900000000 ns/op
PASS
`

// The fastest run of each size counts, lines without a size do not, and growth in
// proportion has the exponent 1.
func TestReadsBenchmarks(t *testing.T) {
	ps, err := read(strings.NewReader(output))
	if err != nil {
		t.Fatal(err)
	}
	want := []point{{1000, 0.09, 81}, {10000, 0.9, 0}}
	if len(ps) != 2 || ps[0] != want[0] || ps[1] != want[1] {
		t.Errorf("%+v, want %+v", ps, want)
	}
	if e := exponent(ps); math.Abs(e-1) > 1e-9 {
		t.Errorf("exponent %v", e)
	}
	if e := exponent([]point{{10, 1, 0}, {100, 100, 0}}); math.Abs(e-2) > 1e-9 {
		t.Errorf("exponent %v of a square", e)
	}
	if _, err := read(strings.NewReader("BenchmarkJoint1000 1 5 ns/op\n")); err == nil {
		t.Error("one size makes a line")
	}
}

// The drawing is well-formed and shows each size once.
func TestDraws(t *testing.T) {
	file := filepath.Join(t.TempDir(), "linear.svg")
	var out bytes.Buffer
	if err := run(strings.NewReader(output), &out, file); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	d := xml.NewDecoder(bytes.NewReader(data))
	circles := 0
	for {
		tok, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "circle" {
			circles++
		}
	}
	if circles != 2 || !strings.Contains(out.String(), "| 10000 | 0.900 | 90.0 | – |") {
		t.Errorf("%d points; table %s", circles, &out)
	}
}
