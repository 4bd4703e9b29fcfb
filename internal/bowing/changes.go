package bowing

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// changes lists where the proposal departs from what the reader would do, each
// with what it buys.
func (m *model) changes(states []int, st *Study) []ChangeAt {
	touch := m.linksOf()
	var out []ChangeAt
	for b := range m.bowed {
		i := m.place[b]
		s := &st.Proposed[i]
		if m.departs(b, s) {
			out = append(out, m.changeAt(b, i, states, touch, s))
		}
		if g := m.bindAt(b, states[b]); g != nil && g.first == b {
			out = append(out, m.bindChange(g, i, states, touch, s))
		}
		if isSplit(states[b]) {
			out = append(out, m.splitAt(b, i+1, states, touch, &st.Proposed[i+1]))
		}
	}
	return out
}

// departs says that the stroke follows otherwise than in the printed reading.
func (m *model) departs(b int, s *Stroke) bool {
	switch s.Change {
	case Alternate, Split, Join:
		return false
	case Begin:
		return s.Direction != m.written[b]
	}
	a := m.links[m.into[b]].a
	return m.written[a] != m.written[b] || m.written[b] != s.Direction
}

// term is a rule at its whole weight.
func (m *model) term(rule int) []score.Term {
	return []score.Term{{Name: Rules[rule].Name, Value: m.w[rule]}}
}

func (m *model) linksOf() [][]int {
	touch := make([][]int, len(m.bowed))
	for i, l := range m.links {
		touch[l.a] = append(touch[l.a], i)
		if l.b != l.a {
			touch[l.b] = append(touch[l.b], i)
		}
	}
	return touch
}

func (m *model) changeAt(b, i int, states []int, touch [][]int, s *Stroke) ChangeAt {
	c := ChangeAt{Kind: s.Change, Stroke: i, At: m.locate(s)}
	if s.Change != Begin {
		f := m.sameAs(m.into[b], s.Direction)
		c.Cost, c.CostOf = f.cost, f.terms
	}
	end := m.stretchEnd(b, states)
	gains := m.gains(b, end, states)
	c.Leave = m.turnedCost(b, end, states, touch)
	c.Terms = gains.terms()
	c.Chord = gains.forChord()
	c.Text = m.sentence(s, b, end, gains)
	switch {
	case m.fixed[b] != None || m.mode != weighted:
	case c.Leave < -0.05:
		c.Text += " For the bow alone it could be left; the hand, the crossings or the place on the bow ask for it."
	case c.Leave < mild:
		c.Text += " It may be left: that costs hardly more."
	}
	return c
}

// mild is what a player hardly minds: one unit of the weights.
const mild = 1

// splitAt is a slur that the plan divides. Leaving it whole means that what
// follows is turned round.
func (m *model) splitAt(b, i int, states []int, touch [][]int, s *Stroke) ChangeAt {
	end := m.stretchEnd(b, states)
	gains := m.gains(b+1, end, states)
	c := ChangeAt{Kind: Split, Stroke: i, At: m.locate(s), Cost: m.w[SplitSlur], CostOf: m.term(SplitSlur), Terms: gains.terms(),
		Text: fmt.Sprintf("Split the slur before this note and take it %s-bow", s.Direction)}
	whole := m.useOfStroke(m.bow(b))
	switch why := m.purpose(gains); {
	case !m.allowed(b, entryState(entry(states[b]), 0)):
		c.Text += ", as the sign asks."
		return c
	case whole.Least > 1:
		c.Text += ", since in one bow it would run out."
	case why != "":
		c.Text += ", so that " + why + "."
	default:
		c.Text += "."
	}
	c.Leave = m.changedCost(b, end, states, touch, func(x int) int {
		switch {
		case x == b:
			return entryState(entry(states[b]), 0)
		case x > b && x < end:
			return flip(states[x])
		}
		return states[x]
	})
	return c
}

// bindChange is a slur that the plan adds. Leaving it out means that its notes
// alternate, and that what follows is turned round where they are even.
func (m *model) bindChange(g *bind, i int, states []int, touch [][]int, s *Stroke) ChangeAt {
	end := m.stretchEnd(g.last, states)
	n := g.last - g.first + 1
	gains := m.gains(g.last+1, end, states)
	c := ChangeAt{Kind: Join, Stroke: i, At: m.locate(s), Cost: m.w[JoinNotes], CostOf: m.term(JoinNotes), Terms: gains.terms()}
	c.Leave = m.changedCost(g.first, end, states, touch, func(x int) int {
		switch {
		case x < g.first || x >= end:
			return states[x]
		case x <= g.last:
			return entryState(entry(states[g.first]), x-g.first)
		case n%2 == 0:
			return flip(states[x])
		}
		return states[x]
	})
	c.Text = fmt.Sprintf("Slur %s from here, %s-bow", countNotes(n), s.Direction)
	if why := m.purpose(gains); why != "" {
		c.Text += ", so that " + why
	}
	c.Text += "."
	return c
}

