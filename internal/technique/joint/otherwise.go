package joint

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Changes compares an alternative with the plan that it was found for, measure
// by measure, as Consequences does for a decision.
func (a *Alternative) Changes(best *Plan) []Consequence {
	out, f, g := compare(best, a.Plan)
	for i := range out {
		c := &out[i]
		c.Does = does(a.Plan.pr, c.Measure, f[c.Measure], g[c.Measure], c)
		c.Text = strings.ToUpper(c.Does[:1]) + c.Does[1:] + "."
	}
	return out
}

// toldBeats is how many differences Beats names, toldPlaces how many positions
// and strings Otherwise does.
const (
	toldBeats  = 3
	toldPlaces = 3
)

// Otherwise says what a player asks first of an alternative: from where to where
// it differs, in which position and on which strings the hand is then (and is in
// the plan), which bars begin with the other direction of the bow, and how much
// more or less there is of what costs work.
func (a *Alternative) Otherwise(best *Plan) string {
	pr := a.Plan.pr
	first, last := -1, -1
	var hand, was [][2]int
	var turns []string
	for i := range a.Plan.Grips {
		if !pr.marked(i) {
			continue
		}
		l := &pr.layers[i]
		e := &pr.Hand.Events[l.event]
		turned := l.step == turn && e.Level == 0 && pr.heading(i, a.Plan.Bows[l.bow]) != pr.heading(i, best.Bows[l.bow])
		moved := pr.where(i, a.Plan.Grips[i]) != pr.where(i, best.Grips[i])
		if !turned && !moved {
			continue
		}
		if last = i; first < 0 {
			first = i
		}
		if turned {
			turns = append(turns, fmt.Sprintf("%s begins %s-bow", timeline.Called(pr.part, e.Measure), pr.heading(i, a.Plan.Bows[l.bow])))
		}
		if moved {
			hand, was = append(hand, pr.where(i, a.Plan.Grips[i])), append(was, pr.where(i, best.Grips[i]))
		}
	}
	if first < 0 {
		return ""
	}
	var says []string
	if len(hand) > 0 {
		says = append(says, mostly(hand)+" (the plan: "+mostly(was)+")")
	}
	if n := len(turns); n > toldPlaces {
		turns = append(turns[:toldPlaces], fmt.Sprintf("%d more bars turn", n-toldPlaces))
	}
	if len(turns) > 0 {
		says = append(says, list(turns))
	}
	if did := total(best).did(total(a.Plan)); len(did) > 0 {
		says = append(says, list(did))
	}
	ev := pr.Hand.Events
	from, to := place(pr.part, &ev[pr.layers[first].event]), place(pr.part, &ev[pr.layers[last].event])
	text := "At " + from.String()
	if first != last {
		text = "From " + from.String() + " to " + to.String()
	}
	return text + ": " + strings.Join(says, "; ") + "."
}

// total adds up what a player counts in a whole plan.
func total(p *Plan) fact {
	var sum fact
	for _, f := range facts(p) {
		sum = sum.plus(f)
	}
	return sum
}

// mostly names positions and strings, each position once with its strings, the
// most frequent first.
func mostly(places [][2]int) string {
	n := map[int]int{}
	strs := map[int][]int{}
	var order []int
	for _, w := range places {
		if n[w[0]]++; n[w[0]] == 1 {
			order = append(order, w[0])
		}
		if w[1] > 0 && !slices.Contains(strs[w[0]], w[1]) {
			strs[w[0]] = append(strs[w[0]], w[1])
		}
	}
	slices.SortStableFunc(order, func(p, q int) int { return n[q] - n[p] })
	var out []string
	for _, pos := range order[:min(toldPlaces, len(order))] {
		out = append(out, positionText(pos, strs[pos]))
	}
	if len(order) > toldPlaces {
		out = append(out, "others")
	}
	return list(out)
}

// positionText is a position with its strings; -1 is that of open strings.
func positionText(pos int, strs []int) string {
	if len(strs) == 0 {
		return "nothing stopped"
	}
	slices.Sort(strs)
	var names []string
	for _, s := range strs {
		names = append(names, instrument.Numeral(s))
	}
	word := "string "
	if len(strs) > 1 {
		word = "strings "
	}
	if pos < 0 {
		return "open " + word + list(names)
	}
	return instrument.PositionName(pos) + " on " + word + list(names)
}

