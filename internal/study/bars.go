package study

import (
	"fmt"
	"strconv"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Bars is a range of measures by index, both ends included.
type Bars struct{ First, Last int }

// Has says that a measure lies in the range.
func (b Bars) Has(measure int) bool { return measure >= b.First && measure <= b.Last }

// Bars reads a range of printed measure numbers, "5-12" or "7", where numbers repeat
// of places in the file, "@48-@60"; "" is all.
func (s *Study) Bars(text string) (Bars, error) { return barsOf(s.Part, text) }

func barsOf(p *score.Part, text string) (Bars, error) {
	all := Bars{0, len(p.Measures) - 1}
	text = strings.TrimSpace(text)
	if text == "" {
		return all, nil
	}
	first, last := text, text
	if len(measuresNumbered(p, text)) == 0 {
		if a, b, ok := strings.Cut(text, "-"); ok {
			first, last = strings.TrimSpace(a), strings.TrimSpace(b)
		}
		if first == "" || last == "" {
			return all, OptionError{fmt.Errorf("--bars %q: want bars like 5-12, or one like 7", text)}
		}
	}
	from, err := oneMeasure(p, text, first)
	if err != nil {
		return all, err
	}
	to, err := oneMeasure(p, text, last)
	if err != nil {
		return all, err
	}
	if from.First > to.Last {
		return all, OptionError{fmt.Errorf("--bars %q: %s comes after %s", text, first, last)}
	}
	return Bars{from.First, to.Last}, nil
}

// oneMeasure is the measure with a number, with both its halves where it is split.
func oneMeasure(p *score.Part, text, number string) (Bars, error) {
	found := measuresNumbered(p, number)
	n := len(found)
	if at, ok := strings.CutPrefix(strings.TrimPrefix(number, "m"), "@"); n == 0 && ok {
		return Bars{}, OptionError{fmt.Errorf("--bars %q: there is no place @%s; @ counts the measures in the file, @1 to @%d", text, at, len(p.Measures))}
	}
	if n == 0 {
		return Bars{}, OptionError{fmt.Errorf("--bars %q: no measure %q; the part goes from %s to %s", text, number, timeline.Name(p, 0), timeline.Name(p, len(p.Measures)-1))}
	}
	if found[n-1]-found[0] == n-1 {
		last := found[n-1]
		for last+1 < len(p.Measures) && strings.HasPrefix(timeline.Name(p, last+1), number+" (") {
			last++ // the bar of the second time stands beside that of the first
		}
		return Bars{found[0], last}, nil
	}
	var places []string
	for i, m := range found {
		if i == 0 || m != found[i-1]+1 {
			places = append(places, fmt.Sprintf("@%d", m+1))
		}
	}
	return Bars{}, OptionError{fmt.Errorf("--bars %q: measure %s stands more than once in the part; say which by its place in the file, %s", text, number, list(places))}
}

// measuresNumbered lists the measures with a printed number, or the one at a place in
// the file.
func measuresNumbered(p *score.Part, number string) (out []int) {
	if at, ok := strings.CutPrefix(strings.TrimPrefix(number, "m"), "@"); ok {
		if n, err := strconv.Atoi(at); err == nil && n >= 1 && n <= len(p.Measures) {
			return []int{n - 1}
		}
		return nil
	}
	for i := range p.Measures {
		if name := timeline.Name(p, i); name == number || timeline.Label(p, i) == number || timeline.Stem(name) == number {
			out = append(out, i)
		}
	}
	return out
}
