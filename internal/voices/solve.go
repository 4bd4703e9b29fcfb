package voices

import "math"

// solve finds for each tone the one it goes on from (-1: it begins a voice), so that
// the total cost is least (line.total), exactly, by dynamic programming.
//
// The state after a chord is the set of the last tones of the open voices, the
// latest first; the voices need no names, since every cost is symmetric in them. The
// chord's own tones are always among them, so with k voices and a window of m tones
// there are at most C(m, k-1) states and k+1 ways on from each single tone. Time is
// linear in the number of tones. Back pointers are dropped as soon as all surviving
// paths agree on them, so memory stays small in long parts too.
func solve(l *line, w *Weights) []int {
	s := &solver{l: l, w: w, prev: make([]int, len(l.tones))}
	s.cur = []state{{last: none}}
	s.table = newTable(l.most)
	for c := range l.chords {
		s.step(c)
		if len(s.start) >= commitEvery {
			s.commit(false)
		}
	}
	s.commit(true)
	return s.prev
}

// commitEvery is how many chords are searched before settled back pointers are let go.
const commitEvery = 4096

// none is the set of no tones.
var none = [MostVoices]int32{-1, -1, -1, -1}

// state is a set of last tones. n of them are used, the latest first, the others -1.
type state struct {
	last  [MostVoices]int32
	n     int8
	turns int8 // see line.turns
	cost  float64
}

// link tells how a state was reached: from which state of the layer before, and from
// which tones the chord's tones went on (counted back from the chord, 0: new).
type link struct {
	back int32
	from [MostVoices]uint8
}

type solver struct {
	l     *line
	w     *Weights
	cur   []state
	next  []state
	links []link // of all layers not yet committed, one after the other
	start []int  // of each layer, where its links begin
	first int    // chord of the first of these layers
	table table
	prev  []int
	// of the chord at work
	at     chord
	base   int // where its links begin
	live   [MostVoices]int32
	nLive  int
	choice [MostVoices]int // index into live, -1 new; of each tone of the chord
	costs  [MostVoices][MostVoices]float64
	// turning: this tone and the two before it are single; following: this and the one
	// before
	turning, following bool
	turns              int8
	run, above         int // of the state at work, see line.turn
	// by age: whether the tone of that age is open, and what going on from it costs
	open [maxAge]bool
	cont [maxAge]float64
}

// step goes on from all states over one chord.
func (s *solver) step(c int) {
	s.at = s.l.chords[c]
	s.next = s.next[:0]
	s.base = len(s.links)
	s.start = append(s.start, s.base)
	s.table.clear()
	i := s.at.lo
	alone := s.l.single(i)
	s.following = i >= 1 && alone && s.l.single(i-1)
	s.turning = s.following && i >= 2 && s.l.single(i-2)
	for age := 1; age < maxAge && age <= i; age++ {
		s.open[age] = s.l.open(i-age, i)
		if s.open[age] && alone {
			s.cont[age] = s.l.continuation(s.w, i-age, i)
			if s.l.forbidden(i-age, i) {
				s.cont[age] += breach
			}
		}
	}
	for k := range s.cur {
		if s.enter(&s.cur[k]); alone {
			s.one(int32(k), s.cur[k].cost)
			continue
		}
		s.price()
		s.choose(0, int32(k), s.cur[k].cost)
	}
	s.cur, s.next = s.next, s.cur
}

// one goes on from a state over a single tone: the same as choose, unrolled, since
// nearly all of a line is single tones.
func (s *solver) one(from int32, cost float64) {
	i := s.at.lo
	key := s.l.tones[i].key
	for d := -1; d < s.nLive; d++ {
		s.choice[0] = d
		c := cost
		if d < 0 {
			c += s.w.Enter + s.newBreach(0)
		} else {
			a := s.live[d]
			c += s.cont[i-int(a)]
			k := s.l.tones[a].key
			for o := 0; o < s.nLive; o++ {
				if o != d {
					u := s.l.tones[s.live[o]].key
					tied, bin := sideOf(k, key, u, u)
					c += s.w.Side[tied][bin]
				}
			}
		}
		s.arrive(from, c+s.turnCost())
	}
}

// tonesAtOnce is how many tones of a chord can be given to voices of their own; of a
// larger chord (no string instrument plays one) the others begin voices that are
// closed at once.
func tonesAtOnce(c chord) int { return min(c.hi-c.lo, MostVoices) }

// enter takes up a state: the voices still open.
func (s *solver) enter(st *state) {
	s.nLive, s.turns, s.above = 0, st.turns, 0
	s.run = runBin(int(st.turns), 0)
	other := false
	for _, a := range st.last[:st.n] {
		age := s.at.lo - int(a)
		if age < maxAge && s.open[age] {
			s.live[s.nLive] = a
			s.nLive++
			if age > 1 && !other && s.turning {
				other = true
				s.run = runBin(int(st.turns), age-1)
				if s.l.tones[s.at.lo-1].key > s.l.tones[a].key {
					s.above = 1
				}
			}
		}
	}
}

// price says what each tone of a chord costs in each open voice.
func (s *solver) price() {
	for i := 0; i < tonesAtOnce(s.at); i++ {
		for d := 0; d < s.nLive; d++ {
			a, b := int(s.live[d]), s.at.lo+i
			s.costs[i][d] = s.l.continuation(s.w, a, b)
			if s.l.forbidden(a, b) {
				s.costs[i][d] += breach
			}
		}
	}
}

