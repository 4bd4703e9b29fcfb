package pace

import (
	"sort"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// builder holds what is known while a plan is made.
type builder struct {
	in     Input
	o      Options
	plan   *Plan
	frames frames
	clock  *clock
	// quickest is the value of each measure that inequality is for.
	quickest                  []score.Tick
	firstOfPair, secondOfPair map[int]bool // events
	strokeOf                  []int        // of each event
	eventsOf                  [][2]int     // of each measure: first and one past the last
	tailOf                    [][]score.NoteID
	ends                      []score.Tick // of each note, ties counted in
	reasons                   [][]string   // of each measure
	taken                     map[place]float64
}

// place is a moment of a played bar.
type place struct {
	visit int
	at    score.Tick
}

// New plans a part. It never fails; a part without measures gives an empty plan.
func New(in Input, o Options) *Plan {
	b := &builder{in: in, o: o, plan: &Plan{Inequality: 1}, firstOfPair: map[int]bool{}, secondOfPair: map[int]bool{}, taken: map[place]float64{}}
	visits, complete := timeline.PlayOrder(in.Part)
	b.plan.Complete = complete
	if len(visits) == 0 {
		return b.plan
	}
	b.whole()
	b.index()
	b.dotted()
	b.unequal()
	b.slurredPairs()
	b.lay(visits)
	b.broadenings()
	b.powers()
	b.breaths()
	b.clock.run()
	b.bars()
	b.notes()
	b.plan.clock = b.clock
	b.plan.Findings = b.check()
	return b.plan
}

// whole takes decisions for the whole part into the amounts.
func (b *builder) whole() {
	a := &b.o.Amounts
	amounts := map[Key]*float64{Arch: &a.Arch, GiveTake: &a.GiveTake, Breath: &a.Breath, Hold: &a.Hold, Pairs: &a.Pairs, Accent: &a.Accent,
		Tension: &a.Tension, Dynamics: &a.Dynamics, Articulation: &a.Articulation}
	for i := range b.o.Decisions {
		d := &b.o.Decisions[i]
		if x := amounts[d.Key]; x != nil && d.whole() {
			*x = d.Value
			if d.Key == Breath && d.Taken {
				a.BreathTaken = true
			}
		}
	}
}

// amountAt is an amount in a measure: that of the last decision which covers it.
func (b *builder) amountAt(k Key, measure int, usual float64) float64 {
	if d := b.decided(k, measure); d != nil {
		return d.Value
	}
	return usual
}

// decided is the last decision of a kind for a measure as a whole.
func (b *builder) decided(k Key, measure int) *Decision {
	for i := len(b.o.Decisions) - 1; i >= 0; i-- {
		if d := &b.o.Decisions[i]; d.Key == k && !d.Placed && d.covers(measure) {
			return d
		}
	}
	return nil
}

// index prepares the look-ups by measure, event and note.
func (b *builder) index() {
	p, ev := b.in.Part, b.in.Events
	n := len(p.Measures)
	b.frames = make(frames, n)
	b.reasons = make([][]string, n)
	b.eventsOf = make([][2]int, n)
	for m := range p.Measures {
		b.eventsOf[m][0] = sort.Search(len(ev), func(i int) bool { return ev[i].Measure >= m })
		b.eventsOf[m][1] = sort.Search(len(ev), func(i int) bool { return ev[i].Measure > m })
	}
	b.tailOf = make([][]score.NoteID, n)
	b.ends = make([]score.Tick, len(p.Notes))
	for i := len(p.Notes) - 1; i >= 0; i-- { // ties lead forward
		x := &p.Notes[i]
		b.ends[i] = x.End()
		if x.TieTo > score.NoteID(i) {
			b.ends[i] = max(b.ends[i], b.ends[x.TieTo])
		}
		if !x.Rest && !x.Cue && !x.Unpitched && x.TieFrom != score.NoNote && x.Onset == p.Measures[x.Measure].Start {
			b.tailOf[x.Measure] = append(b.tailOf[x.Measure], x.ID)
		}
	}
	b.strokes()
	b.quickest = make([]score.Tick, n)
	for m := range p.Measures {
		b.quickest[m] = b.unequalValue(m)
	}
}

// strokes finds the stroke of each event; -1 where none is known.
func (b *builder) strokes() {
	b.strokeOf = make([]int, len(b.in.Events))
	for i := range b.strokeOf {
		b.strokeOf[i] = -1
	}
	for s, st := range b.in.Strokes {
		for e := max(0, st.First); e <= st.Last && e < len(b.strokeOf); e++ {
			b.strokeOf[e] = s
		}
	}
}

// unequalValue is the value that inequality is for in a measure: a quarter of the
// beat where there are such, else half of it; in compound time half the unit.
func (b *builder) unequalValue(m int) score.Tick {
	meter := b.in.Part.Measures[m].Meter
	beat := timeline.Beat(meter)
	if timeline.Compound(meter) {
		return timeline.Unit(meter) / 2
	}
	for _, e := range b.in.Events[b.eventsOf[m][0]:b.eventsOf[m][1]] {
		if !e.Rest && e.Dur > 0 && e.Dur*4 == beat {
			return e.Dur
		}
	}
	return beat / 2
}

// lay makes the clock with the tempo of each played bar.
func (b *builder) lay(visits []timeline.Visit) {
	p := b.in.Part
	c := &clock{p: p, base: b.in.Base, visits: visits, knots: make([][]knot, len(p.Measures)), power: make([]float64, len(visits)),
		ratio: make([]float64, len(visits)), pos: make([]float64, len(visits)+1), pauses: make([][]pause, len(visits))}
	for m := range p.Measures {
		c.knots[m] = b.frames.knots(m)
	}
	for v, visit := range visits {
		m := &p.Measures[visit.Measure]
		c.power[v] = 1
		c.ratio[v] = b.tempoRatio(visit.Measure)
		c.pos[v+1] = c.pos[v] + b.in.Base.Seconds(m.Start, m.Start+m.Len)
	}
	b.clock = c
}

// feltTempo is the base's tempo of a measure in felt beats a minute; 0 for one
// without length.
func (b *builder) feltTempo(measure int) float64 {
	m := &b.in.Part.Measures[measure]
	s := b.in.Base.Seconds(m.Start, m.Start+m.Len)
	if s <= 0 {
		return 0
	}
	return 60 * float64(m.Len) / float64(b.beat(measure)) / s
}

// beat is the felt beat of a measure, a quarter where it has no meter.
func (b *builder) beat(measure int) score.Tick {
	if t := timeline.Beat(b.in.Part.Measures[measure].Meter); t > 0 {
		return t
	}
	return max(1, b.in.Quarter)
}

// beatSeconds is how long it lasts by the base.
func (b *builder) beatSeconds(measure int) float64 {
	if t := b.feltTempo(measure); t > 0 {
		return 60 / t / b.tempoScale()
	}
	return 0.5
}

// tempoScale is what a tempo decided for the whole makes of the base, which keeps
// its own changes: the first bar has the tempo that was said.
func (b *builder) tempoScale() float64 {
	scale := 1.0
	for i := range b.o.Decisions {
		d := &b.o.Decisions[i]
		if d.Key != Tempo || !d.whole() {
			continue
		}
		for m := range b.in.Part.Measures {
			if felt := b.feltTempo(m); felt > 0 {
				scale = d.Value / felt
				break
			}
		}
	}
	return scale
}

// baseRatio is the tempo of a measure over the printed one, as decided; told says that
// it was decided for these bars.
func (b *builder) baseRatio(measure int) (ratio float64, told bool) {
	if d := b.decided(Tempo, measure); d != nil && !d.whole() {
		if felt := b.feltTempo(measure); felt > 0 {
			return d.Value / felt, true
		}
	}
	return b.tempoScale(), false
}

// tempoRatio adds the arch of the phrase.
func (b *builder) tempoRatio(measure int) float64 {
	r, told := b.baseRatio(measure)
	amount := b.amountAt(Arch, measure, b.o.Amounts.Arch)
	if told || amount == 0 {
		return r
	}
	m := &b.in.Part.Measures[measure]
	mid := m.Start + m.Len/2
	for _, f := range b.in.Facts.Phrases {
		if mid >= f.From && mid < f.To {
			return r * ArchTempo(float64(mid-f.From)/float64(f.To-f.From), amount)
		}
	}
	return r
}
