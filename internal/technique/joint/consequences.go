package joint

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Consequence is what a decision changes in one measure.
type Consequence struct {
	Measure int // index
	At      score.Loc
	Cost    float64      // how much more the measure costs; negative: less
	Terms   []score.Term // what rose (positive) and fell, by size
	Text    string       // one sentence
}

// least is the change of cost that is worth telling where no mark changes.
const least = 0.05

// Consequences compares two plans of one part, before and after a decision on
// a note: one entry for each measure in which marks changed or the cost did, the
// measure of the decision first, then in order. The costs add up to the
// difference of the plans but for the bow's tie-break and changes below 0.05.
func Consequences(before, after *Plan, id score.NoteID, d Decision) []Consequence {
	pr := after.pr
	out, f, g := compare(before, after)
	own, cause := pr.part.Notes[id].Measure, decisionText(pr.part, id, d)
	for i := range out {
		c := &out[i]
		c.Text = consequenceText(pr, cause, c.Measure, own, f[c.Measure], g[c.Measure], c)
	}
	slices.SortStableFunc(out, func(s, t Consequence) int {
		if (s.Measure == own) != (t.Measure == own) {
			if s.Measure == own {
				return -1
			}
			return 1
		}
		return s.Measure - t.Measure
	})
	return out
}

// compare lists the measures in which two plans of one part differ, in order and
// without text, and what a player would count in each of both.
func compare(before, after *Plan) (out []Consequence, was, is map[int]fact) {
	pr := after.pr
	diffs := map[int]map[string]float64{}
	add := func(items []Item, sign float64) {
		for _, it := range items {
			m := pr.Hand.Events[it.Event].Measure
			if diffs[m] == nil {
				diffs[m] = map[string]float64{}
			}
			diffs[m][it.Name] += sign * it.Value
		}
	}
	add(after.Items(), 1)
	add(before.Items(), -1)
	changed := changedMeasures(before, after)
	for _, m := range slices.Sorted(maps.Keys(diffs)) {
		c := Consequence{Measure: m, At: timeline.At(pr.part, m, pr.part.Measures[m].Start, score.NoNote)}
		for n, v := range diffs[m] {
			if math.Abs(v) > 1e-9 {
				c.Terms = append(c.Terms, score.Term{Name: n, Value: v})
			}
		}
		slices.SortFunc(c.Terms, func(s, t score.Term) int {
			return cmp.Or(cmp.Compare(math.Abs(t.Value), math.Abs(s.Value)), cmp.Compare(s.Name, t.Name))
		})
		for _, t := range c.Terms {
			c.Cost += t.Value
		}
		if changed[m] || math.Abs(c.Cost) >= least {
			out = append(out, c)
		}
	}
	return out, facts(before), facts(after)
}

// changedMeasures are those in which a direction, a finger, a string or the hand
// differs.
func changedMeasures(before, after *Plan) map[int]bool {
	pr := after.pr
	out := map[int]bool{}
	for i := range after.Grips {
		e := &pr.Hand.Events[pr.layers[i].event]
		if !sameGrip(before, after, i) {
			out[e.Measure] = true
		}
		if b := pr.layers[i].bow; b >= 0 && pr.layers[i].step == turn && before.Bows[b] != after.Bows[b] {
			out[e.Measure] = true
		}
	}
	return out
}

// sameGrip says whether two plans stop the notes of a layer alike.
func sameGrip(a, b *Plan, i int) bool {
	g, h := a.Grips[i], b.Grips[i]
	if a.pr == b.pr {
		return g == h || a.pr.Hand.Alike(i, g, h)
	}
	one, _ := a.pr.Hand.HandAt(i, g)
	other, _ := b.pr.Hand.HandAt(i, h)
	if one != other {
		return false
	}
	for _, id := range a.pr.Hand.Events[a.pr.layers[i].event].Struck {
		f, s, ok := a.pr.Hand.FingerAt(i, g, id)
		if f2, s2, ok2 := b.pr.Hand.FingerAt(i, h, id); f != f2 || s != s2 || ok != ok2 {
			return false
		}
	}
	return true
}

// fact counts what a player would name in a measure.
type fact struct{ shifts, crossings, retakes, links, splits, joins, opens, ups int }

