package bowing

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// judged is a plan as an independent reader counts it: runs left that may not be,
// changes of the text, changes of the reading, cost.
type judged struct {
	text, signs int
	cost        float64
	runs        int
}

func (a judged) less(b judged) bool {
	if a.runs != b.runs {
		return a.runs < b.runs
	}
	if a.text != b.text {
		return a.text < b.text
	}
	if a.signs != b.signs {
		return a.signs < b.signs
	}
	return a.cost < b.cost-1e-9
}

// judge follows the music in played order with one state for each bow; ok is
// false for what cannot be: marks unheeded, a new slur that binds only some of
// its notes.
func judge(m *model, pairs map[[2]int]float64, states []int, signs func(a, b int, kind Change) bool) (judged, bool) {
	var j judged
	if m.o.Fewest && entry(states[m.opening]) != m.written[m.opening] {
		j.signs++
	}
	bound := map[*bind]int{}
	for b, s := range states {
		if !m.allowed(b, s) {
			return j, false
		}
		j.cost += m.stateCost(b, s)
		if s == stDownUp || s == stUpDown {
			j.text++
		}
		if g := m.bindAt(b, s); g != nil {
			bound[g]++
			if entry(states[g.first]) != entry(s) {
				return j, false
			}
		}
	}
	for g, n := range bound {
		if j.text++; n != g.last-g.first+1 {
			return j, false
		}
	}
	for pair, gap := range pairs {
		ga, gb := m.bindAt(pair[0], states[pair[0]]), m.bindAt(pair[1], states[pair[1]])
		if d := entry(states[pair[1]]); exit(states[pair[0]]) == d && (ga == nil || ga != gb || pair[1] < pair[0]) {
			f := m.sameWay(link{pair[0], pair[1], gap, pair[1] != pair[0]+1}, d)
			j.cost += f.cost
			if signs(pair[0], pair[1], f.kind) {
				j.signs++
			}
		}
	}
	return j, true
}

// bestOfAll tries every assignment of the states that m.problem set out.
func bestOfAll(m *model, keep func(states []int) bool, signs func(a, b int, kind Change) bool) judged {
	pairs := playedPairs(m)
	best := judged{math.MaxInt, 0, math.Inf(1), math.MaxInt}
	states := make([]int, len(m.bowed))
	var try func(b int)
	try = func(b int) {
		if b == len(states) {
			if j, ok := judge(m, pairs, states, signs); ok && keep(states) {
				if m.o.Fewest {
					j.runs = runsLeft(m, states)
				}
				if j.less(best) {
					best = j
				}
			}
			return
		}
		for _, s := range m.states[b] {
			states[b] = s
			try(b + 1)
		}
	}
	try(0)
	return best
}

// drawRunning makes two bars of quarters and eighths, odd groups among them, in
// which small wishes add up, and slurs inside which the signs turn.
func drawRunning(t *rapid.T) (num, den int, text string) {
	for bar := 0; bar < 2; bar++ {
		for beat := 0; beat < 4; beat++ {
			text += rapid.SampledFrom([]string{"c4 ", "c8 d8 ", "(c8 d8) ", "(c8/D d8/U) ", "c4 "}).Draw(t, "beat")
		}
		text += "| "
	}
	return 4, 4, text + "c1 |]"
}

func smallModel(t *rapid.T, o Options) (*model, string) {
	num, den, text := drawMusic(t, rapid.IntRange(1, 3).Draw(t, "bars"))
	if o.Fewest && rapid.IntRange(0, 3).Draw(t, "running") == 0 {
		num, den, text = drawRunning(t)
	}
	sc, p := buildRapid(t, num, den, text)
	m := newModel(sc, p, o)
	if len(m.bowed) == 0 {
		t.Skip("no strokes")
	}
	m.asWritten()
	m.findBinds()
	m.problem()
	n := 1
	for _, s := range m.states {
		if n *= len(s); n > 20000 {
			t.Skip("too many to try all")
		}
	}
	return m, text
}

