package fingering

import (
	"math"
	"slices"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// passage is what lies between two grips: the bow and the time.
type passage struct {
	seconds float64 // from the onset of the first to the onset of the second, without the rest
	rest    float64 // seconds of silence between
	slurred bool
	jump    bool // a repeat or a da capo: held notes are not asked for
	cut     bool // never played in this order: costs nothing
	next    float64
	off     float64 // of the event arrived at, see moment
	slow    float64
	turn    bool // a note comes back: the pitch arrived at, or the one left, stands two notes away as well
	hides   bool // a bow change, a rest or the pitch of an open string lies within two notes
	group   bool // the event arrived at lies inside a beat whose first note, or the next beat's, is within two notes
}

// model is the cost function of one instrument.
type model struct {
	in *instrument.Instrument
	w  [nTerms]float64
	mm [64]float64 // distance of a semitone from the nut, index semitone+2
}

func newModel(in *instrument.Instrument, w [nTerms]float64) *model {
	m := &model{in: in, w: w}
	for i := range m.mm {
		m.mm[i] = in.Distance(float64(i - 2))
	}
	return m
}

func (m *model) at(semi int8) float64 { return m.mm[int(semi)+2] }

// longNote is how long, in seconds, a note lasts before its colour matters.
const longNote = 0.5

// node tallies what a grip costs by itself.
func (m *model) node(s *state, at *moment, t *tally) {
	t.add(leftOut, float64(s.lost))
	single := len(s.cells) == 1
	for i := range s.cells {
		c := &s.cells[i]
		if c.held {
			continue
		}
		m.harmonicCost(c, at, t)
		if c.plucked {
			s.pluckCost(c, t)
			dying := *at
			dying.seconds, dying.slow = min(at.seconds, pluckRings), 0
			m.cellCost(s, c, &dying, single, t)
			continue
		}
		m.cellCost(s, c, at, single, t)
	}
	if !s.open {
		m.handCost(s, at, t)
	}
	if len(s.cells) > 1 {
		m.openSpared(s, t)
		m.chordCost(s, t)
	}
}

func (m *model) cellCost(s *state, c *cell, at *moment, single bool, t *tally) {
	long := min(max(0, at.seconds-longNote), 3)
	if single {
		m.colour(s, c, at, t)
	}
	if c.finger == 0 {
		if single {
			t.add(openNote, 1)
			t.add(openLong, long)
		}
		if c.trill {
			t.add(trillOpen, 1)
		}
		return
	}
	if c.finger == 4 {
		t.add(fourth, 1)
		t.add(fourthLong, long)
		if c.trill {
			t.add(trillFourth, 1)
		}
		if s.hand.Shape == instrument.Square && c.semi-s.hand.Place == 4 && at.seconds < 0.3 {
			t.add(fastFourth, 1)
		}
	}
	wide := m.in.WideSpan(s.hand, int(c.finger), int(c.semi))
	if c.taste {
		wide *= lightReach
	}
	switch {
	case wide == 0:
	case c.semi < s.hand.Place:
		t.add(drawnBack, wide/10)
	default:
		t.add(extend, wide/10)
		if c.finger == 4 && !c.taste {
			t.add(fourthReach, wide/10)
		}
	}
	if s.hand.Shape == instrument.Square && c.touch == Pressed && (wide == 0 || c.semi < s.hand.Place) {
		t.add(letter, min(3, math.Abs(instrument.PlainPlace(int(c.steps)-int(c.finger)+1)-float64(s.hand.Place))))
	}
	if h := m.lift(s); h > 0 {
		t.add(highLow, h*float64(c.str-1))
	}
	if up := float64(s.hand.Place) - fourthPlace; up > 0 {
		t.add(highCurve, up*up/10*float64(c.str-1))
	}
}

// fourthPlace is where the first finger stands in fourth position, in semitones.
const fourthPlace = 7

// lift is the hand's way up from first position, in 100 mm.
func (m *model) lift(s *state) float64 {
	return max(0, m.at(s.hand.Place)-m.at(2)) / 100
}

// firstPositionTop is the highest place of the first finger in first position,
// beside which the hand may lean by a semitone.
const firstPositionTop = 2

func (m *model) handCost(s *state, at *moment, t *tally) {
	h := s.hand
	t.add(height, m.lift(s))
	if at.low && h.Place > firstPositionTop {
		t.add(aboveFirst, 1)
	}
	if m.halfPosition(s) {
		t.add(half, 1)
	}
	if evenPlace(h.Place) {
		t.add(even, 1)
	}
	switch h.Shape {
	case instrument.Extended:
		t.add(extendedHand, (m.at(h.Place+4)-m.at(h.Place+3))/10)
	case instrument.Capo:
		t.add(thumb, 1)
		t.add(thumbLow, max(0, float64(14-h.Place)))
	}
}

// halfPosition: on violin and viola the letters tell it from a first finger that
// lies low in first position; the cello's hand has a semitone a finger.
func (m *model) halfPosition(s *state) bool {
	if s.hand.Place >= 2 || s.hand.Shape != instrument.Square {
		return s.hand.Place < 2
	}
	for i := range s.cells {
		if c := &s.cells[i]; c.finger > 0 && c.pos == 0 {
			return true
		}
	}
	return false
}

// evenPlace: second, fourth and sixth position by the first finger's place.
func evenPlace(p int8) bool {
	switch p % 12 {
	case 3, 4, 7, 10, 11:
		return true
	}
	return p > 12 && p%12 == 2
}

func (m *model) chordCost(s *state, t *tally) {
	lo, hi := int8(127), int8(0)
	for i := range s.cells {
		c := &s.cells[i]
		if c.finger == 0 {
			continue
		}
		lo, hi = min(lo, c.semi), max(hi, c.semi)
		for j := range s.cells[:i] {
			d := &s.cells[j]
			switch {
			case d.finger == 0 || d.semi != c.semi:
			case d.finger == c.finger:
				t.add(barre, 1)
			default:
				t.add(crowd, 1)
			}
		}
	}
	if lo < hi {
		frame := int8(5)
		if m.in.Kind == instrument.CelloKind {
			frame = 3
		}
		if over := m.at(hi) - m.at(lo+frame); over > 0 {
			t.add(stretch, over/10)
		}
	}
}

// openSpared tallies the stopped notes of a chord for which the bow could have open
// strings beside the others: all of those that are the pitch of one, or else any alone.
func (m *model) openSpared(s *state, t *tally) {
	var open [8]int8 // by cell, the string that has it open
	n := 0
	for i := range s.cells {
		c := &s.cells[i]
		if i == len(open) || c.held || c.finger == 0 || c.touch != Pressed {
			continue
		}
		for k := range m.in.Open {
			if int(c.key) == m.in.Open[k].MIDI() {
				open[i] = int8(k + 1)
				n++
				break
			}
		}
	}
	if n == 0 {
		return
	}
	if s.bowedOver(open) {
		t.add(openInChord, float64(n))
		return
	}
	for i, str := range open {
		var one [8]int8
		one[i] = str
		if n > 1 && str > 0 && s.bowedOver(one) {
			t.add(openInChord, 1)
		}
	}
}

// bowedOver says that the bow could have the cells on other strings, 0 for their own.
func (s *state) bowedOver(on [8]int8) bool {
	strs := make([]int, 0, len(s.cells))
	for i := range s.cells {
		str := int(s.cells[i].str)
		if i < len(on) && on[i] > 0 {
			str = int(on[i])
		}
		if slices.Contains(strs, str) {
			return false
		}
		strs = append(strs, str)
	}
	return instrument.Bow(strs) != instrument.Apart
}

// pluckRings is how long, in seconds, a note plucked by the left hand is heard as one
// with a colour: it dies away, and vibrato is nothing to it. Common practice, no source.
const pluckRings = 0.2

// pluckCost tallies a note that the left hand plucks, with a finger above the one
// that stops it.
func (s *state) pluckCost(c *cell, t *tally) {
	free := false
	for f := rank(c.finger) + 1; f <= 4; f++ {
		free = free || !slices.ContainsFunc(s.cells, func(d cell) bool { return d.finger == f })
	}
	switch {
	case !free:
		t.add(pluckNone, 1)
	case c.finger > 0:
		t.add(pluckStopped, 1)
	}
}

// edge tallies the way from one grip to the next; false where it cannot be gone
// because a held note would lose its finger.
func (m *model) edge(a, b *state, p *passage, t *tally) bool {
	if !p.jump && !holds(a, b) {
		return false
	}
	if p.cut {
		return true
	}
	for i, id := range b.gone {
		if sounds(a, id) {
			t.add(letGo, b.rest[i])
		}
	}
	way := m.handMove(a, b, p, t)
	shifted := way != 0
	switch {
	case b.lo > a.hi:
		t.add(stringChange, 1)
		t.add(stringSkip, float64(b.lo-a.hi-1)*p.skipHaste())
		if p.slurred {
			t.add(stringSlur, 1)
		}
	case a.lo > b.hi:
		t.add(stringChange, 1)
		t.add(stringSkip, float64(a.lo-b.hi-1)*p.skipHaste())
		if p.slurred {
			t.add(stringSlur, 1)
		}
	}
	if t.enough > 0 && t.sum >= t.enough {
		return true
	}
	if len(a.cells) == 1 && len(b.cells) == 1 {
		m.lineMove(a, b, way, p, t)
	}
	for i := range b.cells {
		c := &b.cells[i]
		if c.held {
			continue
		}
		late := b.late(c, p)
		for j := range a.cells {
			m.fingerMove(&a.cells[j], c, shifted, late, p, t)
		}
	}
	return true
}

// least is a lower bound of edge that is quickly had: parts of the same sum.
func (m *model) least(a, b *state, p *passage) float64 {
	if p.cut {
		return 0
	}
	sum := 0.0
	if b.lo > a.hi || a.lo > b.hi {
		sum = m.w[stringChange]
	}
	if d := moved(a.hand, b.hand); m.isShift(d) {
		mm := math.Abs(m.at(b.hand.Place) - m.at(a.hand.Place))
		sum += m.w[coverTerm(m.cover(a, b, p))] + mm*(m.w[shiftMM]/10+m.w[shiftRate]/1000/p.timeFor(a, b))
	}
	return sum
}

// holds checks that every held note of b has the string and finger it had in a.
func holds(a, b *state) bool {
	for i := range b.cells {
		c := &b.cells[i]
		if !c.held {
			continue
		}
		found := false
		for j := range a.cells {
			d := &a.cells[j]
			if d.note == c.note {
				found = d.str == c.str && d.finger == c.finger && d.semi == c.semi && d.touch == c.touch
			}
		}
		if !found {
			return false
		}
	}
	return true
}

func sounds(s *state, id score.NoteID) bool {
	for i := range s.cells {
		if s.cells[i].note == id {
			return true
		}
	}
	return false
}

// moved is the change of hand place in semitones. Between the cello's closed and
// extended shapes either end of the hand may stay.
func moved(a, b instrument.Hand) int8 {
	d := b.Place - a.Place
	if a.Shape == instrument.Closed && b.Shape == instrument.Extended && d < 0 {
		return d + 1
	}
	if a.Shape == instrument.Extended && b.Shape == instrument.Closed && d > 0 {
		return d - 1
	}
	return d
}

// isShift: on the cello every change of place moves the whole arm; on violin and
// viola the hand leans by a semitone without leaving its position.
func (m *model) isShift(d int8) bool {
	return abs8(d) > 1 || d != 0 && m.in.Kind == instrument.CelloKind
}

// reopened is the way in semitones of second to fourth finger where the cello's hand
// opens forward (or closes again) while the first stays, between notes of one string
// that two of these fingers take: they lie a half step apart each, closed or extended,
// so that the hand has moved from the second finger on. 0 for none: with the first
// finger on either side, with one finger that slides, or where the first alone is moved
// back, the notes lie in one frame. Sources: instrument.Closed and Extended (Davidoff
// 1888); that this is a shift: common practice, no source. A finger that touches a
// harmonic reaches out alone.
func reopened(a, b *state) int8 {
	if a.hand.Place != b.hand.Place {
		return 0
	}
	d := int8(0)
	switch {
	case a.hand.Shape == instrument.Closed && b.hand.Shape == instrument.Extended:
		d = 1
	case a.hand.Shape == instrument.Extended && b.hand.Shape == instrument.Closed:
		d = -1
	default:
		return 0
	}
	upper := func(c *cell) bool { return c.finger >= 2 && c.finger <= 4 && c.touch == Pressed }
	for i := range a.cells {
		for j := range b.cells {
			if c, e := &a.cells[i], &b.cells[j]; c.str == e.str && c.finger != e.finger && upper(c) && upper(e) {
				return d
			}
		}
	}
	return 0
}

// way is how far the hand moves from grip to grip, in semitones: by its place, or from
// the second finger on.
func way(a, b *state) int8 {
	if d := moved(a.hand, b.hand); d != 0 {
		return d
	}
	return reopened(a, b)
}

// travel is the way in mm, positive upwards.
func (m *model) travel(a, b *state) float64 {
	if d := reopened(a, b); d != 0 {
		return float64(d) * (m.at(a.hand.Place+2) - m.at(a.hand.Place+1))
	}
	return m.at(b.hand.Place) - m.at(a.hand.Place)
}

// handMove tallies shift, adjustment and thumb; it gives the way of a real shift in
// semitones, 0 where the hand leaves its place by none.
func (m *model) handMove(a, b *state, p *passage, t *tally) int8 {
	if (a.hand.Shape == instrument.Capo) != (b.hand.Shape == instrument.Capo) {
		t.add(thumbSet, 1)
	}
	d := way(a, b)
	if d == 0 {
		if a.hand.Shape != b.hand.Shape {
			t.add(adjust, 1)
		}
		return 0
	}
	if !m.isShift(d) {
		t.add(adjust, 1)
		return 0
	}
	cover := m.cover(a, b, p)
	t.add(coverTerm(cover), 1)
	m.openly(a, b, cover, p, t)
	mm := math.Abs(m.travel(a, b))
	t.add(shiftMM, mm/10)
	speed := mm / 1000 / p.timeFor(a, b)
	t.add(shiftRate, speed)
	if speed > 1 {
		t.add(shiftRush, speed)
	}
	m.shiftTime(a, b, d, p, t)
	return d
}

// openly tallies a shift that is heard though a hidden place is near: under a slur,
// except on one finger over a half step, and inside a beat group, where shifts belong on
// the beat.
func (m *model) openly(a, b *state, cover Cover, p *passage, t *tally) {
	if cover == UnderSlur && p.hides && !halfStepSlide(a, b) {
		t.add(shiftBare, 1)
	}
	if cover <= BowChange && p.group {
		t.add(shiftGroup, min(1, 2*(1-p.slow)))
	}
}

// halfStepSlide says that one finger goes on to the next half step of its string.
func halfStepSlide(a, b *state) bool {
	if len(a.cells) != 1 || len(b.cells) != 1 {
		return false
	}
	c, d := &a.cells[0], &b.cells[0]
	return c.finger == d.finger && c.str == d.str && abs8(c.semi-d.semi) == 1
}

// timeFor is the time in which the hand can move: that of the note it leaves
// and the rest, or that of an open string arrived at, which sounds without it.
func (p *passage) timeFor(a, b *state) float64 {
	if b.open && !a.open {
		return max(0.04, p.next+p.rest)
	}
	return max(0.04, p.seconds+p.rest)
}

// haste is 1 where a finger has a quarter of a second or less to get to another
// string, and falls as it has more; late is the time that a broken chord gives it.
func (p *passage) haste(late float64) float64 {
	return min(1, 0.25/max(0.01, p.seconds+p.rest+late))
}

// skipHaste is the effort of the bow's arm over skipped strings: it goes with the
// square of its speed, as the energy of what is moved does.
func (p *passage) skipHaste() float64 {
	h := p.haste(0)
	return h * h
}

func (m *model) cover(a, b *state, p *passage) Cover {
	switch {
	case p.rest > 0.1:
		return Silence
	case a.open || b.open:
		return OpenString
	case p.slurred:
		return UnderSlur
	}
	return BowChange
}

func coverTerm(c Cover) term {
	return [...]term{UnderSlur: shiftSlur, BowChange: shiftBow, OpenString: shiftOpen, Silence: shiftRest}[c]
}

// breaking is how long, in seconds, the lower strings of a broken chord sound
// before the upper ones, where the chord is long enough; common practice, no source.
const breaking = 0.25

// late is how long after the beginning of a grip a note of it is struck: chords of
// three and four are broken, the two lower strings before the others.
func (s *state) late(c *cell, p *passage) float64 {
	struck, below := 0, 0
	for i := range s.cells {
		if d := &s.cells[i]; !d.held {
			struck++
			if d.str > c.str {
				below++
			}
		}
	}
	if struck < 3 || below < 2 {
		return 0
	}
	return min(breaking, p.next/2)
}

// fingerMove tallies what one finger before means for one finger after.
func (m *model) fingerMove(c, d *cell, shifted bool, late float64, p *passage, t *tally) {
	if c.key == d.key && c.note != d.note && (c.str != d.str || c.finger != d.finger) && p.rest == 0 {
		t.add(refinger, 1)
	}
	if c.finger == 0 || d.finger == 0 {
		return
	}
	if c.finger == d.finger {
		switch {
		case c.str == d.str:
			if d.finger == 4 && abs8(c.semi-d.semi) == 1 {
				t.add(slideFourth, 1)
			}
			switch {
			case c.semi == d.semi:
			case shifted:
				t.add(sameFinger, 1)
			default:
				t.add(slide, 1)
			}
		case shifted:
		case c.semi == d.semi && abs8(c.str-d.str) == 1:
			t.add(fifth, 1)
		default:
			t.add(hop, p.haste(late))
		}
		return
	}
	if c.str == d.str && !shifted && (rank(d.finger) > rank(c.finger)) != (d.semi > c.semi) && c.semi != d.semi {
		t.add(cross, 1)
	}
}