// choose gives tone i of the chord each voice that is free, and a new one.
func (s *solver) choose(i int, from int32, cost float64) {
	if i == tonesAtOnce(s.at) {
		s.arrive(from, cost+s.sideCost()+s.turnCost())
		return
	}
	for d := 0; d < s.nLive; d++ {
		taken := false
		for j := 0; j < i; j++ {
			taken = taken || s.choice[j] == d
		}
		if !taken {
			s.choice[i] = d
			s.choose(i+1, from, cost+s.costs[i][d])
		}
	}
	s.choice[i] = -1
	s.choose(i+1, from, cost+s.w.Enter+s.newBreach(i))
}

// newBreach: a new voice where the written one goes on from an open tone.
func (s *solver) newBreach(i int) float64 {
	b := s.l.tones[s.at.lo+i].before
	for d := 0; d < s.nLive && b >= 0; d++ {
		if int(s.live[d]) == b {
			return breach
		}
	}
	return 0
}

// turnCost is line.turn on the choice made.
func (s *solver) turnCost() float64 {
	if !s.turning {
		return 0
	}
	act := goes
	if s.choice[0] < 0 {
		act = begins
	} else if int(s.live[s.choice[0]]) == s.at.lo-1 {
		act = stays
	}
	return s.w.Turn[s.run][s.above][act]
}

// sideCost is line.sides on the choices made.
func (s *solver) sideCost() float64 {
	sum := 0.0
	m := tonesAtOnce(s.at)
	for i := 0; i < m; i++ {
		if s.choice[i] < 0 {
			continue
		}
		a, b := s.l.tones[s.live[s.choice[i]]].key, s.l.tones[s.at.lo+i].key
		for d := 0; d < s.nLive; d++ {
			if d == s.choice[i] {
				continue
			}
			from := s.l.tones[s.live[d]].key
			to, counted := from, false
			for j := 0; j < m; j++ {
				if s.choice[j] == d {
					to, counted = s.l.tones[s.at.lo+j].key, j < i
				}
			}
			if !counted {
				tied, bin := sideOf(a, b, from, to)
				sum += s.w.Side[tied][bin]
			}
		}
	}
	return sum
}

// arrive records the state that the choices lead to.
func (s *solver) arrive(from int32, cost float64) {
	st := state{last: none}
	m := tonesAtOnce(s.at)
	for i := s.at.hi - 1; i >= s.at.lo && int(st.n) < s.l.most; i-- {
		st.last[st.n] = int32(i)
		st.n++
	}
	for d := 0; d < s.nLive && int(st.n) < s.l.most; d++ {
		used := false
		for i := 0; i < m; i++ {
			used = used || s.choice[i] == d
		}
		if !used {
			st.last[st.n] = s.live[d]
			st.n++
		}
	}
	if s.following && st.n > 1 && int(st.last[1]) == s.at.lo-1 {
		st.turns = min(mostTurns, s.turns+1)
	}
	st.cost = cost
	at, known := s.table.find(s.slot(&st))
	if known && s.next[at].cost <= cost {
		return
	}
	if !known {
		at = len(s.next)
		s.next = append(s.next, st)
		s.links = append(s.links, link{})
		s.table.put(s.slot(&st), at)
	}
	s.next[at].cost = cost
	k := link{back: from}
	for i := 0; i < m; i++ {
		if s.choice[i] >= 0 {
			k.from[i] = uint8(s.at.lo - int(s.live[s.choice[i]]))
		}
	}
	s.links[s.base+at] = k
}

// slot is the place of a state in the table: its ages but the first, which is 0, as
// digits. An unused age is 0, which no other tone can have. Turns there are only where
// the second age is 1: each number of turns has a digit of its own for that.
func (s *solver) slot(st *state) int {
	x := 0
	for i, a := range st.last[1:s.l.most] {
		age := 0
		if a >= 0 {
			age = s.at.hi - 1 - int(a)
		}
		if i == 0 && st.turns > 0 {
			age = maxAge - 1 + int(st.turns)
		}
		x = x*digits + age
	}
	return x
}

// commit writes the part of the answer that no longer depends on what follows: the
// layers before the last one in which all surviving paths meet. At the end the
// cheapest state decides.
func (s *solver) commit(end bool) {
	alive := map[int32]bool{}
	best, arg := math.Inf(1), int32(0)
	for i := range s.cur {
		alive[int32(i)] = true
		if s.cur[i].cost < best {
			best, arg = s.cur[i].cost, int32(i)
		}
	}
	if end {
		alive = map[int32]bool{arg: true}
	}
	k := len(s.start) - 1
	for ; k >= 0 && len(alive) > 1; k-- {
		before := map[int32]bool{}
		for i := range alive {
			before[s.links[s.start[k]+int(i)].back] = true
		}
		alive = before
	}
	if k < 0 {
		return
	}
	at := int32(0)
	for i := range alive {
		at = i
	}
	for j := k; j >= 0; j-- {
		k := s.links[s.start[j]+int(at)]
		s.write(s.first+j, k)
		at = k.back
	}
	s.first += k + 1
	if k+1 == len(s.start) {
		s.start, s.links = s.start[:0], s.links[:0]
		return
	}
	cut := s.start[k+1]
	s.links = s.links[:copy(s.links, s.links[cut:])]
	s.start = s.start[:copy(s.start, s.start[k+1:])]
	for i := range s.start {
		s.start[i] -= cut
	}
}

func (s *solver) write(c int, k link) {
	at := s.l.chords[c]
	for i := at.lo; i < at.hi; i++ {
		s.prev[i] = -1
		if j := i - at.lo; j < MostVoices && k.from[j] > 0 {
			s.prev[i] = at.lo - int(k.from[j])
		}
	}
}
