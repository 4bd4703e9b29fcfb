package fingering

import (
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// reminderAfterRest is how long a silence, in quarters, lets a player forget
// where the hand was. Common practice, no source.
const reminderAfterRest = 4

// Needed chooses the marks that a player needs printed: where the fingering is
// not what anyone would take. A finger is printed
//
//   - where the hand arrives by a shift, and where it stays above first position
//     after a rest of four quarters or more;
//   - at a fourth finger on the pitch of an open string, and at the open string
//     where the line lies on the string below on both sides;
//   - at an extension, in half position, at a harmonic, at the thumb;
//   - on the stopped notes of a double stop or chord outside first position, or
//     with a stretch;
//   - where the finger contradicts the one that the hand would use without
//     thinking (see expected).
//
// A string numeral is printed only by NeedsString. A stop repeated at once, or one
// marked earlier in the bar with no shift between, is not marked again, and what the score prints already is not repeated. Common
// practice of editors, no source.
func Needed(st *Study) []score.NoteMark {
	var out []score.NoteMark
	var before *Grip
	var rest score.Tick
	given := map[[3]int]bool{} // string, finger, semitone marked in this bar
	for i := range st.Grips {
		g := &st.Grips[i]
		if g.Shift >= 0 || i > 0 && st.Events[i].Measure != st.Events[i-1].Measure {
			clear(given)
		}
		if st.Events[i].Rest {
			rest += st.Events[i].Dur
			continue
		}
		if len(g.Stops) == 0 {
			continue
		}
		reminded := rest >= reminderAfterRest*st.score.Quarter && g.Position > 1
		for k := range g.Stops {
			s := &g.Stops[k]
			if s.Held {
				continue
			}
			n := &st.part.Notes[s.Note]
			if s.Taste { // ring, finger and string: nobody would guess it
				out = append(out, fingerMark(*s, score.Proposed), harmonicMark(*s))
				if !n.Has(score.String) {
					out = append(out, stringMark(*s, score.Proposed))
				}
				continue
			}
			key := [3]int{s.String, int(s.Finger), s.Semitone}
			if !given[key] && (reminded || st.needsFinger(before, g, s)) && !n.Has(score.Fingering) && !n.Has(score.OpenString) && !n.Has(score.ThumbPosition) {
				out = append(out, fingerMark(*s, score.Proposed))
				given[key] = true
			}
			if st.NeedsString(before, g, s) && !n.Has(score.String) {
				out = append(out, stringMark(*s, score.Proposed))
			}
		}
		before, rest = g, 0
	}
	return out
}

func (st *Study) needsFinger(before, g *Grip, s *Stop) bool {
	if st.repeats(before, s) {
		return false
	}
	switch {
	case s.Finger == instrument.Thumb || s.Touch != Pressed || s.Extension > 0 && s.Finger != 1:
		return true
	case g.Shift >= 0 && s.Finger > 0:
		return true
	case before == nil:
		return g.Position != 1 && s.Finger > 0
	case s.Finger > 0 && before.Hand.Shape != g.Hand.Shape:
		return true
	case st.openChoice(g, s):
		return true
	case s.Finger > 0 && g.Position == 0 && before.Position != 0:
		return true
	case len(g.Stops) > 1 && s.Finger > 0:
		return g.Position != 1 || st.chordStretches(g)
	}
	return s.Finger > 0 && s.Finger != expected(st, before, s)
}

// repeats: the same note with the same stop as just before needs no new sign.
func (st *Study) repeats(before *Grip, s *Stop) bool {
	if before == nil {
		return false
	}
	for _, b := range before.Stops {
		if b.String == s.String && b.Finger == s.Finger && b.Semitone == s.Semitone {
			return true
		}
	}
	return false
}

// openChoice: a stop on the pitch of an open string, or an open string in a
// line that lies on the string below before and after.
func (st *Study) openChoice(g *Grip, s *Stop) bool {
	in := &st.Instrument
	if s.Finger > 0 {
		return s.String > 1 && in.Semitone(s.String-1, st.part.Notes[s.Note].Sounding) == 0
	}
	return in.Kind != instrument.CelloKind && s.String < in.Strings() &&
		st.onString(st.lastPlayed(g.Event), s.String+1) && st.onString(st.nextPlayed(g.Event), s.String+1)
}

// onString says that all stops of the event lie on the string.
func (st *Study) onString(event, str int) bool {
	if event < 0 || len(st.Grips[event].Stops) == 0 {
		return false
	}
	for _, s := range st.Grips[event].Stops {
		if s.String != str {
			return false
		}
	}
	return true
}

func (st *Study) chordStretches(g *Grip) bool {
	for _, s := range g.Stops {
		if s.Extension > 0 {
			return true
		}
	}
	return false
}

// expected is the finger that falls on the note in the hand as it lies: by the
// staff step within the position, the lower finger of two on the cello.
func expected(st *Study, before *Grip, s *Stop) int8 {
	in := &st.Instrument
	if in.Kind == instrument.CelloKind {
		for f := 1; f <= 4; f++ {
			if _, ok := instrument.Fits(before.Hand, f, s.Semitone, false); ok {
				return int8(f)
			}
		}
		return 0
	}
	steps := st.part.Notes[s.Note].Sounding.Diatonic() - in.Open[s.String-1].Diatonic()
	return int8(min(max(steps-before.Position+1, 0), 4))
}

// NeedsString says whether the string must be printed: the note is not on the
// string where the hand, as it lies, would look for it. That is the highest
// string on which the position reaches the note with a finger in its frame; a
// string once named holds until the line leaves it.
func (st *Study) NeedsString(before, g *Grip, s *Stop) bool {
	if before != nil {
		for _, b := range before.Stops {
			if b.String == s.String {
				return false
			}
		}
	}
	in := &st.Instrument
	hand := g.Hand
	for str := 1; str <= in.Strings(); str++ {
		n := in.Semitone(str, st.part.Notes[s.Note].Sounding)
		if n == 0 {
			return str != s.String && s.Finger == 0
		}
		for f := 1; f <= 4; f++ {
			if wide, ok := instrument.Fits(hand, f, n, false); ok && wide == 0 {
				return str != s.String
			}
		}
	}
	return g.Position > 1
}
