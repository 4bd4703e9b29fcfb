package study

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/instrument"
	"pochette/internal/report"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// words explains the terms of the report.
var words = []report.Word{
	{Term: "stroke", Meaning: "all notes taken in one direction of the bow without a change."},
	{Term: "as written", Meaning: "every slur as printed, directions simply alternating, each printed bow mark obeyed."},
	{Term: "wrong way round", Meaning: "the bow comes up where the meter, a chord or an accent wants it down."},
	{Term: "retake", Meaning: "the bow is lifted and set again in the same direction."},
	{Term: "linked stroke", Meaning: "two articulated notes in one direction, the bow stopped between them."},
	{Term: "string I–IV", Meaning: "counted from the highest."},
	{Term: "crossing", Meaning: "the bow goes over to another string; its load is the aimed tilt in bits over the time there is (Fitts 1954)."},
	{Term: "difficulty", Meaning: "from 0 to 100, the sum of what the plan asks: quick notes, shifts and crossings in bits over the time there is, stretches in what the hand can give beyond its frame, fingers set together, high places with no guide. A load of 1 is 50, of 2 is 75, so that there is always harder; it compares places of one movement and is no verdict on a player."},
	{Term: "adjustment", Meaning: "the hand leans by a half step, or opens or closes, into another position; no shift, and counted apart."},
	{Term: "crossing spot", Meaning: "a place where crossings follow so close that the load comes to 3 bits a second or more, or where the bow has to pass over a string."},
	{Term: "arrival", Meaning: "the moment to which a phrase or a chain of chords leads."},
	{Term: "implied voice", Meaning: "notes of a single line that belong together by their pitch though others sound between them."},
	{Term: "hemiola", Meaning: "two bars of three beats that sound as three of two."},
	{Term: "tag", Meaning: "what is added after a section has closed."},
	{Term: "parallel passage", Meaning: "a passage that comes again, as it is or moved to another pitch; where the two differ, a slip and an intention are both possible."},
	{Term: "guide note", Meaning: "the note between two places of a shift, to or from which a finger slides."},
}

// cautions are the usual ones; the page says them wherever work may strain.
var cautions = []string{
	"Large stretches, long repetition and new fingerings can strain. Warm up, take breaks, and stop where it hurts; pain is for a teacher and a physician to judge, not for this page.",
	"The proposals come from rules and measures of an average hand. Your hand, your instrument and your teacher come first.",
}

