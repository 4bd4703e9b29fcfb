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
// and bars Otherwise does.
const (
	toldBeats  = 3
	toldPlaces = 3
)

// Otherwise says what a player asks first of an alternative: from where to where
// it differs, in which position and on which strings the notes that are taken
// otherwise lie then (and lie in the plan), how the first of them is taken, which
// bars begin with the other direction of the bow, and how much more or less there
// is of what costs work.
func (a *Alternative) Otherwise(best *Plan) string {
	pr := a.Plan.pr
	o := others{first: -1}
	is, was := a.Plan.HandStudy(), best.HandStudy()
	for i := range a.Plan.Grips {
		o.look(a.Plan, best, i, is, was)
	}
	if o.first < 0 {
		return ""
	}
	says := o.handText(pr)
	if n := len(o.turns); n > toldPlaces {
		o.turns = append(o.turns[:toldPlaces], moreBars(n-toldPlaces))
	}
	if len(o.turns) > 0 {
		says = append(says, list(o.turns))
	}
	if did := total(best).did(total(a.Plan)); len(did) > 0 {
		says = append(says, list(did))
	}
	ev := pr.Hand.Events
	from, to := place(pr.part, &ev[pr.layers[o.first].event]), place(pr.part, &ev[pr.layers[o.last].event])
	text := "At " + from.String()
	if o.first != o.last {
		text = "From " + from.String() + " to " + to.String()
	}
	return text + ": " + strings.Join(says, "; ") + "."
}

// others gathers where two plans differ.
type others struct {
	first, last int      // layers, -1 for none
	is, was     [][2]int // position and string of each note taken otherwise; position -1: open
	head        string   // how the first note taken otherwise is taken in both
	turns       []string
	notes       int
}

func (o *others) look(p, best *Plan, i int, is, was *fingering.Study) {
	pr := p.pr
	l := &pr.layers[i]
	e := &pr.Hand.Events[l.event]
	turns := l.bow >= 0 && pr.turns(i, p.Bows[l.bow], best)
	moved := len(e.Struck) > 0 && !pr.sameFingers(i, p.Grips[i], best.Grips[i])
	if !turns && !moved {
		return
	}
	if o.last = i; o.first < 0 {
		o.first = i
	}
	if turns {
		o.turns = append(o.turns, fmt.Sprintf("%s begins %s-bow", timeline.Called(pr.part, e.Measure), pr.heading(i, p.Bows[l.bow])))
	}
	if !moved {
		return
	}
	if o.notes++; o.notes == 1 {
		o.head = fmt.Sprintf("%s with %s (the plan: %s)", pr.struck(e), gripText(&is.Grips[l.event]), gripText(&was.Grips[l.event]))
	}
	o.is, o.was = append(o.is, lies(&is.Grips[l.event])...), append(o.was, lies(&was.Grips[l.event])...)
}

// handText tells the positions where they differ, and the first note.
func (o *others) handText(pr *Problem) []string {
	if o.notes == 0 {
		return nil
	}
	notes := fmt.Sprintf("%d notes taken otherwise", o.notes)
	if o.notes == 1 {
		notes = "one note taken otherwise"
	}
	then, now := mostly(o.was), mostly(o.is)
	if then != now {
		notes += ", in " + now + " (the plan: " + then + ")"
	}
	if o.notes == 1 {
		return []string{notes + ": " + o.head}
	}
	return []string{notes, "first " + o.head}
}

// lies is position and string of each note struck.
func lies(g *fingering.Grip) [][2]int {
	var out [][2]int
	for _, s := range g.Stops {
		switch {
		case s.Held:
		case s.Finger == 0:
			out = append(out, [2]int{-1, s.String})
		default:
			out = append(out, [2]int{g.Position, s.String})
		}
	}
	return out
}

// struck names the notes of an event.
func (pr *Problem) struck(e *timeline.Event) string {
	var names []string
	for _, id := range e.Struck {
		names = append(names, pr.part.Notes[id].Sounding.String())
	}
	return list(names)
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

// Beats tells the first notes that are taken otherwise and the first bars that
// begin with the other direction of the bow.
func (a *Alternative) Beats(best *Plan) string {
	var says []string
	more := 0
	is, was := a.Plan.HandStudy(), best.HandStudy()
	for i := range a.Plan.Grips {
		text := a.Plan.otherAt(best, i, is, was)
		switch {
		case text == "":
		case len(says) == toldBeats:
			more++
		default:
			says = append(says, text)
		}
	}
	if more > 0 {
		says = append(says, fmt.Sprintf("and so on at %s", places(more)))
	}
	if len(says) == 0 {
		return ""
	}
	s := strings.Join(says, "; ") + "."
	return strings.ToUpper(s[:1]) + s[1:]
}

func moreBars(n int) string {
	if n == 1 {
		return "one more bar turns"
	}
	return fmt.Sprintf("%d more bars turn", n)
}

func places(n int) string {
	if n == 1 {
		return "one more place"
	}
	return fmt.Sprintf("%d more places", n)
}

// otherAt tells how a plan differs from another at a layer, "" where fingers,
// strings and the direction that begins a bar are the same.
func (p *Plan) otherAt(best *Plan, i int, is, was *fingering.Study) string {
	pr := p.pr
	l := &pr.layers[i]
	e := &pr.Hand.Events[l.event]
	at := place(pr.part, e).String()
	if l.bow >= 0 && pr.turns(i, p.Bows[l.bow], best) {
		return fmt.Sprintf("%s-bow in %s", pr.heading(i, p.Bows[l.bow]), at)
	}
	if len(e.Struck) == 0 || pr.sameFingers(i, p.Grips[i], best.Grips[i]) {
		return ""
	}
	return fmt.Sprintf("%s: %s with %s (the plan: %s)", at, pr.struck(e), gripText(&is.Grips[l.event]), gripText(&was.Grips[l.event]))
}

// gripText is fingers and strings of what is struck, from the lowest note up.
func gripText(g *fingering.Grip) string {
	var out []string
	stopped := false
	for _, s := range g.Stops {
		if !s.Held {
			out = append(out, fingerWord(s.Finger)+" on string "+instrument.Numeral(s.String))
			stopped = stopped || s.Finger != 0
		}
	}
	if len(out) == 0 {
		return "nothing stopped"
	}
	text := list(slices.Compact(out))
	if stopped {
		text += " in " + instrument.PositionName(g.Position)
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
