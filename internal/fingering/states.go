package fingering

import (
	"slices"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// cell is one note in a state.
type cell struct {
	note    score.NoteID
	key     int16 // sounding pitch, MIDI
	steps   int16 // staff steps above the open string, for the finger that its letter asks for
	str     int8
	finger  int8
	semi    int8 // where the finger is
	pos     int8 // position by the letter, as instrument.PositionOf; 0 for open strings
	touch   Touch
	held    bool
	trill   bool
	taste   bool // touched as a harmonic that the print does not ask for
	plucked bool // by the left hand
}

// state is one grip: the cells of what sounds and the hand. lo and hi are the
// outer strings; open says that no finger is down.
type state struct {
	hand   instrument.Hand
	lo, hi int8
	open   bool
	lost   int8 // struck notes left out
	cells  []cell
	gone   []score.NoteID // notes due to sound on that this grip lets go
	rest   []float64      // beside gone: the share of each note's length that is still to come
}

// tone is a note to be placed by the generator.
type tone struct {
	note     score.NoteID
	key      int
	held     bool
	trill    bool
	plucked  bool
	harmonic bool // marked as a natural harmonic (or not told which)
	sounds   bool // the harmonic is written where it sounds
	mayTouch bool // a natural harmonic is proposed beside the stopped note
	touchUp  int  // artificial harmonic: semitones from the stopped to the touched note, 0 for none
	want     want
	steps    func(str int) int // staff steps above the open string
}

// generator makes all grips for a set of tones on one instrument.
type generator struct {
	in      *instrument.Instrument
	singles map[int][]state // by key, for unmarked single notes
}

// places are the candidate positions of a tone: (string, semitone, touch).
type place struct {
	str, semi int
	touch     Touch
}

// harmonicNodes: semitones of the touching point and of the sound, above the
// open string, for the partials 2–6 of a string (nearest tempered semitone):
// acoustics of the ideal string.
var harmonicNodes = [...]struct{ touch, sound int }{
	{12, 12}, {7, 19}, {19, 19}, {5, 24}, {24, 24}, {4, 28}, {9, 28}, {16, 28}, {3, 31},
}

// placesOf lists where a tone can be taken.
func (g *generator) placesOf(t *tone) []place {
	var out []place
	for s := 1; s <= g.in.Strings(); s++ {
		n := t.key - g.in.Open[s-1].MIDI()
		if t.want.str != 0 && int(t.want.str) != s {
			continue
		}
		switch {
		case t.touchUp > 0:
			if n >= 1 && n <= g.in.Top {
				out = append(out, place{s, n, Artificial})
			}
		case t.harmonic:
			out = append(out, nodesFor(s, n, t.sounds)...)
		case n >= 0 && n <= g.in.Top:
			out = append(out, place{s, n, Pressed})
			if t.touchedAt(n) {
				out = append(out, place{s, n, Natural})
			}
		}
	}
	if t.harmonic && len(out) == 0 {
		// not on a node: an artificial harmonic written by its sound, two octaves
		// above the stopped note, or else a mark that means something else
		for s := 1; s <= g.in.Strings(); s++ {
			if t.want.str != 0 && int(t.want.str) != s {
				continue
			}
			if n := t.key - g.in.Open[s-1].MIDI(); n-24 >= 1 {
				out = append(out, place{s, n - 24, Artificial})
			} else if n >= 0 && n <= g.in.Top {
				out = append(out, place{s, n, Pressed})
			}
		}
	}
	return out
}

// nodesFor: the note is written either where it sounds or, unless sounds is
// set, where it is touched.
func nodesFor(s, n int, sounds bool) []place {
	var out []place
	for _, h := range harmonicNodes {
		if h.sound == n || h.touch == n && !sounds {
			p := place{s, h.touch, Natural}
			if !slices.Contains(out, p) {
				out = append(out, p)
			}
		}
	}
	return out
}

// build makes every grip of the tones. Single stopped notes come with every
// hand from which a finger reaches them; chords only with the hands that
// stretch least for the same strings and fingers (the hand is set freshly there; those
// with a low first finger stay beside them).
// A grip of open strings alone has no place of its own: hand.Place is -1 and
// the caller gives it the places of its neighbours.
func (g *generator) build(tones []tone) []state {
	if len(tones) > g.in.Strings() {
		return nil
	}
	if len(tones) == 1 && plainTone(&tones[0]) {
		return g.single(&tones[0])
	}
	b := builder{g: g, tones: tones, best: map[string]int{}}
	b.places = make([][]place, len(tones))
	loSemi, hiSemi := 99, 0
	for i := range tones {
		b.places[i] = g.placesOf(&tones[i])
		for _, p := range b.places[i] {
			if p.semi > 0 {
				loSemi, hiSemi = min(loSemi, p.semi), max(hiSemi, p.semi)
			}
		}
	}
	b.cells = make([]cell, 0, len(tones))
	b.openOnly()
	for _, sh := range g.in.Shapes() {
		from, to := instrument.Places(sh)
		for h := max(from, loSemi-7); h <= min(to, hiSemi+2); h++ {
			b.hand = instrument.Hand{Place: int8(h), Shape: sh}
			b.walk(0)
		}
	}
	return b.finish()
}

func plainTone(t *tone) bool {
	return !t.harmonic && !t.mayTouch && t.touchUp == 0 && t.want.none() && !t.held
}

// single serves unmarked single notes from a cache by pitch.
func (g *generator) single(t *tone) []state {
	cached, ok := g.singles[t.key]
	if !ok {
		b := builder{g: g, tones: []tone{*t}, best: map[string]int{}}
		b.places = [][]place{g.placesOf(t)}
		b.openOnly()
		for _, p := range b.places[0] {
			for _, sh := range g.in.Shapes() {
				from, to := instrument.Places(sh)
				for h := max(from, p.semi-7); h <= min(to, p.semi+2); h++ {
					b.hand = instrument.Hand{Place: int8(h), Shape: sh}
					b.put(0, p)
				}
			}
		}
		cached = b.finish()
		if g.singles == nil {
			g.singles = map[int][]state{}
		}
		g.singles[t.key] = cached
	}
	out := make([]state, len(cached))
	cells := make([]cell, len(cached))
	copy(out, cached)
	for i := range out {
		cells[i] = cached[i].cells[0]
		cells[i].note, cells[i].trill, cells[i].plucked = t.note, t.trill, t.plucked
		cells[i].steps = int16(t.steps(int(cells[i].str)))
		cells[i].place(cached[i].hand)
		out[i].cells = cells[i : i+1 : i+1]
	}
	return out
}

// builder walks the tones for one hand after another.
type builder struct {
	g      *generator
	tones  []tone
	places [][]place
	hand   instrument.Hand
	cells  []cell
	wide   int // semitones out of the frame
	lows   int // of them those of a low first finger
	out    []state
	wides  []int
	framed []bool         // no finger out of the frame but a low first one
	best   map[string]int // least stretch by strings and fingers
	keys   []string
}

// openOnly adds the grips in which every tone is an open string.
func (b *builder) openOnly() {
	b.hand = instrument.Hand{Place: -1}
	b.walk(0)
}

func (b *builder) walk(i int) {
	if i == len(b.tones) {
		b.keep()
		return
	}
	for _, p := range b.places[i] {
		b.put(i, p)
	}
}

// put tries the tone at the place with each finger and goes on to the next.
func (b *builder) put(i int, p place) {
	t := &b.tones[i]
	for _, c := range b.cells {
		if int(c.str) == p.str {
			return
		}
	}
	c := cell{note: t.note, key: int16(t.key), str: int8(p.str), semi: int8(p.semi), touch: p.touch, held: t.held, trill: t.trill && !t.held, plucked: t.plucked && !t.held}
	if t.steps != nil {
		c.steps = int16(t.steps(p.str))
	}
	if p.semi == 0 {
		if b.hand.Place >= 0 && len(b.tones) == 1 {
			return
		}
		if t.want.fits(b.hand, &c, t.steps) {
			b.push(i, c, 0)
		}
		return
	}
	if b.hand.Place < 0 {
		return
	}
	for f := 1; f <= instrument.Thumb; f++ {
		if p.touch == Artificial && f != 1 && f != instrument.Thumb {
			continue
		}
		wide, ok := b.reaches(t, f, p.semi)
		if c.taste = p.touch == Natural && t.mayTouch; c.taste {
			wide, ok = b.g.touches(b.hand, f, p.semi)
		}
		c.finger = int8(f)
		if ok {
			c.place(b.hand)
		}
		if ok && b.fingersAgree(c) && t.want.fits(b.hand, &c, t.steps) {
			low := b.low(f, p.semi)
			if low {
				b.lows++
			}
			b.push(i, c, wide)
			if low {
				b.lows--
			}
		}
	}
}

// low: the first finger a semitone behind its plain place, while the others stand
// where they always do. That is no stretch: B flat and C on the A string lie under
// first and second finger in first position, not in half position (common practice,
// no source).
func (b *builder) low(finger, semitone int) bool {
	return finger == 1 && b.hand.Shape == instrument.Square && semitone == int(b.hand.Place)-1
}

// reaches says whether a finger gets to a semitone with the hand as it lies. A
// finger that is printed or decided may open the hand beyond its limit, which is
// then told; what is proposed may not.
func (b *builder) reaches(t *tone, finger, semitone int) (wide int, ok bool) {
	chord := len(b.tones) > 1
	if t.want.fingers != 0 {
		return instrument.Fits(b.hand, finger, semitone, chord)
	}
	return b.g.in.Fits(b.hand, finger, semitone, chord)
}

// place works out the position of a stopped cell.
func (c *cell) place(h instrument.Hand) {
	if c.finger > 0 {
		c.pos = int8(instrument.PositionOf(h, int(c.finger), int(c.steps), int(c.semi)))
	}
}

func (b *builder) push(i int, c cell, wide int) {
	b.cells = append(b.cells, c)
	b.wide += wide
	b.walk(i + 1)
	b.wide -= wide
	b.cells = b.cells[:len(b.cells)-1]
}

// fingersAgree: a finger serves two strings only side by side at one place; of
// two fingers the higher lies higher on the string, or beside the other on
// another string.
func (b *builder) fingersAgree(c cell) bool {
	for _, d := range b.cells {
		if d.finger == 0 {
			continue
		}
		if d.finger == c.finger {
			if d.semi != c.semi || abs8(d.str-c.str) != 1 {
				return false
			}
			continue
		}
		lower, upper := d, c
		if rank(lower.finger) > rank(upper.finger) {
			lower, upper = upper, lower
		}
		if lower.semi > upper.semi || lower.semi == upper.semi && rank(upper.finger)-rank(lower.finger) != 1 {
			return false
		}
		if b.g.in.Span(int(lower.semi), int(upper.semi)) > b.g.in.MaxStretch() {
			return false
		}
	}
	return true
}

// rank orders the fingers along the string: the thumb lies behind the first.
func rank(f int8) int8 {
	if f == instrument.Thumb {
		return 0
	}
	return f
}

func abs8(v int8) int8 {
	if v < 0 {
		return -v
	}
	return v
}

func (b *builder) keep() {
	strs := make([]int, 0, 4)
	open := true
	var key strings.Builder
	key.WriteByte(byte('a' + b.hand.Shape))
	for _, c := range b.cells {
		strs = append(strs, int(c.str))
		open = open && c.finger == 0
		key.WriteByte(byte(c.str))
		key.WriteByte(byte(c.finger))
		key.WriteByte(byte(c.semi))
	}
	if instrument.Bow(strs) == instrument.Apart || open != (b.hand.Place < 0) {
		return
	}
	st := state{hand: b.hand, open: open, cells: slices.Clone(b.cells), lo: int8(slices.Min(strs)), hi: int8(slices.Max(strs))}
	k := key.String()
	if w, ok := b.best[k]; !ok || b.wide < w {
		b.best[k] = b.wide
	}
	b.out, b.wides, b.keys = append(b.out, st), append(b.wides, b.wide), append(b.keys, k)
	b.framed = append(b.framed, b.wide == b.lows)
}

func (b *builder) finish() []state {
	if len(b.tones) == 1 {
		return b.out
	}
	out := b.out[:0]
	for i, s := range b.out {
		if b.framed[i] || b.wides[i] == b.best[b.keys[i]] {
			out = append(out, s)
		}
	}
	return out
}
