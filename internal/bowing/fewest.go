package bowing

// tally counts what a plan changes, to be compared before its cost: changes of
// the printed text (a slur split, a slur added: one each) in the high bits,
// changes of the reading in the low ones.
type tally int64

const textChange tally = 1 << 32

func (t tally) text() int  { return int(t / textChange) }
func (t tally) signs() int { return int(t % textChange) }

// Fewest: the strong places that the weighted plan rights stay right; among all
// plans that do so the one with the fewest changes of the text is wanted, then
// the fewest retakes and links, then the least cost. A fresh start after a rest
// is no change of the reading here: the rest gives it for nothing.
//
// Strict: no change of the text at all, then the fewest places where the bow
// does not simply alternate (after rests too) from the opening as written, then
// the least cost. Without marks that is the reading as written; marks that
// alternation does not meet force one change each, put where it costs least.
//
// m.mode picks between them; weighted counts nothing.
type mode int8

const (
	weighted mode = iota
	fewest
	strict
)

// nodeTally counts the changes of text in a state of bow b.
func (m *model) nodeTally(b, s int) tally {
	if isSplit(s) {
		return textChange
	}
	if g := m.bindAt(b, s); g != nil && g.first == b {
		return textChange
	}
	return 0
}

// linkTally counts the change of reading at link i between two states.
func (m *model) linkTally(i, sa, sb int) tally {
	l := m.links[i]
	if m.under(l.b, sb) || exit(sa) != entry(sb) {
		return 0
	}
	if m.mode == strict {
		if m.into[l.b] == i {
			return 1
		}
		return 0
	}
	if m.sameAs(i, entry(sb)).kind == AfterRest {
		return 0
	}
	return 1
}

// pinned forbids states that the mode rules out: in fewest those that leave up a
// strong place which the weighted plan rights, in strict another opening.
func (m *model) pinned(b, s int) bool {
	switch m.mode {
	case fewest:
		return m.righted[b] && (entry(s) == Up || m.under(b, s))
	case strict:
		return b == m.opening && m.fixed[b] == None && entry(s) != m.written[b]
	}
	return false
}

// rightedBy marks the strong places that come up as written and down in a plan.
func (m *model) rightedBy(states []int) []bool {
	out := make([]bool, len(m.bowed))
	for b, s := range states {
		out[b] = m.callsDown(b) && m.written[b] == Up && entry(s) == Down && !m.under(b, s)
	}
	return out
}
