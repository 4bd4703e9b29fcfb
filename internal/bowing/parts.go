package bowing

import (
	"math"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Model is a study laid out for a search that looks at more than the bow: the
// strokes ("bows") as variables, their states by number, and the costs of states
// and links, all as Analyze minimises them. StudyFrom turns an assignment back
// into a Study. In the modes that count changes first (Options.Fewest, Strict)
// a change costs so much that no saving outweighs it, see Penalty.
type Model struct {
	m     *model
	chain []int
	loops [][]int // per bow: links from it to itself
}

// What a change costs where changes are counted before costs. One change moves
// the cost of the strokes around it by tens at most, so that the counts come
// first all the same.
const (
	textPenalty = 1e7
	signPenalty = 1e3
)

func penalty(t tally) float64 {
	return textPenalty*float64(t.text()) + signPenalty*float64(t.signs())
}

// counts says that changes are counted before costs.
func (c *Model) counts() bool { return c.m.mode == fewest || c.m.mode == strict }

// NewModel lays out a part.
func NewModel(sc *score.Score, p *score.Part, o Options) *Model {
	m := newModel(sc, p, o)
	c := &Model{m: m, chain: make([]int, len(m.bowed)), loops: make([][]int, len(m.bowed))}
	for b := range c.chain {
		c.chain[b] = -1
	}
	for i, l := range m.links {
		switch {
		case l.a == l.b:
			c.loops[l.a] = append(c.loops[l.a], i)
		case l.b == l.a+1:
			c.chain[l.b] = i
		}
	}
	if len(m.bowed) == 0 || len(p.Measures) == 0 {
		return c
	}
	m.asWritten()
	m.findBinds()
	m.setMode()
	m.states = make([][]int, len(m.bowed))
	for b := range m.bowed {
		m.states[b] = m.statesOf(b)
	}
	return c
}

// BowLink says that bow B is played directly after bow A at least once. Gap is
// the silence between in seconds; Jump: over a repeat or jump, not as written.
type BowLink struct {
	A, B int
	Gap  float64
	Jump bool
}

// Events of the part.
func (c *Model) Events() []timeline.Event { return c.m.events }

// Bows is the number of strokes that take a direction.
func (c *Model) Bows() int { return len(c.m.bowed) }

// Span is the first and the last event of a bow, inclusive.
func (c *Model) Span(b int) (first, last int) { s := c.m.bow(b); return s.First, s.Last }

// States is how many states a bow may take, forbidden ones among them: down, up,
// then those of a split or an added slur.
func (c *Model) States(b int) int { return len(c.m.states[b]) }

// Entry and Exit are the directions with which state number k of a bow begins
// and ends; they differ where its slur is split.
func (c *Model) Entry(b, k int) Direction { return entry(c.m.states[b][k]) }

// Exit is the direction with which state number k of a bow ends.
func (c *Model) Exit(b, k int) Direction { return exit(c.m.states[b][k]) }

// Split says that the state splits the slur, before event CutAt.
func (c *Model) Split(b, k int) bool { return isSplit(c.m.states[b][k]) }

// CutAt is the event before which the second half begins when the bow is
// split; 0 where it cannot be.
func (c *Model) CutAt(b int) int { return c.m.cuts[b].at }

// NodeCost is what a state of a bow costs by itself, repeats of the bow alone
// included; +Inf where a mark forbids it.
func (c *Model) NodeCost(b, k int) float64 {
	m, s := c.m, c.m.states[b][k]
	if !m.allowed(b, s) || m.pinned(b, s) {
		return math.Inf(1)
	}
	sum := m.stateCost(b, s)
	if c.counts() {
		sum += penalty(m.nodeTally(b, s))
	}
	for _, i := range c.loops[b] {
		sum += c.LinkCost(i, k, k)
	}
	return sum
}

// NodeTerms are the named parts of NodeCost without tie-break and penalty.
func (c *Model) NodeTerms(b, k int) []score.Term {
	ts := slices.Clone(c.m.stateTerms(b, c.m.states[b][k]))
	for _, i := range c.loops[b] {
		ts = append(ts, c.LinkTerms(i, k, k)...)
	}
	return ts
}

// Links lists the links, of a bow to itself too, in order of first meeting; the
// indices are those of LinkCost.
func (c *Model) Links() []BowLink {
	out := make([]BowLink, len(c.m.links))
	for i, l := range c.m.links {
		out[i] = BowLink{l.a, l.b, l.gap, l.jump}
	}
	return out
}

// Chain is the link from bow b-1 to bow b, -1 where they never meet in time.
func (c *Model) Chain(b int) int { return c.chain[b] }

// LinkCost is what link i costs between states number ka and kb of its bows.
func (c *Model) LinkCost(i, ka, kb int) float64 {
	m, l := c.m, c.m.links[i]
	sa, sb := m.states[l.a][ka], m.states[l.b][kb]
	sum := m.joinCost(i, sa, sb)
	if c.counts() && !math.IsInf(sum, 1) {
		sum += penalty(m.linkTally(i, sa, sb))
	}
	return sum
}

// LinkKind tells how the bow goes on over link i.
func (c *Model) LinkKind(i, ka, kb int) Change {
	m, l := c.m, c.m.links[i]
	sa, sb := m.states[l.a][ka], m.states[l.b][kb]
	switch {
	case m.under(l.b, sb):
		return Join
	case exit(sa) == entry(sb):
		return m.sameAs(i, entry(sb)).kind
	}
	return Alternate
}

// LinkTerms are the named parts of LinkCost without the penalty.
func (c *Model) LinkTerms(i, ka, kb int) []score.Term {
	if k := c.LinkKind(i, ka, kb); k == Alternate || k == Join {
		return nil
	}
	l := c.m.links[i]
	return c.m.sameAs(i, entry(c.m.states[l.b][kb])).terms
}

// Penalty is what the changes of an assignment add to its cost in the modes that
// count them first; otherwise 0.
func (c *Model) Penalty(numbers []int) float64 {
	m, sum := c.m, 0.0
	if !c.counts() {
		return 0
	}
	for b, k := range numbers {
		sum += penalty(m.nodeTally(b, m.states[b][k]))
	}
	for i, l := range m.links {
		sum += penalty(m.linkTally(i, m.states[l.a][numbers[l.a]], m.states[l.b][numbers[l.b]]))
	}
	return sum
}

// Chord is how many notes the bow strikes at once where the bow begins; second
// asks for its second half.
func (c *Model) Chord(b int, second bool) int {
	if second {
		return len(c.m.events[c.m.cuts[b].at].Struck)
	}
	return len(c.m.mainEvent(c.m.bow(b)).Struck)
}

// UseOf is the hair that a bow takes in a state; of a split one its first or
// second half.
func (c *Model) UseOf(b, k int, second bool) Use {
	s := *c.m.bow(b)
	if c.Split(b, k) {
		if second {
			s.First = c.m.cuts[b].at
		} else {
			s.Last = c.m.cuts[b].at - 1
		}
	}
	return c.m.useOfStroke(&s)
}

// Fixed is the direction that printed or decided marks ask of a bow, None where
// they ask nothing.
func (c *Model) Fixed(b int) Direction { return c.m.fixed[b] }

// StudyFrom is the Study of a given assignment, the number of a state for each
// bow, as Analyze makes it of its own. It panics where a mark forbids a state.
func (c *Model) StudyFrom(numbers []int) *Study {
	m := *c.m
	m.findings = slices.Clone(m.findings)
	st := &Study{Events: m.events}
	if len(m.p.Measures) == 0 || len(m.bowed) == 0 {
		st.Written, st.Proposed = m.strokes, m.strokes
		st.Findings = m.findings
		return st
	}
	if len(numbers) != len(m.bowed) {
		panic("bowing: StudyFrom wants one state for each bow")
	}
	states := m.decode(numbers)
	for b, s := range states {
		if !m.allowed(b, s) {
			panic("bowing: StudyFrom: a mark forbids the state")
		}
	}
	m.fill(st, states)
	return st
}
