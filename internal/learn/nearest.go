package learn

import (
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/sequence"
)

// Nearest measures, besides the cheapest plan, the one of the k cheapest that
// agrees best with the player: chosen once for the whole part, and chosen anew for
// each phrase of at most phraseLayers events, up to a rest. Counts are notes and
// notes on which all three agree.
type Nearest struct{ N, Best, Whole, Phrases int }

const phraseLayers = 24

// stretch is a run of layers as a lattice of its own.
type stretch struct {
	*fingering.Problem
	lo, hi int
}

func (s stretch) Layers() int                  { return s.hi - s.lo }
func (s stretch) States(i int) int             { return s.Problem.States(s.lo + i) }
func (s stretch) Node(i, t int) float64        { return s.Problem.Node(s.lo+i, t) }
func (s stretch) Edge(i, from, to int) float64 { return s.Problem.Edge(s.lo+i, from, to) }
func (s stretch) right(path []int, p *Piece) (n int) {
	for i, t := range path {
		n += len(s.Struck(s.lo+i)) - wrongNotes(s.Stops(s.lo+i, t), s.Struck(s.lo+i), p.Truth) - unknown(s, i, p)
	}
	return n
}

// unknown counts struck notes without a known fingering.
func unknown(s stretch, i int, p *Piece) (n int) {
	for _, id := range s.Struck(s.lo + i) {
		if !p.Truth[id].OK {
			n++
		}
	}
	return n
}

// NearestOf measures the players of a work.
func NearestOf(w *Work, weights *fingering.Weights, k int) (r Nearest) {
	type plan struct {
		whole   stretch
		many    []sequence.Path
		phrases []stretch
		each    [][]sequence.Path
	}
	plans := map[string]*plan{}
	for _, p := range w.Pieces {
		key := textOf(p)
		pl := plans[key]
		if pl == nil {
			pr := fingering.NewProblem(p.Score, p.Score.Parts[0], fingering.Options{Instrument: instrument.Violin(), Weights: weights, HidePrinted: true})
			pl = &plan{whole: stretch{pr, 0, pr.Layers()}}
			pl.many = sequence.KBest(pl.whole, k)
			pl.phrases = phrases(pr)
			for _, s := range pl.phrases {
				pl.each = append(pl.each, sequence.KBest(s, k))
			}
			plans[key] = pl
		}
		for _, t := range p.Truth {
			if t.OK {
				r.N++
			}
		}
		r.Best += pl.whole.right(pl.many[0].States, p)
		r.Whole += mostRight(pl.whole, pl.many, p)
		for i, s := range pl.phrases {
			r.Phrases += mostRight(s, pl.each[i], p)
		}
	}
	return r
}

func mostRight(s stretch, many []sequence.Path, p *Piece) int {
	most := 0
	for _, m := range many {
		most = max(most, s.right(m.States, p))
	}
	return most
}

func phrases(pr *fingering.Problem) (out []stretch) {
	lo := 0
	for i := 1; i <= pr.Layers(); i++ {
		rest := 0.0
		if i < pr.Layers() {
			rest, _ = pr.Rest(i)
		}
		if i == pr.Layers() || rest > 0.1 || i-lo == phraseLayers {
			out = append(out, stretch{pr, lo, i})
			lo = i
		}
	}
	return out
}

// Add sums.
func (r *Nearest) Add(o Nearest) {
	r.N, r.Best, r.Whole, r.Phrases = r.N+o.N, r.Best+o.Best, r.Whole+o.Whole, r.Phrases+o.Phrases
}
