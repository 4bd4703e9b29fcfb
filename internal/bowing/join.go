package bowing

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// bind is a slur that the print does not have and that the plan may add: a few
// detached notes of one length inside a beat, taken in one stroke. It costs one
// change of the text whatever it binds.
type bind struct {
	first, last int // bows
	wants       []want
}

// bindLimit is the largest number of notes a new slur may bind.
const bindLimit = 8

// findBinds lists for each bow the slurs it may come under: the pair of a
// stronger and a weaker note, and all equal notes of a beat.
func (m *model) findBinds() {
	m.bindsOf = make([][]int, len(m.bowed))
	if !m.o.MayChangeSlurs {
		return
	}
	for a := range m.bowed {
		if b := a + 1; b < len(m.bowed) && m.joinable(m.bow(a), m.bow(b)) && m.bindable(a, b) {
			m.addBind(a, b)
		}
		if b := m.beatEnd(a); b > a+1 && m.bindable(a, b) {
			m.addBind(a, b)
		}
	}
}

// bindable: adjoining in time and on paper, none but the first marked.
func (m *model) bindable(a, b int) bool {
	for x := a + 1; x <= b; x++ {
		k := m.into[x]
		if m.fixed[x] != None || k < 0 || m.links[k].a != x-1 || m.links[k].gap > 0 || m.links[k].jump {
			return false
		}
	}
	return true
}

// beatEnd is the last bow of the beat that begins with bow a, if the beat is
// filled by single notes of one length without signs of separation; else a.
func (m *model) beatEnd(a int) int {
	s := m.bow(a)
	beat := timeline.Beat(m.p.Measures[s.Measure].Meter)
	if beat <= 0 || !m.onBeat(s) || !m.plain(s) {
		return a
	}
	size := m.mainEvent(s).Dur
	for b := a; b < len(m.bowed) && b-a < bindLimit; b++ {
		t := m.bow(b)
		if !m.plain(t) || m.mainEvent(t).Dur != size || t.Measure != s.Measure || t.End() > s.Onset+beat {
			return a
		}
		if t.End() == s.Onset+beat {
			return b
		}
	}
	return a
}

// plain: a single note, no chord, without a sign that sets it apart.
func (m *model) plain(s *Stroke) bool {
	return m.single(s) && !m.chord(s) &&
		!m.hasMark(m.mainEvent(s), score.Staccato, score.Staccatissimo, score.Spiccato, score.Accent, score.StrongAccent)
}

// joinable: two plain notes of one length, the second weaker.
func (m *model) joinable(a, b *Stroke) bool {
	ea, eb := m.mainEvent(a), m.mainEvent(b)
	return m.plain(a) && m.plain(b) && ea.Dur == eb.Dur && eb.Level > ea.Level && a.Measure == b.Measure
}

func (m *model) addBind(a, b int) {
	g := bind{first: a, last: b}
	ws := m.stretchWants(m.bow(a).First, m.bow(b).End())
	for i := range ws {
		ws[i].size *= m.w[LegatoStart]
	}
	g.wants = append(append(ws, m.startWants(a)...), m.endWants(b)...)
	for x := a; x <= b; x++ {
		m.bindsOf[x] = append(m.bindsOf[x], len(m.binds))
	}
	m.binds = append(m.binds, g)
}

// bindAt is the slur that a state of bow b puts it under, nil for none.
func (m *model) bindAt(b, state int) *bind {
	if state < stBound {
		return nil
	}
	return &m.binds[m.bindsOf[b][(state-stBound)/2]]
}

// under says that the state puts bow b inside a new slur, not at its head.
func (m *model) under(b, state int) bool {
	g := m.bindAt(b, state)
	return g != nil && g.first != b
}

// torn says that the states of the bows of a link do not agree on a new slur.
func (m *model) torn(l link, sa, sb int) bool {
	ga, gb := m.bindAt(l.a, sa), m.bindAt(l.b, sb)
	goes := ga != nil && ga.last != l.a   // must go on
	comes := gb != nil && gb.first != l.b // must have come
	if !goes && !comes {
		return false
	}
	return l.b != l.a+1 || ga != gb || entry(sa) != entry(sb)
}
