package bowing

import (
	"fmt"
	"math"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// States of a bow in the problem: one direction throughout, split in two, or
// under a new slur with its neighbours: down, then up, for each of bindsOf.
const (
	stDown = iota
	stUp
	stDownUp
	stUpDown
	stBound
)

func isSplit(state int) bool { return state == stDownUp || state == stUpDown }

func entry(state int) Direction { return Down + Direction(state&1) }

func exit(state int) Direction {
	if isSplit(state) {
		return entry(state).Opposite()
	}
	return entry(state)
}

// flip turns a state round.
func flip(state int) int { return state ^ 1 }

// problem states the search: a variable for each stroke, its wants and fixed
// marks as node costs, and a cost for the same direction on both sides of a link.
// Its variables number the states that a bow really has: m.states lists them.
func (m *model) problem() *problem {
	pr := &problem{node: make([][]float64, len(m.bowed))}
	m.states = make([][]int, len(m.bowed))
	for b := range m.bowed {
		m.states[b] = m.statesOf(b)
		pr.node[b] = m.nodeCosts(b)
	}
	for i, l := range m.links {
		if l.a == l.b { // a section of one stroke, repeated
			for k, s := range m.states[l.a] {
				pr.node[l.a][k] += m.joinCost(i, s, s)
			}
			continue
		}
		a, b := m.states[l.a], m.states[l.b]
		pr.edges = append(pr.edges, pairCost{a: l.a, b: l.b, cost: func(sa, sb int) float64 { return m.joinCost(i, a[sa], b[sb]) }})
	}
	if m.mode == fewest || m.mode == strict {
		m.addTallies(pr)
	}
	return pr
}

// addTallies lets the problem count changes before it weighs costs.
func (m *model) addTallies(pr *problem) {
	pr.counts = make([][]tally, len(m.bowed))
	for b := range m.bowed {
		for _, s := range m.states[b] {
			pr.counts[b] = append(pr.counts[b], m.nodeTally(b, s))
		}
	}
	k := 0
	for i, l := range m.links {
		if l.a == l.b {
			for q, s := range m.states[l.a] {
				pr.counts[l.a][q] += m.linkTally(i, s, s)
			}
			continue
		}
		a, b := m.states[l.a], m.states[l.b]
		pr.edges[k].count = func(sa, sb int) tally { return m.linkTally(i, a[sa], b[sb]) }
		k++
	}
}

// statesOf lists the states a bow may take, those a mark forbids among them.
func (m *model) statesOf(b int) []int {
	out := []int{stDown, stUp}
	if m.cuts[b].at > 0 {
		out = append(out, stDownUp, stUpDown)
	}
	if b < len(m.bindsOf) {
		for k := range m.bindsOf[b] {
			out = append(out, stBound+2*k, stBound+2*k+1)
		}
	}
	return out
}

// joinCost is what link i costs between two states: nothing where the direction
// alternates or a new slur binds the two, +Inf where it binds only one of them.
func (m *model) joinCost(i, sa, sb int) float64 {
	if sa >= stBound || sb >= stBound {
		if l := m.links[i]; m.torn(l, sa, sb) {
			return math.Inf(1)
		} else if m.under(l.b, sb) {
			return 0
		}
	}
	if d := entry(sb); exit(sa) == d {
		return m.sameAs(i, d).cost
	}
	return 0
}

func (m *model) nodeCosts(b int) []float64 {
	costs := make([]float64, len(m.states[b]))
	for k, s := range m.states[b] {
		costs[k] = m.stateCost(b, s)
		if !m.allowed(b, s) || m.pinned(b, s) {
			costs[k] = math.Inf(1)
		}
	}
	return costs
}

func (m *model) stateCost(b, s int) float64 {
	c := 0.0
	if entry(s) != m.written[b] {
		c += m.w[WrittenTie]
	}
	switch g := m.bindAt(b, s); {
	case isSplit(s):
		return c + m.w[SplitSlur] + against(m.cuts[b].first, entry(s)) + against(m.cuts[b].wants, exit(s))
	case g != nil && g.first == b:
		return c + m.w[JoinNotes] + against(g.wants, entry(s))
	case g != nil:
		return c
	}
	return c + against(m.wants[b], entry(s))
}

// stateTerms are the named parts of stateCost, the tie-break aside.
func (m *model) stateTerms(b, s int) []score.Term {
	switch g := m.bindAt(b, s); {
	case isSplit(s):
		ts := append(termsAgainst(m.cuts[b].first, entry(s)), termsAgainst(m.cuts[b].wants, exit(s))...)
		return append(ts, score.Term{Name: Rules[SplitSlur].Name, Value: m.w[SplitSlur]})
	case g != nil && g.first == b:
		return append(termsAgainst(g.wants, entry(s)), score.Term{Name: Rules[JoinNotes].Name, Value: m.w[JoinNotes]})
	case g != nil:
		return nil
	}
	return termsAgainst(m.wants[b], entry(s))
}

// allowed: a fixed mark holds for the half of the stroke that carries it. Where
// the signs turn inside a slur that may be split, it must be split there.
func (m *model) allowed(b, s int) bool {
	d := m.fixed[b]
	switch {
	case d == None:
		return true
	case m.cuts[b].turn:
		return isSplit(s) && entry(s) == d
	case isSplit(s) && m.fixedAt[b] >= m.cuts[b].at:
		return exit(s) == d
	}
	return entry(s) == d
}

// solve runs the search and reports links that had to be left out.
func (m *model) solve(pr *problem) []int {
	states, _, dropped := solve(pr, frontierBound)
	m.dropped = dropped
	if len(dropped) > 0 {
		e := pr.edges[dropped[0]]
		m.findings = append(m.findings, score.Finding{Kind: "repeats-too-tangled", Grade: score.Caution,
			At: m.locate(m.bow(e.a)), To: m.locate(m.bow(e.b)),
			Text: fmt.Sprintf("Too many repeats and jumps are open at once; %d returns, the widest, were left out of the search for bow directions.", len(dropped)),
			Why:  "The marks are the best for all other joins; at these the bow may come out the same way twice."})
	}
	return m.decode(states)
}

// decode turns the numbers of the problem's states into states.
func (m *model) decode(numbers []int) []int {
	out := make([]int, len(numbers))
	for b, k := range numbers {
		out[b] = m.states[b][k]
	}
	return out
}

// proposedStrokes turns states into strokes; a split stroke becomes two. It
// sets m.place: where each bow begins in the result.
func (m *model) proposedStrokes(states []int) []Stroke {
	out := make([]Stroke, 0, len(m.strokes))
	m.place = make([]int, len(m.bowed))
	b := 0
	for i := range m.strokes {
		s := m.strokes[i]
		if s.Pizzicato {
			out = append(out, s)
			continue
		}
		m.place[b] = len(out)
		s.Direction, s.Fixed = entry(states[b]), m.fixed[b] != None
		s.Change = Begin
		var joins []score.Term
		if k := m.into[b]; m.under(b, states[b]) {
			s.Change = Join
		} else if k >= 0 {
			s.Change = Alternate
			if exit(states[m.links[k].a]) == s.Direction {
				f := m.sameAs(k, s.Direction)
				s.Change, joins = f.kind, f.terms
			}
		}
		out = append(out, m.halves(s, b, states[b], joins)...)
		b++
	}
	return out
}

// halves is the stroke itself, or the two it is split into.
func (m *model) halves(s Stroke, b, state int, joins []score.Term) []Stroke {
	if !isSplit(state) {
		s.Why = append(m.stateTerms(b, state), joins...)
		return []Stroke{s}
	}
	c := m.cuts[b]
	one, two := s, s
	one.Last, two.First = c.at-1, c.at
	one.Why = append(termsAgainst(c.first, entry(state)), joins...)
	two.Why = append(termsAgainst(c.wants, exit(state)), score.Term{Name: Rules[SplitSlur].Name, Value: m.w[SplitSlur]})
	two.Direction, two.Change = exit(state), Split
	for _, h := range []*Stroke{&one, &two} {
		h.Notes = nil
		g := gatherer{p: m.p, events: m.events}
		g.finish(h)
		h.Use = m.useOfStroke(h)
		h.Fixed = s.Fixed && (c.turn || m.fixedAt[b] >= h.First && m.fixedAt[b] <= h.Last)
	}
	return []Stroke{one, two}
}

// plan prints what a reader needs of the proposal and sums its cost.
func (m *model) plan(states []int, proposed []Stroke) score.Plan {
	var pl score.Plan
	for _, i := range m.needed(states, proposed) {
		s := &proposed[i]
		id := m.signNote(s)
		n := &m.p.Notes[id]
		if n.Has(score.UpBow) || n.Has(score.DownBow) || m.decidedOn(s) {
			continue
		}
		pl.Marks = append(pl.Marks, score.NoteMark{Note: id, Mark: score.Mark{Kind: s.Direction.Mark(), Origin: score.Proposed}})
	}
	pl.SlurChanges = m.slurChanges(proposed)
	sums := map[string]float64{}
	for b, s := range states {
		pl.Cost += m.stateCost(b, s)
		addTerms(sums, m.stateTerms(b, s))
	}
	for i, l := range m.links {
		if m.under(l.b, states[l.b]) {
			continue
		}
		if d := entry(states[l.b]); exit(states[l.a]) == d {
			pl.Cost += m.sameAs(i, d).cost
			addTerms(sums, m.sameAs(i, d).terms)
		}
	}
	pl.Terms = sorted(sums)
	return pl
}

func (m *model) decidedOn(s *Stroke) bool {
	for _, id := range s.Notes {
		if _, ok := m.o.Decided[id]; ok {
			return true
		}
	}
	return false
}

func addTerms(sums map[string]float64, ts []score.Term) {
	for _, t := range ts {
		sums[t.Name] += t.Value
	}
}

// sorted gives terms largest first, of equals by name.
func sorted(sums map[string]float64) []score.Term {
	var ts []score.Term
	for n, v := range sums {
		ts = append(ts, score.Term{Name: n, Value: v})
	}
	slices.SortFunc(ts, func(a, b score.Term) int {
		switch {
		case a.Value > b.Value:
			return -1
		case a.Value < b.Value:
			return 1
		case a.Name < b.Name:
			return -1
		}
		return 1
	})
	return ts
}

// needed picks the strokes that must carry a sign, as indices into proposed.
// Nothing is marked that a reader does by himself, who alternates, and who
// after a rest begins a bar down and a single note before a bar line up:
//   - the opening, unless it begins a bar down;
//   - the second stroke of a retake, and of a rest after which the direction is
//     not both what alternation gives and what habit gives;
//   - both strokes of a link;
//   - the second half of a split slur, the first stroke of a joined one;
//   - the stroke a repeat or jump returns to, where the bow arrives the same way;
//   - every chord of three or four notes taken down directly after another.
func (m *model) needed(states []int, proposed []Stroke) []int {
	need := map[int]bool{}
	for b := range m.bowed {
		i := m.place[b]
		s := &proposed[i]
		switch s.Change {
		case Begin:
			need[i] = s.Direction == Up || m.mainEvent(s).Level != 0
		case Retake:
			need[i] = true
		case Link:
			need[i] = true
			need[m.exitPlace(m.links[m.into[b]].a, states)] = true
		case Join:
			if a := b - 1; !m.under(a, states[a]) {
				need[m.place[a]] = true
			}
		case AfterRest:
			need[i] = !(s.Direction == Down && m.mainEvent(s).Level == 0)
		case Alternate:
			if k := m.into[b]; m.links[k].gap > 0 {
				h := m.habit(s)
				need[i] = h != None && h != s.Direction
			}
		}
		if isSplit(states[b]) {
			need[i+1] = true
		}
	}
	for _, l := range m.links {
		if l.jump && l.gap == 0 && exit(states[l.a]) == entry(states[l.b]) {
			need[m.place[l.b]] = true
		}
	}
	var out []int
	for i := range proposed {
		if need[i] && !proposed[i].Pizzicato {
			out = append(out, i)
		}
	}
	return out
}

func (m *model) exitPlace(b int, states []int) int {
	if isSplit(states[b]) {
		return m.place[b] + 1
	}
	return m.place[b]
}

// habit is what a reader does after a rest without thinking.
func (m *model) habit(s *Stroke) Direction {
	switch {
	case m.mainEvent(s).Level == 0:
		return Down
	case m.levelAt(s.End()) == 0:
		return Up
	}
	return None
}

// slurChanges writes splits and joins as slurs.
func (m *model) slurChanges(proposed []Stroke) []score.SlurChange {
	var out []score.SlurChange
	of := timeline.EventOf(m.p, m.events)
	for i := range proposed {
		s := &proposed[i]
		switch s.Change {
		case Split:
			out = append(out, m.splitChange(of, &proposed[i-1], s))
		case Join:
			if proposed[i-1].Change == Join && m.boundTogether(proposed, i) {
				out[len(out)-1].Add[0].End = m.firstNote(s)
				continue
			}
			out = append(out, score.SlurChange{Add: []score.Slur{{Number: 1, Start: m.firstNote(&proposed[i-1]), End: m.firstNote(s), Origin: score.Proposed}}})
		}
	}
	return out
}

// boundTogether: a joined stroke after a joined one continues its slur; the head
// of a slur is never itself joined.
func (m *model) boundTogether(proposed []Stroke, i int) bool {
	return proposed[i].Direction == proposed[i-1].Direction && proposed[i].First == proposed[i-1].Last+1
}

func (m *model) splitChange(of []int, one, two *Stroke) score.SlurChange {
	var c score.SlurChange
	for k, sl := range m.p.Slurs {
		if sl.Start == score.NoNote || sl.End == score.NoNote {
			continue
		}
		if a, b := of[sl.Start], of[sl.End]; a >= one.First && a < two.First && b >= two.First && b <= two.Last {
			c.Remove = append(c.Remove, k)
		}
	}
	for _, h := range []*Stroke{one, two} {
		if h.Last > h.First {
			from, to := m.events[h.First].Struck, m.events[h.Last].Struck
			c.Add = append(c.Add, score.Slur{Number: 1, Start: m.p.Notes[from[0]].Head, End: m.p.Notes[to[0]].Head, Origin: score.Proposed})
		}
	}
	return c
}
