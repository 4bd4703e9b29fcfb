package fingering

import (
	"maps"
	"math"
	"slices"

	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

// A sightReader is the player for whom marks are printed: one who knows the
// instrument and has nothing but the page. The model (common practice, no source):
//
//   - He begins in first position, and is there again after a rest of four quarters.
//   - He keeps the hand where the last finger put it. Violin and viola: a finger for
//     each step of the staff; cello: one for each semitone, the fourth reaching one
//     further, and in upper places and at the thumb as instrument.Hand has them.
//   - Without a mark he takes a note in the hand as it lies, in first position an open
//     string before the fourth finger, above it the open string only where the hand has
//     nothing; a note out of reach takes him to first position, to the highest
//     string that has it there. A note just played he takes as before, and so
//     for the rest of the bar while the hand stays.
//   - A printed finger he takes on the string on which it moves the hand least, the
//     lower place of two; a fourth finger half a step out of the hand is stretched.
//   - A printed numeral is the string.
//   - The notes of a chord go to different strings.
type sightReader struct {
	in   *instrument.Instrument
	spot spot
	just map[pitch.Pitch]taken  // at the event before
	bar  map[pitch.Pitch]taken  // in this bar, since the hand came here
	held map[score.NoteID]taken // what may sound on
}

// spot is where the hand lies: the position on violin and viola, the semitone of
// the first finger on the cello.
type spot struct {
	at    int
	thumb bool
}

// taken is the string and finger of a note; finger -1 where the reader is lost.
type taken struct{ str, finger int }

// cue is a note as the page has it: finger -1 and str 0 where none is printed.
type cue struct {
	id          score.NoteID
	pitch       pitch.Pitch
	finger, str int
}

func newReader(in *instrument.Instrument) *sightReader {
	r := &sightReader{in: in, bar: map[pitch.Pitch]taken{}, held: map[score.NoteID]taken{}}
	r.rest()
	return r
}

// rest is a silence long enough to forget.
func (r *sightReader) rest() {
	r.spot, r.just = r.firstSpot(), nil
	clear(r.bar)
}

func (r *sightReader) cello() bool { return r.in.Kind == instrument.CelloKind }

func (r *sightReader) firstSpot() spot {
	if r.cello() {
		return spot{at: 2}
	}
	return spot{at: 1}
}

// above says that the hand lies above first position.
func (r *sightReader) above(s spot) bool { return s.thumb || s.at > r.firstSpot().at }

func (r *sightReader) steps(str int, p pitch.Pitch) int {
	return p.Diatonic() - r.in.Open[str-1].Diatonic()
}

// celloFingers are the fingers from a semitone below the first finger's place to four
// above it: low, upper and with the thumb two below the first.
var celloFingers = [3][6]int{{1, 1, 2, 3, 4, 4}, {0, 1, 2, 3, 3, 3}, {1, 1, 2, 2, 3, 3}}

// fingerAt is the finger that falls on a stopped note with the hand there, 0 where
// none does.
func (r *sightReader) fingerAt(s spot, str int, p pitch.Pitch) int {
	n := r.in.Semitone(str, p)
	if n <= 0 {
		return 0
	}
	if !r.cello() {
		f := r.steps(str, p) - s.at + 1
		switch {
		case f == 0 && n == 1 && s.at == 1: // drawn back to the nut
			return 1
		case f < 1 || f > 4:
			return 0
		}
		return f
	}
	d := n - s.at + 1
	switch {
	case s.thumb && d == -1:
		return instrument.Thumb
	case d < 0 || d > 5:
		return 0
	case s.thumb:
		return celloFingers[2][d]
	case s.at >= upperFrom:
		return celloFingers[1][d]
	}
	return celloFingers[0][d]
}

var upperFrom, _ = instrument.Places(instrument.Upper)

// after is where the hand lies once the finger has stopped the note; ok is false where
// the string is too short below for it.
func (r *sightReader) after(s spot, t taken, p pitch.Pitch) (to spot, ok bool) {
	n := r.in.Semitone(t.str, p)
	switch {
	case t.finger <= 0:
		return s, true
	case r.fingerAt(s, t.str, p) == t.finger:
		return s, true
	case r.cello():
		return r.afterCello(s, t.finger, n)
	}
	at := r.steps(t.str, p) - t.finger + 1
	if t.finger == 4 && at == s.at+1 && n <= int(instrument.PlainPlace(s.at))+6 {
		return s, true // stretched
	}
	return spot{at: max(at, 0)}, at >= 0
}

func (r *sightReader) afterCello(s spot, finger, n int) (spot, bool) {
	if finger == instrument.Thumb {
		return spot{n + 2, true}, true
	}
	shapes := []instrument.Shape{instrument.Closed, instrument.Extended, instrument.Upper}
	if s.thumb {
		shapes = []instrument.Shape{instrument.Capo}
	}
	for _, shape := range shapes {
		if _, ok := instrument.Fits(instrument.Hand{Place: int8(s.at), Shape: shape}, finger, n, false); ok {
			return s, true
		}
	}
	at := n - (finger - 1)
	return spot{at: max(at, 1)}, at >= 1
}

// option is one way to take a cue, with what speaks against it: semitones or positions
// that the hand moves.
type option struct {
	taken
	cost float64
}

const (
	lowerString = 0.01 // of two strings the higher
	toFirst     = 4    // leaving the hand for first position
	openHigh    = 0.5  // an open string above first position
	openFirst   = -0.5 // and in it
	asBefore    = -5   // a stop taken just before
	occupied    = 1.5  // a string on which another note sounds
	shared      = 50   // one string for two notes: only for a unison
)

// options lists the ways to take a cue by what is printed.
func (r *sightReader) options(c cue, busy map[int]bool) []option {
	var out []option
	for str := 1; str <= r.in.Strings(); str++ {
		n := r.in.Semitone(str, c.pitch)
		if c.str > 0 && str != c.str || n < 0 {
			continue
		}
		for _, o := range r.onString(c, str, n) {
			o.cost += lowerString * float64(str)
			if busy[str] {
				o.cost += occupied
			}
			if b, ok := r.known(c.pitch); ok && b == o.taken {
				o.cost += asBefore
			}
			out = append(out, o)
		}
	}
	if len(out) == 0 {
		out = append(out, option{taken{c.str, c.finger}, 0})
	}
	return out
}

// onString are the ways on one string, n semitones above the open one.
func (r *sightReader) onString(c cue, str, n int) (out []option) {
	if c.finger >= 0 {
		t := taken{str, c.finger}
		to, ok := r.after(r.spot, t, c.pitch)
		if ok && (c.finger == 0) == (n == 0) {
			out = append(out, option{t, math.Abs(float64(to.at-r.spot.at)) + lowerString*float64(to.at)/10})
		}
		return out
	}
	if n == 0 {
		cost := openFirst
		if r.above(r.spot) {
			cost = openHigh
		}
		return append(out, option{taken{str, 0}, cost})
	}
	if b, ok := r.known(c.pitch); ok && b.str == str {
		out = append(out, option{b, 0})
	}
	if f := r.fingerAt(r.spot, str, c.pitch); f > 0 {
		return append(out, option{taken{str, f}, 0})
	}
	if f := r.fingerAt(r.firstSpot(), str, c.pitch); f > 0 {
		out = append(out, option{taken{str, f}, toFirst})
	}
	return out
}

// known is how the pitch was taken just before or earlier in the bar.
func (r *sightReader) known(p pitch.Pitch) (taken, bool) {
	if t, ok := r.just[p]; ok {
		return t, true
	}
	t, ok := r.bar[p]
	return t, ok
}

// read takes what is struck at one event, the cues in the order of its notes, while
// the notes of sounding are held.
func (r *sightReader) read(cues []cue, sounding []score.NoteID) []taken {
	busy := map[int]bool{}
	for _, id := range sounding {
		if t, ok := r.held[id]; ok {
			busy[t.str] = true
		}
	}
	ways := make([][]option, len(cues))
	for i, c := range cues {
		ways[i] = r.options(c, busy)
	}
	now, best := make([]taken, len(cues)), make([]taken, len(cues))
	least := math.Inf(1)
	var try func(i int, cost float64)
	try = func(i int, cost float64) {
		if i == len(cues) {
			if cost < least-1e-9 {
				least = cost
				copy(best, now)
			}
			return
		}
		for _, o := range ways[i] {
			c := cost + o.cost
			for k := range i {
				if now[k].str == o.str {
					c += shared
				}
			}
			now[i] = o.taken
			try(i+1, c)
		}
	}
	try(0, 0)
	return best
}

// take remembers what was played of an event. The lowest finger of a chord tells where
// the hand lies.
func (r *sightReader) take(cues []cue, ts []taken, sounding []score.NoteID) {
	maps.DeleteFunc(r.held, func(id score.NoteID, _ taken) bool { return !slices.Contains(sounding, id) })
	to, low := r.spot, math.MaxInt
	for i, t := range ts {
		r.held[cues[i].id] = t
		if t.str == 0 || t.finger <= 0 {
			continue
		}
		rank := t.finger % instrument.Thumb // the thumb lies below the first
		if s, ok := r.after(r.spot, t, cues[i].pitch); ok && rank < low {
			to, low = s, rank
		}
	}
	if to != r.spot {
		r.spot = to
		clear(r.bar)
	}
	r.just = map[pitch.Pitch]taken{}
	for i, t := range ts {
		r.just[cues[i].pitch], r.bar[cues[i].pitch] = t, t
	}
}

// newBar forgets how the notes of the last bar were taken.
func (r *sightReader) newBar() { clear(r.bar) }
