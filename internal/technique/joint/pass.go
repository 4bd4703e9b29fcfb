package joint

import (
	"math"
	"slices"

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

// Best reads off the cheapest path: for each layer row*grips + grip.
func (c *chain) Best(t *tables) sequence.Path {
	n := len(t.layers)
	if n == 0 {
		return sequence.Path{States: []int{}}
	}
	skip := 0
	if d := c.differ; d != nil && d.to == n-1 {
		skip = different * c.pr.rows(n-1)
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