func facts(p *Plan) map[int]fact {
	pr := p.pr
	out := map[int]fact{}
	hand := p.HandStudy()
	for _, sh := range hand.Shifts {
		m := pr.Hand.Events[sh.Event].Measure
		f := out[m]
		f.shifts++
		out[m] = f
	}
	for i := range p.Grips {
		m := pr.Hand.Events[pr.layers[i].event].Measure
		f := out[m]
		if i > 0 {
			l, q := &pr.layers[i], &pr.layers[i-1]
			if g, h := p.Grips[i-1], p.Grips[i]; l.lo[h] > q.hi[g] || q.lo[g] > l.hi[h] {
				f.crossings++
			}
		}
		if _, open := pr.Hand.HandAt(i, p.Grips[i]); open {
			f.opens++
		}
		if l := &pr.layers[i]; l.step == turn {
			p.countBow(&f, l.bow)
		}
		out[m] = f
	}
	return out
}

func (p *Plan) countBow(f *fact, b int) {
	pr := p.pr
	if pr.Bow.Split(b, p.Bows[b]) {
		f.splits++
	}
	if pr.Bow.Entry(b, p.Bows[b]) == bowing.Up {
		f.ups++
	}
	if li := pr.Bow.Chain(b); li >= 0 {
		switch pr.Bow.LinkKind(li, p.Bows[b-1], p.Bows[b]) {
		case bowing.Retake:
			f.retakes++
		case bowing.Link:
			f.links++
		case bowing.Join:
			f.joins++
		}
	}
}

// consequenceText words the change of one measure by what it does.
func consequenceText(pr *Problem, cause string, m, own int, a, b fact, c *Consequence) string {
	var need, save []string
	count := func(before, after int, one, many string) {
		switch n := after - before; {
		case n == 1:
			need = append(need, one)
		case n > 1:
			need = append(need, fmt.Sprintf(many, n))
		case n == -1:
			save = append(save, one)
		case n < -1:
			save = append(save, fmt.Sprintf(many, -n))
		}
	}
	count(a.shifts, b.shifts, "a shift", "%d shifts")
	count(a.retakes, b.retakes, "a retake", "%d retakes")
	count(a.links, b.links, "a linked stroke", "%d linked strokes")
	count(a.splits, b.splits, "a split slur", "%d split slurs")
	count(a.joins, b.joins, "an added slur", "notes in added slurs (%d)")
	count(a.crossings, b.crossings, "a string crossing", "%d string crossings")
	where := "in measure " + timeline.Name(pr.part, m)
	if m == own {
		where = "in the same measure"
	}
	var does []string
	if len(need) > 0 {
		does = append(does, "makes "+list(need)+" "+where+" necessary")
	}
	if len(save) > 0 {
		does = append(does, "saves "+list(save)+" "+where)
	}
	if len(does) == 0 {
		what := "changes the fingering " + where
		if a.ups != b.ups {
			what = "turns the bow " + where
		} else if len(c.Terms) > 0 && c.Terms[0].Value > 0 {
			what += " (more " + words(c.Terms[0].Name) + ")"
		}
		does = append(does, what)
	}
	return fmt.Sprintf("%s %s: %+.1f.", cause, list(does), c.Cost)
}

func words(term string) string {
	return strings.NewReplacer("-", " ", "_", " ").Replace(term)
}

func list(parts []string) string {
	n := len(parts)
	if n == 1 {
		return parts[0]
	}
	return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
}

// DecisionText names what a decision asks for.
func DecisionText(d Decision) string {
	var parts []string
	if d.Bow != bowing.None {
		parts = append(parts, d.Bow.String()+"-bow")
	}
	if d.Finger != nil {
		parts = append(parts, fingerWord(*d.Finger))
	}
	if d.String != 0 {
		parts = append(parts, "string "+instrument.Numeral(d.String))
	}
	if d.Position != nil {
		parts = append(parts, instrument.PositionName(*d.Position))
	}
	if len(parts) == 0 {
		parts = []string{"the decision"}
	}
	s := list(parts)
	return strings.ToUpper(s[:1]) + s[1:]
}

// decisionText names a decision and its place.
func decisionText(p *score.Part, id score.NoteID, d Decision) string {
	return DecisionText(d) + " in " + timeline.AtNote(p, id).String()
}

func fingerWord(f int8) string {
	if f == instrument.Thumb {
		return "thumb"
	}
	return [...]string{"open string", "first finger", "second finger", "third finger", "fourth finger"}[f]
}

// Same says whether two plans of one part have the same marks.
func Same(a, b *Plan) bool {
	for i := range a.Grips {
		if !sameGrip(a, b, i) {
			return false
		}
	}
	return slices.Equal(a.Bows, b.Bows)
}