// entryState is the plain state n strokes after direction d by alternation.
func entryState(d Direction, n int) int { return (int(d-Down) + n) % 2 }

func countNotes(n int) string {
	words := [...]string{2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight"}
	if n >= 2 && n < len(words) {
		return "the " + words[n] + " notes"
	}
	return fmt.Sprintf("the %d notes", n)
}

// stretchEnd is the first bow after b that is fixed, follows otherwise than by
// alternation, or is reached from before b: up to there the plan hangs on the change
// at b. A second ending hangs on the bow before the first.
func (m *model) stretchEnd(b int, states []int) int {
	for e := b + 1; e < len(m.bowed); e++ {
		k := m.into[e]
		if m.under(e, states[e]) {
			continue
		}
		if m.fixed[e] != None || k < 0 || m.links[k].a < b || m.links[k].a >= e || exit(states[m.links[k].a]) == entry(states[e]) {
			return e
		}
	}
	return len(m.bowed)
}

// turnedCost is by how much the plan grows when bows b to end-1 are turned
// round: their own wants and every link between them and the rest.
func (m *model) turnedCost(b, end int, states []int, touch [][]int) float64 {
	return m.changedCost(b, end, states, touch, func(x int) int {
		if x >= b && x < end {
			return flip(states[x])
		}
		return states[x]
	})
}

// changedCost is by how much the plan grows when bows b to end-1 take other states.
func (m *model) changedCost(b, end int, states []int, touch [][]int, turned func(int) int) float64 {
	diff := 0.0
	done := map[int]bool{}
	for x := b; x < end; x++ {
		if !m.allowed(x, turned(x)) {
			return 0 // asked for by a mark: there is nothing to leave
		}
		diff += m.stateCost(x, turned(x)) - m.stateCost(x, states[x])
		for _, li := range touch[x] {
			if l := m.links[li]; !done[li] {
				done[li] = true
				diff += m.joinCost(li, turned(l.a), turned(l.b)) - m.joinCost(li, states[l.a], states[l.b])
			}
		}
	}
	return diff
}

// gain is what the present directions of a stretch satisfy that the turned ones
// would not, less what it is the other way round.
type gain struct {
	sums   map[int]float64
	bars   []int // measures whose first note comes down
	chords []int // measures in which a chord off the bar line comes down that wants it
	from   int   // the measure in which the stretch begins
	at     map[int]int
}

func (m *model) gains(b, end int, states []int) gain {
	g := gain{sums: map[int]float64{}, at: map[int]int{}, from: -1}
	if b < len(m.bowed) {
		g.from = m.bow(b).Measure
	}
	for x := b; x < end; x++ {
		if isSplit(states[x]) || m.under(x, states[x]) {
			continue
		}
		d := entry(states[x])
		ws := m.wants[x]
		if g := m.bindAt(x, states[x]); g != nil {
			ws = g.wants
		}
		for _, w := range ws {
			if w.dir == None {
				continue
			}
			if w.dir != d {
				g.sums[w.rule] -= w.size
				continue
			}
			g.sums[w.rule] += w.size
			if _, seen := g.at[w.rule]; !seen {
				g.at[w.rule] = m.bow(x).Measure
			}
			switch {
			case w.rule == BarStart:
				g.bars = append(g.bars, m.bow(x).Measure)
			case m.leadingChord(w) && m.mainEvent(m.bow(x)).Level != 0:
				g.chords = append(g.chords, m.bow(x).Measure)
			}
		}
	}
	return g
}

func (g gain) terms() []score.Term {
	sums := map[string]float64{}
	for r, v := range g.sums {
		if v > 0 {
			sums[Rules[r].Name] += v
		}
	}
	return sorted(sums)
}

// forChord says that chords gain more than anything else.
func (g gain) forChord() bool {
	chords := max(0, g.sums[ChordOfThree]) + max(0, g.sums[ChordOfFour])
	for r, v := range g.sums {
		if r != ChordOfThree && r != ChordOfFour && v >= chords {
			return false
		}
	}
	return chords > 0
}

// sentence says what to do and what it is for. The change holds up to bow end.
func (m *model) sentence(s *Stroke, b, end int, g gain) string {
	do := ""
	switch s.Change {
	case Begin:
		do = fmt.Sprintf("Begin %s-bow", s.Direction)
	case AfterRest:
		do = fmt.Sprintf("Start %s-bow again after the rest", s.Direction)
	case Retake:
		do = fmt.Sprintf("Retake: %s-bow again here", s.Direction)
	case Link:
		do = fmt.Sprintf("Take this note in the same %s-bow as the one before, stopping the bow between", s.Direction)
	}
	if m.fixed[b] != None {
		return do + ", as the mark asks."
	}
	if why := m.purpose(g); why != "" {
		return do + ", so that " + why + "."
	}
	if end < len(m.bowed) {
		what := "the next change"
		if m.fixed[end] != None {
			what = "the sign"
		}
		return fmt.Sprintf("%s: it sets the bow right for %s, in %s.", do, what, timeline.Called(m.p, m.bow(end).Measure))
	}
	return do + ", which leaves less the wrong way round than the other direction would."
}

// purpose words the largest gains, two at most.
func (m *model) purpose(g gain) string {
	type item struct {
		size float64
		text string
	}
	var items []item
	add := func(rule int, text string) {
		if v := g.sums[rule]; v > 0 {
			items = append(items, item{v, text})
		}
	}
	if n := len(g.bars); n > 0 {
		add(BarStart, m.barsBegin(g.bars))
	}
	in := func(rule int) string { return timeline.Called(m.p, g.at[rule]) }
	if n := len(g.chords); n > 0 { // those on a bar line go without saying
		what := "the chord in "
		if n > 1 {
			what = "the chords in "
		}
		verb := map[bool]string{true: " is", false: " are"}[n == 1]
		if v := max(0, g.sums[ChordOfThree]) + max(0, g.sums[ChordOfFour]); v > 0 {
			items = append(items, item{v, what + m.measureList(g.chords) + verb + " taken down-bow"})
		}
	}
	add(FinalNote, "the last note is taken down-bow")
	add(Accented, "the accent in "+in(Accented)+" falls on a down-bow")
	if len(g.bars) == 0 { // else it goes without saying
		add(LeadInBar, "the note that leads into "+m.following(g.at[LeadInBar])+" is taken up-bow")
	}
	add(StrongPart1, "the strong beats come down-bow")
	add(LeadInHalf, "the notes that lead to strong beats come up-bow")
	add(StrongPart2, "the beats come down-bow")
	add(LeadInBeat, "the notes off the beat come up-bow")
	add(LeadInPart, "the weak quick notes come up-bow")
	if len(g.bars) == 0 {
		add(PhraseStart, "the phrase in "+in(PhraseStart)+" opens down-bow")
	}
	if g.at[SoftEntry] == g.from {
		add(SoftEntry, "the soft entry begins in the light half of the bow")
	}
	add(LongCrescendo, "the long crescendo grows toward the frog")
	add(LongDiminuendo, "the long diminuendo fades toward the tip")
	add(GoesOn, "the bar to come begins down-bow")
	slices.SortStableFunc(items, func(a, b item) int { return cmp.Compare(b.size, a.size) })
	var texts []string
	for _, it := range items[:min(2, len(items))] {
		texts = append(texts, it.text)
	}
	return strings.Join(texts, " and ")
}

func (m *model) following(measure int) string {
	return timeline.Called(m.p, min(measure+1, len(m.p.Measures)-1))
}

func (m *model) barsBegin(bars []int) string {
	verb := "begin"
	if len(bars) == 1 {
		verb = "begins"
	}
	return m.measureList(bars) + " " + verb + " down-bow"
}

// measureList names measures: "measure 5", "measures 5, 6 and 7", "measures 5 to 9".
func (m *model) measureList(idx []int) string {
	idx = slices.Compact(slices.Clone(idx))
	name := func(i int) string { return timeline.Name(m.p, idx[i]) }
	n := len(idx)
	switch {
	case n == 1:
		return timeline.Called(m.p, idx[0])
	case timeline.Pickup(m.p, idx[0]):
		return timeline.Called(m.p, idx[0]) + " and " + m.measureList(idx[1:])
	case n == 2:
		return "measures " + name(0) + " and " + name(1)
	case idx[n-1]-idx[0] == n-1:
		return "measures " + name(0) + " to " + name(n-1)
	case n <= 4:
		var parts []string
		for i := range idx[:n-1] {
			parts = append(parts, name(i))
		}
		return "measures " + strings.Join(parts, ", ") + " and " + name(n-1)
	}
	return fmt.Sprintf("%d of the measures %s to %s", n, name(0), name(n-1))
}
