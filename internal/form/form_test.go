package form

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pochette/internal/score"
)

// The formulas of Cambouropoulos 2001 worked by hand: gaps 1 1 3 give degrees of
// change 0 and 1/2, strengths 1·0, 1·(0+1/2), 3·1/2, brought to 0, 1/3, 1.
func TestProfileByHand(t *testing.T) {
	got := profile([]float64{1, 1, 3})
	for i, want := range []float64{0, 1.0 / 3, 1} {
		if math.Abs(got[i]-want) > 1e-12 {
			t.Errorf("strength %d is %v, want %v", i, got[i], want)
		}
	}
	if s := profile([]float64{2, 2, 2, 2}); slices.Max(s) != 0 {
		t.Errorf("even intervals have boundaries: %v", s)
	}
}

func TestBoundaryIsStrongestAtTheRest(t *testing.T) {
	in := music(t, 4, 4, 0, "C4:48 D4:48 E4:48 F4:24 r:24 G4:48 F4:48 E4:48 D4:48")
	g := newGrid(in)
	if best := slices.Index(g.strong, slices.Max(g.strong)); best != 4 {
		t.Errorf("strongest boundary before onset %d of %v, want 4", best, g.strong)
	}
}

func TestSections(t *testing.T) {
	in := music(t, 2, 4, 24, "G4:24 "+bars(3, "C4:48 D4:48")+"C4:72 :| G4:24 C4:48 B3:48 || C4:96 C4:72 r:24")
	st := Analyze(in)
	if len(st.Sections) != 3 {
		t.Fatalf("%d sections, want 3: %+v", len(st.Sections), st.Sections)
	}
	for i, want := range []struct {
		by    Edge
		times int
	}{{EdgeRepeat, 2}, {EdgeDouble, 1}, {EdgeEnd, 1}} {
		if s := st.Sections[i]; s.By != want.by || s.Times != want.times {
			t.Errorf("section %d ends by %q, %d times; want %q, %d", i, s.By, s.Times, want.by, want.times)
		}
	}
}

func TestSectionsComeBack(t *testing.T) {
	a, b := "C4:48 E4:48 G4:48 E4:48 F4:48 D4:48 B3:48 G3:48 C4:48 E4:48 G4:48 C5:48 C4:192", "A4:24 B4:24 C5:96 B4:48 E4:192 D4:24 C4:24 B3:48 E4:48 E4:48 A3:192"
	st := Analyze(music(t, 4, 4, 0, a+" || "+b+" || "+a))
	if got := st.Sections[0].Name + st.Sections[1].Name + st.Sections[2].Name; got != "ABA" {
		t.Errorf("the sections are called %s, want ABA", got)
	}
}

// A song in two-bar halves whose phrases end on long notes after a falling fifth.
func TestPhrasesOfAPlainSong(t *testing.T) {
	one := "G4:48 A4:48 B4:48 C5:48 D5:48 B4:48 G4:48 G4:48 A4:24 B4:24 C5:48 F#4:48 D4:48 G4:144 r:48 "
	two := "E4:48 D4:48 C4:48 B3:48 C4:48 E4:48 A4:48 A4:48 F#4:24 G4:24 A4:48 F#4:48 D4:48 G4:144 r:48 "
	st := Analyze(music(t, 4, 4, 0, one+two+one+two))
	var at []int
	for _, p := range st.Phrases {
		at = append(at, p.Last+1)
		if p.Bars != 4 {
			t.Errorf("a phrase of %d bars: %s", p.Bars, p.Words.Scholar)
		}
		if len(p.Parts) != 2 || p.Parts[0].Bars != 2 {
			t.Errorf("phrase to bar %d divides into %+v, want 2 + 2 bars", p.Last+1, p.Parts)
		}
	}
	if !slices.Equal(at, []int{4, 8, 12, 16}) {
		t.Errorf("phrases end in bars %v", at)
	}
}

func TestCadenceIsTold(t *testing.T) {
	in := music(t, 4, 4, 0, bars(7, "C4:48 D4:48 E4:48 F4:48")+"C4:192")
	in.Cadences = []Cadence{{At: 7 * 192, Kind: "perfect authentic", Strength: 1}}
	st := Analyze(in)
	last := st.Phrases[len(st.Phrases)-1]
	if last.Cadence != "perfect authentic" || !strings.Contains(last.Words.Player, "a perfect authentic cadence") {
		t.Errorf("the cadence is not told: %+v", last)
	}
}

