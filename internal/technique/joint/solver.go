package joint

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/sequence"
)

// Decision is what a person has settled for a note: any of bow, finger, string
// and position. The zero value settles nothing.
type Decision struct {
	Bow bowing.Direction
	fingering.Decision
}

// Solver finds plans for one part and keeps what it worked out, so that a
// decision costs only the work that it touches.
type Solver struct {
	*Problem
	chain   *chain
	search  *sequence.Search[*tables]
	layerOf []int // by event
	eventOf []int // by note
	decided map[score.NoteID]Decision
	built   map[score.NoteID]bool // decisions that went into the problem itself
	masks   map[int]*mask
	plan    *Plan
}

// mask is what decisions leave of a layer.
type mask struct {
	grips []bool
	bow   bowing.Direction
}

// NewSolver lays out a part and finds its best plan.
func NewSolver(sc *score.Score, p *score.Part, o Options) *Solver {
	return newSolver(NewProblem(sc, p, o))
}

// rebuilt lays the part out anew with all decisions as options, which overrule
// printed signs and reach grips that are not thought of otherwise. It is nil where
// that leaves no plan.
func (s *Solver) rebuilt() *Solver {
	o := s.given
	o.Bow.Decided, o.Hand.Decided = maps.Clone(o.Bow.Decided), maps.Clone(o.Hand.Decided)
	if o.Bow.Decided == nil {
		o.Bow.Decided = map[score.NoteID]bowing.Direction{}
	}
	if o.Hand.Decided == nil {
		o.Hand.Decided = map[score.NoteID]fingering.Decision{}
	}
	for n, d := range s.decided {
		if d.Bow != bowing.None {
			o.Bow.Decided[n] = d.Bow
		}
		if d.Finger != nil || d.String != 0 || d.Position != nil {
			o.Hand.Decided[n] = d.Decision
		}
	}
	pr := NewProblem(s.sc, s.part, o)
	pr.given = s.given
	n := newSolver(pr)
	if n.plan == nil {
		return nil
	}
	n.decided = s.decided
	for k := range n.decided {
		n.built[k] = true
	}
	return n
}

// obeysAll says whether the plan does all that is decided: one decision must not push
// another out unsaid.
func (s *Solver) obeysAll() bool {
	for id, d := range s.decided {
		if !s.obeyed(id, d) {
			return false
		}
	}
	return true
}

// mayOverrule says whether laying the part out anew can help a decision that no
// state obeys: a printed sign stands on the stroke or the event, a position is
// printed as a word, the open string may be a harmonic's 0, or an earlier decision
// has to go.
func (s *Solver) mayOverrule(i int, id score.NoteID, d Decision) bool {
	l := &s.layers[i]
	if s.built[id] || d.Finger != nil && *d.Finger == 0 || d.Bow != bowing.None && !l.plucked && s.Bow.Fixed(l.bow) != bowing.None {
		return true
	}
	for _, n := range s.Hand.Events[l.event].Struck {
		for _, m := range s.part.Notes[n].Marks {
			switch m.Kind {
			case score.Fingering, score.String, score.ThumbPosition, score.OpenString:
				return true
			}
		}
	}
	return slices.ContainsFunc(s.part.Directions, func(d score.Direction) bool {
		_, ok := instrument.ParsePosition(d.Text)
		return ok && d.Kind == "words"
	})
}

// obeyed says whether the problem took a decision from its options, and the plan does
// it.
func (s *Solver) obeyed(id score.NoteID, d Decision) bool {
	for _, f := range s.Hand.Findings {
		if f.Kind == "fingering-impossible" && slices.Contains(f.Notes, id) {
			return false
		}
	}
	if (d.Finger != nil || d.String != 0) && !s.taken(id, d.Decision) {
		return false
	}
	i := s.layerOf[s.eventOf[id]]
	return d.Bow == bowing.None || !s.layers[i].plucked && s.heading(i, s.plan.Bows[s.layers[i].bow]) == d.Bow
}

// taken says whether the plan has the finger and string of a decision on a note. 0 is
// the sign of the open string and of a printed natural harmonic.
func (s *Solver) taken(id score.NoteID, d fingering.Decision) bool {
	i := s.layerOf[s.eventOf[id]]
	for _, st := range s.Hand.Stops(i, s.plan.Grips[i]) {
		if st.Note != id || st.Held {
			continue
		}
		sign := d.Finger != nil && *d.Finger == 0 && st.Touch == fingering.Natural && s.part.Notes[id].Has(score.Harmonic)
		return (d.Finger == nil || st.Finger == *d.Finger || sign) && (d.String == 0 || st.String == d.String)
	}
	return false
}

