package joint

import (
	"math"
	"slices"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
)

// arrival is the work at one layer.
type arrival struct {
	c      *chain
	i      int
	ex     *extra
	n      int                 // rows in a copy
	ways   [][]way             // into each copy of the rows, see difference
	hands  [counts][][]float64 // by what they count as different: costs by state and grip
	before *table
	out    []row
	done   []*work
	cands  []cand
}

// work is a product already made.
type work struct {
	key  workKey
	prod *product
}

type workKey struct {
	from *profile
	how  fingering.Bow
	dir  bowing.Direction // in which the bow comes; None where it does not matter
	hand *float64         // of the extra's slice
}

// cand is a way into a row: what work, its cost and the row it comes from.
type cand struct {
	key  workKey
	cost float64
	from int32
}

// open begins the music.
func (a *arrival) open() {
	pr := a.c.pr
	l := &pr.layers[0]
	for c, ways := range a.ways {
		if ways[0].from != 0 {
			continue
		}
		prods := a.starts(a.hands[ways[0].differs])
		for r := range a.n {
			s := pr.bowState(r)
			cost := a.ex.bow[s]
			if l.bow >= 0 {
				k := pr.stroke(l.bow, false, s)
				k.f = free
				cost += pr.Bow.NodeCost(l.bow, s) + pr.matrix(k)[r%pr.places]
			}
			a.set(c*a.n+r, cost, prods[s])
		}
	}
	for r := range a.out {
		if a.out[r].p == nil {
			a.out[r].off = math.Inf(1)
		}
	}
}

// starts are the products of nothing, one for each state of the bow, shared
// where the costs are.
func (a *arrival) starts(hands [][]float64) []*product {
	prods := make([]*product, len(hands))
	for s, h := range hands {
		for q := range s {
			if &hands[q][0] == &h[0] {
				prods[s] = prods[q]
			}
		}
		if prods[s] == nil {
			prods[s] = &product{profile: profile{v: slices.Clone(h)}}
			prods[s].settle()
		}
	}
	return prods
}

func (a *arrival) set(r int, cost float64, p *product) {
	a.out[r] = row{off: cost + p.base, p: &p.profile}
	if math.IsInf(a.out[r].off, 1) {
		a.out[r] = row{off: math.Inf(1)}
	}
}

// settle takes the least off.
func (p *product) settle() {
	p.base = math.Inf(1)
	for _, v := range p.v {
		p.base = min(p.base, v)
	}
	if math.IsInf(p.base, 1) {
		return
	}
	for g := range p.v {
		p.v[g] -= p.base
	}
}

// goOn continues each row by itself; at a place where the slur may be split the
// rows of the split states go from the first half to the second.
func (a *arrival) goOn() {
	pr := a.c.pr
	l := &pr.layers[a.i]
	for c, ways := range a.ways {
		for r := range a.n {
			s := pr.bowState(r)
			a.cands = a.cands[:0]
			for _, w := range ways {
				if l.step == split && pr.Bow.Split(l.bow, s) {
					mat := pr.matrix(pr.stroke(l.bow, true, s))
					for end := range pr.places {
						a.offer(w, s*pr.places+end, s, fingering.Changed, mat[end*pr.places+r%pr.places])
					}
					continue
				}
				a.offer(w, r, s, a.stayEdge(), 0)
			}
			a.resolve(c*a.n+r, s)
		}
	}
}

// stayEdge: inside a stroke the bow draws on; what is plucked follows the print.
func (a *arrival) stayEdge() fingering.Bow {
	if l := &a.c.pr.layers[a.i]; l.plucked {
		return l.edge
	}
	return fingering.Slurred
}

// turn begins a new stroke.
func (a *arrival) turn() {
	pr := a.c.pr
	l := &pr.layers[a.i]
	before := pr.rows(a.i - 1)
	states := (before + pr.places - 1) / pr.places
	mats := make([][]float64, states)
	hows := make([]fingering.Bow, states)
	costs := make([]float64, states)
	for s := range a.n / pr.places {
		node := pr.Bow.NodeCost(l.bow, s) + a.ex.bow[s]
		k := pr.stroke(l.bow, false, s)
		for q := range states {
			hows[q], costs[q], k.f = pr.onward(a.i, q, s)
			mats[q] = pr.matrix(k)
		}
		for c, ways := range a.ways {
			for to := range pr.places {
				a.cands = a.cands[:0]
				for _, w := range ways {
					for from := range before {
						q := pr.bowState(from)
						a.offer(w, from, s, hows[q], node+costs[q]+mats[q][from%pr.places*pr.places+to])
					}
				}
				a.resolve(c*a.n+s*pr.places+to, s)
			}
		}
	}
}

// offer adds a way from a row of the layer before into state s here to the
// candidates; of ways with the same work only the cheapest is kept.
func (a *arrival) offer(w way, from, s int, how fingering.Bow, cost float64) {
	pr := a.c.pr
	k := workKey{how: how, hand: &a.hands[w.differs][s][0]}
	if pr.crossed(a.i, how) {
		k.dir = pr.heading(a.i-1, pr.bowState(from))
	}
	from += w.from * pr.rows(a.i-1)
	k.from = a.before.rows[from].p
	cost += a.before.rows[from].off
	if math.IsInf(cost, 1) {
		return
	}
	for i := range a.cands {
		if c := &a.cands[i]; c.key == k {
			if cost < c.cost {
				c.cost, c.from = cost, int32(from)
			}
			return
		}
	}
	a.cands = append(a.cands, cand{k, cost, int32(from)})
}