func TestTagAfterTheClose(t *testing.T) {
	in := music(t, 4, 4, 0, bars(7, "C4:48 D4:48 E4:48 F4:48")+"C4:192 F4:48 E4:48 G3:48 B3:48 C4:192")
	in.Cadences = []Cadence{{At: 7 * 192, Kind: "perfect authentic", Strength: 1}, {At: 9 * 192, Kind: "perfect authentic", Strength: 1}}
	st := Analyze(in)
	if len(st.Tags) != 1 || st.Tags[0].From != 7*192 || st.Tags[0].Bars != 2 {
		t.Fatalf("tags %+v, phrases %+v", st.Tags, st.Phrases)
	}
}

func TestHemiola(t *testing.T) {
	plain := "G4:48 D4:48 D4:48 "
	for _, c := range []struct {
		name, text string
		want       int
	}{
		{"half notes over the bar line", bars(4, plain) + "( A3:48 C5:48 ) ( A3:48~ A3:48 ) ( A3:48 C5:48 ) G3+G4:144", 1},
		{"slurred pairs on a low note", bars(4, plain) + "( A3:48 C5:48 ) ( B3:48 D5:48 ) ( C4:48 E5:48 ) G4:144", 1},
		{"a rhythm of two beats", bars(4, plain) + "A3:24 C5:24 E5:48 B3:24 C5:24 E5:48 A3:24 C5:24 E5:48 G4:144", 1},
		{"plain triple time", bars(7, plain) + "G4:144", 0},
		{"waltz bass", bars(7, "G3:48 D5:48 D5:48") + "G3:144", 0},
		{"even eighths", bars(7, "G4:24 A4:24 B4:24 C5:24 D5:24 E5:24") + "G4:144", 0},
	} {
		st := Analyze(music(t, 3, 4, 0, c.text))
		if len(st.Hemiolas) != c.want {
			t.Errorf("%s: %d hemiolas, want %d: %+v; phrases %+v", c.name, len(st.Hemiolas), c.want, st.Hemiolas, st.Phrases)
		}
	}
}

func TestDotsBesideTriplets(t *testing.T) {
	st := Analyze(music(t, 2, 4, 0, "G4:36 A4:12 B4:16 C5:16 D5:16 G4:36 A4:12 G4:48 B4:16 A4:16 G4:16 E4:24 F4:24 G4:96"))
	m := st.Meters[0]
	if m.Triplets != 2 || m.DottedPairs != 2 {
		t.Errorf("%d triplets and %d dotted pairs, want 2 and 2", m.Triplets, m.DottedPairs)
	}
	kinds := map[string]bool{}
	for _, f := range st.Facts {
		kinds[f.Kind] = true
		if f.Source == "" {
			t.Errorf("%s has no source", f.Kind)
		}
	}
	if !kinds["dotted-beside-triplets"] || !kinds["halves-beside-triplets"] {
		t.Errorf("facts: %v", kinds)
	}
	if st := Analyze(music(t, 2, 4, 0, "G4:36 A4:12 B4:48 G4:96")); len(st.Facts) != 0 {
		t.Errorf("dots without triplets make facts: %+v", st.Facts)
	}
}

// A sarabande leans on its second beat.
func TestBeatsWeigh(t *testing.T) {
	st := Analyze(music(t, 3, 4, 0, bars(8, "G4:48 D3+B4:72 C5:24")))
	if b := st.Meters[0].heaviest(); b != 1 {
		t.Errorf("the heaviest beat is %d, want the second: %+v", b+1, st.Meters[0].Beats)
	}
}

func TestPickupsAreCounted(t *testing.T) {
	in := music(t, 2, 4, 24, "D4:24 "+bars(3, "G4:48 A4:24 B4:24")+"G4:72 D4:24 "+bars(3, "G4:48 A4:24 B4:24")+"G4:72 r:24")
	st := Analyze(in)
	if st.Phrases[0].Pickup != 24 || st.Phrases[0].Bars != 4 {
		t.Errorf("first phrase: pickup %d, %d bars; want 24 and 4", st.Phrases[0].Pickup, st.Phrases[0].Bars)
	}
}

// The shares of arrivals against a count of every layout.
func TestSharesAgainstBrute(t *testing.T) {
	seed := uint64(20261125)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 4))
	for range 300 {
		l, w := randomLayout(r)
		share, want := l.shares(w), l.bruteShares(w)
		for j := range share {
			if math.Abs(share[j]-want[j]) > 1e-9 {
				t.Fatalf("share of arrival %d is %v, by counting %v", j, share[j], want[j])
			}
		}
	}
}

