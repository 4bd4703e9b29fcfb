package learn

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/testdata"
)

// randomPiece is a line of n notes, each fingered as some random grip has it.
func randomPiece(r *rand.Rand, n int) *Piece {
	p := &score.Part{ID: "P1"}
	fp := &Piece{Score: &score.Score{Quarter: quarter, Parts: []*score.Part{p}}}
	at := score.Tick(0)
	for i := range n {
		d := score.Tick([]int{240, 480, 960}[r.IntN(3)])
		id := score.NoteID(i)
		q := pitch.FromMIDI(57+r.IntN(28), 0)
		p.Notes = append(p.Notes, score.Note{ID: id, Head: id, Onset: at, Dur: d, Voice: "1", Staff: 1, Written: q, Sounding: q, TieFrom: score.NoNote, TieTo: score.NoNote})
		at += d
	}
	p.Measures = []score.Measure{{Number: "1", Len: at, Meter: score.Meter{Num: 4, Den: 4, Len: at}}}
	fp.Truth = make([]Truth, n)
	pr := fingering.NewProblem(fp.Score, p, fingering.Options{Instrument: instrument.Violin()})
	for i := range pr.Layers() {
		s := pr.Stops(i, r.IntN(pr.States(i)))[0]
		fp.Truth[i] = Truth{String: s.String, Position: max(1, s.Position), Finger: int(s.Finger), OK: r.IntN(4) > 0}
	}
	return fp
}

// bruteForce is the twin of field.gradient: expectations over every path written
// out one by one.
func bruteForce(c chunk, gold [][]int32, margin float64) (logZ float64, terms []float64) {
	pr := c.ex.pr
	n := c.hi - c.lo
	var costs []float64
	var all [][]float64
	path := make([]int, n)
	var walk func(i int, cost float64)
	walk = func(i int, cost float64) {
		if i == n {
			v := make([]float64, fingering.Terms())
			for k, s := range path {
				pr.AddNode(c.lo+k, s, 1, v)
				if k > 0 {
					pr.AddEdge(c.lo+k, path[k-1], s, 1, v)
				}
			}
			costs, all = append(costs, cost), append(all, v)
			return
		}
		allowed := func(s int) bool { return true }
		if gold != nil && gold[c.lo+i] != nil {
			allowed = func(s int) bool {
				for _, t := range gold[c.lo+i] {
					if int(t) == s {
						return true
					}
				}
				return false
			}
		}
		for s := range pr.States(c.lo + i) {
			if !allowed(s) {
				continue
			}
			path[i] = s
			more := pr.Node(c.lo+i, s)
			if m := c.ex.miss[c.lo+i]; m != nil {
				more -= margin * float64(m[s])
			}
			if i > 0 {
				more += pr.Edge(c.lo+i, path[i-1], s)
			}
			walk(i+1, cost+more)
		}
	}
	walk(0, 0)
	low := math.Inf(1)
	for _, x := range costs {
		low = min(low, x)
	}
	sum := 0.0
	terms = make([]float64, fingering.Terms())
	for i, x := range costs {
		p := math.Exp(low - x)
		sum += p
		for k := range terms {
			terms[k] += p * all[i][k]
		}
	}
	for k := range terms {
		terms[k] /= sum
	}
	return math.Log(sum) - low, terms
}

// The field's expectations are those over every path there is, free and tied to
// the player's; differences of logarithms too, since each field leaves out one
// constant of its own.
func TestGradientAgainstBruteForce(t *testing.T) {
	const seed = 11
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for range 12 {
		p := randomPiece(r, 3)
		ex := newExample([]*Piece{p})
		ex.pr.Reweigh(fingering.DefaultWeights().Vector(instrument.ViolinKind))
		c := chunk{ex, 0, ex.pr.Layers()}
		f := newField(c, 0.7)
		f.little = 0
		var logs, want [2]float64
		for k, gold := range [][][]int32{nil, ex.golds[0]} {
			got := make([]float64, fingering.Terms())
			z, ok := f.gradient(gold, 1, got)
			if !ok {
				t.Fatal("no path has weight")
			}
			bz, terms := bruteForce(c, gold, 0.7)
			logs[k], want[k] = z, bz
			for i := range terms {
				if math.Abs(got[i]-terms[i]) > 1e-9*(1+math.Abs(terms[i])) {
					t.Errorf("gold %v, term %s: %v, every path says %v", gold != nil, fingering.TermNames()[i], got[i], terms[i])
				}
			}
		}
		if math.Abs((logs[0]-logs[1])-(want[0]-want[1])) > 1e-9 {
			t.Errorf("log odds %v, every path says %v", logs[0]-logs[1], want[0]-want[1])
		}
	}
}

