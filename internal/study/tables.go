package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/technique"
	"pochette/internal/timeline"
)

// Table is text in columns. Lines stand under a row, for reasons and hints.
type Table struct {
	Head []string // of the columns
	Rows []Row
	// Before and After are sentences around it.
	Before, After []string
}

// Row is one row of a table; Cells stand beside Table.Head.
type Row struct {
	Cells []string
	Under []string
}

func (s *Study) beatOf(i int) string {
	e := &s.Hand.Events[i]
	return timeline.At(s.Part, e.Measure, e.Onset, score.NoNote).Beat
}

func (s *Study) barOf(i int) string { return timeline.Label(s.Part, s.Hand.Events[i].Measure) }

// struck names the notes of an event.
func (s *Study) struck(i int) string {
	var names []string
	for _, id := range s.Hand.Events[i].Struck {
		names = append(names, s.Part.Notes[id].Sounding.String())
	}
	return joined(names)
}

// termText lists the terms of a cost with their values: what a sentence rests on.
func termText(ts []score.Term) string {
	if len(ts) == 0 {
		return ""
	}
	parts := make([]string, len(ts))
	for i, t := range ts {
		parts[i] = fmt.Sprintf("%s %.2f", t.Name, t.Value)
	}
	return "[" + strings.Join(parts, ", ") + "]"
}

// reason joins a sentence and its terms.
func reason(text string, ts []score.Term) []string {
	terms := termText(ts)
	switch {
	case text == "" && terms == "":
		return nil
	case text == "":
		return []string{terms}
	case terms == "":
		return []string{text}
	}
	return []string{text + " " + terms}
}

// overview says a sentence about the movement over a table of some of its bars.
func (s *Study) overview(b Bars, text string) []string {
	if b.First > 0 || b.Last < len(s.Part.Measures)-1 {
		return []string{"The whole movement: " + text}
	}
	return []string{text}
}

// StrokeTable lists the strokes of some bars: direction, how each follows, and
// what it would be as written where that differs.
func (s *Study) StrokeTable(b Bars, why bool) Table {
	t := Table{Head: []string{"bar", "beat", "bow", "follows", "written", "notes"}, Before: s.overview(b, s.summaryBow())}
	written := map[int]bowing.Direction{} // by event
	for _, st := range s.Bow.Written {
		for e := st.First; e <= st.Last; e++ {
			written[e] = st.Direction
		}
	}
	texts := map[int][]string{}
	for _, c := range s.Bow.Changes {
		line := c.Text
		if c.Leave > 0 {
			line += fmt.Sprintf(" Changing costs %.2f, leaving it as it comes %.2f more.", c.Cost, c.Leave)
		}
		if terms := termText(c.Terms); terms != "" {
			line += " [spares " + terms[1:]
		}
		texts[c.Stroke] = append(texts[c.Stroke], line)
	}
	for i, st := range s.Bow.Proposed {
		if !b.Has(st.Measure) {
			continue
		}
		dir, follows, as := st.Direction.String(), st.Change.String(), ""
		if st.Pizzicato {
			dir, follows = "no bow", ""
		} else if w := written[st.First]; w != st.Direction && w != bowing.None {
			as = w.String()
		}
		if st.Fixed {
			dir += " *"
		}
		var names []string
		for e := st.First; e <= st.Last; e++ {
			if n := s.struck(e); n != "" {
				names = append(names, n)
			}
		}
		r := Row{Cells: []string{s.barOf(st.First), s.beatOf(st.First), dir, follows, as, strings.Join(names, " ")}}
		if why {
			r.Under = append(texts[i], strokeReasons(&st)...)
		}
		t.Rows = append(t.Rows, r)
	}
	if why {
		t.After = append(t.After, s.bowTotals())
	}
	t.After = append(t.After, s.besideLines()...)
	t.After = append(t.After, s.findingLines(b, "bow")...)
	if slices.ContainsFunc(t.Rows, func(r Row) bool { return strings.HasSuffix(r.Cells[2], "*") }) {
		t.After = append([]string{"* printed or decided"}, t.After...)
	}
	return t
}

