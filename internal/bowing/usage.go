package bowing

import (
	"math"

	"pochette/internal/score"
)

// The bow as a measure. Sources: RESEARCH.md, "Bow physics": hair about 650 mm,
// speeds between 0.05 and 1 m/s (from memory there). The bows of viola and cello
// are a little shorter; the difference is left out.
const (
	HairLength   = 0.650 // metres
	SlowestBow   = 0.05  // metres a second, the least that still speaks, at pp
	FastestBow   = 1.0   // metres a second
	loudnessStep = 1.25  // how much faster the slowest bow must be for each step of loudness; ours
)

// What a sign leaves of a note's length for the bow (common practice, no
// source: a dot halves it), and what an accent adds to its loudness.
const (
	staccatoLength      = 0.5
	staccatissimoLength = 0.25
	detachedLength      = 0.75
	accentSteps         = 1
)

// Use is how much of the hair a stroke takes, in lengths of the hair.
type Use struct {
	Least float64 // with the slowest bow that still speaks at this loudness; over 1 the bow runs out
	Asked float64 // as played if nothing else binds; never more than the hair unless Least is
	Most  float64 // with the fastest bow
}

// UseOf is the bow that a note of so many sounding seconds takes at a loudness.
//
// The slowest bow that speaks is SlowestBow at pp and a quarter faster with each
// step of loudness; the fastest is FastestBow; without other need the speed lies
// at their geometric middle, and a note too long for that slows down to fit.
// So a stroke uses bow in proportion to its length and the more the louder it is.
func UseOf(seconds float64, l Loudness) Use {
	return useAt(seconds, l).fitted()
}

// useAt leaves Asked unfitted, so that the uses of notes can be added.
func useAt(seconds float64, l Loudness) Use {
	slow := min(SlowestBow*math.Pow(loudnessStep, float64(l)), FastestBow)
	return Use{
		Least: seconds * slow / HairLength,
		Asked: seconds * math.Sqrt(slow*FastestBow) / HairLength,
		Most:  seconds * FastestBow / HairLength,
	}
}

func (u Use) plus(v Use) Use { return Use{u.Least + v.Least, u.Asked + v.Asked, u.Most + v.Most} }

func (u Use) fitted() Use {
	u.Asked = max(u.Least, min(u.Asked, 1))
	return u
}

// Even is the length of bow that two strokes in opposite directions both take
// when the second brings back what the first has spent: of the lengths possible
// for both the one that moves their speeds least, as the sum of squared log
// ratios, from what each asks. ok is false where no length serves both.
func Even(a, b Use) (share float64, ok bool) {
	lo, hi := max(a.Least, b.Least), min(a.Most, b.Most, 1)
	if lo > hi {
		return 0, false
	}
	return min(max(math.Sqrt(a.Asked*b.Asked), lo), hi), true
}

// useOfStroke adds up the notes of a stroke, each at its own loudness and as
// short as its signs ask. Grace notes take no bow of their own.
func (m *model) useOfStroke(s *Stroke) Use {
	var sum Use
	for i := s.First; i <= s.Last; i++ {
		e := &m.events[i]
		if e.Grace || e.Rest || e.Dur <= 0 {
			continue
		}
		long := m.seconds(e.Onset, e.Dur)
		switch {
		case m.hasMark(e, score.Staccatissimo, score.Spiccato):
			long *= staccatissimoLength
		case m.hasMark(e, score.DetachedLegato), m.hasMark(e, score.Staccato) && m.hasMark(e, score.Tenuto):
			long *= detachedLength
		case m.hasMark(e, score.Staccato):
			long *= staccatoLength
		}
		l := (m.loud.at(e.Onset) + m.loud.at(e.Onset+e.Dur-1)) / 2
		if m.accented(e) {
			l += accentSteps
		}
		sum = sum.plus(useAt(long, l))
	}
	return sum.fitted()
}

// Usage is the share of the hair that proposed stroke i asks for; 0 for what is
// plucked. It is more than 1 only where the bow runs out.
func (st *Study) Usage(i int) float64 { return st.Proposed[i].Use.Asked }
