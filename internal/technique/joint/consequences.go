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
	Does    string       // what is done and what it costs: "a shift more in measure 4 (1.2 more)"
	Text    string       // the same as a sentence that names its cause
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
	own, cause := pr.part.Notes[id].Measure, Cause(pr.part, id, d)
	for i := range out {
		c := &out[i]
		c.Does = does(pr, c.Measure, f[c.Measure], g[c.Measure], c)
		c.Text = cause + ": " + c.Does + "."
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
	return p.memo.facts()
}

func (p *Plan) count() map[int]fact {
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

// did words what a plan counts more or less than another: "a shift more", "2
// string crossings fewer".
func (a fact) did(b fact) []string {
	var out []string
	for _, c := range []struct {
		before, after int
		one, many     string
	}{
		{a.shifts, b.shifts, "a shift", "shifts"},
		{a.retakes, b.retakes, "a retake", "retakes"},
		{a.links, b.links, "a linked stroke", "linked strokes"},
		{a.splits, b.splits, "a split slur", "split slurs"},
		{a.joins, b.joins, "a note in an added slur", "notes in added slurs"},
		{a.crossings, b.crossings, "a string crossing", "string crossings"},
		{a.opens, b.opens, "an open string", "open strings"},
	} {
		switch n := c.after - c.before; {
		case n == 1:
			out = append(out, c.one+" more")
		case n > 1:
			out = append(out, fmt.Sprintf("%d %s more", n, c.many))
		case n == -1:
			out = append(out, c.one+" less")
		case n < -1:
			out = append(out, fmt.Sprintf("%d %s fewer", -n, c.many))
		}
	}
	return out
}

func (a fact) plus(b fact) fact {
	return fact{a.shifts + b.shifts, a.crossings + b.crossings, a.retakes + b.retakes, a.links + b.links, a.splits + b.splits, a.joins + b.joins, a.opens + b.opens, a.ups + b.ups}
}

// does words the change of one measure by what it does and what that costs:
// "a linked stroke more in measure 15 (8.6 more)".
func does(pr *Problem, m int, a, b fact, c *Consequence) string {
	where := timeline.Called(pr.part, m)
	turned := turnedText(c.Terms)
	did := a.did(b)
	cost := costText(c.Cost)
	if cost != "" && turned == "" {
		cost += mainTerm(c, len(did) == 0)
	}
	text := ""
	switch {
	case len(did) > 0 && turned != "":
		text = list(did) + " in " + where + ", which " + turned
	case len(did) > 0:
		text = list(did) + " in " + where
	case turned != "":
		text = where + " " + turned
	case a.ups != b.ups:
		text = "the bow the other way in " + where
	default:
		text = "another fingering in " + where
	}
	if cost != "" {
		text += " (" + cost + ")"
	}
	return text
}

// turnedText says how a measure begins where that changed.
func turnedText(ts []score.Term) string {
	for _, t := range ts {
		if t.Name != bowing.Rules[bowing.BarStart].Name || math.Abs(t.Value) < least {
			continue
		}
		if t.Value < 0 {
			return "then begins the right way round"
		}
		return "then begins the wrong way round"
	}
	return ""
}

// costText says a difference of costs, "" below what is worth telling.
func costText(v float64) string {
	switch {
	case math.Abs(v) < least:
		return ""
	case v > 0:
		return fmt.Sprintf("%.1f more", v)
	}
	return fmt.Sprintf("%.1f less", -v)
}

// mainTerm names the term that a change of cost comes from above all: where
// nothing is counted, or what is counted does not show why it goes that way.
func mainTerm(c *Consequence, alone bool) string {
	best := ""
	sums := map[string]float64{}
	for _, t := range c.Terms {
		sums[words(t.Name)] += t.Value
	}
	for _, w := range slices.Sorted(maps.Keys(sums)) {
		if v := sums[w]; v*c.Cost > 0 && (best == "" || math.Abs(v) > math.Abs(sums[best])) {
			best = w
		}
	}
	if best != "" && (alone || math.Abs(sums[best]) > math.Abs(c.Cost)) {
		return ", above all by " + best
	}
	return ""
}

// Sentence tells all consequences of one cause in a sentence, those that cost or
// spare less than 0.05 left out; "" where nothing is worth telling.
func Sentence(cause string, cs []Consequence) string {
	var parts []string
	for i := range cs {
		if math.Abs(cs[i].Cost) >= least {
			parts = append(parts, cs[i].Does)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return cause + ": " + strings.Join(parts, "; ") + "."
}

// termWords are the terms whose names would not be understood alone.
var termWords = map[string]string{
	"shift_mm": "the length of the shifts", "shift_rate": "the haste of the shifts", "shift_bow": "shifts at a bow change", "shift_slur": "shifts under a slur",
	"shift_open": "shifts under an open string", "shift_rest": "shifts in a rest", "adjust": "the hand leaning", "letter": "fingers that their letters do not ask for",
	"height": "the height of the hand", "drawn_back": "the first finger drawn back", "even_position": "second, fourth or sixth position", "fourth": "the fourth finger",
	"string_change_slurred": "string changes under a slur", "fifth_across": "a fifth across two strings", "narrow_fourth": "the fourth finger drawn in",
	"extension": "fingers stretched out", "slide": "a finger sliding a half step", "hop": "a finger hopping to another string", "refinger": "a repeated pitch fingered anew",
	"shift_slur_needless": "shifts under a slur that could be hidden near by", "shift_inside_beat": "shifts inside a beat", "stopped_for_open_in_chord": "fingers in a chord that open strings would spare",
	"plucked_stopped": "stopped notes plucked by the left hand", "plucked_without_finger": "left-hand pizzicato with no finger free",
}

// learnedHabit says all cells of the learned tables (see package fingering), which
// have no meaning one by one.
const learnedHabit = "the habit of the players it was learned from"

// words says a term as a player would.
func words(term string) string {
	if w, ok := termWords[term]; ok {
		return w
	}
	if strings.Contains(term, " ") {
		return learnedHabit
	}
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

// Cause names a decision and its place: "With down-bow at measure 16, beat 1".
func Cause(p *score.Part, id score.NoteID, d Decision) string {
	text := DecisionText(d)
	return "With " + strings.ToLower(text[:1]) + text[1:] + " at " + timeline.AtNote(p, id).String()
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
