package study

import (
	"fmt"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Bars is a range of measures by index, both ends included.
type Bars struct{ First, Last int }

// Has says that a measure lies in the range.
func (b Bars) Has(measure int) bool { return measure >= b.First && measure <= b.Last }

// Bars reads a range of printed measure numbers, "5-12" or "7"; "" is all.
func (s *Study) Bars(text string) (Bars, error) { return barsOf(s.Part, text) }

func barsOf(p *score.Part, text string) (Bars, error) {
	all := Bars{0, len(p.Measures) - 1}
	text = strings.TrimSpace(text)
	if text == "" {
		return all, nil
	}
	first, last := text, text
	if measureNumbered(p, text, true) < 0 {
		if a, b, ok := strings.Cut(text, "-"); ok {
			first, last = strings.TrimSpace(a), strings.TrimSpace(b)
		}
	}
	out := Bars{measureNumbered(p, first, true), measureNumbered(p, last, false)}
	for i, at := range []int{out.First, out.Last} {
		if at < 0 {
			return all, fmt.Errorf("--bars %q: no measure %q; the part goes from %s to %s", text, []string{first, last}[i], timeline.Name(p, 0), timeline.Name(p, all.Last))
		}
	}
	if out.First > out.Last {
		return all, fmt.Errorf("--bars %q: %s comes after %s", text, first, last)
	}
	return out, nil
}

// measureNumbered is the first or the last measure with a printed number, -1 for none.
func measureNumbered(p *score.Part, number string, first bool) int {
	found := -1
	for i := range p.Measures {
		if name := timeline.Name(p, i); name != number && timeline.Label(p, i) != number && strings.TrimSuffix(name, " (second part)") != number {
			continue
		}
		if found = i; first {
			break
		}
	}
	return found
}
