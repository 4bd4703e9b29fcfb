package pace

import (
	"fmt"
	"math"
	"sort"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// How slow the end of a movement and of a section inside it become, see Models.
const (
	endRatio     = 0.65
	sectionRatio = 0.88
)

// leastRatio bounds what an amount can make of a broadening.
const leastRatio = 0.3

// broadenings lays them out: the decided ones, then where nothing is decided the
// proposed at the end of movements and sections, the last time they are played.
func (b *builder) broadenings() {
	for i := range b.o.Decisions {
		if d := &b.o.Decisions[i]; d.Key == Broadening && !d.whole() {
			b.decidedBroadening(d)
		}
	}
	movement, section := b.endings()
	for _, v := range movement {
		b.broaden(v, b.endStart(v, 1), endRatio, "the movement ends here")
	}
	for _, v := range section {
		b.broaden(v, b.endStart(v, 0.5), sectionRatio, "a section ends here, for the last time")
	}
	sort.Slice(b.clock.zones, func(i, j int) bool { return b.clock.zones[i].a < b.clock.zones[j].a })
	sort.Slice(b.plan.Broadenings, func(i, j int) bool { return b.plan.Broadenings[i].FirstBar < b.plan.Broadenings[j].FirstBar })
}

// endings lists the last playings of the last measures of movements, and of sections
// that a sign ends inside them.
func (b *builder) endings() (movement, section []int) {
	p := b.in.Part
	last := make([]int, len(p.Measures)) // visit, -1 never played
	for m := range last {
		last[m] = -1
	}
	for v, visit := range b.clock.visits {
		last[visit.Measure] = v
	}
	starts := append(timeline.Movements(p), len(p.Measures))
	seen := map[int]bool{}
	for i, from := range starts[:len(starts)-1] {
		end := -1
		for m := from; m < starts[i+1]; m++ {
			end = max(end, last[m])
		}
		if end >= 0 {
			movement, seen[end] = append(movement, end), true
		}
	}
	for _, s := range b.in.Facts.Sections {
		if v := last[b.measureAt(s.To-1)]; s.Hard && v >= 0 && !seen[v] {
			section, seen[v] = append(section, v), true
		}
	}
	return movement, section
}

func (b *builder) measureAt(at score.Tick) int {
	ms := b.in.Part.Measures
	return max(0, sort.Search(len(ms), func(i int) bool { return ms[i].Start > at })-1)
}

// moment is a tick of a played bar.
type moment struct {
	visit int
	at    score.Tick // of the part
}

// endStart is where the broadening into the end of a played bar begins: so many bars
// before what the last phrase arrives at, on a beat.
func (b *builder) endStart(v int, bars float64) moment {
	p, vs := b.in.Part, b.clock.visits
	m := &p.Measures[vs[v].Measure]
	arrival := moment{v, m.Start}
	if e, ok := b.lastStruck(m.Index); ok {
		arrival.at = e.Onset
	}
	for w := v; w >= max(0, v-1); w-- {
		x := &p.Measures[vs[w].Measure]
		i := sort.Search(len(b.in.Facts.Phrases), func(i int) bool { return b.in.Facts.Phrases[i].Arrival >= x.Start+x.Len }) - 1
		if i >= 0 && b.in.Facts.Phrases[i].Arrival >= x.Start {
			arrival = moment{w, b.in.Facts.Phrases[i].Arrival}
			break
		}
	}
	beat := b.beat(m.Index)
	return b.backBy(arrival, max(score.Tick(bars*float64(max(m.Meter.Len, m.Len)))/beat*beat, beat))
}

// before says that a played bar is followed by one further on in the print, whether or
// not an ending is skipped between.
func (b *builder) before(v int) bool {
	vs := b.clock.visits
	return v > 0 && vs[v-1].Measure < vs[v].Measure
}

// backBy goes back from a moment in the order of play, no further than to where play
// came by a repeat.
func (b *builder) backBy(m moment, by score.Tick) moment {
	ms := b.in.Part.Measures
	for {
		x := &ms[b.clock.visits[m.visit].Measure]
		if m.at-by >= x.Start || !b.before(m.visit) {
			return moment{m.visit, max(m.at-by, x.Start)}
		}
		by -= m.at - x.Start
		m.visit--
		x = &ms[b.clock.visits[m.visit].Measure]
		m.at = x.Start + x.Len
	}
}

// backTo goes back from a played bar to a moment of the print.
func (b *builder) backTo(v int, from score.Tick) moment {
	ms := b.in.Part.Measures
	for ms[b.clock.visits[v].Measure].Start > from && b.before(v) {
		v--
	}
	x := &ms[b.clock.visits[v].Measure]
	return moment{v, min(max(from, x.Start), x.Start+x.Len)}
}

func (b *builder) lastStruck(measure int) (e timeline.Event, ok bool) {
	for i := b.eventsOf[measure][1] - 1; i >= b.eventsOf[measure][0]; i-- {
		if e := b.in.Events[i]; !e.Rest && !e.Grace {
			return e, true
		}
	}
	return e, false
}

// broaden lays a proposed broadening that ends with a played bar.
func (b *builder) broaden(v int, from moment, ratio float64, why string) {
	amount := b.o.Amounts.Broadening
	decided := false
	for i := range b.o.Decisions {
		if d := &b.o.Decisions[i]; d.Key == Broadening && d.whole() {
			if ratio == endRatio { // what is said for the whole is its end
				ratio, amount, decided = d.Value, 1, true
			} else if d.Value == 1 {
				return
			}
		}
	}
	if w := max(leastRatio, 1-amount*(1-ratio)); w < 1 {
		b.zone(v, from, w, decided, why)
	}
}

// decidedBroadening lays one for some bars, or from a place to the end of its movement,
// the last time they are played.
func (b *builder) decidedBroadening(d *Decision) {
	p := b.in.Part
	last := d.Last
	from := p.Measures[d.First].Start
	if d.Placed {
		from = d.At
		last = len(p.Measures) - 1
		for _, s := range timeline.Movements(p) {
			if s > d.First {
				last = s - 1
				break
			}
		}
	}
	for v := len(b.clock.visits) - 1; v >= 0; v-- {
		if m := b.clock.visits[v].Measure; m >= d.First && m <= last {
			if d.Value < 1 {
				b.zone(v, b.backTo(v, from), d.Value, true, "decided")
			}
			return
		}
	}
}

// zone puts a broadening in that ends with the played bar v. One that runs into
// another is left out: what was decided was laid first.
func (b *builder) zone(v int, from moment, w float64, decided bool, why string) {
	c, p := b.clock, b.in.Part
	measure := c.visits[v].Measure
	last, ok := b.lastStruck(measure)
	if !ok {
		return
	}
	first := c.visits[from.visit].Measure
	z := zone{a: c.pos[from.visit] + b.in.Base.Seconds(p.Measures[first].Start, from.at), c: c.pos[v+1], w: w}
	z.b = c.pos[v] + b.in.Base.Seconds(p.Measures[measure].Start, last.Onset)
	if z.b <= z.a {
		return
	}
	for _, o := range c.zones {
		if z.a < o.c && o.a < z.c {
			return
		}
	}
	c.zones = append(c.zones, z)
	why = fmt.Sprintf("%s: from beat %s of %s on the tempo goes down to %.0f %%", why, timeline.At(p, first, from.at, score.NoNote).Beat, timeline.Called(p, first), 100*w)
	b.plan.Broadenings = append(b.plan.Broadenings, Broadened{FirstBar: from.visit, LastBar: v, From: from.at, Ratio: w, Decided: decided, Why: why})
}

// broadens says that a broadening reaches into a played bar.
func (c *clock) broadens(v int) bool {
	for _, z := range c.zones {
		if z.a < c.pos[v+1] && c.pos[v] < z.c {
			return true
		}
	}
	return false
}

// powers sets the give and take of each bar. A bar that is not whole, that broadens,
// or in which fewer than three notes begin has none unless it is decided.
func (b *builder) powers() {
	p := b.in.Part
	of := make([]float64, len(p.Measures))
	for m := range p.Measures {
		of[m] = b.powerOf(m)
	}
	for v, visit := range b.clock.visits {
		if !b.clock.broadens(v) {
			b.clock.power[v] = of[visit.Measure]
		}
	}
}

func (b *builder) powerOf(m int) float64 {
	if d := b.decided(Power, m); d != nil {
		b.because(m, fmt.Sprintf("give and take: decided, power %.2f (%s)", d.Value, side(d.Value)))
		return d.Value
	}
	x := &b.in.Part.Measures[m]
	amount := b.amountAt(GiveTake, m, b.o.Amounts.GiveTake)
	if amount == 0 || x.Meter.Len <= 0 || x.Len < x.Meter.Len || b.begun(m) < 3 {
		return 1
	}
	centre, top, ok := b.tensionCentre(m)
	if !ok {
		return 1
	}
	i := powerFor(centre, amount)
	if math.Abs(i-1) < leastBend {
		return 1
	}
	why := fmt.Sprintf("give and take: power %.2f (%s), the centre of tension lies at %.0f %% of the bar", i, side(i), 100*centre)
	if top.Name != "" {
		why += fmt.Sprintf("; its most tense chord is %s", top.Name)
	}
	b.because(m, why)
	return i
}

// leastBend is what a power has to differ from 1 by to be proposed: the middle of the
// bar moves by half a per cent of it.
const leastBend = 0.015

// side says in which half of the bar a power takes its time.
func side(i float64) string {
	switch {
	case i > 1:
		return "time is taken late in the bar"
	case i < 1:
		return "time is taken early in the bar"
	}
	return "even"
}

func (b *builder) because(measure int, text string) {
	b.reasons[measure] = append(b.reasons[measure], text)
}

// begun counts the moments of a measure at which a note begins.
func (b *builder) begun(m int) (n int) {
	for _, e := range b.in.Events[b.eventsOf[m][0]:b.eventsOf[m][1]] {
		if !e.Rest && !e.Grace {
			n++
		}
	}
	return n
}

// tensionCentre is the centre of the tension of a measure as a share of its length,
// with the chord of the highest. Each moment weighs 1 and the tension over the least
// in the measure, in twice the standard deviation of the whole. ok is false where
// tension does not change.
func (b *builder) tensionCentre(m int) (centre float64, top Chord, ok bool) {
	x := &b.in.Part.Measures[m]
	from, to := x.Start, x.Start+x.Len
	low, high := math.Inf(1), math.Inf(-1)
	var in []Chord
	ch := b.in.Facts.Chords
	for i := sort.Search(len(ch), func(i int) bool { return ch[i].To > from }); i < len(ch) && ch[i].From < to; i++ {
		in = append(in, ch[i])
		low = min(low, ch[i].Tension)
		if ch[i].Tension > high {
			high, top = ch[i].Tension, ch[i]
		}
	}
	if len(in) < 2 || high <= low {
		return 0, top, false
	}
	_, sd := spread(ch)
	sum, moment := 0.0, 0.0
	for _, c := range in {
		a, z := float64(max(c.From, from)-from), float64(min(c.To, to)-from)
		w := (1 + (c.Tension-low)/(2*sd)) * (z - a)
		sum += w
		moment += w * (a + z) / 2
	}
	return moment / sum / float64(x.Len), top, true
}
