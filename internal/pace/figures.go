package pace

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Figure is a dotted figure: a long note of three quarters of its frame, then the
// short one or the short ones.
type Figure struct {
	Measure   int
	Onset     score.Tick // of the long note
	Long      score.Tick // written
	Frame     score.Tick // long and short together
	Fraction  float64    // of the frame that the long note takes
	Event     int
	Slurred   bool // the short note is slurred to the long one
	Decided   bool
	ShortKeys int // how many short notes
}

// Name of a figure by its long note: "dotted eighth".
func (f *Figure) Name(quarter score.Tick) string { return FigureName(f.Long, quarter) }

// figureNames in quarters: the long note's length over a quarter note is num/den.
var figureNames = []struct {
	name     string
	num, den score.Tick
}{
	{"dotted half", 3, 1}, {"dotted quarter", 3, 2}, {"dotted eighth", 3, 4}, {"dotted sixteenth", 3, 8}, {"dotted thirty-second", 3, 16},
}

// FigureName names a dotted value; in a tuplet, where none fits, by its length.
func FigureName(long, quarter score.Tick) string {
	for _, n := range figureNames {
		if long*n.den == quarter*n.num {
			return n.name
		}
	}
	return fmt.Sprintf("long note of %.3g quarters", float64(long)/float64(quarter))
}

// FigureLong is the length of the long note of a figure by its name, "dotted eighth"
// or "eighth"; false where there is no such name or the score has no such value.
func FigureLong(name string, quarter score.Tick) (score.Tick, bool) {
	name = "dotted " + strings.TrimLeft(strings.TrimPrefix(name, "dotted"), " -")
	for _, n := range figureNames {
		if name == n.name {
			return quarter * n.num / n.den, quarter*n.num%n.den == 0
		}
	}
	return 0, false
}

// written is the share of a dotted figure's long note in print.
const written = 0.75

// knot moves a moment of a measure: at, from its beginning, is taken at to.
type knot struct{ at, to float64 }

// frame is a stretch of a measure whose inside moves and whose ends do not.
type frame struct {
	from, to score.Tick // from the beginning of the measure
	border   score.Tick
	share    float64 // of the frame, before the border
}

// frames of each measure in order, disjoint.
type frames [][]frame

// add puts a frame in unless it overlaps one that is there.
func (f frames) add(measure int, n frame) bool {
	i, _ := slices.BinarySearchFunc(f[measure], n.from, func(o frame, from score.Tick) int { return int(o.from - from) })
	if i > 0 && f[measure][i-1].to > n.from || i < len(f[measure]) && f[measure][i].from < n.to {
		return false
	}
	f[measure] = slices.Insert(f[measure], i, n)
	return true
}

// knots of a measure for the clock, without those that move nothing.
func (f frames) knots(measure int) []knot {
	var out []knot
	for _, n := range f[measure] {
		length := float64(n.to - n.from)
		if n.share*length == float64(n.border-n.from) {
			continue
		}
		out = append(out, knot{float64(n.from), float64(n.from)}, knot{float64(n.border), float64(n.from) + n.share*length}, knot{float64(n.to), float64(n.to)})
	}
	return out
}

// aligned says that a stretch of a length begins where one of its length may in the
// bar: at a multiple of it, in compound time counted inside the beat.
func (b *builder) aligned(measure int, at, length score.Tick) bool {
	p := b.in.Part
	m := &p.Measures[measure]
	off := timeline.Offset(p, measure) + at - m.Start
	if beat := timeline.Beat(m.Meter); beat > 0 && length <= beat {
		off %= beat
	}
	return length > 0 && off%length == 0
}

// divides says that a length is a value of the meter: its beat halved or doubled some
// times (in compound time its unit), or a third of the beat so, as in a dotted figure
// inside a triplet.
func divides(m score.Meter, length score.Tick) bool {
	beat, base := timeline.Beat(m), timeline.Unit(m)
	if base <= 0 {
		return true
	}
	third := length <= beat && binary(3*length, beat)
	return third || binary(length, base)
}

// binary says that one length is the other times a power of two.
func binary(a, b score.Tick) bool {
	if a < b {
		a, b = b, a
	}
	q := a / b
	return a%b == 0 && q&(q-1) == 0
}

// longestFrame is the longest dotted figure that bends, in felt beats: longer ones
// are heard as beats, not as a figure (common practice, no source).
const longestFrame = 2

