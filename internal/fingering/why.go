package fingering

import (
	"fmt"
	"slices"
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
	reason := ""
	for _, r := range []func(*Grip, *Stop) string{st.whyHarmonic, st.whyMarked, st.whyOpen, st.whyInstead, st.whyExtension, st.whyFifth} {
		if reason = r(g, s); reason != "" {
			break
		}
	}
	switch move := st.AdjustAt(event); {
	case reason == "":
		return st.lead(g) + ": " + st.takes(g) + "."
	case move != nil:
		return st.lead(g) + ". " + reason
	}
	return reason
}

// lead says where the hand is, and how it got there.
func (st *Study) lead(g *Grip) string {
	in := instrument.PositionName(g.Position)
	move := st.AdjustAt(g.Event)
	switch {
	case move != nil && move.ToPlace == move.FromPlace:
		return fmt.Sprintf("The hand opens or closes where it is, in %s", in)
	case move != nil && move.ToPlace > move.FromPlace:
		return fmt.Sprintf("The hand leans up a half step into %s", in)
	case move != nil:
		return fmt.Sprintf("The hand leans down a half step into %s", in)
	case st.before(g.Event) == nil:
		return fmt.Sprintf("The hand begins in %s", in)
	case st.stays(g) && leans(g):
		return fmt.Sprintf("The hand leans over within %s", in)
	case st.stays(g):
		return fmt.Sprintf("The hand stays in %s", in)
	}
	return fmt.Sprintf("The hand is in %s", in)
}

// leans says that the way to a grip is paid for as a leaning of the hand.
func leans(g *Grip) bool {
	for _, t := range g.Terms {
		if t.Name == termNames[adjust] && t.Value > 0 {
			return true
		}
	}
	return false
}

// takes says which finger does what.
func (st *Study) takes(g *Grip) string {
	if len(g.Stops) > 1 {
		var parts []string
		for i := range g.Stops {
			s := &g.Stops[i]
			what := st.finger(g, s)
			if s.Held {
				what = "held " + what
			}
			what += " on " + instrument.Numeral(s.String)
			if s.Extension > 0 && !st.low(g, s) && !s.Held {
				what += fmt.Sprintf(" (%.0f mm out of the frame)", s.Extension)
			}
			parts = append(parts, what)
		}
		return strings.Join(parts, ", ")
	}
	s := &g.Stops[0]
	if s.Finger == 0 {
		return fmt.Sprintf("the open %s string", st.Instrument.Open[s.String-1].Name())
	}
	return fmt.Sprintf("the %s takes %s on %s", st.finger(g, s), st.note(s.Note), st.Instrument.StringName(s.String))
}

// finger names the finger of a stop; a first finger a semitone behind its plain place
// in the position is low: no stretch, but not where it falls by itself.
func (st *Study) finger(g *Grip, s *Stop) string {
	if st.low(g, s) {
		return "low first finger"
	}
	return fingerName(s.Finger)
}

