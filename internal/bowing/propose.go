package bowing

import (
	"fmt"
	"math"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// States of a bow in the problem: one direction throughout, or split in two.
const (
	stDown = iota
	stUp
	stDownUp
	stUpDown
)

func entry(state int) Direction {
	if state == stDown || state == stDownUp {
		return Down
	}
	return Up
}

func exit(state int) Direction {
	if state == stDown || state == stUpDown {
		return Down
	}
	return Up
}

// flip turns a state round.
func flip(state int) int { return state ^ 1 }

// problem states the search: a variable for each stroke, its wants and fixed
// marks as node costs, and a cost for the same direction on both sides of a link.
func (m *model) problem() *problem {
	pr := &problem{node: make([][]float64, len(m.bowed))}
	for b := range m.bowed {
		pr.node[b] = m.nodeCosts(b)
	}
	for i, l := range m.links {
		if l.a == l.b { // a section of one stroke, repeated
			for s := range pr.node[l.a] {
				pr.node[l.a][s] += m.joinCost(i, s, s)
			}
			continue
		}
		pr.edges = append(pr.edges, pairCost{l.a, l.b, func(sa, sb int) float64 { return m.joinCost(i, sa, sb) }})
	}
	return pr
}

// joinCost is what link i costs between two states: nothing where the direction
// alternates.
func (m *model) joinCost(i, sa, sb int) float64 {
	if d := entry(sb); exit(sa) == d {
		return m.sameAs(i, d).cost
	}
	return 0
}

func (m *model) nodeCosts(b int) []float64 {
	n := 2
	if m.cuts[b].at > 0 {
		n = 4
	}
	costs := make([]float64, n)
	for s := range costs {
		costs[s] = m.stateCost(b, s)
		if !m.allowed(b, s) {
			costs[s] = math.Inf(1)
		}
	}
	return costs
}

func (m *model) stateCost(b, s int) float64 {
	c := 0.0
	if entry(s) != m.written[b] {
		c += m.w[WrittenTie]
	}
	if s < stDownUp {
		return c + against(m.wants[b], entry(s))
	}
	return c + m.w[SplitSlur] + against(m.cuts[b].first, entry(s)) + against(m.cuts[b].wants, exit(s))
}

// allowed: a fixed mark holds for the half of the stroke that carries it.
func (m *model) allowed(b, s int) bool {
	d := m.fixed[b]
	switch {
	case d == None:
		return true
	case s >= stDownUp && m.fixedAt[b] >= m.cuts[b].at:
		return exit(s) == d
	}
	return entry(s) == d
}

// solve runs the search and reports links that had to be left out.
func (m *model) solve(pr *problem) []int {
	states, _, dropped := solve(pr, frontierBound)
	if len(dropped) > 0 {
		e := pr.edges[dropped[0]]
		m.findings = append(m.findings, score.Finding{Kind: "repeats-too-tangled", Grade: score.Caution,
			At: m.locate(m.bow(e.a)), To: m.locate(m.bow(e.b)),
			Text: fmt.Sprintf("Too many repeats and jumps are open at once; %d returns, the widest, were left out of the search for bow directions.", len(dropped)),
			Why:  "The marks are the best for all other joins; at these the bow may come out the same way twice."})
	}
	return states
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
		if k := m.into[b]; k >= 0 {
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
	if state < stDownUp {
		s.Why = append(termsAgainst(m.wants[b], s.Direction), joins...)
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
		h.Fixed = s.Fixed && m.fixedAt[b] >= h.First && m.fixedAt[b] <= h.Last
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
		ws := m.wants[b]
		if s >= stDownUp {
			sums[Rules[SplitSlur].Name] += m.w[SplitSlur]
			addTerms(sums, termsAgainst(m.cuts[b].first, entry(s)))
			addTerms(sums, termsAgainst(m.cuts[b].wants, exit(s)))
			continue
		}
		addTerms(sums, termsAgainst(ws, entry(s)))
	}
	for i, l := range m.links {
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
		case Link, Join:
			need[i] = s.Change == Link
			need[m.exitPlace(m.links[m.into[b]].a, states)] = true
		case AfterRest:
			need[i] = !(s.Direction == Down && m.mainEvent(s).Level == 0)
		case Alternate:
			if k := m.into[b]; m.links[k].gap > 0 {
				h := m.habit(s)
				need[i] = h != None && h != s.Direction
			}
		}
		if states[b] >= stDownUp {
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
	if states[b] >= stDownUp {
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
			out = append(out, score.SlurChange{Add: []score.Slur{{Number: 1, Start: m.firstNote(&proposed[i-1]), End: m.firstNote(s), Origin: score.Proposed}}})
		}
	}
	return out
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
