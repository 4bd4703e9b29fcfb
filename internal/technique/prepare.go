package technique

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// HintKind is a sort of preparation.
type HintKind string

// The sorts of hints.
const (
	StayDown     HintKind = "stay-down"     // the finger is needed again and may stay
	SetEarly     HintKind = "set-early"     // the finger may be set before its note
	GuideNote    HintKind = "guide-note"    // the note between two places that a finger slides to or from
	ShiftEarlier HintKind = "shift-earlier" // what comes before the shift lies in the new place too
)

// Hint is one way of preparing what comes. Each rests on the grips of the plan.
type Hint struct {
	Kind   HintKind
	Event  int // where something is done
	For    int // the event that it is done for
	Finger int8
	String int
	Pitch  pitch.Pitch // of the finger that stays or is set, or of the guide note
	Text   string
	Weight float64 // the difficulty of the event it helps, 0–100
}

// Limits of what is worth a word. Common practice, no source.
const (
	staySpan    = 6    // a finger stays down for at most so many events
	stayWithin  = 2.0  // and so many seconds
	earlyWithin = 0.35 // a note that comes so soon is worth setting early
	earlierSpan = 4    // a shift goes earlier by at most so many events
)

// Prepare lists what can be made ready, in order of events. h weighs them; it is
// that of the same input.
//
//   - A finger may stay down when it takes the same place of the same string again
//     within a few notes, the hand has not left its place, the finger has nothing
//     else to do, and nothing on that string lies below it.
//   - A finger may be set early, while the note before sounds, when its string is
//     not the one that sounds, or lies under a higher finger there; the hand is in
//     its place already, the finger is free, and the note comes soon.
//   - A shift from finger to finger on one string has a guide note: the finger that
//     was down last slides to its own note in the new place and the new one is set;
//     where it would slide beyond the goal, the new finger is set in the old place
//     and slides. To another string the last finger slides on its own string. The
//     two ways are those of violin methods; common practice, no source.
//   - A shift under a slur may go earlier, to a rest, an open string or a change of
//     bow a few notes before, when the notes between lie in the new place too.
func Prepare(in Input, h *Hardness) []Hint {
	p := preparer{in: &in, h: h, shiftAt: make([]int, len(in.Grips))}
	for i := range in.Grips {
		p.shiftAt[i] = in.Grips[i].Shift
	}
	for i := range in.Grips {
		p.stay(i)
		p.early(i)
		if s := p.shiftAt[i]; s >= 0 {
			p.guide(&in.Shifts[s])
			p.earlier(&in.Shifts[s])
		}
	}
	return p.out
}

type preparer struct {
	in      *Input
	h       *Hardness
	shiftAt []int // of each event, its shift or -1
	out     []Hint
}

func (p *preparer) add(h Hint) {
	h.Weight = p.h.Events[h.For].Score
	p.out = append(p.out, h)
}

func (p *preparer) grip(i int) *fingering.Grip { return &p.in.Grips[i] }

// seconds from the onset of one event to that of another.
func (p *preparer) seconds(a, b int) float64 {
	return p.in.Pace.Seconds(p.in.Events[a].Onset, p.in.Events[b].Onset)
}

// sameHand: the hand has not moved between two events.
func (p *preparer) sameHand(a, b int) bool { return p.grip(a).Hand == p.grip(b).Hand }

// free says whether a finger standing on str at semitone may stand there during
// an event without hindering it: the finger has nothing else to do, no note of
// that string lies below it, and no open string of it sounds.
func (p *preparer) free(event int, finger int8, str, semitone int) bool {
	for _, s := range p.grip(event).Stops {
		if s.Finger == finger && (s.String != str || s.Semitone != semitone) {
			return false
		}
		if s.String == str && s.Semitone < semitone {
			return false
		}
		if s.Touch != fingering.Pressed && s.String == str {
			return false // a finger that touches needs the string free above the nut
		}
	}
	return true
}

// stay looks for the next use of each finger that is set at an event.
func (p *preparer) stay(i int) {
	for _, s := range p.grip(i).Stops {
		if s.Finger == 0 || s.Touch != fingering.Pressed {
			continue
		}
		for j := i + 1; j < len(p.in.Grips) && j <= i+staySpan; j++ {
			g := p.grip(j)
			if len(g.Stops) == 0 || !p.sameHand(i, j) || p.seconds(i, j) > stayWithin || !p.free(j, s.Finger, s.String, s.Semitone) {
				break
			}
			if !stands(g, s.String, s.Finger, s.Semitone) {
				continue
			}
			if j > i+1 {
				pt := p.in.Part.Notes[s.Note].Sounding
				p.add(Hint{Kind: StayDown, Event: i, For: j, Finger: s.Finger, String: s.String, Pitch: pt,
					Text: fmt.Sprintf("The %s stays on %s (string %s): it takes the same place again %s.", finger(s.Finger), pt, instrument.Numeral(s.String), p.later(i, j))})
			}
			break
		}
	}
}

