package fingering

import (
	_ "embed"
	"fmt"
	"math"
	"strconv"
	"strings"

	"pochette/internal/instrument"
)

// Weights is the cost of one unit of each term, for each instrument. All are
// finite and not negative: the search relies on it to stop early.
type Weights struct {
	of [3][nTerms]float64 // by instrument.Kind
}

//go:embed weights.txt
var embedded string

// DefaultWeights are the embedded ones.
func DefaultWeights() *Weights {
	w, err := ParseWeights(embedded)
	if err != nil {
		panic("fingering: embedded weights: " + err.Error())
	}
	return w
}

// ParseWeights reads the table of weights.txt: a line a term with its name and
// a number for violin, viola and cello; # begins a comment. Every term must
// stand in it once.
func ParseWeights(text string) (*Weights, error) {
	byName := map[string]term{}
	for k, n := range termNames {
		byName[n] = term(k)
	}
	w := &Weights{}
	seen := map[term]bool{}
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		f := strings.Fields(line)
		if len(f) == 0 {
			continue
		}
		k, ok := byName[f[0]]
		if !ok {
			return nil, fmt.Errorf("weights line %d: no term is named %q", i+1, f[0])
		}
		if len(f) != 4 || seen[k] {
			return nil, fmt.Errorf("weights line %d: want %q once, with three numbers (violin, viola, cello)", i+1, f[0])
		}
		seen[k] = true
		for j := range w.of {
			v, err := strconv.ParseFloat(f[j+1], 64)
			if err != nil || v < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
				return nil, fmt.Errorf("weights line %d: %q is not a number from 0 up", i+1, f[j+1])
			}
			w.of[j][k] = v
		}
	}
	for k, n := range termNames {
		if !seen[term(k)] {
			return nil, fmt.Errorf("weights: term %q is missing", n)
		}
	}
	return w, nil
}

// String writes the table that ParseWeights reads.
func (w *Weights) String() string {
	var b strings.Builder
	b.WriteString("# term                    violin    viola    cello\n")
	for k, n := range termNames {
		fmt.Fprintf(&b, "%-24s %8.4g %8.4g %8.4g\n", n, w.of[0][k], w.of[1][k], w.of[2][k])
	}
	return b.String()
}

// Vector gives the weights of one instrument in the order of TermNames.
func (w *Weights) Vector(k instrument.Kind) []float64 {
	return append([]float64(nil), w.of[k][:]...)
}

// WithVector is a copy with the weights of one instrument replaced; negative
// numbers become 0.
func (w *Weights) WithVector(k instrument.Kind, v []float64) *Weights {
	c := *w
	for i := range c.of[k] {
		c.of[k][i] = max(0, v[i])
	}
	return &c
}

// Profile is a historical style: factors over the weights.
type Profile string

// Profiles. The zero value uses the weights as they are.
const (
	Plain Profile = ""
	// Early: low positions, open strings, no glide under a slur.
	Early Profile = "early"
	// Later: one string for a phrase, high positions, few open strings.
	Later Profile = "later"
)

// Factors are a synthesis of the two styles as the project's design words them;
// common practice, no source.
var profiles = map[Profile]map[term]float64{
	Plain: nil,
	Early: {openNote: 0, openLong: 0.3, height: 2, highLow: 2.5, shiftSlur: 2, sameFinger: 4, even: 1.5},
	Later: {openNote: 3, openLong: 2, height: 0.4, highLow: 0.3, stringChange: 2.5, stringSlur: 4, shiftSlur: 0.6, sameFinger: 0},
}

// Known says whether the profile exists.
func (p Profile) Known() bool { _, ok := profiles[p]; return ok }

func (w *Weights) vector(k instrument.Kind, p Profile) [nTerms]float64 {
	v := w.of[k]
	for t, f := range profiles[p] {
		v[t] *= f
	}
	return v
}
