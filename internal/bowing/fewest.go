package bowing

import "math"

// tally counts what a plan changes, to be compared before its cost: runs the wrong
// way round that are left and should not be in the highest bits, changes of the
// printed text (a slur split, a slur added: one each) in the middle ones, changes of
// the reading in the low ones.
type tally int64

const (
	textChange tally = 1 << 32
	runLeft    tally = 1 << 48
)

func (t tally) text() int  { return int(t % runLeft / textChange) }
func (t tally) signs() int { return int(t % textChange) }

// beforeLong is how many strong places may come up, one run after the other in
// wrongSpan's sense, where the run rights itself in the end: about a phrase of four
// bars. Such a place "may be left", in the findings and in Fewest alike. Common
// practice, no source.
const beforeLong = 4

// Fewest: what must be is a constraint, what is changed for it is counted. It must be
// that marks hold (where they turn inside a slur it is split) and that no slur surely
// outlasts the bow. Of all such plans that one is wanted which has, each before the
// next,
//
//  1. the fewest runs left that may not be left: those of more than beforeLong strong
//     places the wrong way round, and one that does not right itself before the end;
//  2. the fewest changes of the text, and of these the fewest of the reading: retakes,
//     links, and an opening the other way round;
//  3. the least cost.
//
// A run is a wrongSpan in the directions of the plan: strong places that come up, single
// ones between them that come down included. A strong place that a new slur swallows
// comes up in this sense. A fresh start after a rest is no change of the reading: the
// rest gives it for nothing.
//
// The search has two steps. heldFewest finds such a plan, exactly, with the runs counted
// beside the directions. Every strong place is then held as that plan has it (pinned), so
// that the runs stay as they are and a search that looks at more than the bow (see Model)
// need not count them; it chooses among the plans with these strong places. Holding only
// those that come down would not do: one more that comes right can end a run early and
// so make two of one.
//
// Strict: no change of the text at all, then the fewest places where the bow
// does not simply alternate (after rests too) from the opening as written, then
// the least cost. Without marks that is the reading as written; marks that
// alternation does not meet force one change each, put where it costs least.
//
// m.mode picks between them; weighted counts nothing.
type mode int8

const (
	weighted mode = iota
	fewest
	strict
)

// mustSplit: the slur turns, or lasts longer than the bow surely can.
func (m *model) mustSplit(b int) bool {
	c := &m.cuts[b]
	return c.at > 0 && (c.turn || m.bow(b).Use.Least >= surelyOut)
}

// nodeTally counts the changes of text in a state of bow b; that the music begins the
// other way round than it would be taken is one of the reading.
func (m *model) nodeTally(b, s int) (n tally) {
	if g := m.bindAt(b, s); isSplit(s) || g != nil && g.first == b {
		n += textChange
	}
	if m.mode == fewest && b == m.opening && entry(s) != m.written[b] {
		n++
	}
	return n
}

// linkTally counts the change of reading at link i between two states.
func (m *model) linkTally(i, sa, sb int) tally {
	l := m.links[i]
	if m.under(l.b, sb) || exit(sa) != entry(sb) {
		return 0
	}
	if m.mode == strict {
		if m.into[l.b] == i {
			return 1
		}
		return 0
	}
	if m.sameAs(i, entry(sb)).kind == AfterRest {
		return 0
	}
	return 1
}

// pinned forbids states that the mode rules out: a slur left whole that must be
// split, in fewest what turns a strong place from how it is held, in strict another
// opening.
func (m *model) pinned(b, s int) bool {
	switch m.mode {
	case fewest:
		return m.mustSplit(b) && !isSplit(s) || m.held[b] != None && m.comesUp(b, s) != (m.held[b] == Up)
	case strict:
		return b == m.opening && m.fixed[b] == None && entry(s) != m.written[b]
	}
	return false
}

// comesUp says that a bow does not begin down-bow in a state: it comes up, or a new
// slur swallows its beginning.
func (m *model) comesUp(b, s int) bool { return entry(s) == Up || m.under(b, s) }

// setMode reads the mode from the options, once strokes and marks are known.
func (m *model) setMode() {
	switch {
	case m.o.Strict:
		m.mode = strict
	case m.o.Fewest:
		m.mode = fewest
		m.held = make([]Direction, len(m.bowed))
		m.held = m.heldFewest()
	}
}