// With slurs that may change, weighted: the plan is the cheapest of all.
func TestSlurChangesAgainstBruteForce(t *testing.T) {
	bound := 0
	rapid.Check(t, func(t *rapid.T) {
		w := DefaultWeights()
		w[SplitSlur], w[JoinNotes] = float64(rapid.IntRange(0, 8).Draw(t, "split")), float64(rapid.IntRange(0, 8).Draw(t, "join"))
		m, text := smallModel(t, Options{MayChangeSlurs: true, Weights: w})
		want := bestOfAll(m, func([]int) bool { return true }, func(int, int, Change) bool { return false })
		weighed := judged{0, 0, math.Inf(1), 0} // by cost alone
		pairs := playedPairs(m)
		got, ok := judge(m, pairs, m.best(), func(int, int, Change) bool { return false })
		if !ok {
			t.Fatalf("%s: an impossible plan", text)
		}
		all := allOf(m)
		for _, s := range all {
			if j, ok := judge(m, pairs, s, func(int, int, Change) bool { return false }); ok && j.cost < weighed.cost {
				weighed = j
			}
		}
		if math.Abs(got.cost-weighed.cost) > 1e-9 {
			t.Fatalf("%s: the plan costs %v, the best of all %v (with the fewest changes of text %v)", text, got, weighed, want)
		}
		if got.text > 0 {
			bound++
		}
	})
	if bound == 0 {
		t.Error("no case changed a slur: the test shows nothing")
	}
}

func allOf(m *model) [][]int {
	out := [][]int{nil}
	for b := range m.bowed {
		var next [][]int
		for _, head := range out {
			for _, s := range m.states[b] {
				next = append(next, append(slices.Clip(head), s))
			}
		}
		out = next
	}
	return out
}

// aRun is a run the wrong way round in a row of strong places: single ones that come
// right between belong to it.
var aRun = regexp.MustCompile(`w(r?w)*`)

// runsLeft counts the runs of a plan that are long or do not right themselves.
func runsLeft(m *model, states []int) int {
	row := ""
	for b, s := range states {
		switch {
		case !m.callsDown(b):
		case s%2 == 1 || m.under(b, s): // up, or swallowed by a new slur
			row += "w"
		default:
			row += "r"
		}
	}
	n := 0
	for _, at := range aRun.FindAllStringIndex(row, -1) {
		if strings.Count(row[at[0]:at[1]], "w") > m.leave || at[1] == len(row) {
			n++
		}
	}
	return n
}

// Fewest: runs left first, then changes of text, then retakes and links, then cost.
func TestFewestAgainstBruteForce(t *testing.T) {
	fewer, texts, leaves, long, forced := 0, 0, 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		w := DefaultWeights() // light changes and loud small wishes: the cheapest plan changes more than it must
		for _, r := range []int{StrongPart1, StrongPart2, StrongPart3, LeadInBar, LeadInHalf, LeadInBeat, LeadInPart} {
			w[r] *= 4
		}
		w[RetakeLift], w[LinkPair] = float64(rapid.IntRange(0, 7).Draw(t, "lift")), float64(rapid.IntRange(0, 10).Draw(t, "link"))
		w[RetakeLegato], w[RetakeToWeak], w[RetakeHaste] = 0, 0, 0
		o := Options{Fewest: true, Weights: w, MayChangeSlurs: rapid.Bool().Draw(t, "slurs")}
		m, text := smallModel(t, o)
		m.leave = rapid.IntRange(0, 3).Draw(t, "leave")
		signs := func(_, _ int, kind Change) bool { return kind == Retake || kind == Link }
		pairs := playedPairs(m)
		weighed := m.solve(m.problem())
		first, _ := judge(m, pairs, weighed, signs)
		first.runs = runsLeft(m, weighed)
		states := m.best()
		got, ok := judge(m, pairs, states, signs)
		got.runs = runsLeft(m, states)
		want := bestOfAll(m, func(states []int) bool {
			for b, s := range states {
				if m.cuts[b].at > 0 && m.bow(b).Use.Least >= surelyOut && s != stDownUp && s != stUpDown {
					return false
				}
			}
			return true
		}, signs)
		if !ok || got.runs != want.runs || got.text != want.text || got.signs != want.signs || math.Abs(got.cost-want.cost) > 1e-9 {
			t.Fatalf("%s: %+v, the best of all %+v", text, got, want)
		}
		if got.runs > 0 {
			forced++
		}
		if got.text > 0 {
			texts++
		}
		if got.runs <= first.runs && (got.text < first.text || got.text == first.text && got.signs < first.signs) {
			fewer++
		}
		if got.runs < first.runs {
			long++
		}
		for b, s := range states {
			if m.callsDown(b) && entry(s) == Up && got.runs == 0 {
				leaves++
				break
			}
		}
	})
	for what, n := range map[string]int{"changed the text": texts, "needed fewer changes than the cheapest plan": fewer, "left a short run": leaves,
		"left fewer runs than the cheapest plan": long, "had to leave a run": forced} {
		if n == 0 {
			t.Errorf("no case %s: the test shows less than it should", what)
		}
	}
}