// later says how far on an event is, in notes.
func (p *preparer) later(i, j int) string {
	n := 0
	for k := i + 1; k <= j; k++ {
		if len(p.in.Events[k].Struck) > 0 {
			n++
		}
	}
	return [...]string{"", "with the next note", "two notes on", "three notes on", "four notes on", "five notes on", "six notes on"}[min(n, 6)]
}

// early looks whether a finger of an event can stand ready while the one before
// still sounds.
func (p *preparer) early(j int) {
	i := j - 1
	if i < 0 || len(p.grip(i).Stops) == 0 || len(p.grip(j).Stops) != 1 || !p.sameHand(i, j) || p.seconds(i, j) > earlyWithin {
		return
	}
	s := p.grip(j).Stops[0]
	if s.Finger == 0 || s.Held || s.Touch != fingering.Pressed || stands(p.grip(i), s.String, s.Finger, s.Semitone) || !p.free(i, s.Finger, s.String, s.Semitone) || p.stays(s, j) {
		return
	}
	while := p.grip(i).Stops[0]
	where := fmt.Sprintf("on string %s", instrument.Numeral(s.String))
	if while.String == s.String {
		where = fmt.Sprintf("behind the %s", finger(while.Finger))
	}
	pt := p.in.Part.Notes[s.Note].Sounding
	p.add(Hint{Kind: SetEarly, Event: i, For: j, Finger: s.Finger, String: s.String, Pitch: pt,
		Text: fmt.Sprintf("The %s is set on %s %s while %s still sounds.", finger(s.Finger), pt, where, p.names(i))})
}

// stays says that a stay-down hint already has the finger of event j in place.
func (p *preparer) stays(s fingering.Stop, j int) bool {
	return slices.ContainsFunc(p.out, func(h Hint) bool {
		return h.Kind == StayDown && h.For == j && h.Finger == s.Finger && h.String == s.String
	})
}

// guide names the note between the places of a shift.
func (p *preparer) guide(sh *fingering.Shift) {
	a, b := p.grip(sh.From), p.grip(sh.Event)
	if sh.Cover == fingering.Silence || sh.SameFinger || len(a.Stops) != 1 || len(b.Stops) != 1 || a.Hand.Shape != b.Hand.Shape {
		return
	}
	from, to := a.Stops[0], b.Stops[0]
	if from.Finger == 0 || to.Finger == 0 || from.Touch != fingering.Pressed || to.Touch != fingering.Pressed {
		return
	}
	h := Hint{Kind: GuideNote, Event: sh.From, For: sh.Event, Finger: from.Finger, String: from.String}
	semi := from.Semitone + sh.ToPlace - sh.FromPlace
	up := sh.ToPlace > sh.FromPlace
	beyond := from.String == to.String && (up && semi >= to.Semitone || !up && semi <= to.Semitone)
	toName := p.in.Part.Notes[to.Note].Sounding.String()
	if beyond {
		// the finger that slid would pass the goal: the new one goes first
		semi = to.Semitone + sh.FromPlace - sh.ToPlace
		h.Finger = to.Finger
		if semi < 1 || semi == from.Semitone {
			return
		}
		h.Pitch = p.spell(sh.Event, to.String, semi)
		h.Text = fmt.Sprintf("Guide note %s: set the %s there in the old place and slide it to %s.", h.Pitch, finger(to.Finger), toName)
		p.add(h)
		return
	}
	if semi < 1 || semi == from.Semitone {
		return
	}
	h.Pitch = p.spell(sh.Event, from.String, semi)
	then := fmt.Sprintf("then the %s falls on %s", finger(to.Finger), toName)
	if from.String != to.String {
		who := "the " + finger(to.Finger)
		if to.Finger == from.Finger {
			who = "it"
		}
		then = fmt.Sprintf("then %s takes %s on string %s", who, toName, instrument.Numeral(to.String))
	}
	h.Text = fmt.Sprintf("Guide note %s: the %s slides there on string %s, %s.", h.Pitch, finger(from.Finger), instrument.Numeral(from.String), then)
	p.add(h)
}

// spell names a place of a string in the key of an event's measure.
func (p *preparer) spell(event, str, semitone int) pitch.Pitch {
	fifths := p.in.Part.Measures[p.in.Events[event].Measure].Key.Fifths
	return pitch.FromMIDI(p.in.Instrument.Open[str-1].MIDI()+semitone, min(max(fifths, -7), 7))
}

