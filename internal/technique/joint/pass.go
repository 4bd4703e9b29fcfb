package joint

import (
	"math"
	"slices"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/sequence"
)

// table is what the forward pass knows at a layer: for each row the cheapest
// costs of arriving, over the grips.
type table struct{ rows []row }

// row holds costs off + p.v[grip]. A row comes of one product, or of the least
// of several; then choice tells which for each grip.
type row struct {
	off    float64 // +Inf: no way here, the rest is empty
	p      *profile
	parts  []part
	choice []uint8
}

// part is a product and the row of the layer before that it continues.
type part struct {
	prod *product
	from int32
	c    float64 // of the product's zero, as a cost
}

// profile is a row of costs less its least, shared by rows that differ by a
// constant alone.
type profile struct {
	v     []float64
	order []int32 // grips from the cheapest on, without forbidden ones; made when asked for
}

// product is a profile after one more step of the hand.
type product struct {
	profile
	base float64 // what was taken off; +Inf: no way
	arg  []int32 // for each grip the one before
}

// tables are those of all layers; the cost of layer i is shift[i] more than its
// table says, so that a pass that runs level with an earlier one can share.
type tables struct {
	layers []*table
	shift  []float64
}

// chain solves a problem without its ties, under restrictions.
type chain struct {
	pr *Problem
	// only[i] restricts layer i: the grips allowed for each state of the bow; a
	// nil entry allows none, a missing layer all.
	only   map[int]*restriction
	differ *difference // nil: none asked for
	runs   []run       // valid as long as only and differ stay
	now    *edges
	// scratch serves layers that are passed once
	scratch edges
}

// restriction of a layer: the grips allowed by state of the bow.
type restriction struct{ grips [][]bool }

// edges are the hand's costs into one layer by what the bow does, as far as they
// were asked for; NaN: not yet.
type edges struct{ cost [4][]float64 }

// keptCosts bounds how many costs a problem keeps for layers that are passed
// again and again (32 MB).
const keptCosts = 4 << 20

// edge is the cost of the hand's way into layer i, the one looked at.
func (c *chain) edge(i int, how fingering.Bow, from, to int) float64 {
	n := c.pr.layers[i].grips
	v := c.now.cost[how]
	if len(v) == 0 {
		v = unknown(v, c.pr.layers[i-1].grips*n)
		c.now.cost[how] = v
	}
	e := &v[from*n+to]
	if *e != *e {
		*e = c.pr.Hand.EdgeBow(i, from, to, how)
	}
	return *e
}

func unknown(v []float64, n int) []float64 {
	v = slices.Grow(v[:0], n)[:n]
	for k := range v {
		v[k] = math.NaN()
	}
	return v
}

// look turns to layer i. Costs are kept for the layers that are passed again.
func (c *chain) look(i int, again bool) {
	pr := c.pr
	if e, ok := pr.kept[i]; ok {
		c.now = e
		return
	}
	if size := 2 * pr.layers[i].grips * pr.layers[max(0, i-1)].grips; again && pr.keeps+size <= keptCosts {
		pr.keeps += size
		pr.kept[i] = &edges{}
		c.now = pr.kept[i]
		return
	}
	for h := range c.scratch.cost {
		c.scratch.cost[h] = c.scratch.cost[h][:0]
	}
	c.now = &c.scratch
}

// extra is what grips and rows of a layer cost by themselves: hand by state of
// the bow and grip (equal slices for equal states), rows by state of the bow.
type extra struct {
	hand [][]float64
	bow  []float64
}

func (c *chain) extra(i int, x *sequence.Extras) extra {
	pr := c.pr
	n := pr.layers[i].grips
	base := make([]float64, n)
	for g := range base {
		base[g] = pr.Hand.Node(i, g)
	}
	states := 1
	if b := pr.layers[i].bow; b >= 0 {
		states = pr.Bow.States(b)
	}
	ex := extra{hand: make([][]float64, states), bow: make([]float64, states)}
	for s := range ex.hand {
		ex.hand[s] = base
	}
	for _, k := range pr.tiesAt[i] {
		t := &pr.ties[k]
		ofBow := pr.tieLink[k] >= 0
		if t.From == i {
			if ofBow {
				for s := range ex.bow {
					ex.bow[s] += x.Low[k][s]
				}
			} else {
				for g := range base {
					base[g] += x.Low[k][g]
				}
			}
		}
		if ok := x.Allowed[k]; t.To == i && ok != nil {
			for s := range ex.bow {
				if ofBow && !ok[s] {
					ex.bow[s] = math.Inf(1)
				}
			}
			for g := range base {
				if !ofBow && !ok[g] {
					base[g] = math.Inf(1)
				}
			}
		}
	}
	if r := c.only[i]; r != nil {
		r.apply(&ex, base)
	}
	return ex
}

