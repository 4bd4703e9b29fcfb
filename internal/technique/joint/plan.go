package joint

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Plan is one way to play the part.
type Plan struct {
	Bows  []int // of each bow, the number of its state in Problem.Bow
	Grips []int // of each layer, the grip in Problem.Hand
	// From and To are the places on the bow of each stroke, as shares of the hair
	// from the frog; Mid is where a split one turns, else -1.
	From, To, Mid []float64
	Cost          float64
	// Exact is false where the search over repeats was cut short; the cost is
	// then at most Gap too high.
	Exact bool
	Gap   float64
	pr    *Problem
	ends  []int // place of each bow's end
	mids  []int // of its turn, -1
	memo  memo
}

// memo keeps what was worked out of a plan, which never changes. Several goroutines
// may ask.
type memo struct {
	items func() []Item
	hand  func() *fingering.Study
	facts func() map[int]fact
}

// remember sets up the memo.
func (p *Plan) remember() {
	p.memo = memo{
		items: sync.OnceValue(p.workItems),
		hand:  sync.OnceValue(func() *fingering.Study { return p.pr.Hand.StudyFrom(p.Grips, p.edges(), p.Exact, p.Gap) }),
		facts: sync.OnceValue(p.count),
	}
}

// plan reads a path of the search.
func (pr *Problem) plan(states []int, cost float64) *Plan {
	nb := pr.Bow.Bows()
	p := &Plan{pr: pr, Cost: cost, Exact: true, Bows: make([]int, nb), Grips: make([]int, len(states)),
		From: make([]float64, nb), To: make([]float64, nb), Mid: make([]float64, nb), ends: make([]int, nb), mids: make([]int, nb)}
	for i, s := range states {
		l := &pr.layers[i]
		p.Grips[i] = s % l.grips
		r := s / l.grips
		if l.bow < 0 {
			continue
		}
		switch l.step {
		case turn:
			p.Bows[l.bow], p.ends[l.bow], p.mids[l.bow] = pr.bowState(r), r%pr.places, -1
		case split:
			if pr.Bow.Split(l.bow, p.Bows[l.bow]) {
				p.mids[l.bow], p.ends[l.bow] = p.ends[l.bow], r%pr.places
			}
		}
	}
	pen := pr.Bow.Penalty(p.Bows)
	p.Cost -= pen
	p.draw()
	p.remember()
	return p
}

// draw finds where on the bow each stroke begins.
func (p *Plan) draw() {
	pr := p.pr
	for i := range pr.layers {
		l := &pr.layers[i]
		if l.step != turn {
			continue
		}
		b := l.bow
		k := pr.stroke(b, false, p.Bows[b])
		k.f = free
		if i > 0 && pr.layers[i-1].bow >= 0 {
			_, _, k.f = pr.onward(i, p.Bows[b-1], p.Bows[b])
		}
		end, goal := 0, p.ends[b]
		if b > 0 {
			end = p.ends[b-1]
		}
		p.Mid[b] = -1
		if p.mids[b] >= 0 {
			goal = p.mids[b]
			p.Mid[b] = pr.at(goal)
		}
		_, start := pr.through(&k, end, goal)
		p.From[b], p.To[b] = pr.at(start), pr.at(p.ends[b])
	}
}

// edges tells what the bow does on the way into each layer.
func (p *Plan) edges() []fingering.Bow {
	out := make([]fingering.Bow, len(p.Grips))
	for i := range out {
		out[i] = p.edge(i)
	}
	return out
}

func (p *Plan) edge(i int) fingering.Bow {
	pr := p.pr
	l := &pr.layers[i]
	switch {
	case i == 0:
		return fingering.Changed
	case l.step == turn && pr.layers[i-1].bow < 0:
		return fingering.Changed
	case l.step == turn:
		how, _, _ := pr.onward(i, p.Bows[l.bow-1], p.Bows[l.bow])
		return how
	case l.step == split && pr.Bow.Split(l.bow, p.Bows[l.bow]):
		return fingering.Changed
	case l.plucked:
		return l.edge
	}
	return fingering.Slurred
}

