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
		c.Text = consequenceText(a.Plan.pr, "It", c.Measure, -1, f[c.Measure], g[c.Measure], c)
	}
	return out
}

// toldBeats is how many differences Otherwise names.
const toldBeats = 3

// Otherwise says in a sentence what a player would do otherwise by an
// alternative: the first beats on which the hand lies elsewhere and the first
// bars that begin with the other direction of the bow.
func (a *Alternative) Otherwise(best *Plan) string {
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
		says = append(says, fmt.Sprintf("and so on at %d more beats", more))
	}
	if len(says) == 0 {
		return ""
	}
	s := strings.Join(says, "; ") + "."
	return strings.ToUpper(s[:1]) + s[1:]
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
	if first == last {
		return "measure " + timeline.Name(p, first)
	}
	return "measures " + timeline.Name(p, first) + " to " + timeline.Name(p, last)
}

// Where names the measures in which an alternative was asked to differ.
func (a *Alternative) Where() string { return measures(a.Plan.pr.part, a.First, a.Last) }
