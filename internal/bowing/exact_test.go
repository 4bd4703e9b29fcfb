package bowing

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// drawMusic makes a few bars with slurs, rests, marks, chords, repeats and
// endings, as text for build.
func drawMusic(t *rapid.T, bars int) (num, den int, text string) {
	meters := [][2]int{{2, 4}, {3, 4}, {3, 8}, {6, 8}, {4, 4}}
	mt := rapid.SampledFrom(meters).Draw(t, "meter")
	var b strings.Builder
	if rapid.Bool().Draw(t, "pickup") {
		b.WriteString("c8 | ")
	}
	form := rapid.IntRange(0, 3).Draw(t, "form")
	if bars < 3 && form == 2 {
		form = 1 // endings need a bar before them
	}
	for i := 0; i < bars; i++ {
		switch {
		case i == 0 && form > 0:
			b.WriteString("|: ")
		case i == bars-1 && form == 2:
			b.WriteString("[2 ")
		case i == bars-2 && form == 2 && i > 0:
			b.WriteString("[1 ")
		}
		drawBar(t, &b, mt[0]*8/mt[1])
		switch {
		case i == bars-1:
			b.WriteString(rapid.SampledFrom([]string{"|", "|]", ":|"}).Draw(t, "end"))
		case i == bars-2 && form == 2 && i > 0:
			b.WriteString(":| ")
		case form == 3 && rapid.Bool().Draw(t, "again"):
			b.WriteString(":| ")
		default:
			b.WriteString("| ")
		}
	}
	return mt[0], mt[1], b.String()
}

// drawBar fills a bar of the given number of eighths.
func drawBar(t *rapid.T, b *strings.Builder, eighths int) {
	open := false
	for left := eighths; left > 0; {
		n := rapid.IntRange(1, min(4, left)).Draw(t, "length")
		left -= n
		length := []string{"", "8", "4", "4.", "2"}[n]
		if !open && rapid.IntRange(0, 5).Draw(t, "rest") == 0 {
			b.WriteString("r" + length + " ")
			continue
		}
		if !open && left > 0 && rapid.IntRange(0, 2).Draw(t, "slur") == 0 {
			b.WriteString("(")
			open = true
		} else if open && (left == 0 || rapid.Bool().Draw(t, "close")) {
			b.WriteString("d" + length + ") ")
			open = false
			continue
		}
		b.WriteString("c" + length)
		b.WriteString(rapid.SampledFrom([]string{"", "", "", "", "", "/D", "/U", ">", "=3", "!", "*", "p"}).Draw(t, "mark"))
		b.WriteString(" ")
	}
}

// playedCost is an independent reading of the cost: it follows the music note
// by note in played order and charges every meeting of two strokes once.
func playedCost(m *model, dir []Direction) float64 {
	sum := 0.0
	for b, d := range dir {
		if m.fixed[b] != None && m.fixed[b] != d {
			return math.Inf(1)
		}
		sum += against(m.wants[b], d)
		if d != m.written[b] {
			sum += m.w[WrittenTie]
		}
	}
	for pair, gap := range playedPairs(m) {
		if dir[pair[0]] == dir[pair[1]] {
			jump := pair[1] != pair[0]+1
			sum += m.sameWay(link{pair[0], pair[1], gap, jump}, dir[pair[1]]).cost
		}
	}
	return sum
}

// playedPairs lists which bow follows which in played time, with the least gap.
func playedPairs(m *model) map[[2]int]float64 {
	order, _ := timeline.PlayOrder(m.p)
	type played struct {
		bow      int
		from, to score.Tick
	}
	var seq []played
	var clock score.Tick
	for _, v := range order {
		ms := m.p.Measures[v.Measure]
		for b := range m.bowed {
			if s := m.bow(b); s.Measure == v.Measure {
				seq = append(seq, played{b, clock + s.Onset - ms.Start, clock + s.End() - ms.Start})
			}
		}
		clock += ms.Len
	}
	pairs := map[[2]int]float64{}
	for i := 1; i < len(seq); i++ {
		key := [2]int{seq[i-1].bow, seq[i].bow}
		gap := m.seconds(m.bow(seq[i].bow).Onset, seq[i].from-seq[i-1].to)
		if old, ok := pairs[key]; !ok || gap < old {
			pairs[key] = gap
		}
	}
	return pairs
}