// Item is one named cost at an event.
type Item struct {
	Event int
	score.Term
}

// Items tells the whole cost of the plan term by term, in order of events; ties
// over repeats stand at the event that is returned to. They add up to Cost but
// for the bow's tie-break.
func (p *Plan) Items() []Item {
	return slices.Clone(p.memo.items())
}

func (p *Plan) workItems() []Item {
	pr := p.pr
	var out []Item
	add := func(event int, ts ...score.Term) {
		for _, t := range ts {
			if t.Value != 0 {
				out = append(out, Item{event, t})
			}
		}
	}
	for i := range pr.layers {
		e := pr.Hand.LayerEvent(i)
		from := 0
		if i > 0 {
			from = p.Grips[i-1]
		}
		add(e, pr.Hand.BowTerms(i, from, p.Grips[i], p.edge(i))...)
		add(e, p.crossTerms(i)...)
		if l := &pr.layers[i]; l.step == turn {
			add(e, pr.Bow.NodeTerms(l.bow, p.Bows[l.bow])...)
			if li := pr.Bow.Chain(l.bow); li >= 0 {
				add(e, pr.Bow.LinkTerms(li, p.Bows[l.bow-1], p.Bows[l.bow])...)
			}
			add(e, p.placeTerms(l.bow)...)
		}
	}
	for k := range pr.ties {
		t := &pr.ties[k]
		e := pr.Hand.LayerEvent(t.To)
		if li := pr.tieLink[k]; li >= 0 {
			add(e, pr.Bow.LinkTerms(li, p.Bows[pr.links[li].A], p.Bows[pr.links[li].B])...)
		} else {
			add(e, pr.Hand.TieTerms(pr.tieJoin[k], p.Grips[t.From], p.Grips[t.To])...)
		}
	}
	slices.SortStableFunc(out, func(a, b Item) int { return a.Event - b.Event })
	return out
}

func (p *Plan) crossTerms(i int) []score.Term {
	pr := p.pr
	if i == 0 || pr.layers[i-1].bow < 0 {
		return nil
	}
	how := p.edge(i)
	if !pr.crossed(i, how) {
		return nil
	}
	before := &pr.layers[i-1]
	d := pr.heading(i-1, p.Bows[before.bow])
	rule := CrossInStroke
	if how == fingering.Changed {
		rule = CrossAtTurn
	}
	return []score.Term{{Name: Rules[rule].Name, Value: pr.crossing(d, how, before, &pr.layers[i], p.Grips[i-1], p.Grips[i])}}
}

// placeTerms are the costs of a stroke's place and length on the bow.
func (p *Plan) placeTerms(b int) []score.Term {
	pr := p.pr
	var sum [numRules]float64
	k := pr.stroke(b, false, p.Bows[b])
	k.f = free
	end := 0
	if b > 0 {
		_, _, k.f = pr.onward(p.layer(b), p.Bows[b-1], p.Bows[b])
		end = p.ends[b-1]
	}
	leg := func(k *matKey, end, to int) {
		_, start := pr.through(k, end, to)
		moves, frog, chord := pr.begin(k, end, start)
		speed, out := pr.draw(k, start, to)
		sum[BowMoves] += moves
		sum[RetakeAtFrog] += frog
		sum[ChordAtFrog] += chord
		sum[BowSpeed] += speed
		sum[BowRunsOut] += out
	}
	if p.mids[b] >= 0 {
		leg(&k, end, p.mids[b])
		k, end = pr.stroke(b, true, p.Bows[b]), p.mids[b]
	}
	leg(&k, end, p.ends[b])
	var ts []score.Term
	for r, v := range sum {
		if v != 0 {
			ts = append(ts, score.Term{Name: Rules[r].Name, Value: v})
		}
	}
	return ts
}

