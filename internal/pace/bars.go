package pace

import (
	"fmt"
	"math"

	"pochette/internal/timeline"
)

// bars fills the played bars with what was planned for them, and says why.
func (b *builder) bars() {
	p, c := b.in.Part, b.clock
	for v, visit := range c.visits {
		m := &p.Measures[visit.Measure]
		bar := Bar{Visit: visit, Start: c.start[v], Seconds: c.start[v+1] - c.start[v], Power: c.power[v], Broadens: c.broadens(v)}
		for _, q := range c.pauses[v] {
			bar.Pause += q.seconds
		}
		ratio, told := b.baseRatio(visit.Measure)
		bar.Base = b.feltTempo(visit.Measure) * ratio
		if moving := c.span(v, c.pos[v+1]-c.pos[v]); moving > 0 {
			bar.Tempo = 60 * float64(m.Len) / float64(b.beat(visit.Measure)) / moving
		}
		if told {
			bar.Reasons = append(bar.Reasons, fmt.Sprintf("tempo: decided, %.4g felt beats a minute", bar.Base))
		} else if arch := c.ratio[v] / ratio; math.Abs(arch-1) >= 0.0005 {
			bar.Reasons = append(bar.Reasons, b.archReason(visit.Measure, arch))
		}
		if bar.Power != 1 {
			bar.Reasons = append(bar.Reasons, b.reasons[visit.Measure]...)
		}
		b.plan.Bars = append(b.plan.Bars, bar)
	}
	for i := range b.plan.Broadenings {
		br := &b.plan.Broadenings[i]
		for v := br.FirstBar; v <= br.LastBar; v++ {
			bar := &b.plan.Bars[v]
			br.Seconds += c.span(v, c.pos[v+1]-c.pos[v]) - (c.pos[v+1]-c.pos[v])/c.ratio[v]
			bar.Reasons = append(bar.Reasons, "broadening: "+br.Why)
		}
	}
	for i := range b.plan.Breaths {
		n := &b.plan.Breaths[i]
		b.plan.Bars[n.Bar].Reasons = append(b.plan.Bars[n.Bar].Reasons, n.says(p))
	}
}

func (b *builder) archReason(measure int, ratio float64) string {
	m := &b.in.Part.Measures[measure]
	mid := m.Start + m.Len/2
	for _, f := range b.in.Facts.Phrases {
		if mid >= f.From && mid < f.To {
			where := "in the middle"
			switch u := float64(mid-f.From) / float64(f.To-f.From); {
			case u < 1./3:
				where = "near the beginning"
			case u > 2./3:
				where = "near the end"
			}
			return fmt.Sprintf("arch: %+.1f %%, the bar lies %s of its phrase (from %s to %s)", 100*(ratio-1), where,
				timeline.Called(b.in.Part, b.measureAt(f.From)), timeline.Called(b.in.Part, b.measureAt(f.To-1)))
		}
	}
	return ""
}