// A place that rights itself is left, a long run is cut short by one change, and what
// stays wrong to the end is righted.
func TestFewestLeaves(t *testing.T) {
	even := "f8 e8 d8 c8 b8 a8 | " // six strokes: the next bar begins as this one does
	bars := func(n int) string { return "c4 d4 e4 | " + strings.Repeat(even, n) + "c4 d4 e4 | " }
	for _, c := range []struct {
		text string
		want int // retakes and links
	}{
		{bars(2) + even + even + "c2. |]", 0},            // three bars begin up-bow
		{bars(3) + even + even + "c2. |]", 0},            // four
		{bars(4) + even + even + "c2. |]", 2},            // five: too long to leave; one change alone would turn the end round
		{bars(2) + even + even + "c4 d4 e4 | c2. |]", 1}, // the end would come up
	} {
		sc, p := build(t, 3, 4, c.text)
		st := Analyze(sc, p, Options{Fewest: true})
		n := 0
		for _, ch := range st.Changes {
			if ch.Kind == Retake || ch.Kind == Link {
				n++
			}
		}
		if n != c.want {
			t.Errorf("%s: %d changes, want %d: %s as written %s", c.text, n, c.want, letters(st.Proposed), letters(st.Written))
		}
	}
}

// Strict: as written where no mark forces a change; else the fewest places where
// the bow does not alternate.
func TestStrictAgainstBruteForce(t *testing.T) {
	plain, forced := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		o := Options{Strict: true, MayChangeSlurs: rapid.Bool().Draw(t, "slurs")}
		m, text := smallModel(t, o)
		st := Analyze(m.sc, m.p, o)
		if len(st.Plan.SlurChanges) > 0 {
			t.Fatalf("%s: slurs changed in strict mode", text)
		}
		if !slices.ContainsFunc(m.fixed, func(d Direction) bool { return d != None }) {
			plain++
			if letters(st.Proposed) != letters(st.Written) {
				t.Fatalf("%s: %s, as written %s", text, letters(st.Proposed), letters(st.Written))
			}
			return
		}
		forced++
		first := func(a, b int, _ Change) bool { k := m.into[b]; return k >= 0 && m.links[k].a == a }
		got, ok := judge(m, playedPairs(m), m.best(), first)
		m.problem() // two states each
		want := bestOfAll(m, func(states []int) bool {
			return m.fixed[m.opening] != None || entry(states[m.opening]) == m.written[m.opening]
		}, first)
		if !ok || got.signs != want.signs || math.Abs(got.cost-want.cost) > 1e-9 {
			t.Fatalf("%s: %+v, the best of all %+v", text, got, want)
		}
	})
	if plain == 0 || forced == 0 {
		t.Errorf("%d cases without marks, %d with", plain, forced)
	}
}

// The k cheapest are the k cheapest, counts before costs.
func TestRankedAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pr := drawProblem(t)
		if rapid.Bool().Draw(t, "counted") {
			for v := range pr.node {
				pr.counts = append(pr.counts, nil)
				for range pr.node[v] {
					pr.counts[v] = append(pr.counts[v], tally(rapid.IntRange(0, 2).Draw(t, "count")))
				}
			}
			for i := range pr.edges {
				if odd := rapid.IntRange(0, 3).Draw(t, "odd"); odd > 0 {
					pr.edges[i].count = func(sa, sb int) tally { return tally((sa + sb) % (odd + 1)) }
				}
			}
		}
		var all []ranked
		n := len(pr.node)
		states := make([]int, n)
		for i := 0; i < n; {
			if c := pr.total(states); c < maxCost {
				all = append(all, ranked{count: pr.tally(states), cost: c})
			}
			for i = 0; i < n; i++ {
				if states[i]++; states[i] < len(pr.node[i]) {
					break
				}
				states[i] = 0
			}
		}
		slices.SortFunc(all, ranked.compare)
		k := rapid.IntRange(1, 12).Draw(t, "k")
		got := solveBest(pr, nil, k)
		if len(got) != min(k, len(all)) {
			t.Fatalf("%d plans of %d asked for, %d there are", len(got), k, len(all))
		}
		seen := map[string]bool{}
		for i, s := range got {
			if pr.tally(s) != all[i].count || math.Abs(pr.total(s)-all[i].cost) > 1e-9 {
				t.Fatalf("no. %d: count %d cost %v, brute force %d %v", i+1, pr.tally(s), pr.total(s), all[i].count, all[i].cost)
			}
			key := ""
			for _, x := range s {
				key += string(rune('0' + x))
			}
			if seen[key] {
				t.Fatalf("plan %s comes twice", key)
			}
			seen[key] = true
		}
		one, _, _ := solve(pr, 1<<20)
		if pr.tally(one) != all[0].count || math.Abs(pr.total(one)-all[0].cost) > 1e-9 {
			t.Fatalf("solve: count %d cost %v, brute force %d %v", pr.tally(one), pr.total(one), all[0].count, all[0].cost)
		}
	})
}
