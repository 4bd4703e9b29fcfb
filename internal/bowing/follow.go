package bowing

import (
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// following is a way to play a stroke in the direction of the one before.
type following struct {
	kind  Change
	cost  float64
	terms []score.Term
}

func (f following) plus(m *model, rule int, size float64) following {
	return following{f.kind, f.cost + size, append(slices.Clip(f.terms), score.Term{Name: Rules[rule].Name, Value: size})}
}

// followings finds for every link the cheapest way to go on down (0) and up (1).
func (m *model) followings() {
	m.same = make([][2]following, len(m.links))
	for i, l := range m.links {
		m.same[i] = [2]following{m.sameWay(l, Down), m.sameWay(l, Up)}
	}
}

// sameAs is the way of link i in a direction.
func (m *model) sameAs(i int, d Direction) following { return m.same[i][d-Down] }

// sameWay is the cheapest way to play bow b after bow a, both in direction d.
func (m *model) sameWay(l link, d Direction) following {
	a, b := m.bow(l.a), m.bow(l.b)
	if l.gap > 0 {
		return following{kind: AfterRest}.plus(m, RestartAfterRest, m.w[RestartAfterRest]).plus(m, RestHaste, m.w[RestHaste]/l.gap)
	}
	best := m.retake(a)
	if m.chord(b) {
		if c := (following{kind: Retake}).plus(m, RetakeChords, m.w[RetakeChords]).plus(m, RetakeHaste, m.haste(a)); m.chord(a) && c.cost < best.cost {
			best = c
		}
	}
	if m.legato(a) || m.legato(b) {
		best = best.plus(m, RetakeLegato, m.w[RetakeLegato])
	}
	if meterWish(m.wants[l.b]) <= 0 || !m.onBeat(b) {
		best = best.plus(m, RetakeToWeak, m.w[RetakeToWeak])
	}
	if m.w[RetakeEvenBar] > 0 && m.evenBar(b) {
		best = best.plus(m, RetakeEvenBar, m.w[RetakeEvenBar])
	}
	if d == Up {
		best = best.plus(m, RetakeUp, m.w[RetakeUp])
	}
	if !m.askedSame(l) && !m.liftedAlready(a) {
		best = m.tooQuick(best, m.seconds(a.Onset, m.lastLength(a)), liftLeast)
	}
	if l.jump {
		return best
	}
	if f, ok := m.linked(a, b); ok {
		if !m.askedSame(l) {
			f = m.tooQuick(f, m.seconds(a.Onset, m.mainEvent(a).Dur+m.mainEvent(b).Dur), linkLeast)
		}
		if f.cost < best.cost {
			best = f
		}
	}
	return best
}

// evenBar: the stroke begins the second, fourth ... bar of its phrase, counted
// from the bar that opens its section.
func (m *model) evenBar(s *Stroke) bool {
	if m.mainEvent(s).Level != 0 {
		return false
	}
	if m.barOf == nil {
		m.countBars()
	}
	return m.barOf[s.Measure]%2 == 1
}

// countBars sets m.barOf: how many counted bars stand before each measure in its
// section.
func (m *model) countBars() {
	m.barOf = make([]int, len(m.p.Measures))
	for i := 1; i < len(m.barOf); i++ {
		switch {
		case m.sectionStarts(i):
		case m.p.Measures[i-1].Implicit:
			m.barOf[i] = m.barOf[i-1]
		default:
			m.barOf[i] = m.barOf[i-1] + 1
		}
	}
}

// sectionStarts: measure i begins after a repeat sign or a double bar.
func (m *model) sectionStarts(i int) bool {
	left, prev := &m.p.Measures[i], &m.p.Measures[max(0, i-1)]
	return left.RepeatStart || prev.RepeatTimes > 0 || strings.HasPrefix(prev.RightBar, "light-")
}

// retake lifts the bow after a and sets it again.
func (m *model) retake(a *Stroke) following {
	f := following{kind: Retake}
	if m.liftedAlready(a) {
		return f.plus(m, RetakeLifted, m.w[RetakeLifted])
	}
	return f.plus(m, RetakeLift, m.w[RetakeLift]).plus(m, RetakeHaste, m.haste(a))
}

// liftedAlready: the print takes the bow off after the stroke.
func (m *model) liftedAlready(a *Stroke) bool {
	return m.hasMark(&m.events[a.Last], score.BreathMark, score.Caesura, score.Fermata)
}

// haste is what the shortness of a stroke's last note adds to a lift after it.
func (m *model) haste(a *Stroke) float64 {
	t := max(m.seconds(a.Onset, m.lastLength(a)), 0.05)
	return m.w[RetakeHaste] / (t * t)
}

// onBeat says that the stroke begins on a felt beat; without a meter every place is one.
func (m *model) onBeat(s *Stroke) bool {
	ms := &m.p.Measures[s.Measure]
	beat := timeline.Beat(ms.Meter)
	return beat <= 0 || (timeline.Offset(m.p, s.Measure)+s.Onset-ms.Start)%beat == 0
}

// legato says that the stroke slurs notes together, not dotted ones.
func (m *model) legato(s *Stroke) bool {
	return !m.single(s) && !m.hasMark(&m.events[s.Last], score.Staccato, score.Staccatissimo, score.Spiccato)
}

func (m *model) chord(s *Stroke) bool { return len(m.mainEvent(s).Struck) >= 3 }

// linked takes b in the direction of a without lifting: each a single note (a
// may be a chord, b may not), b the weaker and the last of its group: so are
// all links that the treatise of 1756 prints (ch. IV, pp. 74, 75, 82, 83).
func (m *model) linked(a, b *Stroke) (following, bool) {
	ea, eb := m.mainEvent(a), m.mainEvent(b)
	closes := eb.Level >= ea.Level && m.levelAt(b.End()) < eb.Level // b is weaker, and its group ends with it
	if !m.single(a) || !m.single(b) || m.chord(b) || !closes {
		return following{}, false
	}
	rule := LinkPair
	if ratio := float64(ea.Dur) / float64(max(1, eb.Dur)); ratio >= 1.9 && ratio <= 8 {
		rule = LinkDotted
	}
	f := following{kind: Link}.plus(m, rule, m.w[rule])
	short := max(m.seconds(a.Onset, min(ea.Dur, eb.Dur)), 0.01)
	if m.syncopated(a) || m.syncopated(b) {
		f = f.plus(m, LinkSyncopated, m.w[LinkSyncopated])
	}
	return f.plus(m, LinkHaste, m.w[LinkHaste]/short), true
}

// Seconds up to which there is no time (rule too-quick): for two notes with the bow
// stopped between them (two sixteenths at 100 quarters a minute), and for one with a
// lift after it.
const (
	linkLeast = 0.3
	liftLeast = 0.2
)

// tooQuick adds what it costs to do in some seconds what takes more.
func (m *model) tooQuick(f following, seconds, least float64) following {
	if seconds > least+1e-9 {
		return f
	}
	r := least / max(seconds, 0.01)
	return f.plus(m, TooQuick, m.w[TooQuick]*r*r)
}

// askedSame says that marks ask for both strokes of a link in one direction.
func (m *model) askedSame(l link) bool {
	return m.fixed[l.a] != None && m.fixed[l.a] == m.fixed[l.b]
}

// cut is where a slur would be split: at the event before which the second half
// begins; 0 where it cannot be.
type cut struct {
	at    int
	turn  bool   // the signs turn here: the slur must be split
	wants []want // of the second half
	first []want // of the first half
}

// cutOf picks the strongest place inside the slur, of equals the one nearest
// its middle.
func (m *model) cutOf(b int) cut {
	s := m.bow(b)
	at, turn := m.cutPlace(s), false
	switch {
	case m.turnAt[b] > 0 && !m.turnsBack[b]:
		at, turn = m.turnAt[b], true
	case m.inside[b] > 1:
		return cut{}
	}
	if at == 0 {
		return cut{}
	}
	one, two := *s, *s
	one.Last, two.First = at-1, at
	return cut{at: at, turn: turn,
		first: append(append(m.stretchWants(s.First, m.events[at].Onset), m.startWants(b)...), m.lengthWants(&one)...),
		wants: append(append(m.stretchWants(at, s.End()), m.endWants(b)...), m.lengthWants(&two)...)}
}

// cutPlace is the event before which a slur divides best, 0 for none.
func (m *model) cutPlace(s *Stroke) int {
	best := 0
	for i := s.First + 1; i <= s.Last; i++ {
		e := &m.events[i]
		if e.Grace || m.events[i-1].Grace || len(e.Held) > 0 && !m.reallyStruck(e) {
			continue
		}
		if best == 0 || e.Level < m.events[best].Level ||
			e.Level == m.events[best].Level && distance(e.Onset, s) < distance(m.events[best].Onset, s) {
			best = i
		}
	}
	return best
}

// reallyStruck says that nothing is tied over the beginning of the event.
func (m *model) reallyStruck(e *timeline.Event) bool {
	for _, id := range e.Held {
		if m.p.Notes[id].TieTo != score.NoNote {
			return false
		}
	}
	return true
}

func distance(at score.Tick, s *Stroke) score.Tick {
	d := 2*(at-s.Onset) - s.Dur
	return max(d, -d)
}
