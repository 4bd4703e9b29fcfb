package sequence

import (
	"cmp"
	"container/heap"
	"math"
	"slices"
)

// Tie is a cost between two layers that are not neighbours: the same choice has
// to serve in both places. It looks at the states only through classes, which
// the chain knows; the fewer the classes of the later choice, the fewer the
// branches.
type Tie struct {
	From, To       int // layers, may be equal or in any order
	ClassesA       int // of the states of From
	ClassesB       int // of the states of To
	Cost           func(a, b int) float64
	ClassA, ClassB func(state int) int
	// Group, where it is not nil, puts classes of B together that cost much the
	// same; a branch is split by groups first. It changes the speed alone.
	Group func(class int) int
}

// Extras are what a relaxation adds to the layers of a chain: to each state of
// Ties[k].From the least cost of the tie that is still open to it, Low[k] by
// class, and +Inf to each state of Ties[k].To whose class Allowed[k] excludes
// (nil: none).
type Extras struct {
	Low     [][]float64
	Allowed [][]bool
}

// Chain is an exact solver of a lattice with extras, that keeps tables T.
type Chain[T any] interface {
	// Pass works out the tables. Layers outside dirty (in order) have the extras
	// that they had in parent; a nil dirty means that nothing is known.
	Pass(parent T, x *Extras, dirty []int) T
	// Best reads off the cheapest path and its cost; +Inf where there is none.
	Best(t T) Path
}

// Joined is the answer of a search with ties. Where it was cut short, Exact is
// false and the cost at most Gap too high.
type Joined struct {
	Path
	Exact    bool
	Gap      float64
	Branches int // that were looked at
}

// Search finds cheapest paths through a chain with ties by branch and bound
// (Land and Doig 1960). In a branch the target layer of each tie may take a set
// of classes, and the tie counts at its source as the cheapest over that set:
// a lower bound, and the chain is exact for it. The branch with the lowest bound
// is split, where a tie's true cost lies above what was counted, into the class
// that its target took and all others; the first branch whose bound is met is
// optimal. The open branches are kept, so that after Tighten only those are
// looked at again that may hold the answer.
type Search[T any] struct {
	chain Chain[T]
	ties  []Tie
	open  branches[T]
	epoch []int   // dirty layers since the search began, one for each Tighten
	left  float64 // the lowest bound of the branches that a Fork left out, +Inf where none was
}

type branch[T any] struct {
	x     Extras
	t     T
	path  Path    // of the chain with extras: its cost is the bound
	bound float64 // of all paths in the branch, as far as known
	cost  float64 // of path, true
	worst int     // tie that lies furthest above its bound, -1 if none
	fresh int     // epochs taken in
}

type branches[T any] []*branch[T]

func (b branches[T]) Len() int           { return len(b) }
func (b branches[T]) Less(i, j int) bool { return b[i].bound < b[j].bound }
func (b branches[T]) Swap(i, j int)      { b[i], b[j] = b[j], b[i] }
func (b *branches[T]) Push(x any)        { *b = append(*b, x.(*branch[T])) }
func (b *branches[T]) Pop() any {
	old := *b
	x := old[len(old)-1]
	*b = old[:len(old)-1]
	return x
}

// rounding is how far two costs may differ and still count as one.
const rounding = 1e-9

// NewSearch works out the first branch: all paths. parent and dirty may give the
// tables of an earlier chain that differs in the dirty layers only.
func NewSearch[T any](c Chain[T], ties []Tie, parent T, dirty []int) *Search[T] {
	s := &Search[T]{chain: c, ties: ties, left: math.Inf(1)}
	x := Extras{Low: make([][]float64, len(ties)), Allowed: make([][]bool, len(ties))}
	for k := range ties {
		x.Low[k] = ties[k].lows(nil)
	}
	b := &branch[T]{x: x, t: c.Pass(parent, &x, dirty)}
	s.finish(b)
	s.push(b)
	return s
}

// SolveJoined is a search from scratch that looks at most at limit branches.
func SolveJoined[T any](c Chain[T], ties []Tie, limit int) Joined {
	var none T
	return NewSearch(c, ties, none, nil).Solve(limit)
}

// Tighten tells that states of a layer were made dearer or forbidden in the
// chain since. Bounds stay bounds; only what is looked at is worked out anew.
func (s *Search[T]) Tighten(layer int) { s.epoch = append(s.epoch, layer) }

// Root is the tables of some open branch: for a new search to start from. They
// may lack the latest tightenings.
func (s *Search[T]) Root() (t T, ok bool) {
	if len(s.open) == 0 {
		return t, false
	}
	return s.open[0].t, true
}

// Fork is a search through a chain that differs from this one's in the dirty
// layers only, and in which no path is cheaper: it starts from the branches that
// are open here, so that what was learned of the ties is not learned again. This
// search is left as it is. Of more than most open branches only those of the lowest
// bounds are taken; Solve then says what may have been missed.
func (s *Search[T]) Fork(c Chain[T], dirty []int, most int) *Search[T] {
	f := &Search[T]{chain: c, ties: s.ties, epoch: slices.Concat(s.epoch, dirty), left: s.left}
	open := slices.Clone(s.open)
	if len(open) > most {
		slices.SortStableFunc(open, func(a, b *branch[T]) int { return cmp.Compare(a.bound, b.bound) })
		f.left = min(f.left, open[most].bound)
		open = open[:most] // sorted, which is a heap
	}
	for _, b := range open {
		own := *b
		f.open = append(f.open, &own)
	}
	return f
}

