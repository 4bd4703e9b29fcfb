package bowing

import (
	"slices"
	"sort"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// wantsOf lists what speaks for one direction or the other at a stroke.
func (m *model) wantsOf(b int) []want {
	s := m.bow(b)
	ws := m.stretchWants(s.First, s.End())
	if m.insideSyncopation(b) {
		ws = slices.DeleteFunc(ws, func(w want) bool { return w.rule == BarStart })
	}
	ws = append(ws, m.startWants(b)...)
	ws = append(ws, m.endWants(b)...)
	ws = append(ws, m.lengthWants(s)...)
	return append(ws, m.hairpin(s)...)
}

// lengthWants: a stroke that is longer than the bow is a cost either way.
func (m *model) lengthWants(s *Stroke) []want {
	if u := m.useOfStroke(s); u.Least > 1 {
		return []want{{None, BowRunsOut, m.w[BowRunsOut] * (u.Least - 1)}}
	}
	return nil
}

// startWants is what the place of a stroke's beginning in the form asks.
func (m *model) startWants(b int) []want {
	var ws []want
	if m.opensPhrase(b) {
		ws = append(ws, want{Down, PhraseStart, m.w[PhraseStart] * m.slowness(m.bow(b).First, m.bow(b).End())})
	}
	if b > 0 && m.bow(b-1).End() < m.bow(b).Onset && m.loud.at(m.bow(b).Onset) <= softest && m.w[SoftEntry] > 0 {
		ws = append(ws, want{Up, SoftEntry, m.w[SoftEntry]})
	}
	return ws
}

// softest is the loudness up to which an entry counts as soft: p.
const softest Loudness = 1

// slowness is by how much a long stroke minds the meter less (rule long-stroke).
func (m *model) slowness(first int, end score.Tick) float64 {
	at := m.events[first].Onset
	if long := m.seconds(at, end-at); long > m.w[LongStroke] {
		return m.w[LongStroke] / long * m.w[LongStroke] / long
	}
	return 1
}

// endWants is what the end of the music asks.
func (m *model) endWants(b int) []want {
	var ws []want
	if b == m.last && m.ended() {
		ws = append(ws, want{Down, FinalNote, m.w[FinalNote]})
	}
	if w, ok := m.goesOn(b); ok {
		ws = append(ws, w)
	}
	return ws
}

// stretchWants is what a stroke from an event on to a tick wants of the meter,
// its chord and its accent.
func (m *model) stretchWants(first int, end score.Tick) []want {
	e := &m.events[first]
	for e.Grace && first+1 < len(m.events) && m.events[first+1].Onset == e.Onset {
		first++
		e = &m.events[first]
	}
	ws := m.meterWants(first, end)
	switch n := len(e.Struck); {
	case n >= 4:
		ws = append(ws, want{Down, ChordOfFour, m.w[ChordOfFour] * m.leadsRow(first)})
	case n == 3:
		ws = append(ws, want{Down, ChordOfThree, m.w[ChordOfThree] * m.leadsRow(first)})
	}
	if m.accented(e) {
		ws = append(ws, want{Down, Accented, m.w[Accented]})
	}
	return ws
}

// leadsRow is by how much less a chord minds its direction because it stands in a
// row of chords, without a rest between, that another of them leads (rule
// chords-in-row).
func (m *model) leadsRow(event int) float64 {
	if m.leads[event] {
		return 1
	}
	return m.w[ChordsInRow]
}

// chordRows sets m.leads: the chord at the strongest place of each row, of equals the
// first; a chord by itself leads too.
func (m *model) chordRows() {
	m.leads = make([]bool, len(m.events))
	lead, end := -1, score.Tick(0)
	for i := range m.events {
		e := &m.events[i]
		switch {
		case e.Grace:
			continue
		case len(e.Struck) < 3:
			lead = -1
			continue
		case lead >= 0 && end >= e.Onset:
			if e.Level < m.events[lead].Level {
				m.leads[lead], m.leads[i] = false, true
				lead = i
			}
		default:
			lead, m.leads[i] = i, true
		}
		end = e.Onset + e.Dur
	}
}

// meterWants compares the place where a stroke begins with the place it leads
// to: from the stronger to the weaker it is odd of its kind and goes down, from
// the weaker to the stronger even and goes up; between equals (syncopations,
// the middle of three) the meter is silent.
//
// A long stroke and one reached from a slur mind less (rules long-stroke and
// legato-start).
func (m *model) meterWants(first int, end score.Tick) []want {
	e := &m.events[first]
	ws := m.placeWants(e, m.levelAt(end))
	factor := m.slowness(first, end)
	if m.reachedLegato(first) || m.slursOn(first, end) {
		factor *= m.w[LegatoStart]
	}
	for i := range ws {
		ws[i].size *= factor
	}
	return ws
}

// slursOn says that the next event before end is slurred to this one.
func (m *model) slursOn(event int, end score.Tick) bool {
	i := event + 1
	return i < len(m.events) && m.events[i].Onset < end && m.events[i].Slurred &&
		!m.hasMark(&m.events[i], score.Staccato, score.Staccatissimo, score.Spiccato)
}

// reachedLegato says that the event before ends a slur and no rest lies between.
func (m *model) reachedLegato(event int) bool {
	for i := event - 1; i >= 0; i-- {
		if e := &m.events[i]; !e.Grace {
			return e.Slurred && len(e.Struck) > 0 && !m.hasMark(e, score.Staccato, score.Staccatissimo, score.Spiccato)
		}
	}
	return false
}

func (m *model) placeWants(e *timeline.Event, to int) []want {
	from := e.Level
	switch {
	case from == 0:
		return []want{{Down, BarStart, m.w[BarStart]}}
	case from < to:
		r := [...]int{StrongPart1, StrongPart1, StrongPart2, StrongPart3}[min(from, 3)]
		return []want{{Down, r, m.w[r]}}
	case from == 1 && to == 0 && m.triple(e.Measure):
		return []want{{Up, LeadInThird, m.w[LeadInThird]}}
	case from > to:
		r := [...]int{LeadInBar, LeadInHalf, LeadInBeat, LeadInPart}[min(to, 3)]
		return []want{{Up, r, m.w[r]}}
	}
	return nil
}

func (m *model) triple(measure int) bool {
	meter := m.p.Measures[measure].Meter
	return meter.Len > 0 && meter.Len == 3*timeline.Beat(meter)
}

// opensPhrase: a bar start at the opening, after a rest or after a double bar.
func (m *model) opensPhrase(b int) bool {
	s := m.bow(b)
	if m.mainEvent(s).Level != 0 {
		return false
	}
	if b == 0 || m.bow(b-1).End() < s.Onset {
		return true
	}
	return s.Onset == m.p.Measures[s.Measure].Start && m.sectionStarts(s.Measure)
}

func (m *model) accented(e *timeline.Event) bool {
	if m.sforzati[e.Onset] || m.hasMark(e, score.Accent, score.StrongAccent) {
		return true
	}
	for _, id := range e.Struck {
		if d, ok := m.p.Notes[id].Get(score.NoteDynamics); ok && sforzato(d.Text) {
			return true
		}
	}
	return false
}

// ended says that the music ends with the part. Only where the print says that it
// goes on, by an ordinary bar line at the end is the part
// taken as an excerpt: a file that names no bar line at its end leaves out the final
// one as a rule, and nothing is to come.
func (m *model) ended() bool {
	ms := m.p.Measures[len(m.p.Measures)-1]
	if ms.RepeatTimes > 0 || ms.Jump.Fine || ms.Jump.DaCapo || ms.Jump.DalSegno != "" {
		return true
	}
	switch ms.RightBar {
	case "regular", "dotted", "dashed", "tick", "short", "none":
		return false
	}
	return true
}

// goesOn: the last stroke of an excerpt that fills its last bar is followed by a
// bar that should begin down; coming out on a down-bow there costs a retake or
// a wrong bar, whichever is less.
func (m *model) goesOn(b int) (want, bool) {
	n := len(m.p.Measures) - 1
	s := m.bow(b)
	if b != len(m.bowed)-1 || m.ended() || s.End() < m.p.Measures[n].Start+m.p.Measures[n].Len || m.levelAt(s.End()) != 0 {
		return want{}, false
	}
	return want{Up, GoesOn, m.w[GoesOn] * min(m.w[BarStart], m.retake(s).cost)}, true
}

// hairpin: a long note (two beats or more) that grows or fades.
func (m *model) hairpin(s *Stroke) []want {
	meter := m.p.Measures[s.Measure].Meter
	if len(m.wedges) == 0 || meter.Len <= 0 || !m.single(s) || s.Dur < 2*timeline.Beat(meter) {
		return nil
	}
	from := sort.Search(len(m.wedges), func(i int) bool { return m.wedges[i].At >= s.Onset })
	for _, d := range m.wedges[from:] {
		if d.At >= s.End() {
			break
		}
		switch d.Text {
		case "crescendo":
			return []want{{Up, LongCrescendo, m.w[LongCrescendo]}}
		case "diminuendo":
			return []want{{Down, LongDiminuendo, m.w[LongDiminuendo]}}
		}
	}
	return nil
}

// against sums what speaks against a direction.
func against(ws []want, d Direction) float64 {
	sum := 0.0
	for _, w := range ws {
		if w.dir != d {
			sum += w.size
		}
	}
	return sum
}

func termsAgainst(ws []want, d Direction) []score.Term {
	var ts []score.Term
	for _, w := range ws {
		if w.dir != d && w.size > 0 {
			ts = append(ts, score.Term{Name: Rules[w.rule].Name, Value: w.size})
		}
	}
	return ts
}

// downWish is how much more a stroke minds being up than down.
func downWish(ws []want) float64 { return against(ws, Up) - against(ws, Down) }

// meterWish is downWish of the meter alone, chords, accents and the like aside.
func meterWish(ws []want) float64 {
	sum := 0.0
	for _, w := range ws {
		switch w.rule {
		case BarStart, PhraseStart, StrongPart1, StrongPart2, StrongPart3:
			sum += w.size
		case LeadInBar, LeadInThird, LeadInHalf, LeadInBeat, LeadInPart:
			sum -= w.size
		}
	}
	return sum
}