// dotted finds the dotted figures and settles the share of each.
func (b *builder) dotted() {
	p := b.in.Part
	for i := range b.in.Events {
		e := &b.in.Events[i]
		if e.Rest || e.Grace || e.Dur <= 0 || e.Dur%3 != 0 || len(e.Struck) == 0 {
			continue
		}
		m := &p.Measures[e.Measure]
		whole := e.Dur / 3 * 4
		if e.Onset+whole > m.Start+m.Len || whole > longestFrame*max(timeline.Beat(m.Meter), b.in.Quarter) || !divides(m.Meter, whole) || !b.aligned(e.Measure, e.Onset, whole) {
			continue
		}
		shorts, slurred := b.shorts(i+1, e.Onset+e.Dur, e.Onset+whole)
		if shorts == 0 {
			continue
		}
		f := Figure{Measure: e.Measure, Onset: e.Onset, Long: e.Dur, Frame: whole, Fraction: written, Event: i, Slurred: slurred, ShortKeys: shorts}
		for k := range b.o.Decisions {
			if d := &b.o.Decisions[k]; d.Key == Dotting && d.forFigure(&f) {
				f.Fraction, f.Decided = d.Value, true
			}
		}
		if b.frames.add(e.Measure, frame{e.Onset - m.Start, e.Onset - m.Start + whole, e.Onset - m.Start + e.Dur, f.Fraction}) {
			b.plan.Figures = append(b.plan.Figures, f)
		}
	}
}

func (d *Decision) forFigure(f *Figure) bool {
	if d.Placed {
		return d.At == f.Onset
	}
	return (d.Long == 0 || d.Long == f.Long) && d.covers(f.Measure)
}

// shorts counts the notes struck from one moment to another, which have to fill it;
// slurred says that the first is bound to what is before it.
func (b *builder) shorts(i int, from, to score.Tick) (n int, slurred bool) {
	for ; i < len(b.in.Events) && b.in.Events[i].Onset < to; i++ {
		e := &b.in.Events[i]
		if e.Grace {
			continue
		}
		if e.Rest || n == 0 && e.Onset != from || e.Onset+e.Dur > to {
			return 0, false
		}
		if n == 0 {
			slurred = e.Slurred
		}
		n++
	}
	return n, slurred
}

// pairShare is how much of a slurred pair its first note takes beyond the half.
const pairShare = 0.03

// slurredPairs bends pairs of equal notes under a slur of their own.
func (b *builder) slurredPairs() {
	ev := b.in.Events
	for i := 0; i+1 < len(ev); i++ {
		if !b.pairOfTwo(i) || ev[i].Slurred || !ev[i+1].Slurred || i+2 < len(ev) && ev[i+2].Slurred {
			continue
		}
		amount := b.amountAt(Pairs, ev[i].Measure, b.o.Amounts.Pairs)
		if amount > 0 && b.frames.add(ev[i].Measure, b.halved(i, 0.5+min(pairShare*amount, 0.4))) {
			b.firstOfPair[i], b.secondOfPair[i+1] = true, true
		}
	}
}

// halved is the frame of the two events from i on.
func (b *builder) halved(i int, share float64) frame {
	ev := b.in.Events
	start := b.in.Part.Measures[ev[i].Measure].Start
	return frame{ev[i].Onset - start, ev[i+1].Onset + ev[i+1].Dur - start, ev[i+1].Onset - start, share}
}

// pairOfTwo says that two events are single equal notes that fill a place of the bar.
func (b *builder) pairOfTwo(i int) bool {
	x, y := &b.in.Events[i], &b.in.Events[i+1]
	return !x.Rest && !y.Rest && !x.Grace && !y.Grace && x.Dur == y.Dur && x.Dur > 0 && x.Measure == y.Measure &&
		x.Onset+x.Dur == y.Onset && len(x.Struck) > 0 && len(y.Struck) > 0 && b.aligned(x.Measure, x.Onset, 2*x.Dur)
}

// unequal bends pairs of equal notes by step that are shorter than the beat: a
// quarter of a beat where there are such in the bar, else half a beat. Dots or
// strokes over them, and leaps, keep them even (French treatises about 1700, from
// memory).
func (b *builder) unequal() {
	ev := b.in.Events
	b.plan.Inequality = 1
	for i := 0; i+1 < len(ev); i++ {
		if !b.pairOfTwo(i) || !b.bends(i) {
			continue
		}
		r := 1.0
		for k := range b.o.Decisions {
			if d := &b.o.Decisions[k]; d.Key == Inequality && d.covers(ev[i].Measure) {
				if r = d.Value; r == 0 { // by the tempo
					r = InequalityFor(b.in.Base.Quarter(ev[i].Onset) * b.tempoScale() * float64(b.in.Quarter) / float64(2*ev[i].Dur))
				}
			}
		}
		if r != 1 && b.frames.add(ev[i].Measure, b.halved(i, r/(1+r))) {
			b.plan.Inequality = r
			b.plan.Unequal++
			i++
		}
	}
}

// bends says that a pair may be unequal.
func (b *builder) bends(i int) bool {
	x, y := &b.in.Events[i], &b.in.Events[i+1]
	p := b.in.Part
	beat := timeline.Beat(p.Measures[x.Measure].Meter)
	unit := b.quickest[x.Measure]
	if beat <= 0 || unit >= beat || x.Dur != unit || len(x.Struck) != 1 || len(y.Struck) != 1 {
		return false
	}
	a, c := &p.Notes[x.Struck[0]], &p.Notes[y.Struck[0]]
	for _, k := range []score.MarkKind{score.Staccato, score.Staccatissimo} {
		if a.Has(k) || c.Has(k) {
			return false
		}
	}
	d := a.Sounding.Diatonic() - c.Sounding.Diatonic()
	return d == 1 || d == -1
}
