package learn

import (
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
)

// Settings of a fit.
type Settings struct {
	Epochs int
	Rate   float64 // of the first steps
	Margin float64 // see field
	Pull   float64 // strength of the pull of each weight back to where it began, per note
	Batch  int     // chunks to a step
	Seed   uint64
	Log    func(epoch int, loss float64)
}

// Usual settings; set once on the inner folds, see docs/ACCURACY.md.
func Usual() Settings {
	return Settings{Epochs: 8, Rate: 0.25, Margin: 1, Pull: 1e-4, Batch: 8, Seed: 7}
}

// Fit learns the violin's weights from examples, beginning at w. Chunks are drawn in an
// order that the seed fixes; each batch moves the weights against its gradient,
// each by its own rate (AdaGrad, Duchi, Hazan and Singer 2011), none below 0 and in
// the order that order.go tells; the
// result is the mean over the last half of the steps. Terms that no example has
// keep their weights, as do those in keep. The same input gives the same weights.
func Fit(exs []*Example, w *fingering.Weights, keep map[string]bool, o Settings) (*fingering.Weights, error) {
	judged, err := judgements()
	if err != nil {
		return nil, err
	}
	start := w.Vector(instrument.ViolinKind)
	cur := append([]float64(nil), start...)
	names := fingering.TermNames()
	square := make([]float64, len(cur))
	mean := make([]float64, len(cur))
	steps := 0
	list := chunks(exs)
	r := rand.New(rand.NewPCG(o.Seed, 1))
	for epoch := range o.Epochs {
		r.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		loss := 0.0
		for from := 0; from < len(list); from += o.Batch {
			batch := list[from:min(len(list), from+o.Batch)]
			seen := map[*fingering.Problem]bool{}
			for _, c := range batch {
				if !seen[c.ex.pr] {
					c.ex.pr.Reweigh(cur)
					seen[c.ex.pr] = true
				}
			}
			g, l := batchGradient(batch, len(cur), o.Margin)
			loss += l
			for j := range judged {
				judged[j].pull(cur, g)
			}
			for k := range cur {
				if keep[names[k]] || g[k] == 0 {
					continue
				}
				d := g[k] + o.Pull*float64(len(batch)*chunkLayers)*(cur[k]-start[k])
				square[k] += d * d
				cur[k] = max(0, cur[k]-o.Rate*d/math.Sqrt(square[k]+1))
			}
			orderly(cur)
			if epoch >= o.Epochs/2 {
				steps++
				for k := range mean {
					mean[k] += (cur[k] - mean[k]) / float64(steps)
				}
			}
		}
		if o.Log != nil {
			o.Log(epoch, loss)
		}
	}
	return w.WithVector(instrument.ViolinKind, level(mean)), nil
}

// batchGradient is the gradient of the loss over chunks, and the loss; the sums
// are taken in the order of the chunks, so that the number of workers does not show.
func batchGradient(batch []chunk, n int, margin float64) ([]float64, float64) {
	gs := make([][]float64, len(batch))
	ls := make([]float64, len(batch))
	var wg sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, c := range batch {
		wg.Add(1)
		go func() {
			defer wg.Done()
			free <- struct{}{}
			defer func() { <-free }()
			gs[i] = make([]float64, n)
			ls[i] = c.gradient(margin, gs[i])
		}()
	}
	wg.Wait()
	sum := make([]float64, n)
	loss := 0.0
	for i := range gs {
		for k := range sum {
			sum[k] += gs[i][k]
		}
		loss += ls[i]
	}
	return sum, loss
}

// gradient of one chunk: expected terms of the players' paths less those of all.
func (c chunk) gradient(margin float64, v []float64) float64 {
	f := newField(c, margin)
	loss, players := 0.0, 0
	share := c.ex.weight / float64(len(c.ex.golds))
	for _, gold := range c.ex.golds {
		if z, ok := f.gradient(gold, share, v); ok {
			loss -= share * z
			players++
		}
	}
	if players > 0 {
		if z, ok := f.gradient(nil, -share*float64(players), v); ok {
			loss += share * float64(players) * z
		}
	}
	return loss
}

// level lowers each column of the tables of fingers until its least cell is 0:
// every way of taking a note pays one cell of the column, so plans do not change.
func level(v []float64) []float64 {
	for _, cells := range fingering.FingerColumns() {
		low := math.Inf(1)
		for _, k := range cells {
			low = min(low, v[k])
		}
		for _, k := range cells {
			v[k] -= low
		}
	}
	return v
}
