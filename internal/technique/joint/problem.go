// Package joint plans bow and hand together: for every event a bow direction, a
// place on the bow, and a grip, so that the sum of all costs is least.
//
// The cost is that of package bowing (what each stroke wants, how strokes follow
// each other), that of package fingering (grips and the ways between them), and
// the terms of Rules, which know both: crossings by bow direction, and how much
// bow a stroke has. What the bow does on the way from one grip to the next
// (draws on, turns, stops, is lifted) decides how well a shift is hidden there.
//
// The search is exact. A layer of the lattice is an event; its states are a row
// (state of the bow, place on the bow where the stroke will end) times a grip.
// Of the way between two layers the part that looks at grips depends on the rows
// only through what the bow does and its direction, so it is worked out once for
// all rows whose costs differ by a constant alone (pass.go). Repeats and jumps
// tie far layers: the same signs and fingers serve every time; sequence.Search
// makes that exact too. The place on the bow is no mark: it is followed as
// written and is free over repeats and jumps.
package joint

import (
	"maps"
	"math"
	"slices"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/sequence"
)

// Options of a joint plan.
type Options struct {
	Bow     bowing.Options
	Hand    fingering.Options // Strokes is not looked at
	Weights *Weights          // nil: DefaultWeights
	// Places on the bow, evenly from frog to tip; 0 for DefaultPlaces, at least 2.
	Places int
	// Branches bounds the search over repeats; 0 for DefaultBranches.
	Branches int
}

// DefaultPlaces is an eighth of the bow from one to the next.
const DefaultPlaces = 9

// DefaultBranches is far more than real movements need (docs/PERFORMANCE.md).
const DefaultBranches = 2000

// Problem is a part laid out for the search. It keeps costs that were worked out
// and is not safe for concurrent use.
type Problem struct {
	Bow    *bowing.Model
	Hand   *fingering.Problem
	o      Options
	w      *Weights
	places int
	sc     *score.Score
	part   *score.Part
	given  Options // as handed over
	layers []layer
	ties   []sequence.Tie
	// origin of each tie: link of the bow (tieLink >= 0) or join of the hand
	tieLink, tieJoin []int
	tiesAt           map[int][]int // ties that begin or end at a layer
	links            []bowing.BowLink
	mats             map[matKey][]float64
	kept             map[int]*edges // costs of layers passed more than once
	keeps            int
}

// layer is what the search needs of an event.
type layer struct {
	event   int
	grips   int
	bow     int  // the stroke that holds the bow here; before the first one -1
	step    step // how the bow comes here from the layer before
	plucked bool // no bow on the string
	rest    bool // silence before
	edge    fingering.Bow
	hands   []int32 // of each grip, equal numbers for equal hands
	lo, hi  []int8
}

// step tells what the bow does between two layers.
type step int8

const (
	stay  step = iota // the stroke, or no bow, goes on
	turn              // a new stroke begins
	split             // the slur may be split here
)

// NewProblem lays out a part.
func NewProblem(sc *score.Score, p *score.Part, o Options) *Problem {
	given := o
	if o.Hand.Instrument.Open == nil {
		o.Hand.Instrument = instrument.Violin()
	}
	if o.Weights == nil {
		o.Weights = DefaultWeights(o.Hand.Instrument.Kind)
	}
	if o.Places == 0 {
		o.Places = DefaultPlaces
	}
	o.Places = max(2, o.Places)
	if o.Branches <= 0 {
		o.Branches = DefaultBranches
	}
	o.Hand.Strokes = nil
	pr := &Problem{Bow: bowing.NewModel(sc, p, o.Bow), Hand: fingering.NewProblem(sc, p, o.Hand), o: o, w: o.Weights, places: o.Places, sc: sc, part: p, given: given, mats: map[matKey][]float64{}, kept: map[int]*edges{}}
	pr.links = pr.Bow.Links()
	pr.layOut()
	pr.tie()
	return pr
}

func (pr *Problem) layOut() {
	begins, cuts, bowOf := pr.strokesByEvent()
	bow := -1
	pr.layers = make([]layer, pr.Hand.Layers())
	for i := range pr.layers {
		l := &pr.layers[i]
		e := pr.Hand.LayerEvent(i)
		if b := begins[e]; b >= 0 {
			bow, l.step = b, turn
		} else if cuts[e] {
			l.step = split
		}
		l.event, l.bow, l.plucked = e, bow, bowOf[e] < 0
		l.grips = pr.Hand.States(i)
		rest, _ := pr.Hand.Rest(i)
		l.rest, l.edge = rest > 0, pr.Hand.Bowed(i)
		l.hands = make([]int32, l.grips)
		l.lo, l.hi = make([]int8, l.grips), make([]int8, l.grips)
		for s := range l.grips {
			h, _ := pr.Hand.HandAt(i, s)
			l.hands[s] = int32(h.Place)*8 + int32(h.Shape)
			l.lo[s], l.hi[s] = pr.Hand.StringsAt(i, s)
		}
	}
}

// strokesByEvent tells for each event which bow begins there (-1: none),
// whether a slur may be split before it, and which bow takes it (-1: none).
func (pr *Problem) strokesByEvent() (begins []int, cuts []bool, bowOf []int) {
	n := len(pr.Hand.Events)
	begins, cuts, bowOf = make([]int, n), make([]bool, n), make([]int, n)
	for i := range begins {
		begins[i], bowOf[i] = -1, -1
	}
	for b := range pr.Bow.Bows() {
		first, last := pr.Bow.Span(b)
		begins[first] = b
		if c := pr.Bow.CutAt(b); c > 0 {
			cuts[c] = true
		}
		for e := first; e <= last; e++ {
			bowOf[e] = b
		}
	}
	return begins, cuts, bowOf
}

