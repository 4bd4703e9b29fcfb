package bowing

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Syncopated notes. In the treatise of 1756, ch. IV, they alternate, over the bar
// line too: p. 79 no. 1 and p. 82 no. 1 print the second bar up-bow, since the
// first leaves the bow there. So none is linked (rule link-syncopated), and a bar
// that begins inside a row of them asks for no direction.

// syncopated says that the stroke is one note held over a stronger place of the
// meter than the one where it begins.
func (m *model) syncopated(s *Stroke) bool {
	e := m.mainEvent(s)
	if !m.single(s) || e.Grace {
		return false
	}
	i := s.Measure
	for ; i < len(m.p.Measures) && m.p.Measures[i].Start < s.End(); i++ {
		meter := m.p.Measures[i].Meter
		beat := timeline.Beat(meter)
		if start := m.p.Measures[i].Start; start > s.Onset && e.Level > 0 {
			return true
		}
		for _, unit := range []score.Tick{beat, beat / 2, beat / 4} {
			if unit <= 0 {
				break
			}
			zero := m.p.Measures[i].Start - timeline.Offset(m.p, i)
			next := zero + ((s.Onset-zero)/unit+1)*unit
			for ; next < min(s.End(), m.p.Measures[i].Start+m.p.Measures[i].Len); next += unit {
				if m.levelAt(next) < e.Level {
					return true
				}
			}
		}
	}
	return false
}

// insideSyncopation says that bow b begins a bar in the middle of a row of
// syncopated notes: the next is one, and one of the two before it in the row.
func (m *model) insideSyncopation(b int) bool {
	if b < 1 || b+1 >= len(m.bowed) || m.mainEvent(m.bow(b)).Level != 0 {
		return false
	}
	joined := func(x int) bool { return x > 0 && m.bow(x-1).End() >= m.bow(x).Onset }
	before := joined(b) && (m.syncopated(m.bow(b-1)) || joined(b-1) && m.syncopated(m.bow(b-2)))
	return before && joined(b+1) && m.syncopated(m.bow(b+1))
}