// earlier looks for a cover a few notes before a shift that lies under a slur.
func (p *preparer) earlier(sh *fingering.Shift) {
	if sh.Cover != fingering.UnderSlur {
		return
	}
	hand := p.grip(sh.Event).Hand
	var fingers []string
	for k := sh.From; k > 0 && k > sh.Event-1-earlierSpan; k-- {
		g := p.grip(k)
		if len(g.Stops) != 1 || p.shiftAt[k] >= 0 {
			return
		}
		s := g.Stops[0]
		if s.Finger == 0 {
			break // the open string is a cover from its own end on, which is where the shift is
		}
		f := fingerIn(&p.in.Instrument, hand, s.Semitone)
		if f == 0 || s.Touch != fingering.Pressed || p.fixed(s.Note) {
			return
		}
		fingers = append(fingers, fmt.Sprintf("%s with the %s", p.in.Part.Notes[s.Note].Sounding, finger(f)))
		if cover := p.coverBefore(k); cover != "" {
			slices.Reverse(fingers)
			what, lie := strings.Join(fingers, ", "), "lies"
			if len(fingers) > 1 {
				lie = "lie"
			}
			at := timeline.At(p.in.Part, p.in.Events[k].Measure, p.in.Events[k].Onset, s.Note)
			p.add(Hint{Kind: ShiftEarlier, Event: k, For: sh.Event, Finger: f, String: s.String, Pitch: p.in.Part.Notes[s.Note].Sounding,
				Text: fmt.Sprintf("The shift could go before beat %s, %s: %s %s in the new place too. By the costs of the whole plan that is no cheaper; take it where the slide under the slur is heard.", at.Beat, cover, what, lie)})
			return
		}
	}
}

// fixed: the fingering of the note is printed or decided.
func (p *preparer) fixed(id score.NoteID) bool {
	n := &p.in.Part.Notes[id]
	return p.in.Fixed[id] || n.Has(score.Fingering) || n.Has(score.ThumbPosition) || n.Has(score.String)
}

// coverBefore says what hides a shift just before an event, "" for nothing.
func (p *preparer) coverBefore(k int) string {
	if p.in.Events[k-1].Rest {
		return "in the rest"
	}
	if len(p.grip(k-1).Stops) == 0 {
		return ""
	}
	if !slices.ContainsFunc(p.grip(k-1).Stops, func(s fingering.Stop) bool { return s.Finger > 0 }) {
		return "under the open string"
	}
	if p.in.Stroke[k-1] != p.in.Stroke[k] && p.in.Stroke[k] >= 0 && p.in.Stroke[k-1] >= 0 {
		return "at the change of bow"
	}
	return ""
}

// fingerIn is the finger that takes a semitone inside the frame of a hand, the
// lowest of two; 0 for none.
func fingerIn(in *instrument.Instrument, h instrument.Hand, semitone int) int8 {
	for f := 1; f <= 4; f++ {
		if wide, ok := in.Fits(h, f, semitone, false); ok && wide == 0 {
			return int8(f)
		}
	}
	return 0
}

func (p *preparer) names(event int) string {
	var names []string
	for _, id := range p.in.Events[event].Struck {
		names = append(names, p.in.Part.Notes[id].Sounding.String())
	}
	return strings.Join(names, " and ")
}

func finger(f int8) string {
	if f == instrument.Thumb {
		return "thumb"
	}
	return [...]string{"open string", "first finger", "second finger", "third finger", "fourth finger"}[f]
}

// Notes are the notes that a hint is about.
func (h *Hint) Notes(in Input) []score.NoteID {
	return append(slices.Clone(in.Events[h.Event].Struck), in.Events[h.For].Struck...)
}

// hardHint is the difficulty of a note from which every preparation for it is worth a
// word: a load of half of what has to be practised by itself. The scale is ours.
const hardHint = 33

// Worth says whether a hint is worth reading in a text that cannot hold them all: what
// is said of a shift always; a finger that stays down or is set early where the note it
// is for is hard, where the bow comes back to that string from another, or where the
// hand shifts away right after.
func (h *Hint) Worth(in *Input) bool {
	if h.Kind != StayDown && h.Kind != SetEarly || h.Weight >= hardHint {
		return true
	}
	if next := h.For + 1; next < len(in.Grips) && in.Grips[next].Shift >= 0 {
		return true
	}
	if h.Kind == SetEarly {
		return false
	}
	before := in.Grips[h.For-1].Stops
	return len(before) > 0 && !slices.ContainsFunc(before, func(s fingering.Stop) bool { return s.String == h.String })
}