// Summary says in a few sentences what the movement asks.
func (s *Study) Summary() []string {
	var out []string
	if t := s.Style.says(); t != "" {
		out = append(out, t)
	}
	out = append(out, s.summaryBow(), s.summaryHand(), s.summaryCrossings())
	if t := s.summaryTrouble(); t != "" {
		out = append(out, t)
	}
	return append(out, s.Reading.Summary()...)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func (s *Study) findings(kind string) []score.Finding {
	var out []score.Finding
	for _, f := range s.Findings {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

func (s *Study) summaryBow() string {
	wrong := s.findings("wrong-way-round")
	if len(wrong) == 0 && len(s.Bow.Changes) == 0 {
		return "Taken as written, the bow comes out right throughout; nothing need be changed."
	}
	text := "Taken as written, the bow comes out right throughout"
	if len(wrong) > 0 {
		text = fmt.Sprintf("Taken as written, the bow comes out the wrong way round in %s", count(len(wrong), "place", "places"))
		left := 0
		for _, f := range wrong {
			if f.Grade == score.Remark {
				left++
			}
		}
		switch {
		case left == 0:
		case left == len(wrong) && left > 1:
			text += ", all of which right themselves and may be left"
		case left == len(wrong):
			text += ", which rights itself and may be left"
		default:
			text += fmt.Sprintf(" (%d of them may be left, since %s)", left, map[bool]string{true: "it rights itself", false: "they right themselves"}[left == 1])
		}
	}
	if len(s.Bow.Changes) == 0 {
		return text + "; no change is proposed."
	}
	return fmt.Sprintf("%s; proposed: %s.%s", text, strings.Join(changeCounts(s.Bow.Changes), ", "), s.summaryFewest())
}

// summaryFewest says with how few changes the bow would do, where that is fewer.
// Fresh starts after a rest are given by the rest and not counted.
func (s *Study) summaryFewest() string {
	if s.fewest == nil {
		return ""
	}
	few, own := withoutStarts(s.fewest()), withoutStarts(s.Bow.Changes)
	switch {
	case len(few) >= len(own):
		return ""
	case len(few) == 0:
		return fmt.Sprintf(" It would do without %s (--fewest-changes).", strings.Join(changeCounts(own), ", "))
	}
	return fmt.Sprintf(" The fewest changes that would do: %s (--fewest-changes).", strings.Join(changeCounts(few), ", "))
}

func withoutStarts(cs []bowing.ChangeAt) []bowing.ChangeAt {
	return slices.DeleteFunc(slices.Clone(cs), func(c bowing.ChangeAt) bool { return c.Kind == bowing.AfterRest })
}

// changeCounts counts the changes by kind, those for a chord alone apart.
func changeCounts(cs []bowing.ChangeAt) []string {
	kinds := map[string]int{}
	forChords := map[string]int{}
	var order, out []string
	for _, c := range cs {
		k := c.Kind.String()
		if kinds[k] == 0 {
			order = append(order, k)
		}
		kinds[k]++
		if c.Chord {
			forChords[k]++
		}
	}
	for _, k := range order {
		names := changeNames[k]
		t := count(kinds[k], names[0], names[1])
		if k == bowing.Begin.String() {
			t = names[0]
		}
		switch n := forChords[k]; {
		case n == 0:
		case n == kinds[k]:
			t += " for the sake of " + map[bool]string{true: "a chord", false: "chords"}[n == 1]
		default:
			t += fmt.Sprintf(" (%d of them for the sake of %s)", n, map[bool]string{true: "a chord", false: "chords"}[n == 1])
		}
		out = append(out, t)
	}
	return out
}

// changeNames is how a player calls each kind of change, one and many.
var changeNames = map[string][2]string{
	"link": {"linked stroke", "linked strokes"}, "after-rest": {"fresh start after a rest", "fresh starts after a rest"}, "split": {"split slur", "split slurs"},
	"join": {"added slur", "added slurs"}, "retake": {"retake", "retakes"}, "begin": {"the first stroke the other way round", ""},
}

func (s *Study) summaryHand() string {
	high, at, first := -1, -1, -1
	one := true
	for i, g := range s.Hand.Grips {
		if len(g.Stops) == 0 {
			continue
		}
		if first < 0 {
			first = g.Position
		}
		one = one && g.Position == first
		if g.Position > high {
			high, at = g.Position, i
		}
	}
	n := len(s.Hand.Shifts)
	if at < 0 {
		return "The hand has nothing to play."
	}
	if one && n == 0 {
		return fmt.Sprintf("The hand stays in %s throughout.", instrument.PositionName(first))
	}
	return s.summaryShifts(fmt.Sprintf("The hand goes as high as %s (%s)", instrument.PositionName(high), s.eventPlace(at))) + s.summaryLeans()
}

// summaryLeans counts the small moves to another position apart from the shifts.
func (s *Study) summaryLeans() string {
	n := len(s.Hand.Adjusts)
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" It leans into the next position, a half step away, %s.", times(n))
}

func (s *Study) summaryShifts(text string) string {
	n := len(s.Hand.Shifts)
	hidden := 0
	for _, sh := range s.Hand.Shifts {
		if sh.Cover > 0 {
			hidden++
		}
	}
	switch {
	case n == 0:
		return text + " and makes no shift."
	case hidden == n && n == 1:
		return text + " with 1 shift, hidden by a change of bow, a rest or an open string."
	case n == 1:
		return text + " with 1 shift, under a slur."
	case hidden == n:
		return fmt.Sprintf("%s with %s, all of them hidden by a change of bow, a rest or an open string.", text, count(n, "shift", "shifts"))
	}
	return fmt.Sprintf("%s with %s; %d of them hidden by a change of bow, a rest or an open string, %d under a slur.", text, count(n, "shift", "shifts"), hidden, n-hidden)
}

func (s *Study) summaryCrossings() string {
	if len(s.Crossings) == 0 {
		return "The bow never crosses a string."
	}
	skips := 0
	for _, c := range s.Crossings {
		if len(c.Skipped) > 0 {
			skips++
		}
	}
	text := fmt.Sprintf("The bow crosses strings %s", times(len(s.Crossings)))
	if skips > 0 {
		text += fmt.Sprintf(", %s over a string between", times(skips))
	}
	if len(s.Spots) > 0 {
		sp := &s.Spots[0]
		e := &s.Hand.Events[sp.First]
		text += fmt.Sprintf("; the busiest spot begins at %s", timeline.At(s.Part, e.Measure, e.Onset, score.NoNote))
	}
	return text + "."
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// namedPlaces is how many places of unplayable notes the summary names.
const namedPlaces = 4

func (s *Study) summaryTrouble() string {
	left := 0
	var places []string
	for i, g := range s.Hand.Grips {
		if len(g.LeftOut) > 0 {
			left += len(g.LeftOut)
			places = append(places, s.eventPlace(i))
		}
	}
	if left == 0 {
		return ""
	}
	more := ""
	if n := len(places) - namedPlaces; n > 0 {
		places, more = places[:namedPlaces], fmt.Sprintf("; and in %s more", count(n, "place", "places"))
	}
	return fmt.Sprintf("%s cannot be played as written: %s%s.", count(left, "note", "notes"), strings.Join(places, "; "), more)
}