// FingerTable lists string, finger and position of each note of some bars.
func (s *Study) FingerTable(b Bars, why bool) Table {
	t := Table{Head: []string{"bar", "beat", "note", "string", "finger", "position", "shift"}, Before: s.overview(b, s.summaryHand())}
	for i := range s.Hand.Events {
		e, g := &s.Hand.Events[i], &s.Hand.Grips[i]
		if e.Rest || !b.Has(e.Measure) {
			continue
		}
		var strs, fingers []string
		for _, st := range g.Stops {
			if !st.Held {
				strs, fingers = append(strs, instrument.Numeral(st.String)), append(fingers, fingerText(st.Finger))
			}
		}
		pos, shift := "", ""
		if len(g.Stops) > 0 {
			pos = strings.TrimSuffix(instrument.PositionName(g.Position), " position")
		}
		if g.Shift >= 0 {
			sh := &s.Hand.Shifts[g.Shift]
			shift = fmt.Sprintf("%+.0f mm in %.2f s, %v", sh.MM, sh.Seconds, sh.Cover)
		} else if a := s.Hand.AdjustAt(i); a != nil {
			shift = "leans over"
			if math.Abs(a.MM) >= 1 {
				shift = fmt.Sprintf("leans %+.0f mm", a.MM)
			}
		}
		r := Row{Cells: []string{s.barOf(i), s.beatOf(i), s.struck(i), joined(strs), joined(fingers), pos, shift}}
		if why {
			r.Under = reason(fingering.Why(s.Hand, i), g.Terms)
		}
		t.Rows = append(t.Rows, r)
	}
	if why {
		t.After = append(t.After, s.handTotals())
	}
	t.After = append(t.After, s.besideLines()...)
	t.After = append(t.After, s.findingLines(b, "hand")...)
	return t
}

// CrossingTable lists the crossings of some bars with their loads.
func (s *Study) CrossingTable(b Bars, why bool) Table {
	t := Table{Head: []string{"bar", "beat", "from", "to", "over", "may touch", "load", "rank", "how"}, Before: s.overview(b, s.summaryCrossings())}
	rank := ranks(s.Crossings)
	for i, c := range s.Crossings {
		if !b.Has(s.Hand.Events[c.To].Measure) {
			continue
		}
		how := fmt.Sprintf("%.2f s", c.Seconds)
		switch {
		case c.Slurred:
			how += ", slurred"
		case c.Rest:
			how += ", bow off"
		}
		r := Row{Cells: []string{s.barOf(c.To), s.beatOf(c.To), technique.StringsName(c.FromStrings), technique.StringsName(c.ToStrings),
			numerals(c.Skipped), numerals(c.Touch), fmt.Sprintf("%.1f", c.Load), fmt.Sprint(rank[i]), how}}
		if why {
			r.Under = []string{fmt.Sprintf("The bow tilts by %.0f degrees into a window of %.0f; half of a slurred note's time is free for it. [load %.2f bits/s]",
				math.Abs(c.Angle), technique.Window(&s.Instrument, c.ToStrings), c.Load)}
			if !c.Slurred {
				r.Under[0] = fmt.Sprintf("The bow tilts by %.0f degrees into a window of %.0f. [load %.2f bits/s]", math.Abs(c.Angle), technique.Window(&s.Instrument, c.ToStrings), c.Load)
			}
		}
		t.Rows = append(t.Rows, r)
	}
	t.After = s.findingLines(b, "crossing")
	return t
}

func numerals(strs []int) string {
	var names []string
	for _, n := range strs {
		names = append(names, instrument.Numeral(n))
	}
	return strings.Join(names, " ")
}

// HardTable lists the difficulty of some bars, the passages that stand out and
// what can be prepared in them.
func (s *Study) HardTable(b Bars, why bool) Table {
	t := Table{Head: []string{"bar", "of 100", "", "parts"}, Before: []string{"The whole movement, the mean of its bars: " + s.Hardness.Whole.Text() + "."}}
	for _, bar := range s.Hardness.Bars {
		if !b.Has(bar.Measure) || bar.Hardest < 0 {
			continue
		}
		_, parts, _ := strings.Cut(bar.Text(), ": ")
		r := Row{Cells: []string{timeline.Label(s.Part, bar.Measure), fmt.Sprintf("%.0f", bar.Score), bar.Word(), parts}}
		if why && bar.Score > 0 {
			r.Under = append(r.Under, s.momentText(bar.Hardest))
			r.Under = append(r.Under, s.barHints(bar.Measure)...)
		}
		t.Rows = append(t.Rows, r)
	}
	t.After = append(s.passageLines(b), s.highLines(b)...)
	return t
}

// highLines tells the passages that stay high.
func (s *Study) highLines(b Bars) []string {
	var out []string
	for _, f := range s.Findings {
		if f.Kind == "stays-high" && b.Has(f.At.Measure) {
			out = append(out, findingLine(f))
		}
	}
	return out
}

