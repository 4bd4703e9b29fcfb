package harmony

import (
	"math"
	"math/bits"
)

// scored is a problem with weights, made ready for the search.
type scored struct {
	*problem
	w      *Weights
	leave  [2][]float64
	enter  [2][]float64
	group  [2][]float64   // by group and group
	number [2][][]float64 // numeral by degree of the bass and function
	shift  [][]float64    // by key and key
	pivotW [][]float64    // by key and chord
	scale  [][]float64    // by key and tone
	kin    []float64      // by key, a quarter
	tone   [roles][noteClasses]float64
	onset  [roles][noteClasses]float64
	miss   [2][]float64 // by many notes, quality and what is heard
	gain   *gains       // nil: none
}

func newScored(p *problem, w *Weights) *scored {
	s := &scored{problem: p, w: w}
	for m := range 2 {
		fs := functions[m]
		for _, f := range fs {
			s.leave[m] = append(s.leave[m], w.w[blLeave.idx2(m, int(f.class))])
			s.enter[m] = append(s.enter[m], w.w[blEnter.idx2(m, int(f.class))])
		}
	}
	for m := range 2 {
		for _, a := range p.groupAs[m] {
			for _, b := range p.groupAs[m] {
				s.group[m] = append(s.group[m], w.w[blFollow.idx3(m, int(a.class), int(b.class))]+w.w[blMotion.idx2(m, motionBucket(b.root-a.root))])
			}
		}
		for d := range degrees + 1 {
			var row []float64
			for i, f := range functions[m] {
				v := w.w[blNumeral.idx2(m, i)]
				if d < degrees {
					v += w.w[blBass.idx3(m, int(f.class), d)]
				}
				row = append(row, v)
			}
			s.number[m] = append(s.number[m], row)
		}
	}
	for ki, k := range p.keys {
		m := mode(k.Minor)
		row := make([]float64, len(p.keys))
		for kj, l := range p.keys {
			row[kj] = w.w[blShift.idx3(m, mode(l.Minor), shiftBucket(k, l))]
		}
		s.shift = append(s.shift, row)
		pv := make([]float64, len(p.chords))
		for c := range pv {
			pv[c] = w.w[blPivot.idx2(m, int(p.pivot[ki][c]))]
		}
		s.pivotW = append(s.pivotW, pv)
		sc := make([]float64, tones)
		for t := range sc {
			sc[t] = w.w[blScale.idx2(m, degreeBucket(loTone+Tone(t)-k.Tonic))]
		}
		s.scale = append(s.scale, sc)
		s.kin = append(s.kin, w.w[blKin.idx(mode(p.home.Minor), m, kinBucket(p.home, k))])
	}
	for r := range roles {
		for c := range noteClasses {
			s.tone[r][c] = w.w[blTone.idx2(r, c)]
			s.onset[r][c] = w.w[blOnset.idx2(r, c)]
		}
	}
	s.fillMiss()
	return s
}

// chordUnit scores every chord over one unit, the part that adds up over units.
func (s *scored) chordUnit(at int, out []float64) {
	var by [tones][roles]float64
	var dur [tones]float64
	var has uint64
	u := &s.g.units[at]
	for _, o := range u.notes {
		t := o.tone - loTone
		has |= 1 << uint(t)
		dur[t] += float64(o.dur)
		for r := range roles {
			v := s.tone[r][o.class] * float64(o.dur)
			if o.onset {
				v += s.onset[r][o.class]
			}
			by[t][r] += v
		}
	}

	for _, o := range u.memory {
		t := o.tone - loTone
		has |= 1 << uint(t)
		for r := range roles {
			by[t][r] += s.w.w[blMemory.idx2(r, int(o.age))]
		}
	}
	if u.barWhen >= 0 {
		has |= 1 << uint(u.barLow-loTone)
		for r := range roles {
			by[u.barLow-loTone][r] += s.w.w[blBarLow.idx2(r, int(u.barWhen))]
		}
	}
	if !u.empty {
		for r := range roles {
			by[u.lowTone-loTone][r] += s.w.w[blUnitLow.idx2(r, int(u.level))]
		}
	}
	clear(out)
	tint := s.w.w[blTint.at:]
	for ; has != 0; has &= has - 1 {
		t := bits.TrailingZeros64(has)
		row, d := &by[t], dur[t]
		for c := range out {
			out[c] += row[s.role[c][t]] + d*tint[s.rel[c][t]]
		}
	}
	if s.gain != nil {
		for c, ch := range s.chords {
			out[c] += s.gain.root[at][ch.Root-loTone]
		}
	}
}

