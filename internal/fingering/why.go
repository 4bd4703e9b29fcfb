package fingering

import (
	"fmt"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Why says in a sentence a player would use why the grip of an event is as it
// is: what it does, and the reason that its terms and its neighbours give. Empty
// for rests and for what cannot be played.
func Why(st *Study, event int) string {
	g := &st.Grips[event]
	if g.Unplayable != "" {
		return g.Unplayable + "."
	}
	if len(g.Stops) == 0 {
		return ""
	}
	if g.Shift >= 0 {
		return st.whyShift(g)
	}
	s := &g.Stops[0]
	for _, r := range []func(*Grip, *Stop) string{st.whyHarmonic, st.whyMarked, st.whyChord, st.whyOpen, st.whyExtension, st.whyFifth, st.whyFourth} {
		if w := r(g, s); w != "" {
			return w
		}
	}
	return fmt.Sprintf("The hand stays in %s: the %s takes %s on %s.", instrument.PositionName(g.Position), fingerName(s.Finger), st.note(s.Note), st.Instrument.StringName(s.String))
}

func (st *Study) note(id score.NoteID) string { return st.part.Notes[id].Sounding.Name() }

func (st *Study) whyShift(g *Grip) string {
	sh := &st.Shifts[g.Shift]
	dir := "up"
	if sh.MM < 0 {
		dir = "down"
	}
	what := fmt.Sprintf("Shift %s to %s", dir, instrument.PositionName(sh.ToPos))
	if sh.FromPos == sh.ToPos {
		what = fmt.Sprintf("Move the hand %s within %s", dir, instrument.PositionName(sh.ToPos))
	}
	var hidden string
	switch sh.Cover {
	case OpenString:
		hidden = "while the open string sounds, so that nobody hears it"
	case Silence:
		hidden = "in the rest"
	case BowChange:
		hidden = "at the bow change"
	default:
		hidden = "under the slur"
		if sh.SameFinger {
			hidden += " on the same finger, as a light glide"
		}
	}
	s := what + " " + hidden
	if span := st.staysAfter(g.Event); span > 1 && g.Stops[0].Finger > 0 {
		s += fmt.Sprintf("; the next %d notes then lie in this position", span)
	}
	return s + "."
}

// staysAfter counts the events from this one on that need no other shift.
func (st *Study) staysAfter(event int) int {
	n := 0
	for i := event; i < len(st.Grips); i++ {
		if st.Events[i].Rest {
			continue
		}
		if i > event && st.Grips[i].Shift >= 0 {
			break
		}
		n++
	}
	return n
}

func (st *Study) whyHarmonic(_ *Grip, s *Stop) string {
	switch s.Touch {
	case Natural:
		return fmt.Sprintf("A natural harmonic: the %s touches %s lightly.", fingerName(s.Finger), st.Instrument.StringName(s.String))
	case Artificial:
		return fmt.Sprintf("An artificial harmonic on %s: the %s stops, the fourth above is touched.", st.Instrument.StringName(s.String), fingerName(s.Finger))
	}
	return ""
}

func (st *Study) whyMarked(_ *Grip, s *Stop) string {
	n := &st.part.Notes[s.Note]
	if m, ok := n.Get(score.Fingering); ok {
		if f, ok := parseFinger(m.Text); ok && f == int(s.Finger) {
			return fmt.Sprintf("The %s is printed.", fingerName(s.Finger))
		}
	}
	return ""
}

func (st *Study) whyChord(g *Grip, _ *Stop) string {
	if len(g.Stops) < 2 {
		return ""
	}
	var parts []string
	for i := range g.Stops {
		s := &g.Stops[i]
		what := fingerName(s.Finger)
		if s.Held {
			what = "held " + what
		}
		parts = append(parts, fmt.Sprintf("%s on %s", what, instrument.Numeral(s.String)))
	}
	return fmt.Sprintf("In %s: %s.", instrument.PositionName(g.Position), strings.Join(parts, ", "))
}

func (st *Study) whyOpen(g *Grip, s *Stop) string {
	if s.Finger != 0 {
		return ""
	}
	if next := st.nextPlayed(g.Event); next >= 0 && st.Grips[next].Shift >= 0 {
		return "The open string gives the hand time to move unnoticed."
	}
	if s.String < st.Instrument.Strings() && st.Instrument.Kind != instrument.CelloKind {
		return fmt.Sprintf("The open string: the hand keeps %s and needs no fourth finger.", instrument.PositionName(g.Position))
	}
	return fmt.Sprintf("The open string: the hand keeps %s.", instrument.PositionName(g.Position))
}

func (st *Study) whyExtension(g *Grip, s *Stop) string {
	if s.Extension == 0 {
		return ""
	}
	verb := "reaches out"
	if s.Semitone < int(g.Hand.Place) {
		verb = "is drawn back"
	}
	return fmt.Sprintf("The %s %s by %.0f mm, so that the hand need not leave %s.", fingerName(s.Finger), verb, s.Extension, instrument.PositionName(g.Position))
}

func (st *Study) whyFifth(g *Grip, s *Stop) string {
	for _, t := range g.Terms {
		if t.Name == termNames[fifth] {
			return fmt.Sprintf("The %s stops the fifth across both strings.", fingerName(s.Finger))
		}
	}
	return ""
}

func (st *Study) whyFourth(g *Grip, s *Stop) string {
	if s.Finger != 4 || !st.openChoice(g, s) {
		return ""
	}
	if before := st.lastPlayed(g.Event); before >= 0 && len(st.Grips[before].Stops) > 0 && st.Grips[before].Stops[0].String == s.String {
		return "The fourth finger keeps the line on one string, where the open string would break its colour."
	}
	return "The fourth finger instead of the open string, which would ring through."
}

func (st *Study) nextPlayed(event int) int {
	for i := event + 1; i < len(st.Events); i++ {
		if !st.Events[i].Rest {
			return i
		}
	}
	return -1
}

func (st *Study) lastPlayed(event int) int {
	for i := event - 1; i >= 0; i-- {
		if !st.Events[i].Rest {
			return i
		}
	}
	return -1
}
