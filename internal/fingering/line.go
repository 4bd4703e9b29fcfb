package fingering

// colour tallies string, position and finger of a single note by its
// surroundings.
func (m *model) colour(s *state, c *cell, at *moment, t *tally) {
	m.habits(c, at, t)
	if at.octave > 0 && c.finger != 4 || at.octave < 0 && c.finger > 1 {
		t.add(octaveHand, 1)
	}
	h := m.lift(s)
	if c.finger == 0 {
		t.add(openSlow, at.slow*at.fresh)
		if c.str == 1 {
			t.add(openTop, at.fresh)
		}
		if h > 0.02 {
			t.add(openUp, 1)
		}
		return
	}
	if c.str > 1 && int(c.key) == m.in.Open[c.str-2].MIDI() {
		t.add(notOpen, 1)
	}
	if h > 0 {
		t.add(heightSlow, h*at.slow*at.fresh)
		t.add(highQuick, h*float64(c.str-1)*(1-at.slow)*at.fresh)
	}
}

// lineMove tallies what the step of a melody means for the hand and the bow,
// between two single notes.
func (m *model) lineMove(a, b *state, way int8, p *passage, t *tally) {
	shifted := way != 0
	c, d := &a.cells[0], &b.cells[0]
	step := int(d.key) - int(c.key)
	m.move(a, b, way, t)
	size := step
	if size < 0 {
		size = -size
	}
	if c.str != d.str {
		m.crossing(c, d, step, size, p, t)
	} else if size > 7 {
		t.add(leapOne, 1)
	}
	if c.finger == d.finger && c.str == d.str && c.semi != d.semi && !shifted && c.finger > 0 {
		t.add(slideWhole, 1-p.slow)
	}
	if !shifted {
		if a.hand.Place != b.hand.Place && p.turn {
			t.add(adjustTurn, 1)
		}
		return
	}
	m.shiftStep(way > 0, step, size, p, t)
}

func (m *model) crossing(c, d *cell, step, size int, p *passage, t *tally) {
	switch {
	case size == 1:
		t.add(stringHalf, 1)
	case size == 2:
		t.add(stringStep, 1)
	case size <= 4:
		t.add(stringThird, 1)
	case size > 7:
		t.add(stringLeap, 1)
	}
	if p.turn {
		t.add(stringTurn, 1)
	}
	if step > 0 && d.str > c.str || step < 0 && d.str < c.str {
		t.add(stringContrary, 1)
	}
	t.add(stringSlow, p.slow)
	t.add(stringQuick, 1-p.slow)
	t.add(stringOff, p.off)
}

// shiftTime tallies which way and how far the hand goes, and when: chords shift
// like single notes.
func (m *model) shiftTime(a, b *state, d int8, p *passage, t *tally) {
	way := int(b.hand.Place) - int(a.hand.Place)
	if way == 0 {
		way = int(d)
	}
	if way < 0 {
		t.add(shiftDown, 1)
		way = -way
	}
	if way > 5 {
		t.add(shiftFar, float64(way-5))
	}
	t.add(shiftOff, p.off)
	t.add(shiftSlow, p.slow)
	t.add(shiftQuick, 1-p.slow)
	t.add(shiftInside, p.off*(1-p.slow))
}

// shiftStep tallies what the melody does at a shift.
func (m *model) shiftStep(up bool, step, size int, p *passage, t *tally) {
	switch {
	case step == 0:
		t.add(shiftRepeat, 1)
	case size == 1:
		t.add(shiftHalf, 1)
	case size == 2:
		t.add(shiftStep, 1)
	case size > 5:
		t.add(shiftLeap, 1)
	}
	if p.turn {
		t.add(shiftTurn, 1)
	}
	if step > 0 != up && step != 0 {
		t.add(shiftContrary, 1)
	}
}
