package bowing

// asWritten sets m.written: directions alternate in the order of playing, every
// mark resets, rests do not. A bar that opens the piece begins down; a pickup is
// counted back from its bar line, so that a single one is up.
func (m *model) asWritten() {
	m.written = make([]Direction, len(m.bowed))
	m.into = make([]int, len(m.bowed))
	for b := range m.into {
		m.into[b] = -1
	}
	m.written[m.opening] = m.openingDirection()
	for i, l := range m.links {
		if l.b != m.opening && m.into[l.b] < 0 {
			m.into[l.b] = i
		}
		if m.written[l.b] == None {
			m.written[l.b] = m.written[l.a].Opposite()
			if m.fixed[l.b] != None {
				m.written[l.b] = m.fixed[l.b]
			}
		}
	}
	for b := range m.written {
		if m.written[b] == None {
			m.written[b] = Down
		}
	}
}

// openingDirection is the direction of the first stroke when nothing is
// decided: its own mark, else counted back from the first mark or bar start of
// the first two bars, whichever comes first.
func (m *model) openingDirection() Direction {
	first := m.opening
	for b := first; b < len(m.bowed) && m.bow(b).Measure <= m.bow(first).Measure+1; b++ {
		d := m.fixed[b]
		if d == None && m.mainEvent(m.bow(b)).Level == 0 {
			d = Down
		}
		if d == None {
			continue
		}
		if (b-first)%2 == 1 {
			d = d.Opposite()
		}
		return d
	}
	return Up
}

// writtenStrokes gives the strokes with the directions of m.written.
func (m *model) writtenStrokes() []Stroke {
	out := append([]Stroke(nil), m.strokes...)
	for b, i := range m.bowed {
		s := &out[i]
		s.Direction, s.Fixed = m.written[b], m.fixed[b] != None
		s.Why = termsAgainst(m.wants[b], s.Direction)
		s.Change = Begin
		if k := m.into[b]; k >= 0 {
			s.Change = Alternate
			if m.written[m.links[k].a] == s.Direction {
				f := m.sameAs(k, s.Direction)
				s.Change, s.Why = f.kind, append(s.Why, f.terms...)
			}
		}
	}
	return out
}