func (st *Study) low(g *Grip, s *Stop) bool {
	return s.Finger == 1 && s.Touch == Pressed && st.Instrument.Kind != instrument.CelloKind &&
		float64(s.Semitone) < instrument.PlainPlace(g.Position)-0.6
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

// staysAfter counts the events from this one on that lie in its position.
func (st *Study) staysAfter(event int) int {
	n := 0
	for i := event; i < len(st.Grips); i++ {
		if len(st.Grips[i].Stops) == 0 {
			continue
		}
		if i > event && (st.Grips[i].Shift >= 0 || st.Grips[i].Position != st.Grips[event].Position) {
			break
		}
		n++
	}
	return n
}

func (st *Study) whyHarmonic(g *Grip, s *Stop) string {
	switch s.Touch {
	case Natural:
		if s.Taste {
			return st.whyTaste(g, s)
		}
		return fmt.Sprintf("A natural harmonic: the %s touches %s lightly.", fingerName(s.Finger), st.Instrument.StringName(s.String))
	case Artificial:
		return fmt.Sprintf("An artificial harmonic on %s: the %s stops, the fourth above is touched.", st.Instrument.StringName(s.String), fingerName(s.Finger))
	}
	return ""
}

// whyTaste gives the reason for a harmonic that the print does not ask for.
func (st *Study) whyTaste(g *Grip, s *Stop) string {
	part := "half"
	if s.Semitone == 24 {
		part = "a quarter of"
	}
	text := fmt.Sprintf("The %s touches %s lightly at %s its length", fingerName(s.Finger), st.Instrument.StringName(s.String), part)
	if s.Extension > 0 {
		text += fmt.Sprintf(", %.0f mm out of its frame", s.Extension)
	}
	text += ": the harmonic speaks even where the finger is not quite in place"
	if next := st.nextPlayed(g.Event); next < 0 || st.Grips[next].Shift < 0 {
		text += fmt.Sprintf(", and the hand keeps %s", instrument.PositionName(g.Position))
	} else {
		text += ", and sounds on while the hand begins to move"
	}
	return text + "."
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

// stretchBack is how many events back a reason still stands before a player's eyes.
const stretchBack = 24

// told says that the stop stood just before in the same stretch of one position, so
// that its reason has been given.
func (st *Study) told(g *Grip, s *Stop) bool {
	for i := g.Event; i > 0 && i > g.Event-stretchBack; i-- {
		if st.Grips[i].Shift >= 0 || st.AdjustAt(i) != nil {
			return false
		}
		b := &st.Grips[i-1]
		if len(b.Stops) == 1 && b.Position == g.Position && b.Stops[0].String == s.String && b.Stops[0].Finger == s.Finger && b.Stops[0].Semitone == s.Semitone {
			return true
		}
	}
	return false
}

func (st *Study) whyOpen(g *Grip, s *Stop) string {
	if s.Finger != 0 || len(g.Stops) > 1 {
		return ""
	}
	if next := st.nextPlayed(g.Event); next >= 0 && st.Grips[next].Shift >= 0 {
		return "The open string gives the hand time to move unnoticed."
	}
	if st.told(g, s) || !st.stays(g) {
		return ""
	}
	if s.String < st.Instrument.Strings() && st.Instrument.Kind != instrument.CelloKind {
		return fmt.Sprintf("The open string: the hand keeps %s and needs no fourth finger.", instrument.PositionName(g.Position))
	}
	return fmt.Sprintf("The open string: the hand keeps %s.", instrument.PositionName(g.Position))
}

// whyExtension gives millimetres where a finger leaves the frame of the hand. A low
// first finger does not.
func (st *Study) whyExtension(g *Grip, s *Stop) string {
	if s.Extension == 0 || len(g.Stops) > 1 || st.low(g, s) || st.told(g, s) {
		return ""
	}
	verb := "reaches out"
	if s.Semitone < int(g.Hand.Place) {
		verb = "is drawn back"
	}
	text := fmt.Sprintf("The %s %s by %.0f mm to %s", fingerName(s.Finger), verb, s.Extension, st.note(s.Note))
	if st.stays(g) {
		text += fmt.Sprintf(", so that the hand need not leave %s", instrument.PositionName(g.Position))
	}
	return text + "."
}

func (st *Study) whyFifth(g *Grip, s *Stop) string {
	if len(g.Stops) > 1 || s.Touch != Pressed {
		return ""
	}
	if b := st.lastPlayed(g.Event); b >= 0 && slices.ContainsFunc(st.Grips[b].Stops, func(s Stop) bool { return s.Touch != Pressed }) {
		return "" // what was touched before is not stopped across
	}
	for _, t := range g.Terms {
		if t.Name == termNames[fifth] {
			return fmt.Sprintf("The %s stops the fifth across both strings.", fingerName(s.Finger))
		}
	}
	return ""
}

// whyInstead says why a finger stops the pitch of an open string: by what that
// string would cost more there.
func (st *Study) whyInstead(g *Grip, s *Stop) string {
	if len(g.OpenMore) == 0 || st.told(g, s) {
		return ""
	}
	because := st.against(g, s)
	if because == "" {
		return ""
	}
	text := fmt.Sprintf("the %s takes %s instead of the open string: %s.", fingerName(s.Finger), st.note(s.Note), because)
	if st.AdjustAt(g.Event) == nil {
		return st.lead(g) + "; " + text
	}
	return sentence(strings.TrimSuffix(text, "."))
}

// against words what speaks most against the open string: the group of terms of
// OpenMore with the largest sum, with the facts behind it.
func (st *Study) against(g *Grip, s *Stop) string {
	sums := [4]float64{}
	for _, t := range g.OpenMore {
		sums[groupOf(t.Name)] += t.Value
	}
	best := 0
	for i, v := range sums {
		if v > sums[best] {
			best = i
		}
	}
	if sums[best] <= 0 {
		return ""
	}
	seconds := st.seconds(g.Event)
	switch best {
	case 0:
		return fmt.Sprintf("the note lasts %.1f s, and an open string takes no vibrato", seconds)
	case 1:
		return st.crossed(g, s)
	case 2:
		if g.Position > 1 {
			return fmt.Sprintf("beside stopped notes in %s an open string stands out", instrument.PositionName(g.Position))
		}
		if seconds > longNote {
			return fmt.Sprintf("the note lasts %.1f s, and an open string takes no vibrato", seconds)
		}
		return "beside the stopped notes around it an open string stands out"
	}
	return "the fingers around it then lie nearer"
}

// groupOf sorts terms into the length of the note, the bow's way over the strings,
// colour, and the way of the fingers.
func groupOf(name string) int {
	switch {
	case name == termNames[openLong], strings.HasPrefix(name, "finger 0 long"):
		return 0
	case strings.HasPrefix(name, "string_"):
		return 1
	case name == termNames[trillOpen], strings.HasPrefix(name, "open"), strings.HasPrefix(name, "finger "), strings.HasPrefix(name, "pace "), strings.HasPrefix(name, "place "):
		return 2
	}
	return 3
}

// crossed tells which notes beside it lie on the string of the stop, so that the bow
// need not cross.
func (st *Study) crossed(g *Grip, s *Stop) string {
	before, after := st.onString(st.lastPlayed(g.Event), s.String), st.onString(st.nextPlayed(g.Event), s.String)
	on := st.Instrument.StringName(s.String)
	switch {
	case before && after:
		return fmt.Sprintf("the notes before and after lie on %s, and the bow need not cross and come back", on)
	case before:
		return fmt.Sprintf("the note before lies on %s, and the bow need not cross", on)
	case after:
		return fmt.Sprintf("the note after lies on %s, and the bow need not cross", on)
	}
	return fmt.Sprintf("from %s the bow has less far to go to the notes around", on)
}

// seconds is how long an event lasts.
func (st *Study) seconds(event int) float64 {
	e := &st.Events[event]
	if e.Grace || st.pace == nil {
		return graceSeconds
	}
	return st.pace.Seconds(e.Onset, e.Onset+e.Dur)
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