// Sums over very many layouts leave the range of a number; the shares must not.
func TestSharesOfALongMovement(t *testing.T) {
	l := &layout{unit: 1, last: 3998}
	w := &Weights{Bias: 3}
	for j := range 4000 {
		l.cands = append(l.cands, candidate{bars: float64(j + 1)})
	}
	for _, bias := range []float64{3, -300} {
		w.Bias = bias
		sum := 0.0
		for j, s := range l.shares(w) {
			if math.IsNaN(s) || s < 0 || s > 1+1e-9 {
				t.Fatalf("bias %v: the share of arrival %d is %v", bias, j, s)
			}
			sum += s
		}
		if sum < 1 {
			t.Errorf("bias %v: %v arrivals in all", bias, sum)
		}
	}
}

// The search for sub-phrases against a trial of every path.
func TestSplitAgainstBrute(t *testing.T) {
	seed := uint64(20261126)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 4))
	for range 300 {
		n := 2 + r.IntN(8)
		var value [10][10]float64
		for i := range value {
			for j := range value {
				value[i][j] = r.NormFloat64()
			}
		}
		at := func(i, j int) float64 { return value[i][j] }
		weigh := func(path []int) float64 {
			sum := 0.0
			for k := range path[1:] {
				sum += at(path[k], path[k+1])
			}
			return sum
		}
		best := math.Inf(-1)
		for set := range 1 << (n - 2) {
			path := []int{0}
			for k := range n - 2 {
				if set&(1<<k) != 0 {
					path = append(path, k+1)
				}
			}
			best = math.Max(best, weigh(append(path, n-1)))
		}
		if got := weigh(split(n, at)); math.Abs(got-best) > 1e-9 {
			t.Fatalf("the search finds %v, trying all %v", got, best)
		}
	}
}

func randomLayout(r *rand.Rand) (*layout, *Weights) {
	n := 1 + r.IntN(9)
	l := &layout{start: 0, unit: 1, last: r.IntN(n)}
	bars := 0.0
	for range n {
		bars += float64(1+r.IntN(8)) / 2
		if r.IntN(12) == 0 {
			bars += longestPhrase
		}
		c := candidate{bars: bars}
		for k := range c.features {
			c.features[k] = r.Float64()
		}
		l.cands = append(l.cands, c)
	}
	w := &Weights{Bias: r.NormFloat64()}
	for k := range w.Arrival {
		w.Arrival[k] = r.NormFloat64()
	}
	for k := range w.Length {
		w.Length[k] = r.NormFloat64()
	}
	return l, w
}

// weight of a layout; nothing where it has a phrase that is too long.
func (l *layout) weight(w *Weights, arrivals []int) float64 {
	sum, prev := 0.0, -1
	for _, j := range arrivals {
		allowed := false
		l.before(j, func(i int, _ float64) { allowed = allowed || i == prev })
		if !allowed {
			return nothing
		}
		sum += w.arrival(&l.cands[j]) + w.length(l.length(prev, j))
		prev = j
	}
	return sum
}

func (w *Weights) length(bars float64) float64 {
	class, uneven := lengthClass(bars)
	sum := w.Length[class]
	if uneven {
		sum += w.Length[lUneven]
	}
	return sum
}

func (l *layout) each(visit func(arrivals []int)) {
	n := len(l.cands)
	for set := 1; set < 1<<n; set++ {
		var as []int
		for j := range n {
			if set&(1<<j) != 0 {
				as = append(as, j)
			}
		}
		if as[len(as)-1] >= l.last {
			visit(as)
		}
	}
}

func (l *layout) bruteShares(w *Weights) []float64 {
	total := 0.0
	out := make([]float64, len(l.cands))
	l.each(func(as []int) {
		p := math.Exp(l.weight(w, as))
		total += p
		for _, j := range as {
			out[j] += p
		}
	})
	for j := range out {
		out[j] /= total
	}
	return out
}

func TestNothingToRead(t *testing.T) {
	if st := Analyze(Input{Score: &score.Score{Quarter: 1}, Part: &score.Part{}}); len(st.Phrases) != 0 {
		t.Error("phrases out of nothing")
	}
	in := music(t, 4, 4, 0, "r:192 r:192")
	if st := Analyze(in); len(st.Phrases) != 0 || len(st.Hemiolas) != 0 {
		t.Errorf("rests have phrases: %+v", st)
	}
}

func BenchmarkAnalyze(b *testing.B) {
	for _, bars := range []int{167, 1667, 16667} { // 1,000 to 100,000 notes
		in := music(b, 3, 4, 0, strings.Repeat("G4:24 A4:24 B4:24 C5:24 D5:24 E5:24 ", bars))
		b.Run(fmt.Sprint(6*bars), func(b *testing.B) {
			for b.Loop() {
				Analyze(in)
			}
		})
	}
}