func (r *restriction) apply(ex *extra, base []float64) {
	for s, ok := range r.grips {
		if ok == nil {
			ex.bow[s] = math.Inf(1)
			continue
		}
		shared := -1
		for q := range s {
			if r.grips[q] != nil && &r.grips[q][0] == &ok[0] {
				shared = q
			}
		}
		if shared >= 0 {
			ex.hand[s] = ex.hand[shared]
			continue
		}
		v := slices.Clone(base)
		for g := range v {
			if !ok[g] {
				v[g] = math.Inf(1)
			}
		}
		ex.hand[s] = v
	}
}

// Pass works out the forward tables; see sequence.Chain. Layers before the first
// dirty one are the parent's, and so are those behind a dirty one as soon as
// all costs differ from the parent's by one constant, for then the rest does too.
func (c *chain) Pass(parent *tables, x *sequence.Extras, dirty []int) *tables {
	n := len(c.pr.layers)
	if parent == nil || dirty == nil {
		t := &tables{make([]*table, n), make([]float64, n)}
		for i := range n {
			c.advance(t, i, x, false)
		}
		return t
	}
	t := &tables{slices.Clone(parent.layers), slices.Clone(parent.shift)}
	for k, i := range dirty {
		until := n
		if k+1 < len(dirty) {
			until = dirty[k+1]
		}
		c.renew(parent, t, i, until, x)
	}
	return t
}

// renew passes over the layers from a dirty one on, until they run level with the
// parent's or until the next dirty one.
func (c *chain) renew(parent, t *tables, start, until int, x *sequence.Extras) {
	end, d, ok := c.replay(parent, t, start, until, x)
	if !ok {
		for end = start; end < until; end++ {
			c.advance(t, end, x, true)
			if d, ok = levelWith(parent.layers[end], t.layers[end]); ok {
				break
			}
		}
		if !ok {
			return
		}
		c.remember(parent, t, start, end, d, x)
	}
	// the way into the layer that runs level is its own all the same
	delta := t.shift[end] + d - parent.shift[end]
	for i := end + 1; i < until; i++ {
		t.layers[i], t.shift[i] = parent.layers[i], parent.shift[i]+delta
	}
}

// run is a stretch that was renewed: what the tables were and what they became.
// Branches that share the old tables come to the same new ones: the extras of a
// layer are the same where its table is, but for those of the dirty layer itself,
// which are compared.
type run struct {
	start    int
	old, new []*table // old from the layer before start on
	shift    []float64
	d        float64
	extras   []*float64
	masks    []*bool
}

// maxRuns bounds the memory of renew.
const maxRuns = 64

func (c *chain) replay(parent, t *tables, start, until int, x *sequence.Extras) (end int, d float64, ok bool) {
	lows, masks := c.extrasAt(start, x)
	for k := range c.runs {
		r := &c.runs[k]
		if r.start != start || start+len(r.new) > until || !slices.Equal(r.extras, lows) || !slices.Equal(r.masks, masks) ||
			start > 0 && t.layers[start-1] != r.old[0] || !slices.Equal(parent.layers[start:start+len(r.new)], r.old[1:]) {
			continue
		}
		base := 0.0
		if start > 0 {
			base = t.shift[start-1]
		}
		for q, tb := range r.new {
			t.layers[start+q], t.shift[start+q] = tb, base+r.shift[q]
		}
		return start + len(r.new) - 1, r.d, true
	}
	return 0, 0, false
}

