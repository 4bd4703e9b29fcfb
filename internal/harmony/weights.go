package harmony

import (
	_ "embed"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
)

// Weights are those of the linear model; larger is likelier.
type Weights struct {
	w []float64
	// Learned lists the movements that the weights were learned from.
	Learned []string
}

//go:embed weights.txt
var weightsText string

// DefaultWeights are the committed ones.
var DefaultWeights = sync.OnceValue(func() *Weights {
	w, err := ParseWeights(weightsText)
	if err != nil {
		panic("harmony: weights.txt: " + err.Error())
	}
	return w
})

// NewWeights are all zero.
func NewWeights() *Weights { return &Weights{w: make([]float64, features)} }

var featureIndex = sync.OnceValue(func() map[string]int {
	m := make(map[string]int, features)
	for _, b := range blocks {
		for i := range b.count() {
			m[b.label(i)] = b.at + i
		}
	}
	return m
})

// String writes one weight a line, name and value, those near zero left out.
func (w *Weights) String() string {
	var sb strings.Builder
	for _, l := range w.Learned {
		fmt.Fprintf(&sb, "# learned from %s\n", l)
	}
	for _, b := range blocks {
		for i := range b.count() {
			if v := w.w[b.at+i]; math.Abs(v) >= 0.0005 {
				fmt.Fprintf(&sb, "%s %.3f\n", b.label(i), v)
			}
		}
	}
	return sb.String()
}

// ParseWeights reads what String writes. Names that are not given are 0.
func ParseWeights(text string) (*Weights, error) {
	w := NewWeights()
	n := 0
	for line := range strings.Lines(text) {
		n++
		line = strings.TrimSpace(line)
		if rest, ok := strings.CutPrefix(line, "# learned from "); ok {
			w.Learned = append(w.Learned, rest)
		}
		if line == "" || line[0] == '#' {
			continue
		}
		cut := strings.LastIndexByte(line, ' ')
		if cut < 0 {
			return nil, fmt.Errorf("line %d: want a name and a number", n)
		}
		i, ok := featureIndex()[line[:cut]]
		if !ok {
			return nil, fmt.Errorf("line %d: no weight is named %q", n, line[:cut])
		}
		v, err := strconv.ParseFloat(line[cut+1:], 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("line %d: %q is no number", n, line[cut+1:])
		}
		w.w[i] = v
	}
	return w, nil
}