// rows of a layer: states of the bow times places; one before the first stroke.
func (pr *Problem) rows(i int) int {
	if b := pr.layers[i].bow; b >= 0 {
		return pr.Bow.States(b) * pr.places
	}
	return 1
}

// bowState of a row.
func (pr *Problem) bowState(row int) int { return row / pr.places }

// heading is the direction in which the bow moves, or last moved, at a layer in
// a state; None before the first stroke.
func (pr *Problem) heading(i, state int) bowing.Direction {
	l := &pr.layers[i]
	if l.bow < 0 {
		return bowing.None
	}
	if c := pr.Bow.CutAt(l.bow); c > 0 && pr.Hand.LayerEvent(i) >= c {
		return pr.Bow.Exit(l.bow, state)
	}
	return pr.Bow.Entry(l.bow, state)
}

// tie lists what repeats and jumps tie together.
func (pr *Problem) tie() {
	first := make([]int, pr.Bow.Bows())
	for i := range pr.layers {
		if l := &pr.layers[i]; l.step == turn {
			first[l.bow] = i
		}
	}
	for k, l := range pr.links {
		if l.A == l.B || pr.Bow.Chain(l.B) == k {
			continue
		}
		from, to := first[l.A], first[l.B]
		pr.ties = append(pr.ties, sequence.Tie{From: from, To: to, ClassesA: pr.Bow.States(l.A), ClassesB: pr.Bow.States(l.B),
			Cost:   func(a, b int) float64 { return pr.Bow.LinkCost(k, a, b) },
			ClassA: func(s int) int { return pr.bowState(s / pr.layers[from].grips) },
			ClassB: func(s int) int { return pr.bowState(s / pr.layers[to].grips) }})
		pr.tieLink, pr.tieJoin = append(pr.tieLink, k), append(pr.tieJoin, -1)
	}
	for k, j := range pr.Hand.Ties() {
		na, nb := pr.layers[j[0]].grips, pr.layers[j[1]].grips
		memo := make([]float64, na*nb)
		for i := range memo {
			memo[i] = math.NaN()
		}
		pr.ties = append(pr.ties, sequence.Tie{From: j[0], To: j[1], ClassesA: na, ClassesB: nb,
			Cost: func(a, b int) float64 {
				if c := &memo[a*nb+b]; math.IsNaN(*c) {
					*c = pr.Hand.TieCost(k, a, b)
				}
				return memo[a*nb+b]
			},
			ClassA: func(s int) int { return s % na }, ClassB: func(s int) int { return s % nb },
			Group: func(q int) int { return int(pr.layers[j[1]].hands[q]) }})
		pr.tieLink, pr.tieJoin = append(pr.tieLink, -1), append(pr.tieJoin, k)
	}
	pr.tiesAt = map[int][]int{}
	for k, t := range pr.ties {
		pr.tiesAt[t.From] = append(pr.tiesAt[t.From], k)
		if t.To != t.From {
			pr.tiesAt[t.To] = append(pr.tiesAt[t.To], k)
		}
	}
}

// crossing is what the direction of the bow adds to the way between two grips:
// positive steps go to higher strings.
func (pr *Problem) crossing(d bowing.Direction, how fingering.Bow, a, b *layer, from, to int) float64 {
	var up, down int8
	if a.lo[from] > b.hi[to] {
		up = a.lo[from] - b.hi[to]
	} else if b.lo[to] > a.hi[from] {
		down = b.lo[to] - a.hi[from]
	} else {
		return 0
	}
	w := pr.w[CrossInStroke]
	if how == fingering.Changed {
		w = pr.w[CrossAtTurn]
	}
	if d == bowing.Up {
		return w * float64(up)
	}
	return w * float64(down)
}

// crossed says that the direction of the bow matters on the way into a layer:
// it stays on the string.
func (pr *Problem) crossed(i int, how fingering.Bow) bool {
	return !pr.layers[i].rest && !pr.layers[i].plucked && !pr.layers[i-1].plucked && how != fingering.Lifted
}

// onward is how the bow comes into a layer with a new stroke between two states
// of the strokes: what it does, its cost without the place, and how free the
// place is.
func (pr *Problem) onward(i, from, to int) (how fingering.Bow, cost float64, f freedom) {
	b := pr.layers[i].bow
	li := pr.Bow.Chain(b)
	if li < 0 || pr.layers[i-1].bow < 0 {
		return fingering.Changed, 0, free
	}
	cost = pr.Bow.LinkCost(li, from, to)
	l := &pr.links[li]
	switch kind := pr.Bow.LinkKind(li, from, to); {
	case kind == bowing.Retake && pr.layers[i-1].plucked:
		return fingering.Changed, cost, set
	case kind == bowing.Retake:
		return fingering.Lifted, cost, set
	case l.Jump || l.Gap > 0 || kind == bowing.AfterRest:
		return fingering.Changed, cost, free
	case pr.layers[i-1].plucked:
		return fingering.Changed, cost, bound
	case kind == bowing.Link:
		return fingering.Stopped, cost, bound
	case kind == bowing.Join:
		return fingering.Slurred, cost, bound
	}
	return fingering.Changed, cost, bound
}

func sortedKeys[V any](m map[int]V) []int { return slices.Sorted(maps.Keys(m)) }
