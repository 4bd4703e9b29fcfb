package timeline

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/score"
)

// What is added in brackets to the number of the bar that an uncounted measure belongs
// to; score.Loc says them as a player does.
const (
	secondPart = " (second part)"
	pickupTo   = score.PickupTo
)

// Name is what to call a measure: its printed number, or, for one that is not counted,
// the number of the bar that it is a part of or stands for: "8 (2nd time)" under a
// later ending, "10 (pickup to 11)" after a repeat or double bar, "10 (second part)".
func Name(p *score.Part, measure int) string {
	m := &p.Measures[measure]
	if !m.Implicit || measure == 0 {
		return m.Number
	}
	if _, err := strconv.Atoi(m.Number); err == nil {
		return m.Number
	}
	if first := firstEnding(p, measure); first >= 0 {
		return endingName(p, measure, first)
	}
	for i := measure - 1; i >= 0; i-- {
		if p.Measures[i].Implicit {
			continue
		}
		if next := measure + 1; next < len(p.Measures) && !p.Measures[next].Implicit && opens(p, measure) {
			return p.Measures[i].Number + pickupTo + p.Measures[next].Number + ")"
		}
		return p.Measures[i].Number + secondPart
	}
	return m.Number
}

// opens says that a measure which is no full one begins something: it stands after a
// repeat sign, a double or a final bar.
func opens(p *score.Part, measure int) bool {
	m, prev := &p.Measures[measure], &p.Measures[measure-1]
	return Offset(p, measure) > 0 && (m.RepeatStart || prev.RepeatTimes > 1 || prev.RightBar == "light-light" || prev.RightBar == "light-heavy")
}

// OtherTime says that two measures stand under different endings: they are never played
// one after the other.
func OtherTime(p *score.Part, a, b int) bool {
	x, y := p.Measures[a].Endings, p.Measures[b].Endings
	return a != b && len(x) > 0 && len(y) > 0 && !slices.ContainsFunc(x, func(n int) bool { return slices.Contains(y, n) })
}

// endingName names a measure under a later ending after the one that has its place
// under the first, or the last of these where there are fewer.
func endingName(p *score.Part, measure, first int) string {
	start := measure
	for start > 0 && !p.Measures[start].EndingStart && later(&p.Measures[start-1]) {
		start--
	}
	for i := min(first+measure-start, start-1); i >= 0; i-- {
		if !p.Measures[i].Implicit {
			return fmt.Sprintf("%s (%s time)", p.Measures[i].Number, nth(p.Measures[measure].Endings[0]))
		}
	}
	return p.Measures[measure].Number
}

func nth(n int) string {
	end := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			end = "st"
		case 2:
			end = "nd"
		case 3:
			end = "rd"
		}
	}
	return strconv.Itoa(n) + end
}

// Stem is the number that both parts of one split bar have in common; the bars of the
// first and of the second time are two.
func Stem(name string) string {
	if at := strings.Index(name, pickupTo); at > 0 {
		return name[:at]
	}
	return strings.TrimSuffix(name, secondPart)
}

// PickupName is what players call an upbeat that stands before the first bar line.
const PickupName = "pickup"

// Pickup says that a measure is the upbeat the part begins with: not counted, or
// printed as 0, and shorter than the meter.
func Pickup(p *score.Part, measure int) bool {
	m := &p.Measures[measure]
	return measure == 0 && (m.Implicit || m.Number == "0") && Offset(p, 0) > 0
}

// FindRepeats marks the measures of which another has the same name, as where several
// movements stand in one file. A part is marked once, when it is made: asking at each
// place would read all measures each time.
func FindRepeats(p *score.Part) {
	type called struct{ number, name string }
	times := map[called]int{}
	for i := range p.Measures {
		times[called{p.Measures[i].Number, Name(p, i)}]++
	}
	for i := range p.Measures {
		p.Measures[i].Repeated = times[called{p.Measures[i].Number, Name(p, i)}] > 1
	}
}

// Label is what to print for a measure in a table: Name, "pickup" or "pickup to 11";
// where names repeat with the place in the file, counted from 1: "46 (@143)".
func Label(p *score.Part, measure int) string {
	switch {
	case Pickup(p, measure):
		return PickupName
	case p.Measures[measure].Repeated:
		return fmt.Sprintf("%s (@%d)", score.SpokenNumber(Name(p, measure)), measure+1)
	}
	return score.SpokenNumber(Name(p, measure))
}

// Place is a measure as decisions and options take it: its name, where names repeat
// its place in the file: "46", "@143".
func Place(p *score.Part, measure int) string {
	if p.Measures[measure].Repeated {
		return fmt.Sprintf("@%d", measure+1)
	}
	return Name(p, measure)
}

// Called is what to call a measure in a sentence: "measure 12", "the pickup".
func Called(p *score.Part, measure int) string {
	if Pickup(p, measure) {
		return "the " + PickupName
	}
	if label := Label(p, measure); strings.HasPrefix(label, PickupName) {
		return "the " + label
	}
	return "measure " + Label(p, measure)
}

// Range names measures from one to another, both included: "measure 3",
// "measures 3 to 6", "pickup to measure 3".
func Range(p *score.Part, first, last int) string {
	switch {
	case first == last && Pickup(p, first):
		return PickupName
	case first == last:
		return Called(p, first)
	case Pickup(p, first):
		return PickupName + " to " + Called(p, last)
	case strings.HasPrefix(Label(p, first), PickupName), strings.HasPrefix(Label(p, last), PickupName):
		return Called(p, first) + " to " + Called(p, last)
	}
	return "measures " + Label(p, first) + " to " + Label(p, last)
}