func newSolver(pr *Problem) *Solver {
	s := &Solver{Problem: pr, chain: &chain{pr: pr}, layerOf: pr.Hand.LayerOf(),
		decided: map[score.NoteID]Decision{}, built: map[score.NoteID]bool{}, masks: map[int]*mask{}}
	s.eventOf = eventsByNote(pr)
	s.search = sequence.NewSearch[*tables](s.chain, pr.ties, nil, nil)
	s.plan = s.solve()
	return s
}

func eventsByNote(pr *Problem) []int {
	of := make([]int, len(pr.part.Notes))
	for i := range of {
		of[i] = -1
	}
	for i, e := range pr.Hand.Events {
		for _, id := range e.Struck {
			of[id] = i
		}
	}
	return of
}

// Plan is the best plan under the decisions made so far; nil where the signs of
// the part leave none.
func (s *Solver) Plan() *Plan { return s.plan }

// solve is nil where nothing is allowed.
func (s *Solver) solve() *Plan {
	j := s.search.Solve(s.o.Branches)
	if math.IsInf(j.Cost, 1) {
		return nil
	}
	p := s.Problem.plan(j.States, j.Cost)
	p.Exact, p.Gap = j.Exact, j.Gap
	return p
}

// Decide settles a note, beside what was settled before, and gives the plan
// that is best with it. Only the layers that it reaches are worked out again;
// a decision against a printed sign, or for a grip that was not among those
// thought of, lays the whole part out anew. Where the note cannot be played so,
// the error says it and nothing is changed.
func (s *Solver) Decide(id score.NoteID, d Decision) (*Plan, error) {
	if id < 0 || int(id) >= len(s.eventOf) || s.eventOf[id] < 0 {
		return nil, fmt.Errorf("note %d is not struck: decide the note where it begins", id)
	}
	i := s.layerOf[s.eventOf[id]]
	old, was := s.decided[id]
	s.decided[id] = d
	m, err := s.maskOf(i)
	if err == nil {
		err = s.allowed(i, id, d)
	}
	back := func() {
		delete(s.decided, id)
		if was {
			s.decided[id] = old
		}
	}
	if err == nil && was && s.built[id] {
		err = errBuilt
	}
	if err != nil {
		if s.mayOverrule(i, id, d) {
			if n := s.rebuilt(); n != nil && n.obeysAll() {
				*s = *n
				return s.plan, nil
			}
		}
		back()
		return nil, err
	}
	before := s.masks[i]
	s.setMask(i, m)
	if was && old != d || before != nil && !m.within(before) {
		s.restart(i) // something is taken back
	} else {
		s.search.Tighten(s.bowLayer(i))
		if s.bowLayer(i) != i {
			s.search.Tighten(i)
		}
	}
	plan := s.solve()
	if plan == nil {
		back()
		s.setMask(i, before)
		s.restart(i)
		return nil, fmt.Errorf("%s cannot be taken so together with the other decisions", place(s.part, &s.Hand.Events[s.eventOf[id]]))
	}
	s.plan = plan
	return plan, nil
}

// errBuilt stands for a decision that has to be taken out of the problem itself.
var errBuilt = errors.New("the decision cannot be changed so")

// Undo takes a decision back.
func (s *Solver) Undo(id score.NoteID) *Plan {
	if _, ok := s.decided[id]; !ok {
		return s.plan
	}
	delete(s.decided, id)
	if s.built[id] {
		n := s.rebuilt()
		if n == nil {
			panic("joint: without a decision there is no plan where there was one with it")
		}
		*s = *n
		return s.plan
	}
	i := s.layerOf[s.eventOf[id]]
	m, err := s.maskOf(i)
	if err != nil {
		panic("joint: fewer decisions contradict each other where more did not")
	}
	s.setMask(i, m)
	s.restart(i)
	s.plan = s.solve()
	return s.plan
}

// restart searches anew from the tables of an open branch, after what layer i
// allows has grown.
func (s *Solver) restart(i int) {
	parent, ok := s.search.Root()
	if !ok {
		s.search = sequence.NewSearch[*tables](s.chain, s.ties, nil, nil)
		return
	}
	touched := map[int]bool{i: true, s.bowLayer(i): true}
	for k := range s.ties {
		touched[s.ties[k].From], touched[s.ties[k].To] = true, true
	}
	for k := range s.masks {
		touched[k], touched[s.bowLayer(k)] = true, true
	}
	s.search = sequence.NewSearch[*tables](s.chain, s.ties, parent, sortedKeys(touched))
}