func (c *chain) remember(parent, t *tables, start, end int, d float64, x *sequence.Extras) {
	r := run{start: start, d: d, new: slices.Clone(t.layers[start : end+1])}
	base := 0.0
	r.old = append(r.old, nil)
	if start > 0 {
		base, r.old[0] = t.shift[start-1], t.layers[start-1]
	}
	r.old = append(r.old, parent.layers[start:end+1]...)
	for _, s := range t.shift[start : end+1] {
		r.shift = append(r.shift, s-base)
	}
	r.extras, r.masks = c.extrasAt(start, x)
	if len(c.runs) == maxRuns {
		c.runs = slices.Delete(c.runs, 0, 1)
	}
	c.runs = append(c.runs, r)
}

// extrasAt names what ties add at a layer.
func (c *chain) extrasAt(i int, x *sequence.Extras) (lows []*float64, masks []*bool) {
	for _, k := range c.pr.tiesAt[i] {
		var m *bool
		if x.Allowed[k] != nil {
			m = &x.Allowed[k][0]
		}
		lows, masks = append(lows, &x.Low[k][0]), append(masks, m)
	}
	return lows, masks
}

// levelWith says whether b = a + shift in every state.
func levelWith(a, b *table) (shift float64, level bool) {
	first := true
	same := func(u, v float64) bool {
		iu, iv := math.IsInf(u, 1), math.IsInf(v, 1)
		switch {
		case iu || iv:
			return iu == iv
		case first:
			shift, first = v-u, false
			return true
		}
		return math.Abs(v-u-shift) < rounding
	}
	if len(a.rows) != len(b.rows) {
		return 0, false
	}
	for r := range a.rows {
		p, q := &a.rows[r], &b.rows[r]
		if p.p == nil || q.p == nil || p.p == q.p {
			if !same(p.off, q.off) {
				return 0, false
			}
			continue
		}
		for g, v := range p.p.v {
			if !same(p.off+v, q.off+q.p.v[g]) {
				return 0, false
			}
		}
	}
	return shift, !first
}

// rounding is how far two costs may differ and still count as one.
const rounding = 1e-9

// advance works out layer i from the layer before.
func (c *chain) advance(t *tables, i int, x *sequence.Extras, again bool) {
	c.look(i, again)
	ex := c.extra(i, x)
	a := arrival{c: c, i: i, ex: &ex, n: c.pr.rows(i)}
	a.copy()
	a.out = make([]row, len(a.ways)*a.n)
	t.shift[i] = 0
	if i > 0 {
		a.before, t.shift[i] = t.layers[i-1], t.shift[i-1]
	}
	switch {
	case i == 0:
		a.open()
	case c.pr.layers[i].step == turn:
		a.turn()
	default:
		a.goOn()
	}
	t.layers[i] = &table{a.out}
}

// arrival is the work at one layer.
type arrival struct {
	c      *chain
	i      int
	ex     *extra
	n      int            // rows in a copy
	ways   [][]way        // into each copy of the rows, see difference
	hands  [3][][]float64 // by what they count as different: costs by state and grip
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

// Best reads off the cheapest path: for each layer row*grips + grip.
func (c *chain) Best(t *tables) sequence.Path {
	n := len(t.layers)
	if n == 0 {
		return sequence.Path{States: []int{}}
	}
	skip := 0
	if d := c.differ; d != nil && d.to == n-1 {
		skip = enough * c.pr.rows(n-1)
	}
	r, g, cost := t.layers[n-1].least(skip)
	if math.IsInf(cost, 1) {
		return sequence.Path{Cost: cost}
	}
	states := make([]int, n)
	for i := n - 1; ; i-- {
		states[i] = r%c.pr.rows(i)*c.pr.layers[i].grips + g
		if i == 0 {
			break
		}
		rw := &t.layers[i].rows[r]
		k := 0
		if rw.choice != nil {
			k = int(rw.choice[g])
		}
		r, g = int(rw.parts[k].from), int(rw.parts[k].prod.arg[g])
	}
	return sequence.Path{States: states, Cost: cost + t.shift[n-1]}
}

// least is the cheapest state, the first skip rows aside.
func (t *table) least(skip int) (r, g int, cost float64) {
	cost = math.Inf(1)
	for q := skip; q < len(t.rows); q++ {
		rw := &t.rows[q]
		if math.IsInf(rw.off, 1) || rw.off >= cost && rw.choice == nil {
			continue
		}
		for h, v := range rw.p.v {
			if rw.off+v < cost {
				r, g, cost = q, h, rw.off+v
			}
		}
	}
	return r, g, cost
}
