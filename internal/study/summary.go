package study

import (
	"fmt"
	"strings"

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
	{Term: "guide note", Meaning: "the note between two places of a shift, to or from which a finger slides."},
}

// cautions are the usual ones; the page says them wherever work may strain.
var cautions = []string{
	"Large stretches, long repetition and new fingerings can strain. Warm up, take breaks, and stop where it hurts; pain is for a teacher and a physician to judge, not for this page.",
	"The proposals come from rules and measures of an average hand. Your hand, your instrument and your teacher come first.",
}

// Summary says in a few sentences what the movement asks.
func (s *Study) Summary() []string {
	out := []string{s.summaryBow(), s.summaryHand(), s.summaryCrossings()}
	if t := s.summaryTrouble(); t != "" {
		out = append(out, t)
	}
	return out
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
	wrong := len(s.findings("wrong-way-round"))
	if wrong == 0 && len(s.Bow.Changes) == 0 {
		return "Taken as written, the bow comes out right throughout; nothing need be changed."
	}
	text := "Taken as written, the bow comes out right throughout"
	if wrong > 0 {
		text = fmt.Sprintf("Taken as written, the bow comes out the wrong way round in %s", count(wrong, "place", "places"))
	}
	if len(s.Bow.Changes) == 0 {
		return text + ", and rights itself; no change is proposed."
	}
	kinds := map[string]int{}
	var order []string
	for _, c := range s.Bow.Changes {
		k := changeName(c.Kind.String())
		if kinds[k] == 0 {
			order = append(order, k)
		}
		kinds[k]++
	}
	var parts []string
	for _, k := range order {
		parts = append(parts, count(kinds[k], k, changeNames[k]))
	}
	return fmt.Sprintf("%s; proposed: %s.", text, strings.Join(parts, ", "))
}

// changeName is how a player calls a change; changeNames are the plurals.
func changeName(kind string) string {
	switch kind {
	case "link":
		return "linked stroke"
	case "after-rest":
		return "fresh start after a rest"
	case "split":
		return "split slur"
	case "join":
		return "joined stroke"
	case "begin":
		return "other direction to begin with"
	}
	return kind
}

var changeNames = map[string]string{
	"linked stroke": "linked strokes", "fresh start after a rest": "fresh starts after a rest", "split slur": "split slurs",
	"joined stroke": "joined strokes", "retake": "retakes", "other direction to begin with": "other directions to begin with",
}

func (s *Study) summaryHand() string {
	high, at := 0, -1
	for i, g := range s.Hand.Grips {
		if len(g.Stops) > 0 && g.Position > high {
			high, at = g.Position, i
		}
	}
	n := len(s.Hand.Shifts)
	if at < 0 || high <= 1 && n == 0 {
		return "The hand stays in first position throughout."
	}
	hidden := 0
	for _, sh := range s.Hand.Shifts {
		if sh.Cover > 0 {
			hidden++
		}
	}
	text := fmt.Sprintf("The hand goes as high as %s (%s)", instrument.PositionName(high), s.eventPlace(at))
	switch {
	case n == 0:
		return text + " and does not shift."
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

func (s *Study) summaryTrouble() string {
	left := 0
	for _, g := range s.Hand.Grips {
		left += len(g.LeftOut)
	}
	if left == 0 {
		return ""
	}
	return fmt.Sprintf("%s cannot be played as written and %s named below.", count(left, "note", "notes"), map[bool]string{true: "is", false: "are"}[left == 1])
}
