package joint

import "math"

// difference asks for a plan that differs from another one, between two layers,
// in a way a player would call different. The rows of those layers stand there in
// copies, one for each stage of differing so far; from behind the last one only
// plans that have come to different go on.
type difference struct {
	plan     *Plan
	from, to int // layers
}

// What a state counts: the notes struck are taken as in the plan, or some with
// another finger or on another string, or a bar is begun in the other direction.
const (
	alike = iota
	refingered
	turned
	counts
)

// The stages of differing: nothing yet; a note taken otherwise just now, or one
// note ago; different. A player calls a passage different where two notes follow
// each other that are taken otherwise, one between them at most left as it is, or
// where a bar begins in the other direction of the bow.
const (
	none = iota
	justNow
	oneAgo
	different
	stages
)

// nextStage is the stage after a stage and a struck note that counts so much.
var nextStage = [stages][counts]int{
	none:      {none, justNow, different},
	justNow:   {oneAgo, different, different},
	oneAgo:    {none, different, different},
	different: {different, different, different},
}

// way leads into a copy of the rows: from a copy of the layer before, with
// states that count so much as different.
type way struct{ from, differs int }

// copy sets up the copies of the rows of a layer and the costs that belong to
// their ways.
func (a *arrival) copy() {
	a.hands[0] = a.ex.hand
	a.ways = [][]way{{{0, 0}}}
	d := a.c.differ
	switch {
	case d == nil || a.i < d.from || a.i > d.to+1:
	case a.i == d.to+1:
		a.ways[0][0].from = different
	default:
		a.count(d)
	}
}

// count lists the ways into each copy inside a difference.
func (a *arrival) count(d *difference) {
	from := stages
	if a.i == d.from {
		from = 1
	}
	a.ways = make([][]way, stages)
	if !a.c.pr.marked(a.i) {
		for c := range from {
			a.ways[c] = append(a.ways[c], way{c, alike})
		}
	} else {
		for w := range a.hands {
			a.hands[w] = a.share(d, w)
		}
		for c := range from {
			for w := range counts {
				to := nextStage[c][w]
				a.ways[to] = append(a.ways[to], way{c, w})
			}
		}
	}
	for c := range a.ways {
		if a.ways[c] == nil && a.i == 0 {
			a.ways[c] = []way{{-1, 0}} // nothing leads here
		}
	}
}

// share is the costs with all states forbidden that do not count w. States that cost
// and count the same share one slice, so that the work for them is done once.
func (a *arrival) share(d *difference, w int) [][]float64 {
	pr := a.c.pr
	out := make([][]float64, len(a.ex.hand))
	for k, h := range a.ex.hand {
		for q := range k {
			if &a.ex.hand[q][0] == &h[0] && pr.turns(a.i, q, d.plan) == pr.turns(a.i, k, d.plan) {
				out[k] = out[q]
			}
		}
		if out[k] != nil {
			continue
		}
		out[k] = make([]float64, len(h))
		for g, c := range h {
			out[k][g] = c
			if pr.differs(a.i, d, k, g) != w {
				out[k][g] = math.Inf(1)
			}
		}
	}
	return out
}

// marked says whether players compare plans at a layer: notes are struck there
// that are no grace notes.
func (pr *Problem) marked(i int) bool {
	e := &pr.Hand.Events[pr.layers[i].event]
	return !e.Grace && len(e.Struck) > 0
}

// differs counts how different a state is from a plan at a layer.
func (pr *Problem) differs(i int, d *difference, state, grip int) int {
	switch {
	case pr.turns(i, state, d.plan):
		return turned
	case !pr.sameFingers(i, grip, d.plan.Grips[i]):
		return refingered
	}
	return alike
}

// turns says that a bar begins here in a direction that is not the plan's.
func (pr *Problem) turns(i, state int, p *Plan) bool {
	l := &pr.layers[i]
	return l.step == turn && pr.Hand.Events[l.event].Level == 0 && pr.heading(i, state) != pr.heading(i, p.Bows[l.bow])
}

// sameFingers says that two grips take the notes struck with the same fingers on
// the same strings; where the hand lies meanwhile does not matter, nor which of two
// notes of one pitch has which finger.
func (pr *Problem) sameFingers(i, g, h int) bool {
	if g == h {
		return true
	}
	var took [2]uint64 // three bits for each string: its finger and one, 0 for none
	for _, id := range pr.Hand.Events[pr.layers[i].event].Struck {
		for k, grip := range [2]int{g, h} {
			if f, s, ok := pr.Hand.FingerAt(i, grip, id); ok {
				took[k] |= uint64(f+1) << (3 * s)
			}
		}
	}
	return took[0] == took[1]
}

// overlap says that somewhere two plans differ from a third in the same way.
func overlap(a, b, best *Plan) bool {
	pr := a.pr
	for i := range a.Grips {
		if !pr.marked(i) {
			continue
		}
		if pr.sameFingers(i, a.Grips[i], b.Grips[i]) && !pr.sameFingers(i, a.Grips[i], best.Grips[i]) {
			return true
		}
		if l := pr.layers[i].bow; l >= 0 && pr.turns(i, a.Bows[l], best) && pr.turns(i, b.Bows[l], best) {
			return true
		}
	}
	return false
}

// apart says that a player would call two plans of one problem different.
func apart(a, b *Plan) bool {
	stage := none
	d := &difference{plan: b}
	for i := range a.Grips {
		if !a.pr.marked(i) {
			continue
		}
		state := 0
		if l := a.pr.layers[i].bow; l >= 0 {
			state = a.Bows[l]
		}
		if stage = nextStage[stage][a.pr.differs(i, d, state, a.Grips[i])]; stage == different {
			return true
		}
	}
	return false
}