// bowLayer is where the stroke of a layer begins, the layer itself where it is
// plucked.
func (s *Solver) bowLayer(i int) int {
	if s.layers[i].plucked {
		return i
	}
	for s.layers[i].step != turn {
		i--
	}
	return i
}

// within says that m allows nothing that o does not.
func (m *mask) within(o *mask) bool {
	if m == nil || o.bow != bowing.None && m.bow != o.bow {
		return false
	}
	for g := range m.grips {
		if m.grips[g] && !o.grips[g] {
			return false
		}
	}
	return true
}

// maskOf gathers what the decisions on a layer's notes leave of it.
func (s *Solver) maskOf(i int) (*mask, error) {
	e := &s.Hand.Events[s.layers[i].event]
	m := &mask{grips: make([]bool, s.layers[i].grips)}
	for g := range m.grips {
		m.grips[g] = true
	}
	any, left := false, len(m.grips)
	for _, id := range e.Struck {
		d, ok := s.decided[id]
		if !ok || s.built[id] {
			continue
		}
		any = true
		if d.Bow != bowing.None {
			if s.layers[i].plucked {
				return nil, fmt.Errorf("%s is played without the bow", place(s.part, e))
			}
			if m.bow != bowing.None && m.bow != d.Bow {
				return nil, fmt.Errorf("%s: two bow directions are decided for one stroke", place(s.part, e))
			}
			m.bow = d.Bow
		}
		if d.Finger == nil && d.String == 0 && d.Position == nil {
			continue
		}
		left = 0
		for g := range m.grips {
			m.grips[g] = m.grips[g] && s.Hand.Obeys(i, g, id, d.Decision)
			if m.grips[g] {
				left++
			}
		}
	}
	switch {
	case left == 0:
		return nil, fmt.Errorf("%s cannot be taken with that finger, string and position, or a printed sign stands against it", place(s.part, e))
	case !any:
		return nil, nil
	}
	return m, nil
}

// allowed says whether some state of the stroke gives the decided direction.
func (s *Solver) allowed(i int, id score.NoteID, d Decision) error {
	if d.Bow == bowing.None {
		return nil
	}
	b := s.layers[i].bow
	for k := range s.Bow.States(b) {
		if s.heading(i, k) == d.Bow && !math.IsInf(s.Bow.NodeCost(b, k), 1) {
			return nil
		}
	}
	return fmt.Errorf("%s: a printed sign stands against %s-bow", place(s.part, &s.Hand.Events[s.eventOf[id]]), d.Bow)
}

// setMask makes the restrictions of a layer and of its stroke's first.
func (s *Solver) setMask(i int, m *mask) {
	if m == nil {
		delete(s.masks, i)
	} else {
		s.masks[i] = m
	}
	only := map[int]*restriction{}
	for k, m := range s.masks {
		s.restrict(only, k, m)
	}
	s.chain.only, s.chain.runs = only, nil
}

func (s *Solver) restrict(only map[int]*restriction, i int, m *mask) {
	s.narrow(only, i, func(int) bool { return true }, m.grips)
	if m.bow != bowing.None {
		s.narrow(only, s.bowLayer(i), func(k int) bool { return s.heading(i, k) == m.bow }, nil)
	}
}

// narrow adds to the restriction of a layer: states of the bow, and grips (nil:
// all).
func (pr *Problem) narrow(only map[int]*restriction, i int, state func(int) bool, grips []bool) {
	r := only[i]
	if r == nil {
		n := 1
		if b := pr.layers[i].bow; b >= 0 {
			n = pr.Bow.States(b)
		}
		all := make([]bool, pr.layers[i].grips)
		for g := range all {
			all[g] = true
		}
		r = &restriction{make([][]bool, n)}
		for k := range r.grips {
			r.grips[k] = all
		}
		only[i] = r
	}
	shared := map[*bool][]bool{}
	for k, old := range r.grips {
		if !state(k) {
			r.grips[k] = nil
		}
		if old == nil || r.grips[k] == nil || grips == nil {
			continue
		}
		v, ok := shared[&old[0]]
		if !ok {
			v = make([]bool, len(old))
			for g := range v {
				v[g] = old[g] && grips[g]
			}
			shared[&old[0]] = v
		}
		r.grips[k] = v
	}
}