// Bound is a lower bound of the cost that Solve will find in the branches it has, +Inf
// where there is no path. It works out the branches that promise most, but splits none.
func (s *Search[T]) Bound() float64 {
	for len(s.open) > 0 {
		b := s.open[0]
		if b.fresh == len(s.epoch) {
			return b.bound
		}
		heap.Pop(&s.open)
		s.refresh(b)
		s.push(b)
	}
	return math.Inf(1)
}

// Solve finds the cheapest path. It may be called again after Tighten.
func (s *Search[T]) Solve(limit int) Joined {
	best := Joined{Path: Path{Cost: math.Inf(1)}}
	var keep *branch[T] // the branch that holds best stays open for the next time
	for len(s.open) > 0 {
		b := heap.Pop(&s.open).(*branch[T])
		if b.bound >= best.Cost-rounding {
			s.push(b)
			break
		}
		if b.fresh < len(s.epoch) {
			s.refresh(b)
			s.push(b)
			continue
		}
		best.Branches++
		if b.cost < best.Cost {
			best.Path = Path{b.path.States, b.cost}
		}
		if b.worst < 0 {
			keep = b
			break
		}
		if best.Branches >= limit {
			best.Gap = best.Cost - min(b.bound, s.left)
			s.push(b)
			return best
		}
		for _, in := range []bool{true, false} {
			s.push(s.split(b, in))
		}
	}
	if keep != nil {
		s.push(keep)
	}
	best.Exact = best.Cost <= s.left+rounding
	if !best.Exact {
		best.Gap = best.Cost - s.left
	}
	return best
}

func (s *Search[T]) push(b *branch[T]) {
	if !math.IsInf(b.bound, 1) {
		heap.Push(&s.open, b)
	}
}

func (s *Search[T]) refresh(b *branch[T]) {
	dirty := slices.Clone(s.epoch[b.fresh:])
	slices.Sort(dirty)
	b.t = s.chain.Pass(b.t, &b.x, slices.Compact(dirty))
	s.finish(b)
}

// split makes the part of a branch in which the target of its worst tie has the
// class of its path (in), or any other.
func (s *Search[T]) split(b *branch[T], in bool) *branch[T] {
	tie := &s.ties[b.worst]
	class := tie.ClassB(b.path.States[tie.To])
	mask := tie.part(class, in, b.x.Allowed[b.worst])
	x := Extras{Low: slices.Clone(b.x.Low), Allowed: slices.Clone(b.x.Allowed)}
	x.Allowed[b.worst], x.Low[b.worst] = mask, tie.lows(mask)
	dirty := []int{tie.From, tie.To}
	slices.Sort(dirty)
	c := &branch[T]{x: x, fresh: b.fresh, t: s.chain.Pass(b.t, &x, slices.Compact(dirty))}
	s.finish(c)
	return c
}

// part is the allowed classes that are of the group of one (in) or not; where all
// are of its group, those that are the class itself or not.
func (t *Tie) part(class int, in bool, allowed []bool) []bool {
	like := func(q int) bool { return q == class }
	if t.Group != nil {
		g := t.Group(class)
		for q := range t.ClassesB {
			if (allowed == nil || allowed[q]) && t.Group(q) != g {
				like = func(q int) bool { return t.Group(q) == g }
				break
			}
		}
	}
	mask := make([]bool, t.ClassesB)
	for q := range mask {
		mask[q] = like(q) == in && (allowed == nil || allowed[q])
	}
	return mask
}

// finish reads off the path of a branch, its bound and its true cost.
func (s *Search[T]) finish(b *branch[T]) {
	b.fresh = len(s.epoch)
	b.path = s.chain.Best(b.t)
	b.bound, b.cost, b.worst = b.path.Cost, b.path.Cost, -1
	if math.IsInf(b.bound, 1) {
		return
	}
	gap := rounding
	for k := range s.ties {
		t := &s.ties[k]
		a := t.ClassA(b.path.States[t.From])
		d := t.Cost(a, t.ClassB(b.path.States[t.To])) - b.x.Low[k][a]
		b.cost += d
		if d > gap {
			gap, b.worst = d, k
		}
	}
}

// lows is the least cost of the tie from each class of its source.
func (t *Tie) lows(allowed []bool) []float64 {
	out := make([]float64, t.ClassesA)
	for a := range out {
		out[a] = math.Inf(1)
		for q := range t.ClassesB {
			if allowed == nil || allowed[q] {
				out[a] = min(out[a], t.Cost(a, q))
			}
		}
	}
	return out
}

// PlainChain makes a chain of a plain lattice: the states are their own classes
// wherever a tie does not say otherwise. It keeps no tables and works everything
// out anew, at the cost of Best.
type PlainChain struct {
	Lattice
	Ties []Tie
}

// Pass keeps the extras.
func (c PlainChain) Pass(_ Extras, x *Extras, _ []int) Extras { return *x }

// Best solves the lattice with the extras.
func (c PlainChain) Best(x Extras) Path {
	p, ok := Best(extended{c.Lattice, c.Ties, &x})
	if !ok {
		return Path{Cost: math.Inf(1)}
	}
	return p
}

type extended struct {
	Lattice
	ties []Tie
	x    *Extras
}

func (e extended) Node(layer, state int) float64 {
	sum := e.Lattice.Node(layer, state)
	for k := range e.ties {
		t := &e.ties[k]
		if t.From == layer {
			sum += e.x.Low[k][t.ClassA(state)]
		}
		if t.To == layer && e.x.Allowed[k] != nil && !e.x.Allowed[k][t.ClassB(state)] {
			return math.Inf(1)
		}
	}
	return sum
}