// layer is where a bow begins.
func (p *Plan) layer(b int) int {
	first, _ := p.pr.Bow.Span(b)
	i, _ := slices.BinarySearchFunc(p.pr.layers, first, func(l layer, e int) int { return cmp.Compare(l.event, e) })
	return i
}

// Terms sums the items by name, largest first.
func (p *Plan) Terms() []score.Term {
	sums := map[string]float64{}
	for _, it := range p.Items() {
		sums[it.Name] += it.Value
	}
	var ts []score.Term
	for n, v := range sums {
		ts = append(ts, score.Term{Name: n, Value: v})
	}
	slices.SortFunc(ts, func(a, b score.Term) int {
		if c := cmp.Compare(b.Value, a.Value); c != 0 {
			return c
		}
		return cmp.Compare(a.Name, b.Name)
	})
	return ts
}

// BowStudy is the plan's bow as package bowing tells it.
func (p *Plan) BowStudy() *bowing.Study {
	st := p.pr.Bow.StudyFrom(p.Bows)
	p.addTerms(st)
	st.Findings = append(st.Findings, p.RunsOut()...)
	return st
}

// addTerms puts the terms of Rules on the strokes they belong to: a crossing to the
// stroke that it leads into or lies in.
func (p *Plan) addTerms(st *bowing.Study) {
	k := 0
	for _, it := range p.Items() {
		if !slices.ContainsFunc(Rules[:], func(r Rule) bool { return r.Name == it.Name }) {
			continue
		}
		for k+1 < len(st.Proposed) && st.Proposed[k+1].First <= it.Event {
			k++
		}
		st.Proposed[k].Why = append(slices.Clip(st.Proposed[k].Why), it.Term)
	}
}

// HandStudy is the plan's hand as package fingering tells it.
func (p *Plan) HandStudy() *fingering.Study {
	return p.memo.hand()
}

// shortBow is the missing share of the slowest bow's length from which a place
// is told: a tenth goes unheard. Common practice, no source.
const shortBow = 0.1

// RunsOut finds the strokes for which too little bow is left, though a whole bow
// would do (those for which none does are findings of package bowing).
func (p *Plan) RunsOut() []score.Finding {
	var out []score.Finding
	for b := range p.Bows {
		k := p.pr.stroke(b, p.mids[b] >= 0, p.Bows[b])
		from := p.From[b]
		if p.mids[b] >= 0 {
			from = p.Mid[b]
		}
		has := math.Abs(p.To[b]-from) + 0.5/float64(p.pr.places-1)
		if missing := 1 - has/k.use.Least; k.use.Least <= 1 && missing > shortBow {
			out = append(out, p.shortFinding(b, &k, has, missing))
		}
	}
	return out
}

func (p *Plan) shortFinding(b int, k *matKey, has, missing float64) score.Finding {
	pr := p.pr
	first, last := pr.Bow.Span(b)
	ev := pr.Hand.Events
	at, to := place(pr.part, &ev[first]), place(pr.part, &ev[last])
	return score.Finding{Kind: "bow-too-short", Grade: score.Caution, At: at, To: to, Notes: ev[first].Struck, Weight: missing,
		Text: fmt.Sprintf("This %s-bow begins with %.0f mm of hair before it; even the slowest bow that speaks here needs %.0f mm.",
			k.dir, 1000*bowing.HairLength*has, 1000*bowing.HairLength*k.use.Least),
		Why:        "The strokes before leave the bow where little is left, and there is no rest in which to set it elsewhere.",
		Suggestion: "Save bow before, or set it anew here."}
}

func place(p *score.Part, e *timeline.Event) score.Loc {
	note := score.NoNote
	if len(e.Struck) > 0 {
		note = e.Struck[0]
	}
	return timeline.At(p, e.Measure, e.Onset, note)
}
