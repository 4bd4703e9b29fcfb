// Command speed reads the output of the benchmarks of the joint plan and draws how
// its time grows with the notes, on logarithmic scales beside a straight growth:
//
//	go test -run xxx -bench 'BenchmarkJoint[0-9]+$' -benchmem ./internal/technique/joint | go run ./cmd/speed -svg docs/linear.svg
//
// The table goes to standard output.
package main

import (
	"bufio"
	"cmp"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

func main() {
	svg := flag.String("svg", "", "file to draw into")
	flag.Parse()
	if err := run(os.Stdin, os.Stdout, *svg); err != nil {
		fmt.Fprintln(os.Stderr, "speed:", err)
		os.Exit(1)
	}
}

// point is the fastest run of one size.
type point struct {
	notes   int
	seconds float64
	peak    float64 // MB, 0 where it was not told
}

func run(in io.Reader, out io.Writer, svg string) error {
	points, err := read(in)
	if err != nil {
		return err
	}
	table(out, points)
	if svg == "" {
		return nil
	}
	if err := os.WriteFile(svg, draw(points), 0o644); err != nil {
		return fmt.Errorf("drawing: %w", err)
	}
	return nil
}

var sized = regexp.MustCompile(`^Benchmark[A-Za-z]+?([0-9]+)(?:-[0-9]+)?\s+[0-9]+\s+(.*)$`)

// read takes the lines of sized benchmarks, as "go test -bench" writes them.
func read(in io.Reader) ([]point, error) {
	best := map[int]point{}
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		m := sized.FindStringSubmatch(lines.Text())
		if m == nil {
			continue
		}
		n, err := strconv.Atoi(m[1])
		if err != nil || n <= 0 {
			return nil, fmt.Errorf("%q: no number of notes", lines.Text())
		}
		p := point{notes: n}
		fields := strings.Fields(m[2])
		for i := 0; i+1 < len(fields); i += 2 {
			v, err := strconv.ParseFloat(fields[i], 64)
			if err != nil {
				return nil, fmt.Errorf("%q: %w", lines.Text(), err)
			}
			switch fields[i+1] {
			case "ns/op":
				p.seconds = v / 1e9
			case "peak-MB":
				p.peak = v
			}
		}
		if old, ok := best[n]; p.seconds > 0 && (!ok || p.seconds < old.seconds) {
			best[n] = p
		}
	}
	if err := lines.Err(); err != nil {
		return nil, err
	}
	if len(best) < 2 {
		return nil, fmt.Errorf("%d sizes in the output of the benchmarks; two at least are needed", len(best))
	}
	var out []point
	for _, p := range best {
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b point) int { return cmp.Compare(a.notes, b.notes) })
	return out, nil
}

// exponent is the slope of the least-squares line through the logarithms: 1 where
// time grows in proportion to the notes.
func exponent(ps []point) float64 {
	var x, y, xx, xy float64
	for _, p := range ps {
		a, b := math.Log(float64(p.notes)), math.Log(p.seconds)
		x, y, xx, xy = x+a, y+b, xx+a*a, xy+a*b
	}
	n := float64(len(ps))
	return (n*xy - x*y) / (n*xx - x*x)
}

func table(w io.Writer, ps []point) {
	fmt.Fprintln(w, "| notes | seconds | µs a note | peak of the process, MB |")
	fmt.Fprintln(w, "|---:|---:|---:|---:|")
	for _, p := range ps {
		peak := "–"
		if p.peak > 0 {
			peak = fmt.Sprintf("%.0f", p.peak)
		}
		fmt.Fprintf(w, "| %d | %.3f | %.1f | %s |\n", p.notes, p.seconds, 1e6*p.seconds/float64(p.notes), peak)
	}
	fmt.Fprintf(w, "\nTime grows as the notes to the power %.2f.\n", exponent(ps))
}

// Size of the drawing and of its frame, in user units.
const (
	width, height      = 560, 380
	left, right        = 70, 20
	top, bottom        = 20, 50
	perDecade, lineGap = 1.0, 5
)

// draw makes the picture: measured points, and the line of straight growth through
// the first.
func draw(ps []point) []byte {
	first, last := ps[0], ps[len(ps)-1]
	x0, x1 := math.Floor(math.Log10(float64(first.notes))), math.Ceil(math.Log10(float64(last.notes)))
	y0, y1 := math.Floor(math.Log10(first.seconds)), math.Ceil(math.Log10(math.Max(last.seconds, first.seconds*float64(last.notes)/float64(first.notes))))
	x := func(notes float64) float64 {
		return left + (math.Log10(notes)-x0)/math.Max(perDecade, x1-x0)*(width-left-right)
	}
	y := func(s float64) float64 {
		return height - bottom - (math.Log10(s)-y0)/math.Max(perDecade, y1-y0)*(height-top-bottom)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" font-family="serif" font-size="13" role="img" aria-label="Seconds of a joint plan by notes">`+"\n", width, height, width, height)
	fmt.Fprintf(&b, `<rect width="%d" height="%d" fill="#fff"/>`+"\n", width, height)
	for d := x0; d <= x1; d++ {
		v := x(math.Pow(10, d))
		fmt.Fprintf(&b, `<path d="M%.1f %d V%d" stroke="#ccc"/><text x="%.1f" y="%d" text-anchor="middle">%.0f</text>`+"\n", v, top, height-bottom, v, height-bottom+18, math.Pow(10, d))
	}
	for d := y0; d <= y1; d++ {
		v := y(math.Pow(10, d))
		fmt.Fprintf(&b, `<path d="M%d %.1f H%d" stroke="#ccc"/><text x="%d" y="%.1f" text-anchor="end">%g s</text>`+"\n", left, v, width-right, left-lineGap, v+4, math.Pow(10, d))
	}
	fmt.Fprintf(&b, `<text x="%d" y="%d" text-anchor="middle">notes</text>`+"\n", (left+width-right)/2, height-lineGap*2)
	straight := first.seconds * float64(last.notes) / float64(first.notes)
	fmt.Fprintf(&b, `<path d="M%.1f %.1f L%.1f %.1f" stroke="#888" stroke-dasharray="5 4" fill="none"/>`+"\n", x(float64(first.notes)), y(first.seconds), x(float64(last.notes)), y(straight))
	var line []string
	for _, p := range ps {
		line = append(line, fmt.Sprintf("%.1f,%.1f", x(float64(p.notes)), y(p.seconds)))
	}
	fmt.Fprintf(&b, `<polyline points="%s" stroke="#222" stroke-width="1.5" fill="none"/>`+"\n", strings.Join(line, " "))
	for _, p := range ps {
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="3.5" fill="#222"/><text x="%.1f" y="%.1f">%.3g s</text>`+"\n", x(float64(p.notes)), y(p.seconds), x(float64(p.notes))+8, y(p.seconds)+14, p.seconds)
	}
	fmt.Fprintf(&b, `<text x="%d" y="%d">measured: notes to the power %.2f; dashed: in proportion</text>`+"\n</svg>\n", left+10, top+16, exponent(ps))
	return []byte(b.String())
}
