package listen

import (
	"fmt"
	"math"
	"slices"
)

// Pair is a dotted pair as played: the long note's share of the two.
type Pair struct {
	Note     int     // index of the long note among those measured
	Figure   string  // "dotted eighth and sixteenth"
	Fraction float64 // 0.75 as written where the ratio is 3:1
	Written  float64
	Planned  float64
	Slurred  bool
}

// Figure is what a kind of pair came to.
type Figure struct {
	Name            string
	Count           int
	Written         float64
	Mean, Median    float64
	Spread          float64 // standard deviation
	Lowest, Highest float64
}

// valueNames of the shorter note of a pair, in quarters.
var valueNames = []struct {
	quarters    float64
	short, long string
}{
	{1, "quarter", "half"}, {0.5, "eighth", "quarter"}, {0.25, "sixteenth", "eighth"}, {0.125, "thirty-second", "sixteenth"}, {0.0625, "sixty-fourth", "thirty-second"},
}

// Pairs finds the dotted pairs that were played through: a note three or seven times as
// long as the next, on a place of the bar where the pair fills a whole value, followed
// by a note at once.
func Pairs(l *Line, notes []Note, plan *Plan) []Pair {
	var out []Pair
	for i := 0; i+2 < len(notes); i++ {
		a, b, c := &l.Events[notes[i].Event], &l.Events[notes[i+1].Event], &l.Events[notes[i+2].Event]
		if !follows(notes, i+1) || !follows(notes, i+2) || a.Grace || b.Grace || c.Grace || a.Rest > 0 || b.Rest > 0 || a.Visit != b.Visit {
			continue
		}
		ratio := math.Round(a.Dur / b.Dur)
		if b.Dur <= 0 || math.Abs(a.Dur/b.Dur-ratio) > 1e-6 || ratio != 3 && ratio != 7 {
			continue
		}
		whole := a.Dur + b.Dur
		at := (a.At - l.Visits[a.Visit].At) / whole
		if math.Abs(at-math.Round(at)) > 1e-6 && !l.compound(a.Measure, a.At-l.Visits[a.Visit].At, b.Dur) {
			continue
		}
		name, ok := figureName(b.Dur, int(ratio))
		if !ok {
			continue
		}
		span := notes[i+2].Start - notes[i].Start
		p := Pair{Note: i, Figure: name, Written: ratio / (ratio + 1), Slurred: b.Slurred, Fraction: (notes[i+1].Start - notes[i].Start) / span}
		p.Planned = p.Written
		if plan.timed(l) {
			if s := plan.At[notes[i+2].Event] - plan.At[notes[i].Event]; s > 0 {
				p.Planned = (plan.At[notes[i+1].Event] - plan.At[notes[i].Event]) / s
			}
		}
		out = append(out, p)
	}
	return out
}

// compound: in compound meters a pair may stand on any place of its short note's own
// beat (as in a siciliana, where it opens the beat of three eighths).
func (l *Line) compound(measure int, at, short float64) bool {
	m := l.Part.Measures[measure].Meter
	if m.Num%3 != 0 || m.Den < 8 {
		return false
	}
	beat := 12 / float64(m.Den) // three units
	x := at / beat
	return math.Abs(x-math.Round(x)) < 1e-6 && 4*short < beat
}

// follows: note i was played right after the one before it, with nothing left out.
func follows(notes []Note, i int) bool {
	return !notes[i].Resumed && !notes[i].SkippedTo && notes[i].Missing == 0 && notes[i].Event == notes[i-1].Event+1
}

func figureName(short float64, ratio int) (string, bool) {
	for _, v := range valueNames {
		if math.Abs(v.quarters-short) < 1e-6 {
			if ratio == 3 {
				return fmt.Sprintf("dotted %s and %s", v.long, v.short), true
			}
			for _, w := range valueNames {
				if math.Abs(w.quarters-2*short) < 1e-6 {
					return fmt.Sprintf("double-dotted %s and %s", w.long, v.short), true
				}
			}
		}
	}
	return "", false
}

// Figures sums pairs up by their figure, the commonest first.
func Figures(pairs []Pair) []Figure {
	by := map[string][]float64{}
	written := map[string]float64{}
	var names []string
	for _, p := range pairs {
		if by[p.Figure] == nil {
			names = append(names, p.Figure)
		}
		by[p.Figure] = append(by[p.Figure], p.Fraction)
		written[p.Figure] = p.Written
	}
	slices.SortStableFunc(names, func(a, b string) int { return len(by[b]) - len(by[a]) })
	var out []Figure
	for _, n := range names {
		v := by[n]
		f := Figure{Name: n, Count: len(v), Written: written[n], Median: median(v), Lowest: slices.Min(v), Highest: slices.Max(v)}
		f.Mean, f.Spread = meanSpread(v)
		out = append(out, f)
	}
	return out
}

// meanSpread is the mean and the standard deviation (of a sample; 0 of one value).
func meanSpread(v []float64) (mean, spread float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	if len(v) < 2 {
		return mean, 0
	}
	for _, x := range v {
		spread += (x - mean) * (x - mean) / float64(len(v)-1)
	}
	return mean, math.Sqrt(spread)
}
