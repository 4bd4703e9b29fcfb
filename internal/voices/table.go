package voices

// maxAge bounds the age of a tone in a state, in tones: the widest window, and the
// tones of one chord.
const maxAge = 48

// digits is how many values a digit of a slot has, see solver.slot.
const digits = maxAge + mostTurns

// table finds states by their slot. A stamp empties it in no time.
type table struct {
	at    []int32
	stamp []uint32
	now   uint32
}

func newTable(voices int) table {
	n := 1
	for i := 1; i < voices; i++ {
		n *= digits
	}
	return table{at: make([]int32, n), stamp: make([]uint32, n)}
}

func (t *table) clear() {
	t.now++
	if t.now == 0 { // the stamp has gone round
		clear(t.stamp)
		t.now = 1
	}
}

func (t *table) find(slot int) (int, bool) { return int(t.at[slot]), t.stamp[slot] == t.now }

func (t *table) put(slot, i int) { t.at[slot], t.stamp[slot] = int32(i), t.now }
