package harmony

import (
	"math"
	"slices"

	"pochette/internal/score"
)

// Label is a chord as an annotator wrote it. Target is counted from the local
// tonic on the line of fifths; Bass is the tone under the chord.
type Label struct {
	From, To    score.Tick
	Key         Key
	Chord       Chord
	Applied     bool
	Target      Tone
	TargetMinor bool
	Bass        Tone
	Figures     string
	Pedal       string
}

// Example is a part with its labels, to learn from.
type Example struct {
	pr   *problem
	gold []Segment
}

// NewExample lays a labelled part out for learning. Labels that no state says
// go to the nearest chord of the key; ok is false where a key lies beyond those
// that are looked for throughout.
func NewExample(p *score.Part, quarter score.Tick, home Key, labels []Label) (*Example, bool) {
	ex := &Example{pr: newProblem(newGrid(p, quarter), home)}
	units := ex.pr.g.units
	states := make([]State, len(units))
	at := 0
	for i, u := range units {
		mid := u.start + (u.end-u.start)/2
		for at < len(labels)-1 && labels[at].To <= mid {
			at++
		}
		if len(labels) == 0 {
			return nil, false
		}
		s, ok := ex.pr.nearest(labels[at])
		if !ok {
			if i == 0 {
				return nil, false
			}
			s = states[i-1]
		}
		states[i] = s
	}
	for i := 0; i < len(states); {
		j := i
		for j < len(states) && states[j] == states[i] && j-i < maxLen {
			j++
		}
		ex.gold = append(ex.gold, Segment{i, j, states[i]})
		i = j
	}
	return ex, true
}

// nearest is the state that says what a label says, or that comes nearest: same
// root and applied target, then same root, then most tones in common.
func (p *problem) nearest(l Label) (State, bool) {
	k := slices.Index(p.keys, l.Key)
	if k < 0 {
		return State{}, false
	}
	best, top := 0, -1
	want := l.Chord.Tones()
	for i, f := range functions[mode(l.Key.Minor)] {
		c := p.chords[p.chord[k][i]]
		v := 0
		if c == l.Chord {
			v += 100
		} else if c.Root == l.Chord.Root {
			v += 20
		}
		if f.applied == l.Applied && (!l.Applied || f.target == l.Target) {
			v += 30
		}
		for _, t := range c.Tones() {
			if slices.Contains(want, t) {
				v += 5
			} else {
				v--
			}
		}
		if v > top {
			best, top = i, v
		}
	}
	return State{k, best}, true
}

// Settings of Learn.
type Settings struct {
	Epochs int     // passes over the examples; the later half is averaged
	Rate   float64 // step of the gradient method
	Damp   float64 // slows weights that few places speak of
	Pull   float64 // weight of the squared distance from 0, for each example
	// KeyShare is how much the evidence of keys over single units counts once all is
	// learned, of what it was learned at. The model takes units for independent, but a
	// key's tones come back from unit to unit; on music that was not learned from,
	// whole evidence makes too sure of every passing turn.
	KeyShare float64
}

// UsualSettings are those of the committed weights. KeyShare is chosen by
// cross-validation among the shares of KeyShares (cmd/accuracy does so again inside
// each of its folds); the others were, over half of the movements.
func UsualSettings() Settings {
	return Settings{Epochs: 8, Rate: 0.3, Damp: 10, Pull: 0.05, KeyShare: 0.35}
}

// KeyShares are those to choose from.
func KeyShares() []float64 { return []float64{1, 0.7, 0.5, 0.35, 0.25} }

// WithKeyShare are the weights with the evidence of keys at a share of what it is.
func (w *Weights) WithKeyShare(share float64) *Weights {
	out := &Weights{w: slices.Clone(w.w), Learned: w.Learned}
	for _, b := range []*block{blScale, blLine, blKin, blPlace} {
		for i := range b.count() {
			out.w[b.at+i] *= share
		}
	}
	return out
}

// Learn fits weights so that the labels become likely among all readings: a
// semi-Markov conditional random field (Sarawagi and Cohen 2004) with exact
// gradients, steps after AdaGrad (Duchi, Hazan and Singer 2011), averaged over
// the passes. Examples are taken in the order of a fixed sequence: the same
// examples give the same weights.
func Learn(exs []*Example, set Settings) *Weights {
	w := NewWeights()
	square, mean, grad := make([]float64, features), make([]float64, features), make([]float64, features)
	order := make([]int, len(exs))
	for i := range order {
		order[i] = i
	}
	seed, taken := uint64(1), 0.0
	for epoch := range set.Epochs {
		shuffle(order, &seed)
		for _, o := range order {
			exs[o].gradient(w, grad)
			for i, g := range grad {
				g += set.Pull * w.w[i]
				if g != 0 {
					square[i] += g * g
					w.w[i] -= set.Rate * g / math.Sqrt(square[i]+set.Damp)
				}
			}
			if epoch*2 >= set.Epochs {
				taken++
				for i := range mean {
					mean[i] += (w.w[i] - mean[i]) / taken
				}
			}
		}
	}
	w.w = mean
	return w
}

// gradient fills grad with that of the negative logarithm of the labels' chance.
func (ex *Example) gradient(w *Weights, grad []float64) {
	clear(grad)
	expected(newScored(ex.pr, w), grad)
	ex.pr.pathFeatures(ex.gold, func(i int, v float64) { grad[i] -= v })
}

// shuffle draws an order with an xorshift generator (Marsaglia 2003), so that no
// global chance comes in.
func shuffle(order []int, seed *uint64) {
	x := *seed
	for i := len(order) - 1; i > 0; i-- {
		x ^= x << 13
		x ^= x >> 7
		x ^= x << 17
		j := int(x % uint64(i+1))
		order[i], order[j] = order[j], order[i]
	}
	*seed = x
}