// passageLines tells the passages that stand out, hardest first, with what helps.
func (s *Study) passageLines(b Bars) []string {
	var out []string
	n := 0
	for i := range s.Hardness.Passages {
		p := &s.Hardness.Passages[i]
		if !b.Has(s.Hand.Events[p.First].Measure) {
			continue
		}
		if n++; n > firstPlaces {
			continue
		}
		if n == 1 {
			out = append(out, "Hard spots, hardest first:")
		}
		out = append(out, fmt.Sprintf("%s: %s. %s", s.spanPlace(p.First, p.Last), p.Text(), s.momentText(p.Hardest)))
		out = append(out, s.hintLines(p)...)
	}
	if n > firstPlaces {
		out = append(out, fmt.Sprintf("%s less hard; --json has all.", count(n-firstPlaces, "more spot is", "more spots are")))
	}
	return out
}

// spotHints is how many hints a table gives for one spot.
const spotHints = 5

// hintLines are the hints for the hardest notes of a passage, in order.
func (s *Study) hintLines(p *technique.Passage) []string {
	var at []int
	for k := range s.Hints {
		if h := &s.Hints[k]; h.For >= p.First && h.For <= p.Last && h.Worth(&s.technique) {
			at = append(at, k)
		}
	}
	all := len(at)
	slices.SortStableFunc(at, func(a, b int) int { return cmp.Compare(s.Hints[b].Weight, s.Hints[a].Weight) })
	at = at[:min(spotHints, all)]
	slices.Sort(at)
	var out []string
	for _, k := range at {
		out = append(out, "  "+s.hintText(&s.Hints[k]))
	}
	if more := all - len(at); more > 0 {
		out = append(out, fmt.Sprintf("  And %s; --why tells them bar by bar.", count(more, "more hint", "more hints")))
	}
	return out
}

// barHints are the hints for the notes of a measure that are worth a word; the rest is
// counted.
func (s *Study) barHints(measure int) []string {
	var out []string
	rest := 0
	for i := range s.Hints {
		h := &s.Hints[i]
		switch {
		case s.Hand.Events[h.For].Measure != measure:
		case h.Worth(&s.technique):
			out = append(out, s.hintText(h))
		default:
			rest++
		}
	}
	if rest > 0 {
		out = append(out, fmt.Sprintf("And %s of a finger that may stay down or be set early; --json has all.", count(rest, "place", "places")))
	}
	return out
}

// spanPlace names a stretch of events.
func (s *Study) spanPlace(first, last int) string {
	a, b := &s.Hand.Events[first], &s.Hand.Events[last]
	text := s.eventPlace(first)
	switch {
	case first == last:
	case a.Measure == b.Measure:
		text += " to " + s.beatOf(last)
	default:
		text += " to " + s.eventPlace(last)
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// momentText says what the hardest event of a bar or passage asks for.
func (s *Study) momentText(event int) string {
	return fmt.Sprintf("Hardest at beat %s (%s): %s", s.beatOf(event), s.struck(event), lower(technique.Moment(s.technique, s.Crossings, event)))
}

func lower(text string) string {
	if text == "" {
		return "nothing of its own."
	}
	return strings.ToLower(text[:1]) + text[1:]
}

func (s *Study) hintText(h *technique.Hint) string {
	if timeline.Pickup(s.Part, s.Hand.Events[h.Event].Measure) {
		return fmt.Sprintf("%s: %s", s.spanPlace(h.Event, h.Event), h.Text)
	}
	return fmt.Sprintf("m%s.%s: %s", timeline.Place(s.Part, s.Hand.Events[h.Event].Measure), s.beatOf(h.Event), h.Text)
}

// findingLines are the findings of a topic in some bars, one a line.
func (s *Study) findingLines(b Bars, topic string) []string {
	var out []string
	for _, f := range s.Findings {
		if f.At.Measure < 0 || !b.Has(f.At.Measure) || s.topic(f) != topic {
			continue
		}
		out = append(out, findingLine(f))
	}
	return out
}

func findingLine(f score.Finding) string {
	place := f.At.String()
	line := fmt.Sprintf("%s%s: %s", strings.ToUpper(place[:1]), place[1:], f.Text)
	for _, more := range []string{f.Why, f.Suggestion} {
		if more != "" {
			line += " " + more
		}
	}
	return line
}