// Beats tells the first beats on which the hand lies elsewhere and the first bars
// that begin with the other direction of the bow.
func (a *Alternative) Beats(best *Plan) string {
	pr := a.Plan.pr
	var says []string
	more := 0
	for i := range a.Plan.Grips {
		if !pr.marked(i) {
			continue
		}
		text := a.Plan.otherAt(best, i)
		switch {
		case text == "":
		case len(says) == toldBeats:
			more++
		default:
			says = append(says, text)
		}
	}
	if more > 0 {
		says = append(says, fmt.Sprintf("and so on at %s", beats(more)))
	}
	if len(says) == 0 {
		return ""
	}
	s := strings.Join(says, "; ") + "."
	return strings.ToUpper(s[:1]) + s[1:]
}

func beats(n int) string {
	if n == 1 {
		return "one more beat"
	}
	return fmt.Sprintf("%d more beats", n)
}

// otherAt tells how a plan differs from another at a layer, "" where a player
// would not call it different.
func (p *Plan) otherAt(best *Plan, i int) string {
	pr := p.pr
	l := &pr.layers[i]
	e := &pr.Hand.Events[l.event]
	at := place(pr.part, e).String()
	if l.step == turn && e.Level == 0 {
		if d := pr.heading(i, p.Bows[l.bow]); d != pr.heading(i, best.Bows[l.bow]) {
			return fmt.Sprintf("%s-bow in %s", d, at)
		}
	}
	if pr.where(i, p.Grips[i]) == pr.where(i, best.Grips[i]) {
		return ""
	}
	return fmt.Sprintf("%s in %s (the plan: %s)", pr.gripText(i, p.Grips[i]), at, pr.gripText(i, best.Grips[i]))
}

// gripText is fingers and strings of a grip, from the lowest note up.
func (pr *Problem) gripText(i, grip int) string {
	var out []string
	h, open := pr.Hand.HandAt(i, grip)
	for _, id := range pr.Hand.Events[pr.layers[i].event].Struck {
		if f, str, ok := pr.Hand.FingerAt(i, grip, id); ok {
			out = append(out, fingerWord(f)+" on string "+instrument.Numeral(int(str)))
		}
	}
	if len(out) == 0 {
		return "nothing stopped"
	}
	text := list(slices.Compact(out))
	if !open {
		text += " in " + instrument.PositionName(instrument.PositionOf(h, 1, -99, int(h.Place)))
	}
	return text
}

// OnBow is where on the bow each stroke of a study made by BowStudy begins and
// ends, as shares of the hair from the frog; nothing for those without a place.
func (p *Plan) OnBow(st *bowing.Study) [][2]float64 {
	pr := p.pr
	out := make([][2]float64, len(st.Proposed))
	of := make([]int, len(st.Events))
	for i, s := range st.Proposed {
		for e := s.First; e <= s.Last; e++ {
			of[e] = i
		}
	}
	begun := make([]bool, len(out))
	put := func(event int, from, to float64) {
		s := of[event]
		if !begun[s] {
			out[s][0], begun[s] = from, true
		}
		out[s][1] = to
	}
	for b := range p.Bows {
		first, _ := pr.Bow.Span(b)
		if p.mids[b] >= 0 {
			put(first, p.From[b], p.Mid[b])
			put(pr.Bow.CutAt(b), p.Mid[b], p.To[b])
			continue
		}
		put(first, p.From[b], p.To[b])
	}
	return out
}

// Together are the terms that neither bow nor hand has by itself, largest first:
// those of Rules, and what a stopped or lifted bow takes off a shift. With the
// costs of BowStudy and HandStudy they add up to Cost but for the tie-break.
func (p *Plan) Together() []score.Term {
	return slices.DeleteFunc(p.Terms(), func(t score.Term) bool {
		return t.Name != fingering.ShiftCover && !slices.ContainsFunc(Rules[:], func(r Rule) bool { return r.Name == t.Name })
	})
}

// measures names a range for a reader.
func measures(p *score.Part, first, last int) string {
	return timeline.Range(p, first, last)
}

// Where names the measures in which an alternative was asked to differ.
func (a *Alternative) Where() string { return measures(a.Plan.pr.part, a.First, a.Last) }
