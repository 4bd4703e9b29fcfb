package pace

import (
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// clock turns a moment of a played bar into seconds.
type clock struct {
	p      *score.Part
	base   timeline.Pace
	visits []timeline.Visit
	knots  [][]knot  // of each measure, see frames
	power  []float64 // of each visit
	ratio  []float64 // of each visit: its tempo over the base's
	pos    []float64 // base seconds before each visit, one more for the end
	zones  []zone    // disjoint, in order
	pauses [][]pause // of each visit, by place
	start  []float64 // of each visit, one more for the end
}

// pause is time put in at a place of a bar; sounding: the note before goes on.
type pause struct {
	at       score.Tick // from the beginning of the measure, up to its length
	seconds  float64
	sounding bool
}

// zone is a broadening in base seconds: from a to b along the curve, then at the
// last tempo to c.
type zone struct {
	a, b, c, w float64
}

// run sets the beginnings of all bars.
func (c *clock) run() {
	c.start = make([]float64, len(c.visits)+1)
	for v := range c.visits {
		sum := c.span(v, c.pos[v+1]-c.pos[v])
		for _, p := range c.pauses[v] {
			sum += p.seconds
		}
		c.start[v+1] = c.start[v] + sum
	}
}

// pause adds time at a place of a bar; of two at one place the longer holds.
func (c *clock) pause(v int, n pause) {
	for i := range c.pauses[v] {
		if o := &c.pauses[v][i]; o.at == n.at {
			if n.seconds > o.seconds {
				*o = n
			}
			return
		}
	}
	c.pauses[v] = append(c.pauses[v], n)
	slices.SortFunc(c.pauses[v], func(a, b pause) int { return int(a.at - b.at) })
}

// onset is when a note begins at a place of a bar (ticks from the beginning of the
// measure, up to its length), after the breaths that stand there.
func (c *clock) onset(v int, at score.Tick) float64 {
	if at >= c.length(v) {
		return c.start[v+1]
	}
	t := c.start[v] + c.moving(v, at)
	for _, p := range c.pauses[v] {
		if p.at <= at {
			t += p.seconds
		}
	}
	return t
}

// release is when a note ends there: before a breath, after a hold.
func (c *clock) release(v int, at score.Tick) float64 {
	t := c.start[v] + c.moving(v, at)
	for _, p := range c.pauses[v] {
		if p.at < at || p.at == at && p.sounding {
			t += p.seconds
		}
	}
	return t
}

func (c *clock) length(v int) score.Tick { return c.p.Measures[c.visits[v].Measure].Len }

// moving is the time from the beginning of the bar without pauses.
func (c *clock) moving(v int, at score.Tick) float64 {
	switch {
	case at <= 0:
		return 0
	case at >= c.length(v):
		return c.span(v, c.pos[v+1]-c.pos[v])
	}
	m := c.visits[v].Measure
	x := PowerMap(warp(c.knots[m], float64(at)), float64(c.length(v)), c.power[v])
	return c.span(v, c.metronome(m, x))
}

// warp moves a place inside the pairs that hold it.
func warp(knots []knot, x float64) float64 {
	i, found := slices.BinarySearchFunc(knots, x, func(k knot, x float64) int {
		if k.at < x {
			return -1
		}
		if k.at > x {
			return 1
		}
		return 0
	})
	if found {
		return knots[i].to
	}
	if i == 0 || i == len(knots) {
		return x // before the first or after the last frame
	}
	a, b := knots[i-1], knots[i]
	return a.to + (x-a.at)*(b.to-a.to)/(b.at-a.at)
}

// metronome is the base's time from the beginning of a measure to a place that may
// lie between two ticks.
func (c *clock) metronome(m int, x float64) float64 {
	start := c.p.Measures[m].Start
	whole := score.Tick(x)
	s := c.base.Seconds(start, start+whole)
	if rest := x - float64(whole); rest > 0 {
		s += rest * c.base.Seconds(start+whole, start+whole+1)
	}
	return s
}

// span is how long the first s base seconds of a bar take.
func (c *clock) span(v int, s float64) float64 {
	from := c.pos[v]
	return (s + c.slowed(from+s) - c.slowed(from)) / c.ratio[v]
}

// slowed is what all broadenings up to a moment of the base add.
func (c *clock) slowed(p float64) float64 {
	sum := 0.0
	for _, z := range c.zones {
		if p <= z.a {
			break
		}
		length := z.b - z.a
		x := min((p-z.a)/length, 1)
		sum += length * (RitardTime(x, z.w, ritardCurve) - x)
		if p > z.b {
			sum += (min(p, z.c) - z.b) * (1/z.w - 1)
		}
	}
	return sum
}

// Moment is when a tick of a played bar comes, in seconds; the end of its measure is
// the next bar line.
func (p *Plan) Moment(bar int, at score.Tick) float64 {
	return p.clock.onset(bar, at-p.clock.p.Measures[p.Bars[bar].Measure].Start)
}
