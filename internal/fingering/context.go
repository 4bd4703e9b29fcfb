package fingering

import (
	"math"
	"slices"

	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/timeline"
)

// moment is what the score says about an event and what lies around it, before
// anything is fingered: the costs of a grip may depend on it and the lattice
// stays of first order.
type moment struct {
	seconds float64
	key     int     // of the highest note struck, 0 for none
	slow    float64 // 0 where notes around last an eighth of a second, 1 from half a second on
	fresh   float64 // 1 for a new pitch, less where it sounded just before
	octave  int8    // 1: an octave above a neighbour, -1: below, 0: neither or both
	off     float64 // 0 on a beat, 0.5 on the half, 1 elsewhere
	low     bool    // nothing around goes beyond first position
	octaves bool    // a harmonic may be proposed, see harmonics.go
	inside  float64 // then 1 where it is not the top of its run
}

// windowNotes is how many notes on either side make up the surroundings.
const windowNotes = 6

// survey fills in what a moment knows of its neighbours.
func (pr *Problem) survey() {
	n := len(pr.layers)
	for i := range pr.layers {
		l := &pr.layers[i]
		l.at.key = pr.topKey(l)
		l.at.off = pr.offBeat(l)
	}
	for i := range pr.layers {
		from, to := max(0, i-windowNotes), min(n-1, i+windowNotes)
		logs := 0.0
		for j := from; j <= to; j++ {
			logs += math.Log2(max(0.03, pr.layers[j].at.seconds))
		}
		pr.layers[i].at.fresh = pr.fresh(i)
		pr.layers[i].at.octave = pr.octave(i)
		pr.layers[i].at.slow = min(1, max(0, (logs/float64(to-from+1)+3)/2))
	}
	pr.surveyHeight()
	for i := 1; i < n; i++ {
		p := &pr.layers[i].pass
		p.off = pr.layers[i].at.off
		p.slow = pr.layers[i].at.slow
		p.hides, p.group = pr.hides(i), pr.group(i)
		key := pr.layers[i].at.key
		p.turn = i > 1 && key > 0 && pr.layers[i-2].at.key == key || i+1 < n && key > 0 && pr.layers[i+1].at.key == pr.layers[i-1].at.key
	}
}

// surveyHeight finds the events around which all notes lie in first position.
func (pr *Problem) surveyHeight() {
	in := &pr.o.Instrument
	reach := 7 // semitones of the fourth finger there
	if in.Kind == instrument.CelloKind {
		reach = 5
	}
	top := 0
	for i := range in.Open {
		top = max(top, in.Open[i].MIDI())
	}
	first := make([]bool, len(pr.layers))
	for i := range first {
		first[i] = true
		for _, id := range pr.Events[pr.layers[i].event].Struck {
			first[i] = first[i] && (pr.p.Notes[id].Sounding.MIDI() <= top+reach || pr.touchedWithin(id, reach))
		}
	}
	for i := range pr.layers {
		from, to := max(0, i-windowNotes), min(len(pr.layers)-1, i+windowNotes)
		low := true
		for j := from; j <= to; j++ {
			low = low && first[j]
		}
		pr.layers[i].at.low = low
	}
}

func (pr *Problem) topKey(l *layer) int {
	top := 0
	for _, id := range pr.Events[l.event].Struck {
		top = max(top, pr.p.Notes[id].Sounding.MIDI())
	}
	return top
}

// offBeat says how far from a beat (a quarter note from the bar's beginning) an
// event begins.
func (pr *Problem) offBeat(l *layer) float64 {
	e := &pr.Events[l.event]
	q := max(1, int(pr.sc.Quarter))
	switch in := int(e.Onset-pr.p.Measures[e.Measure].Start) % q; {
	case e.Grace:
		return 1
	case in == 0:
		return 0
	case 2*in == q:
		return 0.5
	}
	return 1
}

// staleness of a pitch that sounded one, two or more notes before: a player
// decides once for a repeated note and for the two notes of a trill.
var stale = [...]float64{0, 0.2, 0.4, 0.7, 0.7}

func (pr *Problem) fresh(i int) float64 {
	key := pr.layers[i].at.key
	for d := 1; d < len(stale) && d <= i; d++ {
		if pr.layers[i-d].at.key == key {
			return stale[d]
		}
	}
	return 1
}

func (pr *Problem) octave(i int) int8 {
	up, down := false, false
	for _, j := range []int{i - 1, i + 1} {
		if j < 0 || j >= len(pr.layers) || pr.onNode(i) || pr.onNode(j) {
			continue // a harmonic is not an octave away for the hand
		}
		switch pr.layers[i].at.key - pr.layers[j].at.key {
		case 12:
			up = true
		case -12:
			down = true
		}
	}
	switch {
	case up && !down:
		return 1
	case down && !up:
		return -1
	}
	return 0
}

// hidingNotes is how many notes away a place is that a shift could move to.
const hidingNotes = 2

// hides says whether a change of the bow, a rest or the pitch of an open string lies so
// near to the way into layer i that the hand could move there instead. The bow is that
// of the print.
func (pr *Problem) hides(i int) bool {
	for j := max(1, i-hidingNotes); j <= min(len(pr.layers)-1, i+hidingNotes); j++ {
		if j != i && !pr.layers[j].pass.slurred {
			return true
		}
	}
	for j := max(0, i-hidingNotes); j < min(len(pr.layers), i+hidingNotes); j++ {
		if slices.ContainsFunc(pr.o.Instrument.Open, func(o pitch.Pitch) bool { return o.MIDI() == pr.layers[j].at.key }) {
			return true
		}
	}
	return false
}

// group says whether layer i goes on inside a beat, without a rest before it, while the
// first note of its beat or of the next one is so near that the hand could move there.
func (pr *Problem) group(i int) bool {
	if pr.layers[i].pass.rest > 0 || pr.begins(i) {
		return false
	}
	for j := max(0, i-hidingNotes); j <= min(len(pr.layers)-1, i+hidingNotes); j++ {
		if pr.begins(j) {
			return true
		}
	}
	return false
}

// begins says that a layer begins a felt beat, or the first one of a bar without meter.
func (pr *Problem) begins(i int) bool {
	e := &pr.Events[pr.layers[i].event]
	m := &pr.p.Measures[e.Measure]
	at := e.Onset - m.Start
	beat := timeline.Beat(m.Meter)
	if beat <= 0 {
		return at == 0 && !e.Grace
	}
	return (at+timeline.Offset(pr.p, e.Measure))%beat == 0 && !e.Grace
}
