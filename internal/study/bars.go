package study

import (
	"fmt"
	"strings"

	"pochette/internal/timeline"
)

// Bars is a range of measures by index, both ends included.
type Bars struct{ First, Last int }

// Has says that a measure lies in the range.
func (b Bars) Has(measure int) bool { return measure >= b.First && measure <= b.Last }

// Bars reads a range of printed measure numbers, "5-12" or "7"; "" is all.
func (s *Study) Bars(text string) (Bars, error) {
	all := Bars{0, len(s.Part.Measures) - 1}
	text = strings.TrimSpace(text)
	if text == "" {
		return all, nil
	}
	first, last := text, text
	if s.measure(text, true) < 0 {
		if a, b, ok := strings.Cut(text, "-"); ok {
			first, last = strings.TrimSpace(a), strings.TrimSpace(b)
		}
	}
	out := Bars{s.measure(first, true), s.measure(last, false)}
	for i, at := range []int{out.First, out.Last} {
		if at < 0 {
			return all, fmt.Errorf("--bars %q: no measure %q; the part goes from %s to %s", text, []string{first, last}[i], timeline.Name(s.Part, 0), timeline.Name(s.Part, all.Last))
		}
	}
	if out.First > out.Last {
		return all, fmt.Errorf("--bars %q: %s comes after %s", text, first, last)
	}
	return out, nil
}

// measure is the first or the last measure with a printed number, -1 for none.
func (s *Study) measure(number string, first bool) int {
	found := -1
	for i := range s.Part.Measures {
		if name := timeline.Name(s.Part, i); name != number && timeline.Label(s.Part, i) != number && strings.TrimSuffix(name, " (second part)") != number {
			continue
		}
		if found = i; first {
			break
		}
	}
	return found
}