// resolve makes the row that is the least of the candidates.
func (a *arrival) resolve(r, s int) {
	a.out[r] = row{off: math.Inf(1)}
	if math.IsInf(a.ex.bow[s], 1) {
		return
	}
	if a.c.pr.layers[a.i].step != turn { // there ex.bow is in the costs already
		for k := range a.cands {
			a.cands[k].cost += a.ex.bow[s]
		}
	}
	parts := make([]part, 0, len(a.cands))
	for _, cd := range a.cands {
		p := a.work(cd.key)
		if !math.IsInf(p.base, 1) {
			parts = append(parts, part{p, cd.from, cd.cost + p.base})
		}
	}
	parts = undominated(parts)
	switch len(parts) {
	case 0:
	case 1:
		a.out[r] = row{off: parts[0].c, p: &parts[0].prod.profile, parts: parts}
	default:
		a.mix(r, parts)
	}
}

// undominated drops products that are nowhere cheaper than another.
func undominated(parts []part) []part {
	if len(parts) < 2 {
		return parts
	}
	best := 0
	for k := range parts {
		if parts[k].c < parts[best].c {
			best = k
		}
	}
	parts[0], parts[best] = parts[best], parts[0]
	lead := &parts[0]
	out := parts[:1]
	for _, q := range parts[1:] {
		d := q.c - lead.c
		for g, v := range q.prod.v {
			if v+d < lead.prod.v[g] {
				out = append(out, q)
				break
			}
		}
	}
	return out
}

// mix takes the least of several products, grip by grip. Rows that mix the same
// products in the same proportion share a profile.
func (a *arrival) mix(r int, parts []part) {
	for q := range r {
		if o := &a.out[q]; o.choice != nil && sameMix(o.parts, parts) {
			a.out[r] = row{off: o.off + parts[0].c - o.parts[0].c, p: o.p, parts: parts, choice: o.choice}
			return
		}
	}
	n := len(parts[0].prod.v)
	p := &profile{v: make([]float64, n)}
	choice := make([]uint8, n)
	for g := range p.v {
		best := math.Inf(1)
		for k := range parts {
			if v := parts[k].c - parts[0].c + parts[k].prod.v[g]; v < best {
				best, choice[g] = v, uint8(k)
			}
		}
		p.v[g] = best
	}
	a.out[r] = row{off: parts[0].c, p: p, parts: parts, choice: choice}
}

func sameMix(a, b []part) bool {
	if len(a) != len(b) {
		return false
	}
	for k := range a {
		if a[k].prod != b[k].prod || math.Abs(a[k].c-a[0].c-(b[k].c-b[0].c)) > rounding/10 {
			return false
		}
	}
	return true
}

// work steps a profile on: for each grip here the cheapest grip before. The ways
// are not negative, so the grips before are tried from the cheapest on, and the
// search for one grip ends as soon as none left can win.
func (a *arrival) work(k workKey) *product {
	for _, w := range a.done {
		if w.key == k {
			return w.prod
		}
	}
	pr := a.c.pr
	from, to := &pr.layers[a.i-1], &pr.layers[a.i]
	hand := a.handOf(k.hand)
	p := &product{profile: profile{v: make([]float64, to.grips)}, arg: make([]int32, to.grips)}
	v, order := k.from.v, k.from.sorted()
	for g := range p.v {
		if math.IsInf(hand[g], 1) {
			p.v[g] = hand[g]
			continue
		}
		best, arg := math.Inf(1), int32(0)
		try := func(s int32) {
			c := v[s] + a.c.edge(a.i, k.how, int(s), g)
			if k.dir != bowing.None {
				c += pr.crossing(k.dir, k.how, from, to, int(s), g)
			}
			if c < best {
				best, arg = c, s
			}
		}
		for _, s := range order {
			if from.hands[s] == to.hands[g] {
				try(s)
				break
			}
		}
		for _, s := range order {
			if v[s] >= best {
				break
			}
			try(s)
		}
		p.v[g], p.arg[g] = best+hand[g], arg
	}
	p.settle()
	a.done = append(a.done, &work{k, p})
	return p
}

// handOf finds the costs that a key names.
func (a *arrival) handOf(first *float64) []float64 {
	for _, hs := range a.hands {
		for _, h := range hs {
			if &h[0] == first {
				return h
			}
		}
	}
	panic("joint: work without costs")
}

// sorted orders the grips that are not forbidden by cost.
func (p *profile) sorted() []int32 {
	if p.order != nil {
		return p.order
	}
	p.order = make([]int32, 0, len(p.v))
	for g, v := range p.v {
		if !math.IsInf(v, 1) {
			p.order = append(p.order, int32(g))
		}
	}
	slices.SortFunc(p.order, func(a, b int32) int {
		switch {
		case p.v[a] < p.v[b]:
			return -1
		case p.v[a] > p.v[b]:
			return 1
		}
		return int(a - b)
	})
	return p.order
}