// heldFewest gives, for each strong place, Down or Up as it comes in the best plan of
// mode fewest, and None for the other bows.
func (m *model) heldFewest() []Direction {
	pr := m.problem()
	counted, at := m.countRuns(pr)
	numbers, _, _ := solve(counted, runsBound)
	out := make([]Direction, len(m.bowed))
	for b := range out {
		switch {
		case !m.callsDown(b):
		case m.comesUp(b, m.states[b][numbers[at[b]]]):
			out[b] = Up
		default:
			out[b] = Down
		}
	}
	return out
}

// runsBound limits the table of solve where runs are counted: two counters of up to
// 22 states stand beside the strokes that frontierBound is meant for.
const runsBound = frontierBound * 22 * 22 / 8

// A run state is how far a run of wrong places has come: 0 none, else how many strong
// places came up, m.leave+1 for more than may be left, and whether the last one came
// right.
func runState(wrong int, right bool) int {
	s := 2*wrong - 1
	if right {
		s++
	}
	return s
}

// runStep goes on from a run state over one more strong place; left counts a run that
// thereby becomes one that may not be left. A second place that comes right ends a run.
func (m *model) runStep(state int, up bool) (next int, left tally) {
	wrong, right := (state+1)/2, state > 0 && state%2 == 0
	switch {
	case up && wrong == m.leave:
		return runState(wrong+1, false), runLeft
	case up:
		return runState(min(wrong+1, m.leave+1), false), 0
	case wrong == 0 || right:
		return 0, 0
	}
	return runState(wrong, true), 0
}

// runEnd counts a run that does not right itself before the end.
func (m *model) runEnd(state int) tally {
	if state%2 == 1 && (state+1)/2 <= m.leave {
		return runLeft
	}
	return 0
}

// counter is one state of the variable that counts runs at a strong place: the run
// state before it, and whether it comes up.
type counter struct {
	before int
	up     bool
}

// countRuns puts a counter behind every strong place, in the order of the text, tied to
// its bow and to the counter before. at gives the new index of each bow.
func (m *model) countRuns(pr *problem) (out *problem, at []int) {
	out, at = &problem{}, make([]int, len(m.bowed))
	last := -1 // index of the counter before
	before := []int{0}
	var was []counter
	for b := range m.bowed {
		at[b] = len(out.node)
		out.node, out.counts = append(out.node, pr.node[b]), append(out.counts, pr.counts[b])
		if !m.callsDown(b) {
			continue
		}
		is, after := m.countersFrom(before)
		v := len(out.node)
		counts := make([]tally, len(is))
		for k, c := range is {
			_, counts[k] = m.runStep(c.before, c.up)
		}
		out.node, out.counts = append(out.node, make([]float64, len(is))), append(out.counts, counts)
		out.edges = append(out.edges, pairCost{a: at[b], b: v, cost: func(s, k int) float64 {
			return unless(m.comesUp(b, m.states[b][s]) == is[k].up)
		}})
		if last >= 0 {
			earlier := was
			out.edges = append(out.edges, pairCost{a: last, b: v, cost: func(j, k int) float64 {
				next, _ := m.runStep(earlier[j].before, earlier[j].up)
				return unless(next == is[k].before)
			}})
		}
		last, was, before = v, is, after
	}
	for k, c := range was {
		next, _ := m.runStep(c.before, c.up)
		out.counts[last][k] += m.runEnd(next)
	}
	for _, e := range pr.edges {
		e.a, e.b = at[e.a], at[e.b]
		out.edges = append(out.edges, e)
	}
	return out, at
}

// countersFrom lists the states of a counter after some run states, and the run states
// that it may leave.
func (m *model) countersFrom(before []int) (is []counter, after []int) {
	seen := map[int]bool{}
	for _, s := range before {
		for _, up := range []bool{false, true} {
			is = append(is, counter{s, up})
			if next, _ := m.runStep(s, up); !seen[next] {
				seen[next] = true
				after = append(after, next)
			}
		}
	}
	return is, after
}

// unless forbids what does not hold.
func unless(ok bool) float64 {
	if ok {
		return 0
	}
	return math.Inf(1)
}
