package fingering

import (
	"slices"

	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

// Harmonics is the taste for natural harmonics that the print does not ask for, at
// the octave and double octave of an open string, where the note is written as it
// sounds and is touched where it would be stopped. Printed ones are always obeyed.
//
// Sources. Against: the treatise of 1756, ch. V, mocks harmonics mixed with other
// notes (from memory); Spohr calls them foreign and childish (quoted in A. Broadley,
// Chats to 'Cello Students, 1899, ch. XIII). For: C. Davidoff, Violoncell-Schule,
// 1888, part 3, art. I: the harmonic at half the string is easy, speaks even where
// the finger does not hit its place exactly, and sounds on after the finger has left,
// which makes a change of position easier. That it belongs on the top note of a run,
// and that the fourth finger may reach out for it by a whole tone: common practice,
// no source.
type Harmonics int8

// Tastes. As needed: where one spares a shift. More: sought at the top of a run.
const (
	HarmonicsPrinted Harmonics = iota
	HarmonicsAsNeeded
	HarmonicsMore
)

// tasteWeights are the costs of the terms of this file, in the units of weights.txt
// (a shift at a bow change and its way cost about 1.3 there and back each). The
// sizes are ours. Not in weights.txt: no term of them is learned.
var tasteWeights = [...][firstMove - nScalars]float64{
	HarmonicsPrinted:  {},
	HarmonicsAsNeeded: {harmonicTouched - nScalars: 0.6, harmonicInside - nScalars: 2},
	HarmonicsMore:     {harmonicInside - nScalars: 1, harmonicPassed - nScalars: 1},
}

// noFingerToPluck is the least that a note costs which the left hand plucks without a
// finger free to do it, where the weights are learned from music that has none: more than
// a shift there and back. Common practice, no source; the size is ours.
const noFingerToPluck = 4

// lightReach is how much of a stretch is felt where the finger only touches and need
// not hit its place exactly; the size is ours.
const lightReach = 0.5

// harmonicOctaves are the nodes that are touched where the note would be stopped.
var harmonicOctaves = [...]int{12, 24}

// taste puts the weights of a taste in harmonics on the costs, and what plucking without
// a finger costs at the least.
func (m *model) taste(h Harmonics) {
	if h < 0 || int(h) >= len(tasteWeights) {
		h = HarmonicsPrinted
	}
	copy(m.w[nScalars:firstMove], tasteWeights[h][:])
	m.w[pluckNone] = max(m.w[pluckNone], noFingerToPluck)
}

// mayTouch: a lone note, not told how to be fingered and not trilled, that lies an
// octave or two above an open string.
func (pr *Problem) mayTouch(t *tone, struck, held []score.NoteID) bool {
	if pr.o.Harmonics == HarmonicsPrinted || len(struck) != 1 || len(held) > 0 || t.harmonic || t.trill || t.want.fingers != 0 && t.want.by[0] == score.Printed {
		return false
	}
	return slices.ContainsFunc(pr.o.Instrument.Open, func(o pitch.Pitch) bool { return slices.Contains(harmonicOctaves[:], t.key-o.MIDI()) })
}

// touchedAt says whether a tone may be touched at a semitone of a string.
func (t *tone) touchedAt(semitone int) bool {
	return t.mayTouch && slices.Contains(harmonicOctaves[:], semitone)
}

// touches says whether a finger reaches a harmonic of taste: in its frame, and the
// fourth finger as far as in a chord.
func (g *generator) touches(h instrument.Hand, finger, semitone int) (wide int, ok bool) {
	return g.in.Fits(h, finger, semitone, finger == 4 && semitone > int(h.Place))
}

// harmonicCost tallies a harmonic that the print does not ask for, or a finger that
// stops where one would serve.
func (m *model) harmonicCost(c *cell, at *moment, t *tally) {
	switch {
	case c.taste:
		t.add(harmonicTouched, 1)
		t.add(harmonicInside, at.inside)
	case at.octaves && c.touch == Pressed && c.finger > 0:
		t.add(harmonicPassed, 1-at.inside)
	}
}

// speaks is how long, in seconds, a note lasts at least for a harmonic to bloom; a
// shorter one is no place for it. Common practice, no source.
const speaks = 0.25

// surveyHarmonics tells the notes that could be touched whether they are the top of
// their run: what is played before and after lies lower, or nothing is. Notes too
// short to speak count as inside.
func (pr *Problem) surveyHarmonics() {
	below := func(i, key int) bool {
		return i < 0 || i >= len(pr.layers) || pr.layers[i].at.key < key
	}
	for i := range pr.layers {
		l := &pr.layers[i]
		if !l.at.octaves {
			continue
		}
		before := below(i-1, l.at.key) || l.pass.rest > 0
		after := below(i+1, l.at.key) || pr.layers[i+1].pass.rest > 0
		if !before || !after || l.at.seconds < speaks {
			l.at.inside = 1
		}
	}
}

// touchedWithin says whether a note is a printed natural harmonic with a node at most
// some semitones above a nut: however high it sounds, the hand may stay there.
func (pr *Problem) touchedWithin(id score.NoteID, semitones int) bool {
	t, ok := pr.struck[id]
	return ok && t.harmonic && slices.ContainsFunc(pr.gen.placesOf(&t), func(p place) bool { return p.touch == Natural && p.semi <= semitones })
}

// onNode says whether a printed harmonic is struck at a layer.
func (pr *Problem) onNode(i int) bool {
	return slices.ContainsFunc(pr.Events[pr.layers[i].event].Struck, func(id score.NoteID) bool { return pr.struck[id].harmonic })
}