func (s *scored) keyUnit(at int, out []float64) {
	u := &s.g.units[at]
	for k := range s.keys {
		key := s.keys[k]
		m := mode(key.Minor)
		v := (s.kin[k] + s.w.w[blPlace.idx3(mode(s.home.Minor), u.place, relation(s.home, key))]) * float64(u.quarters)
		for _, o := range u.notes {
			v += s.scale[k][o.tone-loTone] * float64(o.dur)
		}
		for _, o := range u.line {
			v += s.w.w[blLine.idx3(m, degreeBucket(o[0]-key.Tonic), degreeBucket(o[1]-key.Tonic))]
		}
		if s.gain != nil {
			v += s.gain.key[at][k]
		}
		out[k] = v
	}
}

func (s *scored) spanScore(sp span) float64 {
	v := s.w.w[blLength.idx1(lengthBucket(sp.beats))] + s.w.w[blBars.idx1(barBucket(sp.bars))] + s.w.w[blLevel.idx1(sp.level)] + s.w.w[blPaceLevel.idx2(s.pace, sp.level)] + s.w.w[blPaceLength.idx2(s.pace, lengthBucket(sp.beats))]
	if sp.cross {
		v += s.w.w[blCross.idx1(sp.level)]
	}
	return v
}

// wholeScores adds to each chord what depends on the whole segment.
func (s *scored) wholeScores(sp span, acc, out []float64) {
	if sp.empty {
		copy(out, acc)
		return
	}
	many := 0
	if sp.struck >= fullEnough {
		many = 1
	}
	low, first, mask := sp.tone-loTone, sp.first-loTone, sp.mask|1<<heardBit
	lowW, firstW, miss := s.w.w[blLow.at:], s.w.w[blFirst.at:], s.miss[many]
	for c := range acc {
		q := int(s.chords[c].Quality)
		role := &s.role[c]
		out[c] = acc[c] + lowW[q*roles+int(role[low])] + firstW[role[first]] + miss[q*16+s.heard(c, mask)]
	}
}

// fillMiss sums the weights of missing chord tones by what is heard.
func (s *scored) fillMiss() {
	for many := range 2 {
		for q := range qualities {
			for heard := range 16 {
				v := 0.0
				for r := range chordSteps[q] {
					if heard>>r&1 == 0 {
						v += s.w.w[blMissing.idx3(int(q), r, many)]
					}
				}
				s.miss[many] = append(s.miss[many], v)
			}
		}
	}
}

// flat numbers the states of all keys in one row.
type flat struct {
	at  []int // first state of each key
	n   int
	key []int16
	fn  []int16
}

func (p *problem) flat() flat {
	var f flat
	for k, row := range p.chord {
		f.at = append(f.at, f.n)
		f.n += len(row)
		for i := range row {
			f.key = append(f.key, int16(k))
			f.fn = append(f.fn, int16(i))
		}
	}
	return f
}

