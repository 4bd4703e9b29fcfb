package pace

import (
	"strconv"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// How trills and tremolos are played out, in seconds a note: about seven pairs a second
// in a trill, twelve strokes a second in a tremolo (common practice, no source). What is
// too short for it stays plain.
const (
	trillNote, tremoloNote = 0.072, 0.083
	trillFrom              = 4 * trillNote // shorter notes stay plain
	trillStop              = 1.5 * trillNote
	strokesUnmeasured      = 3 // beams of a tremolo from which on it is no measured rhythm
)

// PlayedOut is the passage with trills and unmeasured tremolos as single notes, for
// ears: a trill goes between the note and the next step of the key, from above (the
// rule of the eighteenth century, treatise of 1756, ch. X, from memory), and rests on
// the note; a tremolo takes a stroke for each note. Other ornaments stay plain. Call it
// after Scaled: their speed does not depend on the passage's.
func (p Passage) PlayedOut(part *score.Part) Passage {
	out := p
	out.Notes = make([]Note, 0, len(p.Notes))
	for _, n := range p.Notes {
		x := &part.Notes[n.Note]
		long := n.Release - n.Onset
		switch {
		case n.Plucked || n.Grace:
			out.Notes = append(out.Notes, n)
		case x.Has(score.Trill) && long >= trillFrom:
			out.Notes = append(out.Notes, trilled(n, upper(x, p.Bars[n.Bar].Fifths))...)
		case unmeasured(x) && long >= 2*tremoloNote:
			out.Notes = append(out.Notes, tremolo(n)...)
		default:
			out.Notes = append(out.Notes, n)
		}
	}
	sortNotes(out.Notes)
	return out
}

// upper is the key number of the next step above in a signature.
func upper(n *score.Note, fifths int) int {
	iv := pitch.Interval{Diatonic: 1, Chromatic: 2}
	s := n.Sounding.Transpose(iv)
	return s.MIDI() - int(s.Alter) + pitch.KeyAlter(fifths, s.Step)
}

func trilled(n Note, above int) []Note {
	pairs := int((n.Release - n.Onset - trillStop) / trillNote / 2)
	var out []Note
	each := (n.Release - n.Onset - trillStop) / float64(2*pairs)
	for k := range 2 * pairs {
		m := n
		m.Onset = n.Onset + float64(k)*each
		m.Release = m.Onset + each
		m.Begins = n.Begins && k == 0
		if k%2 == 0 {
			m.Key, m.Cents = above, 0
		}
		out = append(out, m)
	}
	last := n
	last.Onset, last.Begins = n.Onset+float64(2*pairs)*each, false
	return append(out, last)
}

// unmeasured says that a note has a tremolo that is no measured rhythm. One between two
// notes (its text begins with start or stop) stays plain.
func unmeasured(n *score.Note) bool {
	mk, ok := n.Get(score.Tremolo)
	beams, err := strconv.Atoi(mk.Text)
	return ok && (strings.HasPrefix(mk.Text, "unmeasured") || err == nil && beams >= strokesUnmeasured)
}

func tremolo(n Note) []Note {
	count := int((n.Release - n.Onset) / tremoloNote)
	each := (n.Release - n.Onset) / float64(count)
	var out []Note
	for k := range count {
		m := n
		m.Onset = n.Onset + float64(k)*each
		m.Release = m.Onset + 0.85*each
		m.Begins, m.Again, m.Accent = true, false, n.Accent && k == 0
		m.Bow = Down + Direction(k%2)
		out = append(out, m)
	}
	return out
}
