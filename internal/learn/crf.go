package learn

import (
	"math"

	"pochette/internal/fingering"
)

// Example is one part laid out for the search, with what one or more players did.
type Example struct {
	Name string
	// Group names the work: examples of one group are never split over folds.
	Group  string
	pr     *fingering.Problem
	golds  [][][]int32 // by player and layer: the states that do what the player did; nil: not known
	miss   [][]float32 // by layer and state: notes it gets wrong, mean over the players
	weight float64
	// Labels counts the notes with a known fingering, Beyond those among them that no
	// state has.
	Labels, Beyond int
}

// chunk is a stretch of layers that is learned at once.
type chunk struct {
	ex     *Example
	lo, hi int
}

const chunkLayers = 80

func chunks(exs []*Example) []chunk {
	var out []chunk
	for _, ex := range exs {
		n := ex.pr.Layers()
		parts := (n + chunkLayers - 1) / chunkLayers
		for k := range parts {
			out = append(out, chunk{ex, k * n / parts, (k + 1) * n / parts})
		}
	}
	return out
}

// field is the conditional random field over a chunk: the probability of a path
// falls exponentially with its cost (Lafferty, McCallum and Pereira 2001). Wrong
// states are made cheaper by margin for each wrong note while learning (softmax
// margin, Gimpel and Smith 2010), so that what nearly wins is pushed away.
type field struct {
	chunk
	nodes [][]float64   // costs
	edges [][][]float64 // edges[i][s][t] into layer i, as factors exp(-cost)
	// little is the probability from which on a state or way counts towards the
	// expected terms; there are many thousands of ways that hardly ever do.
	little float64
}

func newField(c chunk, margin float64) *field {
	f := &field{chunk: c, little: 1e-5}
	pr := c.ex.pr
	for i := c.lo; i < c.hi; i++ {
		n := pr.States(i)
		node := make([]float64, n)
		low := math.Inf(1)
		for s := range node {
			node[s] = pr.Node(i, s)
			if m := c.ex.miss[i]; m != nil {
				node[s] -= margin * float64(m[s])
			}
			low = min(low, node[s])
		}
		for s := range node {
			node[s] = math.Exp(low - node[s])
		}
		f.nodes = append(f.nodes, node)
		if i == c.lo {
			f.edges = append(f.edges, nil)
			continue
		}
		edge := make([][]float64, pr.States(i-1))
		for s := range edge {
			edge[s] = make([]float64, n)
			for t := range edge[s] {
				edge[s][t] = math.Exp(-pr.Edge(i, s, t))
			}
		}
		f.edges = append(f.edges, edge)
	}
	return f
}

// gradient adds x times the expected terms to v, over all paths or, where gold is
// not nil, over those through its states. ok is false where no path has any
// weight. It returns the logarithm of the sum of weights (up to the same constant
// for all calls on one field).
func (f *field) gradient(gold [][]int32, x float64, v []float64) (logZ float64, ok bool) {
	n := f.hi - f.lo
	sets := make([][]int32, n)
	for i := range sets {
		if gold != nil && gold[f.lo+i] != nil {
			sets[i] = gold[f.lo+i]
			continue
		}
		sets[i] = make([]int32, len(f.nodes[i]))
		for s := range sets[i] {
			sets[i][s] = int32(s)
		}
	}
	a := make([][]float64, n)
	for i := range a {
		a[i] = make([]float64, len(sets[i]))
		sum := 0.0
		for k, t := range sets[i] {
			in := 1.0
			if i > 0 {
				in = 0
				for j, s := range sets[i-1] {
					in += a[i-1][j] * f.edges[i][s][t]
				}
			}
			a[i][k] = in * f.nodes[i][t]
			sum += a[i][k]
		}
		if sum < 1e-290 || math.IsNaN(sum) {
			return 0, false
		}
		for k := range a[i] {
			a[i][k] /= sum
		}
		logZ += math.Log(sum)
	}
	b := make([]float64, len(sets[n-1]))
	for k := range b {
		b[k] = 1
	}
	for i := n - 1; i >= 0; i-- {
		b = f.spread(i, sets, a, b, x, v)
	}
	return logZ, true
}

// spread adds the terms of layer i and the ways into it by their probabilities,
// and gives the backward sums of the layer before.
func (f *field) spread(i int, sets [][]int32, a [][]float64, b []float64, x float64, v []float64) []float64 {
	pr := f.ex.pr
	sum := 0.0
	for k := range b {
		sum += a[i][k] * b[k]
	}
	for k, t := range sets[i] {
		if p := a[i][k] * b[k] / sum; p > f.little {
			pr.AddNode(f.lo+i, int(t), x*p, v)
		}
	}
	if i == 0 {
		return nil
	}
	back := make([]float64, len(sets[i-1]))
	total := 0.0
	for j, s := range sets[i-1] {
		for k, t := range sets[i] {
			back[j] += f.edges[i][s][t] * f.nodes[i][t] * b[k]
		}
		total += a[i-1][j] * back[j]
	}
	for j, s := range sets[i-1] {
		for k, t := range sets[i] {
			if p := a[i-1][j] * f.edges[i][s][t] * f.nodes[i][t] * b[k] / total; p > f.little {
				pr.AddEdge(f.lo+i, int(s), int(t), x*p, v)
			}
		}
	}
	for j := range back {
		back[j] /= total
	}
	return back
}