// best is the likeliest reading. It is a semi-Markov Viterbi search (Sarawagi and
// Cohen 2004):
//
//	V[t][y] = max over s in [t-maxLen, t) of E[s][y] + seg(s,t,y)
//	E[s][y] = max over x of V[s][x] + join(x,y,s)
//
// where a join within one key is a table of function by function, and a join
// between keys splits into leaving, shift, pivot and entering, so that it costs
// keys times states and not states squared. Time is units × (keys × functions²
// + maxLen × states); it is exact.
func (s *scored) best() ([]Segment, float64) {
	f := s.flat()
	n := s.units
	if n == 0 {
		return nil, 0
	}
	ring := maxLen + 1
	enter := make([][]float64, ring)
	chordAt := make([][]float64, ring)
	keyAt := make([][]float64, ring)
	for i := range ring {
		enter[i], chordAt[i], keyAt[i] = make([]float64, f.n), make([]float64, len(s.chords)), make([]float64, len(s.keys))
	}
	from := make([][]int16, n) // by unit and state: the state before a segment that starts there
	lens := make([][]uint8, n+1)
	val := make([]float64, f.n)
	r := &reach{chords: make([]float64, len(s.chords)), whole: make([]float64, len(s.chords)), keys: make([]float64, len(s.keys)), states: make([]float64, f.n)}
	s.open(f, enter[0])
	for t := 1; t <= n; t++ {
		u := t - 1
		s.chordUnit(u, chordAt[u%ring])
		s.keyUnit(u, keyAt[u%ring])
		lens[t] = make([]uint8, f.n)
		s.segmentsTo(t, f, enter, chordAt, keyAt, r, val, lens[t])
		if t < n {
			from[t] = make([]int16, f.n)
			s.join(t, f, val, enter[t%ring], from[t])
		}
	}
	s.close(f, val)
	end, top := 0, math.Inf(-1)
	for y, v := range val {
		if v > top {
			end, top = y, v
		}
	}
	return s.trace(f, from, lens, end), top
}

func (s *scored) open(f flat, out []float64) {
	for y := range out {
		v := 0.0
		s.openFeatures(State{int(f.key[y]), int(f.fn[y])}, func(i int, x float64) { v += s.w.w[i] * x })
		out[y] = v
	}
}

func (s *scored) close(f flat, val []float64) {
	for y := range val {
		s.closeFeatures(State{int(f.key[y]), int(f.fn[y])}, func(i int, x float64) { val[y] += s.w.w[i] * x })
	}
}

// reach is the working space of segmentsTo.
type reach struct {
	chords, whole []float64 // by chord: over the units of the segment; with the whole of it
	keys          []float64 // by key, over the units
	states        []float64 // by state, over the units
	live          []int     // keys that may stand over all units of the segment
}

// segmentsTo fills val with V[t] and lens with the segment that attains it.
func (s *scored) segmentsTo(t int, f flat, enter, chordAt, keyAt [][]float64, r *reach, val []float64, lens []uint8) {
	ring := len(enter)
	clear(r.chords)
	clear(r.keys)
	clear(r.states)
	r.live = r.live[:0]
	for k := range s.keys {
		r.live = append(r.live, k)
	}
	for y := range val {
		val[y] = math.Inf(-1)
	}
	var sp span
	for from := t - 1; from >= 0 && from >= t-maxLen; from-- {
		u := &s.g.units[from]
		if from == t-1 {
			sp = startSpan(u)
		} else {
			sp = sp.before(u)
		}
		if !s.reachBack(r, from, f, chordAt[from%ring], keyAt[from%ring]) {
			return
		}
		s.wholeScores(sp, r.chords, r.whole)
		base := s.spanScore(sp)
		e := enter[from%ring]
		for _, k := range r.live {
			row, b, lo := s.chord[k], base+r.keys[k], f.at[k]
			num := s.number[mode(s.keys[k].Minor)][sp.degree(s.keys[k])]
			for i, c := range row {
				v := e[lo+i] + b + r.whole[c] + num[i] + r.states[lo+i]
				if v > val[lo+i] {
					val[lo+i], lens[lo+i] = v, uint8(t-from)
				}
			}
		}
	}
}

