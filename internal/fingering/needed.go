package fingering

import (
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// reminderAfterRest is how long a silence, in quarters, lets a player forget
// where the hand was. Common practice, no source.
const reminderAfterRest = 4

// Needed chooses the marks that a player needs printed: where a reader who has only
// the page (see sightReader) would take another string or another finger, so that one
// who follows the marks plays the plan to the note. A finger is also printed, to be
// sure of it,
//
//   - where the hand arrives by a shift, on the first stopped note of each bar above
//     first position that has none, and there after a rest of four quarters or more;
//   - at a fourth finger on the pitch of an open string, and at the open string
//     where the line lies on the string below on both sides;
//   - at an extension, in half position, at a harmonic, at the thumb, where the cello's
//     hand opens or closes;
//   - on the stopped notes of a double stop or chord outside first position, or
//     with a stretch.
//
// The numeral of the string is printed where a finger alone would be taken on another
// string, and above first position where a single note has its first position on another
// string: once on each string until the hand moves on. A stop repeated at once, or taken
// earlier in the bar with the hand staying, is not marked for safety alone, and what the
// score prints already is not repeated. Common practice of editors, no source.
func Needed(st *Study) []score.NoteMark {
	c := chooser{st: st, reader: newReader(&st.Instrument), named: map[int]bool{}}
	for i := range st.Grips {
		c.event(i)
	}
	return c.out
}

// chooser goes through the events with a reader who has played the plan so far.
type chooser struct {
	st     *Study
	reader *sightReader
	before *Grip
	rest   score.Tick
	named  map[int]bool // strings named since the hand came here
	shown  bool         // a finger is printed in this bar
	out    []score.NoteMark
}

func (c *chooser) event(i int) {
	st, g := c.st, &c.st.Grips[i]
	if i > 0 && st.Events[i].Measure != st.Events[i-1].Measure {
		c.shown = false
		c.reader.newBar()
	}
	if st.Events[i].Rest {
		c.rest += st.Events[i].Dur
		return
	}
	if len(g.Stops) == 0 {
		return
	}
	rested := c.rest >= reminderAfterRest*st.score.Quarter
	if rested {
		c.reader.rest()
		clear(c.named)
	}
	var plain []*Stop
	for k := range g.Stops {
		switch s := &g.Stops[k]; {
		case s.Held:
		case s.Touch != Pressed:
			c.touched(g, s)
		default:
			plain = append(plain, s)
		}
	}
	c.pressed(g, plain, st.Events[i].Held, rested)
	c.before, c.rest = g, 0
}

// touched prints all of a harmonic: no pitch tells where it lies. The note that a second
// finger touches above a stopped one shares its string.
func (c *chooser) touched(g *Grip, s *Stop) {
	cu := c.st.cueOf(s)
	if cu.finger < 0 {
		c.out = append(c.out, fingerMark(*s, score.Proposed))
	}
	if s.Taste {
		c.out = append(c.out, harmonicMark(*s))
	}
	for k := range g.Stops {
		if o := &g.Stops[k]; o != s && o.String == s.String && o.Touch == Artificial && o.Semitone < s.Semitone {
			return
		}
	}
	if cu.str == 0 {
		c.out = append(c.out, stringMark(*s, score.Proposed))
	}
}

// pressed prints what the open and stopped notes of an event need.
func (c *chooser) pressed(g *Grip, stops []*Stop, sounding []score.NoteID, rested bool) {
	if len(stops) == 0 {
		return
	}
	cues, want := make([]cue, len(stops)), make([]taken, len(stops))
	for k, s := range stops {
		cues[k], want[k] = c.st.cueOf(s), takenOf(s)
	}
	printed := make([]cue, len(stops)) // with what the score prints
	copy(printed, cues)
	fingers := c.cautious(g, stops, rested)
	got := c.reader.read(cues, sounding)
	all := false // a chord has all its fingers or none
	for k := range stops {
		fingers[k] = fingers[k] || got[k] != want[k]
		all = all || fingers[k] && len(stops) > 1
	}
	for k, s := range stops {
		if (fingers[k] || all && s.Finger > 0) && cues[k].finger < 0 {
			cues[k].finger = int(s.Finger)
		}
	}
	for range stops { // each round names at least one string more, or all is well
		for k, t := range c.reader.read(cues, sounding) {
			if t != want[k] {
				cues[k].finger, cues[k].str = want[k].finger, want[k].str
			}
		}
	}
	spot := c.reader.spot
	c.reader.take(cues, want, sounding)
	if c.reader.spot != spot {
		clear(c.named)
	}
	if s := stops[0]; len(stops) == 1 && s.Finger > 0 && c.reader.above(c.reader.spot) && !c.named[s.String] && c.elsewhere(s) {
		cues[0].finger, cues[0].str = int(s.Finger), s.String
	}
	for k, s := range stops {
		if cues[k].str > 0 {
			c.named[s.String] = true
		}
		c.shown = c.shown || s.Finger > 0 && cues[k].finger >= 0
		if cues[k].finger >= 0 && printed[k].finger < 0 {
			c.out = append(c.out, fingerMark(*s, score.Proposed))
		}
		if cues[k].str > 0 && printed[k].str == 0 {
			c.out = append(c.out, stringMark(*s, score.Proposed))
		}
	}
}

// cueOf is the note of a stop with what the score prints of it, as the plan obeys it.
func (st *Study) cueOf(s *Stop) cue {
	n := &st.part.Notes[s.Note]
	c := cue{id: s.Note, pitch: n.Sounding, finger: -1}
	if n.Has(score.Fingering) || n.Has(score.OpenString) || n.Has(score.ThumbPosition) {
		c.finger = int(s.Finger)
	}
	if n.Has(score.String) {
		c.str = s.String
	}
	return c
}

func takenOf(s *Stop) taken { return taken{s.String, int(s.Finger)} }

// elsewhere says that the note has its first position on another string.
func (c *chooser) elsewhere(s *Stop) bool {
	p, r := c.st.part.Notes[s.Note].Sounding, c.reader
	for str := 1; str <= c.st.Instrument.Strings(); str++ {
		if c.st.Instrument.Semitone(str, p) == 0 || r.fingerAt(r.firstSpot(), str, p) > 0 {
			return str != s.String
		}
	}
	return false
}

// cautious says which stops have their finger printed whether a reader would find it
// or not.
func (c *chooser) cautious(g *Grip, stops []*Stop, rested bool) []bool {
	out := make([]bool, len(stops))
	for k, s := range stops {
		p := c.st.part.Notes[s.Note].Sounding
		if t, ok := c.reader.just[p]; ok && t == takenOf(s) {
			continue
		}
		to, _ := c.reader.after(c.reader.spot, takenOf(s), p)
		if high := s.Finger > 0 && c.reader.above(to); high && (rested || !c.shown) {
			out[k] = true
			continue
		}
		if t, ok := c.reader.bar[p]; ok && t == takenOf(s) && g.Shift < 0 {
			continue
		}
		out[k] = c.st.cautious(c.before, g, s)
	}
	return out
}

func (st *Study) cautious(before, g *Grip, s *Stop) bool {
	switch {
	case st.openChoice(g, s):
		return true
	case s.Finger == 0:
		return false
	case s.Finger == instrument.Thumb || s.Extension > 0 && s.Finger != 1 || g.Shift >= 0:
		return true
	case before == nil:
		return g.Position != 1
	case before.Hand.Shape != g.Hand.Shape, g.Position == 0 && before.Position != 0:
		return true
	}
	return len(g.Stops) > 1 && (g.Position != 1 || st.chordStretches(g))
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
