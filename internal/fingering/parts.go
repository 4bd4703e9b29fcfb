package fingering

import (
	"math"
	"slices"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Bow tells the hand what the bow does while it goes from one grip to the next.
type Bow int8

// Slurred: the bow draws on, a shift is heard. Changed: it turns. Stopped: it
// halts and goes on the same way (a linked stroke), which hides half of what a
// change hides. Lifted: it leaves the string (a retake), which hides half of
// what a change still lets hear. Both halves: common practice, no source.
const (
	Slurred Bow = iota
	Changed
	Stopped
	Lifted
	numBows
)

// hidden is the share that a stopped or lifted bow takes of the way from one
// cover to the next better one.
const hidden = 0.5

// ShiftCover names what a stopped or lifted bow changes in the cost of a shift.
const ShiftCover = "shift_cover"

// LayerEvent is the event of a layer.
func (pr *Problem) LayerEvent(i int) int { return pr.layers[i].event }

// Rest is the silence before a layer in seconds; Cut says that the layer is
// never played right after the one before.
func (pr *Problem) Rest(i int) (seconds float64, cut bool) {
	p := &pr.layers[i].pass
	return p.rest, p.cut
}

// Bowed says whether the printed slurs, or the strokes given, put a layer in one
// stroke with the one before.
func (pr *Problem) Bowed(i int) Bow {
	if pr.layers[i].pass.slurred {
		return Slurred
	}
	return Changed
}

// EdgeBow is Edge with the bow doing as told. Over a rest the bow does not
// matter. It is not negative, and +Inf where the way cannot be gone.
func (pr *Problem) EdgeBow(i, from, to int, how Bow) float64 {
	l := &pr.layers[i]
	a, b := &pr.layers[i-1].states[from], &l.states[to]
	p := l.pass
	switch {
	case p.rest > 0:
		p.slurred = false
		return pr.way(a, b, &p)
	case how == Slurred:
		p.slurred = true
		return pr.way(a, b, &p)
	}
	p.slurred = false
	c := pr.way(a, b, &p)
	if how == Changed || p.cut || math.IsInf(c, 1) {
		return c
	}
	return max(0, c+pr.coverOff(a, b, &p, how))
}

// coverOff is what a stopped or a lifted bow adds to the cost of a shift at a
// bow change.
func (pr *Problem) coverOff(a, b *state, p *passage, how Bow) float64 {
	if !pr.m.isShift(way(a, b)) || pr.m.cover(a, b, p) != BowChange {
		return 0
	}
	w := &pr.m.w
	if how == Stopped {
		return hidden * (w[shiftSlur] - w[shiftBow])
	}
	return hidden * (w[shiftRest] - w[shiftBow])
}

// BowTerms are the weighted terms of a layer's grip and of the way into it, in
// all the sum of Node and EdgeBow. What a stopped or lifted bow adds to the
// cover of a shift is the term ShiftCover.
func (pr *Problem) BowTerms(i, from, to int, how Bow) []score.Term {
	l := &pr.layers[i]
	var vals [nTerms]float64
	t := tally{w: &pr.m.w, vals: &vals}
	var off float64
	if i > 0 {
		a, b := &pr.layers[i-1].states[from], &l.states[to]
		p := l.pass
		p.slurred = how == Slurred && p.rest == 0
		pr.m.edge(a, b, &p, &t)
		if (how == Stopped || how == Lifted) && p.rest == 0 && !p.cut {
			off = max(-t.sum, pr.coverOff(a, b, &p, how))
		}
	}
	var node [nTerms]float64
	pr.m.node(&l.states[to], &l.at, &tally{w: &pr.m.w, vals: &node})
	for k := range vals {
		vals[k] = (vals[k] + node[k]) * pr.m.w[k]
	}
	ts := named(vals[:])
	if off != 0 {
		ts = append(ts, score.Term{Name: ShiftCover, Value: off})
	}
	return ts
}

// Ties lists the joins that repeats and jumps add: from layer, to layer.
func (pr *Problem) Ties() [][2]int {
	out := make([][2]int, len(pr.joins))
	for k, j := range pr.joins {
		out[k] = [2]int{j.from, j.to}
	}
	return out
}

// TieCost is the cost of join k between two grips.
func (pr *Problem) TieCost(k, from, to int) float64 {
	j := &pr.joins[k]
	return pr.way(&pr.layers[j.from].states[from], &pr.layers[j.to].states[to], &j.pass)
}

// TieTerms are the weighted terms of join k.
func (pr *Problem) TieTerms(k, from, to int) []score.Term {
	j := &pr.joins[k]
	var vals [nTerms]float64
	pr.m.edge(&pr.layers[j.from].states[from], &pr.layers[j.to].states[to], &j.pass, &tally{w: &pr.m.w, vals: &vals})
	for t := range vals {
		vals[t] *= pr.m.w[t]
	}
	return named(vals[:])
}

// HandAt is the hand of a grip; open says that no finger is down.
func (pr *Problem) HandAt(i, s int) (h instrument.Hand, open bool) {
	return pr.layers[i].states[s].hand, pr.layers[i].states[s].open
}

// StringsAt are the outer strings of a grip, 1 = highest.
func (pr *Problem) StringsAt(i, s int) (lo, hi int8) {
	return pr.layers[i].states[s].lo, pr.layers[i].states[s].hi
}

// FingerAt is the finger and string of a note in a grip; false where the grip
// does not hold it.
func (pr *Problem) FingerAt(i, s int, id score.NoteID) (finger, str int8, ok bool) {
	for _, c := range pr.layers[i].states[s].cells {
		if c.note == id {
			return c.finger, c.str, true
		}
	}
	return 0, 0, false
}

// Alike says whether two grips of a layer put the same fingers on the same
// places with the same hand.
func (pr *Problem) Alike(i, s, t int) bool {
	a, b := &pr.layers[i].states[s], &pr.layers[i].states[t]
	return a.hand == b.hand && slices.Equal(a.cells, b.cells) && slices.Equal(a.gone, b.gone)
}

// Obeys says whether a grip does what is decided for a note.
func (pr *Problem) Obeys(i, s int, id score.NoteID, d Decision) bool {
	st := &pr.layers[i].states[s]
	for k := range st.cells {
		c := &st.cells[k]
		if c.note != id {
			continue
		}
		if d.Finger != nil && c.finger != *d.Finger || d.String != 0 && int(c.str) != d.String {
			return false
		}
		if d.Position != nil && c.finger != 0 {
			return instrument.PositionOf(st.hand, int(c.finger), int(c.steps), int(c.semi)) == *d.Position
		}
		return true
	}
	return false
}

// LayerOf maps each event to its layer, -1 for rests.
func (pr *Problem) LayerOf() []int {
	of := make([]int, len(pr.Events))
	for i := range of {
		of[i] = -1
	}
	for k := range pr.layers {
		of[pr.layers[k].event] = k
	}
	return of
}

// StudyFrom writes out a path of grips, one for each layer, that was found with
// the bow doing as told before each layer. exact and gap are those of the search.
func (pr *Problem) StudyFrom(path []int, how []Bow, exact bool, gap float64) *Study {
	c := *pr
	c.layers = slices.Clone(pr.layers)
	c.Findings = slices.Clone(pr.Findings)
	sol := Solution{States: path, Exact: exact, Gap: gap}
	for i := range c.layers {
		p := &c.layers[i].pass
		p.slurred = i > 0 && how[i] == Slurred && p.rest == 0
		sol.Cost += c.Node(i, path[i])
		if i > 0 {
			sol.Cost += c.Edge(i, path[i-1], path[i])
		}
	}
	for k, j := range c.joins {
		sol.Cost += pr.TieCost(k, path[j.from], path[j.to])
	}
	return c.Study(sol)
}