// reachBack adds a unit in front and drops the keys that cannot stand there; it is
// false where none is left.
func (s *scored) reachBack(r *reach, from int, f flat, chord, key []float64) bool {
	n := 0
	for _, k := range r.live {
		if v := key[k]; v > math.Inf(-1) {
			r.keys[k] += v
			r.live[n] = k
			n++
		}
	}
	r.live = r.live[:n]
	for c, v := range chord {
		r.chords[c] += v
	}
	if s.gain != nil {
		for _, k := range r.live {
			lo := f.at[k]
			for i, v := range s.gain.state[from][lo : lo+len(s.chord[k])] {
				r.states[lo+i] += v
			}
		}
	}
	return n > 0
}

// join fills out with E[t] from V[t].
func (s *scored) join(t int, f flat, val, out []float64, from []int16) {
	u := &s.g.units[t]
	stay, change := 0.0, s.w.w[blShiftAt.idx1(int(u.level))]
	if u.section {
		stay, change = s.w.w[blSection.idx1(1)], change+s.w.w[blSection.idx1(0)]
	}
	type exit struct {
		v  float64
		at int16
	}
	exits := make([]exit, len(s.keys))
	for k, row := range s.chord {
		m := mode(s.keys[k].Minor)
		n, lo := len(row), f.at[k]
		x := exit{math.Inf(-1), -1}
		for i := range row {
			if v := val[lo+i] + s.leave[m][i]; v > x.v {
				x = exit{v, int16(lo + i)}
			}
		}
		exits[k] = x
		if s.hopeless(t, k) || s.hopeless(t-1, k) {
			for i := range row {
				out[lo+i] = math.Inf(-1)
			}
			continue
		}
		s.joinKey(m, stay, val[lo:lo+n], out[lo:lo+n], from[lo:lo+n], int16(lo))
	}
	for k, row := range s.chord {
		if s.hopeless(t, k) {
			continue
		}
		m, lo := mode(s.keys[k].Minor), f.at[k]
		for l := range s.keys {
			if l == k || exits[l].at < 0 {
				continue
			}
			b := exits[l].v + s.shift[l][k] + change
			pv, en := s.pivotW[l], s.enter[m]
			for i, c := range row {
				if v := b + pv[c] + en[i]; v > out[lo+i] {
					out[lo+i], from[lo+i] = v, exits[l].at
				}
			}
		}
	}
}

// hopeless says that a key is not looked for over a unit.
func (s *scored) hopeless(u, k int) bool { return s.gain != nil && s.gain.key[u][k] < 0 }

// joinKey does so within one key. Functions of one group follow and lead alike, so
// that the best of each group is enough to know.
func (s *scored) joinKey(m int, stay float64, val, out []float64, from []int16, lo int16) {
	n, of := s.groups[m], s.groupOf[m]
	var top, into [maxGroups]float64
	var topAt, intoAt [maxGroups]int16
	for g := range n {
		top[g], into[g] = math.Inf(-1), math.Inf(-1)
	}
	for i, v := range val {
		if g := of[i]; v > top[g] {
			top[g], topAt[g] = v, int16(i)
		}
	}
	for g := range n {
		for h, x := range s.group[m][g*n : g*n+n] {
			if v := top[g] + x; h != g && v > into[h] {
				into[h], intoAt[h] = v, topAt[g]
			}
		}
	}
	same := s.w.w[blSame.idx1(0)]
	for j := range out {
		h := of[j]
		best, at := into[h], intoAt[h]
		for _, i := range s.members[m][h] {
			if i >= len(val) {
				break
			}
			v := val[i] + s.group[m][h*n+h]
			if i == j {
				v = val[i] + same
			}
			if v > best {
				best, at = v, int16(i)
			}
		}
		out[j], from[j] = best+stay, lo+at
	}
}

func (s *scored) trace(f flat, from [][]int16, lens [][]uint8, y int) []Segment {
	var out []Segment
	for t := s.units; t > 0; {
		d := int(lens[t][y])
		out = append(out, Segment{t - d, t, State{int(f.key[y]), int(f.fn[y])}})
		t -= d
		if t > 0 {
			y = int(from[t][y])
		}
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}