func someExamples(r *rand.Rand) []*Example {
	var exs []*Example
	for range 3 {
		exs = append(exs, newExample([]*Piece{randomPiece(r, 60)}))
	}
	return exs
}

// The same examples give the same weights, to the last bit; none is negative, and
// what is kept stays.
func TestFitIsDeterministic(t *testing.T) {
	o := Usual()
	o.Epochs = 2
	base := fingering.UnlearnedWeights()
	var out [2]string
	for i := range out {
		w, err := Fit(someExamples(rand.New(rand.NewPCG(3, 4))), base, Kept(), o)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = w.String()
		v, b := w.Vector(instrument.ViolinKind), base.Vector(instrument.ViolinKind)
		for k, n := range fingering.TermNames() {
			if v[k] < 0 || Kept()[n] && v[k] != b[k] {
				t.Errorf("%s: %v, was %v", n, v[k], b[k])
			}
		}
		if w.Vector(instrument.CelloKind)[0] != base.Vector(instrument.CelloKind)[0] {
			t.Error("the cello's weights moved")
		}
	}
	if out[0] != out[1] {
		t.Error("two fits of the same examples differ")
	}
}

// A loss falls: what the players did becomes likelier.
func TestFitLearns(t *testing.T) {
	var losses []float64
	o := Usual()
	o.Epochs = 6
	o.Log = func(_ int, l float64) { losses = append(losses, l) }
	if _, err := Fit(someExamples(rand.New(rand.NewPCG(5, 6))), fingering.UnlearnedWeights(), Kept(), o); err != nil {
		t.Fatal(err)
	}
	if losses[len(losses)-1] >= losses[0] {
		t.Errorf("losses %v", losses)
	}
}

// A common factor, and lowering a whole column that every finger pays, change no
// plan.
func TestScaleChangesNoPlan(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	p := randomPiece(r, 80)
	v := fingering.DefaultWeights().Vector(instrument.ViolinKind)
	plan := func(v []float64) (out []int) {
		w := fingering.UnlearnedWeights().WithVector(instrument.ViolinKind, v)
		st := fingering.Analyze(p.Score, p.Score.Parts[0], fingering.Options{Weights: w})
		for _, g := range st.Grips {
			out = append(out, g.Stops[0].String, int(g.Stops[0].Finger), int(g.Hand.Place))
		}
		return out
	}
	want := plan(v)
	double, raised := make([]float64, len(v)), append([]float64(nil), v...)
	for k := range v {
		double[k] = 2 * v[k]
	}
	for c, cells := range fingering.FingerColumns() {
		for _, k := range cells {
			raised[k] += 0.1 * float64(c+1)
		}
	}
	for name, u := range map[string][]float64{"doubled": double, "raised": raised, "levelled": level(append([]float64(nil), raised...))} {
		got := plan(u)
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("%s: differs at event %d", name, i/3)
			}
		}
	}
}

// The judgements of the treatise hold for the committed weights, and orderly
// keeps the order of covers.
func TestOrderly(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	at := map[string]int{}
	for i, n := range fingering.TermNames() {
		at[n] = i
	}
	for range 200 {
		w := make([]float64, fingering.Terms())
		for k := range w {
			w[k] = 3 * r.Float64()
		}
		orderly(w)
		for _, o := range order {
			if w[at[o.more]] < o.factor*w[at[o.less]]-1e-12 {
				t.Fatalf("%s %v, %s %v", o.more, w[at[o.more]], o.less, w[at[o.less]])
			}
		}
	}
}

// The committed weights are those of these very works, where the data is there:
// a work that was learned from is known by its notes.
func TestCommittedWeightsKnowTheirWorks(t *testing.T) {
	dir := testdata.Dir(t)
	from := map[string]bool{}
	for _, id := range fingering.LearnedFrom() {
		from[id] = true
	}
	if len(from) == 0 {
		t.Fatal("weights.txt does not say what it was learned from")
	}
	known := 0
	for _, set := range []string{"ytvf", "tnua"} {
		works, err := ReadSet(filepath.Join(dir, "fingering", set))
		if err != nil {
			t.Skip("no fingered pieces in the shared data: ", err)
		}
		for _, w := range works {
			if from[w.ID()] {
				known++
			}
		}
	}
	t.Logf("%d of the works here were learned from", known)
}

// Groups never fall into two folds, and every fold gets works.
func TestFolds(t *testing.T) {
	var works []*Work
	for _, g := range []string{"a", "b", "c", "c", "d", "e", "c", "f"} {
		works = append(works, &Work{Group: g})
	}
	fold := FoldOf(works, 3)
	seen := map[int]bool{}
	for _, f := range fold {
		seen[f] = true
	}
	if len(fold) != 6 || len(seen) != 3 {
		t.Errorf("%v", fold)
	}
}
