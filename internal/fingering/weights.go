package fingering

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/instrument"
)

// Weights is the cost of one unit of each term, for each instrument. All are
// finite and not negative: the search relies on it to stop early.
type Weights struct {
	of   [3][nTerms]float64 // by instrument.Kind
	adds [2][nTerms]float64 // what the profiles Early and Later add
}

//go:embed weights.txt
var embedded string

// DefaultWeights are the embedded ones.
func DefaultWeights() *Weights { return ours("weights.txt", embedded) }

// ours parses a text that was embedded: a fault in it is a slip of ours.
func ours(name, text string) *Weights {
	w, err := ParseWeights(text)
	if err != nil {
		panic("fingering: embedded " + name + ": " + err.Error())
	}
	return w
}

// ParseWeights reads the text of weights.txt. A line a term has its name, a
// number for violin, viola and cello, and what the early and the later profile
// add; every term must stand in it once. Then tables (see tables.go): a line
// "table NAME INSTRUMENT" and one for each row with its name and a number for each
// column; a table that is missing is all 0. # begins a comment.
func ParseWeights(text string) (*Weights, error) {
	byName := map[string]term{}
	for k, n := range termNames[:nScalars] {
		byName[n] = term(k)
	}
	w := &Weights{}
	seen := map[string]bool{}
	lines := weightLines(text)
	for i := 0; i < len(lines); i++ {
		l := lines[i]
		key := strings.Join(l.fields, " ")
		var err error
		if l.fields[0] == "table" {
			var used int
			used, err = w.table(lines[i:])
			i += used
		} else {
			key = l.fields[0]
			err = w.scalar(byName, l)
		}
		if err == nil && seen[key] {
			err = fmt.Errorf("weights line %d: %q stands twice", l.number, key)
		}
		if err != nil {
			return nil, err
		}
		seen[key] = true
	}
	for _, n := range termNames[:nScalars] {
		if !seen[n] {
			return nil, fmt.Errorf("weights: term %q is missing", n)
		}
	}
	return w, nil
}

// weightLine is a line that is not empty, in fields.
type weightLine struct {
	number int
	fields []string
}

func weightLines(text string) (out []weightLine) {
	for i, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		if f := strings.Fields(line); len(f) > 0 {
			out = append(out, weightLine{i + 1, f})
		}
	}
	return out
}

// num reads field i; negative ones only where they may stand.
func (l weightLine) num(i int, negative bool) (float64, error) {
	v, err := strconv.ParseFloat(l.fields[i], 64)
	if err != nil || v < 0 && !negative || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("weights line %d: %q is not a number from 0 up", l.number, l.fields[i])
	}
	return v, nil
}

func (w *Weights) scalar(byName map[string]term, l weightLine) error {
	k, ok := byName[l.fields[0]]
	if !ok {
		return fmt.Errorf("weights line %d: no term is named %q", l.number, l.fields[0])
	}
	if len(l.fields) != 6 {
		return fmt.Errorf("weights line %d: want %q with five numbers (violin, viola, cello, early, later)", l.number, l.fields[0])
	}
	for j := range 5 {
		v, err := l.num(j+1, j >= 3)
		if err != nil {
			return err
		}
		if j < 3 {
			w.of[j][k] = v
		} else {
			w.adds[j-3][k] = v
		}
	}
	return nil
}

// table reads a table whose head is the first of the lines; used is how many
// lines its rows take.
func (w *Weights) table(lines []weightLine) (used int, err error) {
	head := lines[0]
	b, kind := findTable(head.fields)
	if b == nil {
		return 0, fmt.Errorf("weights line %d: want table, its name and the instrument; no table is named %q", head.number, strings.Join(head.fields[1:], " "))
	}
	if len(lines) <= len(b.rows) {
		return 0, fmt.Errorf("weights line %d: table %q has fewer than %d rows", head.number, b.name, len(b.rows))
	}
	for r, name := range b.rows {
		l := lines[r+1]
		if l.fields[0] != name || len(l.fields) != len(b.cols)+1 {
			return 0, fmt.Errorf("weights line %d: want row %s of table %q with %d numbers", l.number, name, b.name, len(b.cols))
		}
		for c := range b.cols {
			v, err := l.num(c+1, false)
			if err != nil {
				return 0, err
			}
			w.of[kind][int(b.first)+r*len(b.cols)+c] = v
		}
	}
	return len(b.rows), nil
}

