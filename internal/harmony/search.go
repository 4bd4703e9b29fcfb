package harmony

import (
	"math"

	"pochette/internal/score"
)

// scored is a problem with weights, made ready for the search.
type scored struct {
	*problem
	w *Weights
	// follow[mode] is the score of function j after function i in one key, from*n+to.
	follow            [2][]float64
	leave             [2][]float64
	enter             [2][]float64
	number            [2][]float64 // numeral by function
	shift             [][]float64  // by key and key
	pivotW            [][]float64  // by key and chord
	scale             [][]float64  // by key and tone
	kin               []float64    // by key, a quarter
	tone              [roles][noteClasses]float64
	onset             [roles][noteClasses]float64
	loss              []goldUnit // learning only: what is right, and what each wrong quarter is given on top
	margin, keyMargin float64
}

func newScored(p *problem, w *Weights) *scored {
	s := &scored{problem: p, w: w}
	for m := range 2 {
		fs := functions[m]
		n := len(fs)
		s.follow[m] = make([]float64, n*n)
		for i, a := range fs {
			for j, b := range fs {
				v := w.w[blSame.idx1(0)]
				if i != j {
					v = w.w[blFollow.idx3(m, int(a.class), int(b.class))] + w.w[blMotion.idx2(m, motionBucket(b.root-a.root))]
				}
				s.follow[m][i*n+j] = v
			}
		}
		for i, f := range fs {
			s.leave[m] = append(s.leave[m], w.w[blLeave.idx2(m, int(f.class))])
			s.enter[m] = append(s.enter[m], w.w[blEnter.idx2(m, int(f.class))])
			s.number[m] = append(s.number[m], w.w[blNumeral.idx2(m, i)])
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
	return s
}

// chordUnit scores every chord over one unit, the part that adds up over units.
func (s *scored) chordUnit(at int, out []float64) {
	var by [roles][tones]float64
	none := 0.0
	for _, o := range s.g.units[at].notes {
		for r := range roles {
			v := s.tone[r][o.class] * float64(o.dur)
			if o.onset {
				v += s.onset[r][o.class]
			}
			by[r][o.tone-loTone] += v
		}
	}
	for t := range tones {
		none += by[foreign][t]
	}
	for c, ch := range s.chords {
		v := none
		for r, st := range chordSteps[ch.Quality] {
			if t := ch.Root + st; t.known() {
				v += by[r][t-loTone] - by[foreign][t-loTone]
			}
		}
		out[c] = v
	}
	if s.loss != nil {
		g := s.loss[at]
		for c := range out {
			if int32(c) != g.chord {
				out[c] += s.margin * g.q
			}
		}
	}
}

func (s *scored) keyUnit(at int, out []float64) {
	u := &s.g.units[at]
	for k := range s.keys {
		v := s.kin[k] * float64(u.quarters)
		for _, o := range u.notes {
			v += s.scale[k][o.tone-loTone] * float64(o.dur)
		}
		if s.loss != nil && k != s.loss[at].key {
			v += s.keyMargin * s.loss[at].q
		}
		out[k] = v
	}
}

func (s *scored) spanScore(sp span) float64 {
	v := s.w.w[blLength.idx1(lengthBucket(sp.beats))] + s.w.w[blBars.idx1(barBucket(sp.bars))] + s.w.w[blLevel.idx1(sp.level)]
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
	var miss [4]float64
	for r := range miss {
		miss[r] = s.w.w[blMissing.idx2(r, many)]
	}
	low, first := sp.tone-loTone, sp.first-loTone
	lowW, firstW := s.w.w[blLow.at:], s.w.w[blFirst.at:]
	for c := range acc {
		v := acc[c] + lowW[int(s.chords[c].Quality)*roles+int(s.role[c][low])] + firstW[s.role[c][first]]
		mask := &s.mask[c]
		for r := range mask {
			if bit := mask[r]; bit != 0 && sp.mask&bit == 0 {
				v += miss[r]
			}
		}
		out[c] = v
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
	acc, whole, keyAcc := make([]float64, len(s.chords)), make([]float64, len(s.chords)), make([]float64, len(s.keys))
	s.open(f, enter[0])
	for t := 1; t <= n; t++ {
		u := t - 1
		s.chordUnit(u, chordAt[u%ring])
		s.keyUnit(u, keyAt[u%ring])
		lens[t] = make([]uint8, f.n)
		s.segmentsTo(t, f, enter, chordAt, keyAt, acc, whole, keyAcc, val, lens[t])
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

// segmentsTo fills val with V[t] and lens with the segment that attains it.
func (s *scored) segmentsTo(t int, f flat, enter, chordAt, keyAt [][]float64, acc, whole, keyAcc, val []float64, lens []uint8) {
	ring := len(enter)
	clear(acc)
	clear(keyAcc)
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
		for c, v := range chordAt[from%ring] {
			acc[c] += v
		}
		for k, v := range keyAt[from%ring] {
			keyAcc[k] += v
		}
		s.wholeScores(sp, acc, whole)
		base := s.spanScore(sp)
		e := enter[from%ring]
		for k, row := range s.chord {
			b := base + keyAcc[k]
			m := mode(s.keys[k].Minor)
			lo := f.at[k]
			num := s.number[m]
			for i, c := range row {
				v := e[lo+i] + b + whole[c] + num[i]
				if v > val[lo+i] {
					val[lo+i], lens[lo+i] = v, uint8(t-from)
				}
			}
		}
	}
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
		o, fr := out[lo:lo+n], from[lo:lo+n]
		for j := range o {
			o[j] = math.Inf(-1)
		}
		for i := range row {
			v := val[lo+i] + stay
			tab := s.follow[m][i*len(functions[m]):][:n]
			for j, x := range tab {
				if c := v + x; c > o[j] {
					o[j], fr[j] = c, int16(lo+i)
				}
			}
		}
	}
	for k, row := range s.chord {
		m, lo := mode(s.keys[k].Minor), f.at[k]
		for l := range s.keys {
			if l == k {
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

// read is the likeliest reading of a part as labels.
func read(p *score.Part, quarter score.Tick, home Key, w *Weights) (*problem, []Segment) {
	pr := newProblem(newGrid(p, quarter), home)
	path, _ := newScored(pr, w).best()
	return pr, path
}

// Read gives the keys and chords of a part, one label a chord, without
// inversions.
func Read(p *score.Part, quarter score.Tick, home Key, w *Weights) []Label {
	pr, path := read(p, quarter, home, w)
	return pr.labels(path)
}

func (pr *problem) labels(path []Segment) []Label {
	out := make([]Label, 0, len(path))
	for _, s := range path {
		f := pr.fn(s.State)
		l := Label{From: pr.g.units[s.From].start, To: pr.g.units[s.To-1].end, Key: pr.keys[s.Key], Chord: pr.chordOf(s.State),
			Applied: f.applied, Target: f.target, TargetMinor: f.targetMinor}
		out = append(out, l)
	}
	return out
}