// The proposal of random music is the cheapest of all assignments, judged by an
// independent walk through the repeats.
func TestProposalAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num, den, text := drawMusic(t, rapid.IntRange(1, 4).Draw(t, "bars"))
		sc, p := buildRapid(t, num, den, text)
		m := newModel(sc, p, Options{})
		n := len(m.bowed)
		if n == 0 || n > 12 {
			t.Skip("no strokes, or too many to try all")
		}
		m.asWritten()
		best := math.Inf(1)
		for mask := 0; mask < 1<<n; mask++ {
			dir := make([]Direction, n)
			for b := range dir {
				dir[b] = Down + Direction(mask>>b&1)
			}
			best = min(best, playedCost(m, dir))
		}
		st := Analyze(sc, p, Options{})
		if math.Abs(st.Plan.Cost-best) > 1e-9 {
			t.Fatalf("%s: plan costs %v, the best of all %v", text, st.Plan.Cost, best)
		}
	})
}

// What must hold of every study.
func TestStudyInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num, den, text := drawMusic(t, rapid.IntRange(1, 9).Draw(t, "bars"))
		sc, p := buildRapid(t, num, den, text)
		o := Options{MayChangeSlurs: rapid.Bool().Draw(t, "slurs")}
		st := Analyze(sc, p, o)
		m := newModel(sc, p, o)
		if len(m.bowed) == 0 {
			t.Skip("no strokes")
		}
		m.asWritten()
		checkChanges(t, st, m, text)
		for i, s := range st.Written {
			if s.Pizzicato != (s.Direction == None) {
				t.Fatalf("%s: stroke %d: %+v", text, i, s)
			}
		}
		for _, c := range st.Changes {
			if c.Leave < -1e-6 || c.Text == "" {
				t.Fatalf("%s: change %+v", text, c)
			}
		}
		// Marks that turn inside a slur must be obeyed, at a cost that the text as
		// written, where the turn is not bowed, does not have.
		turned := o.MayChangeSlurs && slices.ContainsFunc(m.cuts, func(c cut) bool { return c.turn })
		if w := m.costOf(m.written); turned {
			if len(st.Proposed) == len(st.Written) {
				t.Fatalf("%s: marks turn inside a slur, which is not split", text)
			}
		} else if st.Plan.Cost > w+1e-9 {
			t.Fatalf("%s: the plan costs %v, as written %v", text, st.Plan.Cost, w)
		} else if w == 0 && letters(st.Proposed) != letters(st.Written) {
			t.Fatalf("%s: nothing is wrong with %s, yet %s is proposed", text, letters(st.Written), letters(st.Proposed))
		}
		sum := 0.0
		for _, tm := range st.Plan.Terms {
			sum += tm.Value
		}
		if math.Abs(sum-st.Plan.Cost) > 1e-3 {
			t.Fatalf("%s: terms sum to %v, cost is %v", text, sum, st.Plan.Cost)
		}
	})
}

func checkChanges(t *rapid.T, st *Study, m *model, text string) {
	for b := range m.bowed {
		s := st.Proposed[bowPlace(st, m.bow(b).First)]
		split := bowPlace(st, m.bow(b).First)+1 < len(st.Proposed) && st.Proposed[bowPlace(st, m.bow(b).First)+1].Change == Split
		if f := m.fixed[b]; f != None && s.Direction != f && !split {
			t.Fatalf("%s: bow %d is %v against its mark %v", text, b, s.Direction, f)
		}
		k := m.into[b]
		if k < 0 {
			continue
		}
		before := st.Proposed[bowPlace(st, m.bow(m.links[k].a).Last)]
		if alternates := before.Direction != s.Direction; alternates != (s.Change == Alternate) {
			t.Fatalf("%s: bow %d is %v after %v but its change is %v", text, b, s.Direction, before.Direction, s.Change)
		}
	}
}

func bowPlace(st *Study, event int) int {
	for i, s := range st.Proposed {
		if s.First <= event && event <= s.Last {
			return i
		}
	}
	return -1
}

func (m *model) costOf(dir []Direction) float64 { return playedCost(m, dir) }