func findTable(f []string) (*table, instrument.Kind) {
	if len(f) != 3 {
		return nil, 0
	}
	kind, err := instrument.ParseKind(f[2])
	for i := range tables {
		if tables[i].name == f[1] && err == nil {
			return &tables[i], kind
		}
	}
	return nil, 0
}

// String writes the text that ParseWeights reads.
func (w *Weights) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-24s %8s %8s %8s %8s %8s\n", "# term", "violin", "viola", "cello", "early", "later")
	for k, n := range termNames[:nScalars] {
		fmt.Fprintf(&b, "%-24s %8.4g %8.4g %8.4g %8.4g %8.4g\n", n, w.of[0][k], w.of[1][k], w.of[2][k], w.adds[0][k], w.adds[1][k])
	}
	for kind := range w.of {
		for _, t := range tables {
			w.writeTable(&b, t, kind)
		}
	}
	return b.String()
}

func (w *Weights) writeTable(b *strings.Builder, t table, kind int) {
	cells := w.of[kind][t.first : int(t.first)+len(t.rows)*len(t.cols)]
	if !slices.ContainsFunc(cells, func(v float64) bool { return v != 0 }) {
		return
	}
	fmt.Fprintf(b, "\n# %s\ntable %s %v\n#     ", t.unit, t.name, instrument.Kind(kind))
	for _, c := range t.cols {
		fmt.Fprintf(b, " %11s", c)
	}
	b.WriteString("\n")
	for r, name := range t.rows {
		fmt.Fprintf(b, "%-6s", name)
		for c := range t.cols {
			fmt.Fprintf(b, " %11.4g", cells[r*len(t.cols)+c])
		}
		b.WriteString("\n")
	}
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

// Profile is a historical style. What it adds to the weights stands in
// weights.txt, a synthesis of the two styles as the project's design words them;
// common practice, no source.
type Profile string

// Profiles. The zero value uses the weights as they are.
const (
	Plain Profile = ""
	// Early: low positions, open strings, no glide under a slur.
	Early Profile = "early"
	// Later: one string for a phrase, high positions, few open strings.
	Later Profile = "later"
)

// Known says whether the profile exists.
func (p Profile) Known() bool { return p == Plain || p == Early || p == Later }

func (w *Weights) vector(k instrument.Kind, p Profile) [nTerms]float64 {
	v := w.of[k]
	if p == Plain || !p.Known() {
		return v
	}
	adds := &w.adds[0]
	if p == Later {
		adds = &w.adds[1]
	}
	for t, x := range adds {
		v[t] = max(0, v[t]+x)
	}
	return v
}

// Mix is w with the weights of one instrument a share of the way from its own to
// those of other: share 0 leaves them, 1 takes the other's.
func (w *Weights) Mix(k instrument.Kind, other *Weights, share float64) *Weights {
	c := *w
	for i := range c.of[k] {
		c.of[k][i] = (1-share)*w.of[k][i] + share*other.of[k][i]
	}
	return &c
}

//go:embed weights_learned.txt
var embeddedLearned string

// LearnedWeights are those of the fit alone: the taste of soloists in the works
// learned from. The default is a mixture, see package learn.
func LearnedWeights() *Weights { return ours("weights_learned.txt", embeddedLearned) }

//go:embed weights_unlearned.txt
var embeddedUnlearned string

// UnlearnedWeights are those set by hand, from which learning begins and with
// which it is compared.
func UnlearnedWeights() *Weights { return ours("weights_unlearned.txt", embeddedUnlearned) }

// LearnedFrom lists the works that the embedded weights were fitted on, by the
// identity that package learn gives them: the lines "# learned from ..." of
// weights.txt.
func LearnedFrom() (ids []string) {
	for _, line := range strings.Split(embedded, "\n") {
		if rest, ok := strings.CutPrefix(line, "# learned from "); ok {
			ids = append(ids, strings.Fields(rest)...)
		}
	}
	return ids
}
