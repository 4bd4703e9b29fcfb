package harmony

import "math"

// lattice holds the chances of all readings of a problem at once: exact forward
// and backward sums of the semi-Markov model (Sarawagi and Cohen 2004), where
// best takes maxima. Sums are kept as plain numbers with a logarithm of their
// scale beside.
type lattice struct {
	*scored
	f                flat
	chordAt, keyAt   [][]float64 // by unit, the largest of each unit 1
	unitTop          float64     // what was taken off
	enter, end       [][]float64 // by unit and state: a segment starts, or has ended, here
	enterLog, endLog []float64
	sameX            float64
	followX          [2][]float64 // by group and group
	leaveX, enterX   [2][]float64
	numberX          [2][][]float64 // by mode, degree of the bass (the last: none) and function
	shiftX, pivotX   [][]float64
	logZ             float64
	lowX, firstX     []float64
	missX            [2][]float64
	acc, chordX      []float64 // of the segment at hand, by chord
	keyAcc, keyX     []float64
	liveKeys         []int32 // the keys at hand
	liveChords       []int32 // and their chords
	marked           []bool
	reached          []bool // keys that stepBack comes to
}

func newLattice(s *scored) *lattice {
	l := &lattice{scored: s, f: s.flat()}
	for m := range 2 {
		l.followX[m] = exps(s.group[m])
		l.leaveX[m], l.enterX[m] = exps(s.leave[m]), exps(s.enter[m])
		for _, row := range s.number[m] {
			l.numberX[m] = append(l.numberX[m], exps(row))
		}
	}
	for k := range s.keys {
		l.shiftX, l.pivotX = append(l.shiftX, exps(s.shift[k])), append(l.pivotX, exps(s.pivotW[k]))
	}
	l.lowX, l.firstX = exps(s.w.w[blLow.at:blLow.at+blLow.count()]), exps(s.w.w[blFirst.at:blFirst.at+roles])
	l.missX = [2][]float64{exps(s.miss[0]), exps(s.miss[1])}
	l.acc, l.chordX = make([]float64, len(s.chords)), make([]float64, len(s.chords))
	l.keyAcc, l.keyX = make([]float64, len(s.keys)), make([]float64, len(s.keys))
	l.marked, l.reached = make([]bool, len(s.chords)), make([]bool, len(s.keys))
	for k := range s.keys {
		l.liveKeys = append(l.liveKeys, int32(k))
	}
	for c := range s.chords {
		l.liveChords = append(l.liveChords, int32(c))
	}
	l.sameX = math.Exp(s.w.w[blSame.idx1(0)])
	for u := range s.units {
		c, k := make([]float64, len(s.chords)), make([]float64, len(s.keys))
		s.chordUnit(u, c)
		s.keyUnit(u, k)
		l.unitTop += lower(c) + lower(k)
		expIn(c)
		expIn(k)
		l.chordAt, l.keyAt = append(l.chordAt, c), append(l.keyAt, k)
	}
	return l
}

func exps(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = math.Exp(x)
	}
	return out
}

func expIn(v []float64) {
	for i, x := range v {
		v[i] = math.Exp(x)
	}
}

// lower takes the largest off all and tells it.
func lower(v []float64) float64 {
	top := math.Inf(-1)
	for _, x := range v {
		top = max(top, x)
	}
	for i := range v {
		v[i] -= top
	}
	return top
}

// norm scales to a sum of 1 and tells the logarithm of what it was.
func norm(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	if sum == 0 {
		return 0
	}
	for i := range v {
		v[i] /= sum
	}
	return math.Log(sum)
}

// segments visits the segments that end before unit t, longest last: their
// weight is key[k] * chord[c] * number[m][fn].
func (l *lattice) segments(t int, see func(from int, sp *span, key, chord []float64)) {
	for c := range l.acc {
		l.acc[c] = 1
	}
	for k := range l.keyAcc {
		l.keyAcc[k] = 1
	}
	var sp span
	for from := t - 1; from >= 0 && from >= t-maxLen; from-- {
		u := &l.g.units[from]
		if from == t-1 {
			sp = startSpan(u)
		} else {
			sp = sp.before(u)
		}
		at := l.chordAt[from]
		for _, c := range l.liveChords {
			l.acc[c] *= at[c]
		}
		base := math.Exp(l.spanScore(sp))
		of := l.keyAt[from]
		for _, k := range l.liveKeys {
			l.keyAcc[k] *= of[k]
			l.keyX[k] = l.keyAcc[k] * base
		}
		l.whole(&sp)
		see(from, &sp, l.keyX, l.chordX)
	}
}

// whole is wholeScores in plain numbers.
func (l *lattice) whole(sp *span) {
	if sp.empty {
		copy(l.chordX, l.acc)
		return
	}
	many := 0
	if sp.struck >= fullEnough {
		many = 1
	}
	low, first, mask := sp.tone-loTone, sp.first-loTone, sp.mask|1<<heardBit
	miss := l.missX[many]
	for _, c := range l.liveChords {
		q := int(l.chords[c].Quality)
		role := &l.role[c]
		l.chordX[c] = l.acc[c] * l.lowX[q*roles+int(role[low])] * l.firstX[role[first]] * miss[q*16+l.heard(int(c), mask)]
	}
}

func (l *lattice) forward() {
	n := l.units
	l.enter, l.end = make([][]float64, n+1), make([][]float64, n+1)
	enter, end := make([]float64, (n+1)*l.f.n), make([]float64, (n+1)*l.f.n)
	row := func(v []float64, t int) []float64 { return v[t*l.f.n : (t+1)*l.f.n] }
	l.enterLog, l.endLog = make([]float64, n+1), make([]float64, n+1)
	e := row(enter, 0)
	l.open(l.f, e)
	for y := range e {
		e[y] = math.Exp(e[y])
	}
	l.enter[0], l.enterLog[0] = e, norm(e)
	for t := 1; t <= n; t++ {
		v := row(end, t)
		l.segments(t, func(from int, sp *span, key, chord []float64) {
			l.extend(l.enter[from], v, math.Exp(l.enterLog[from]-l.enterLog[t-1]), sp, key, chord)
		})
		l.endLog[t] = l.enterLog[t-1] + norm(v)
		l.end[t] = v
		if t < n {
			e := row(enter, t)
			l.step(t, v, e)
			l.enter[t], l.enterLog[t] = e, norm(e)
			l.enterLog[t] += l.endLog[t]
		}
	}
	c := l.closing()
	z := 0.0
	for y, v := range l.end[n] {
		z += v * c[y]
	}
	l.logZ = math.Log(z) + l.endLog[n]
}

func (l *lattice) closing() []float64 {
	c := make([]float64, l.f.n)
	l.close(l.f, c)
	for y := range c {
		c[y] = math.Exp(c[y])
	}
	return c
}

// extend adds src times the segment to dst.
func (l *lattice) extend(src, dst []float64, scale float64, sp *span, key, chord []float64) {
	for _, k := range l.liveKeys {
		row := l.chord[k]
		num := l.numberX[mode(l.keys[k].Minor)][sp.degree(l.keys[k])]
		b := scale * key[k]
		if b == 0 {
			continue
		}
		lo := l.f.at[k]
		s, d := src[lo:lo+len(row)], dst[lo:lo+len(row)]
		num = num[:len(row)]
		for i, c := range row {
			d[i] += s[i] * b * chord[c] * num[i]
		}
	}
}

func (l *lattice) turns(t int) (stay, change float64) {
	u := &l.g.units[t]
	change = l.w.w[blShiftAt.idx1(int(u.level))]
	if u.section {
		stay, change = l.w.w[blSection.idx1(1)], change+l.w.w[blSection.idx1(0)]
	}
	return math.Exp(stay), math.Exp(change)
}

// step sums over what may come before each state.
func (l *lattice) step(t int, val, out []float64) {
	stay, change := l.turns(t)
	exits := make([]float64, len(l.keys))
	var sums [maxGroups]float64
	for k, row := range l.chord {
		m, lo := mode(l.keys[k].Minor), l.f.at[k]
		v, o := val[lo:lo+len(row)], out[lo:lo+len(row)]
		gs := l.groupOf[m]
		n := l.groups[m]
		clear(sums[:n])
		for i, x := range v {
			sums[gs[i]] += x
			exits[k] += x * l.leaveX[m][i]
		}
		fol := l.followX[m]
		var into [maxGroups]float64
		for g := range n {
			a := sums[g]
			for h, f := range fol[g*n : g*n+n] {
				if h != g {
					into[h] += a * f
				}
			}
		}
		for j := range row {
			h := gs[j]
			x := l.sameX*v[j] + into[h]
			o[j] = stay * (x + besides(v, l.members[m][h], j)*fol[h*n+h])
		}
	}
	for k, row := range l.chord {
		m, lo := mode(l.keys[k].Minor), l.f.at[k]
		en := l.enterX[m]
		for a := range l.keys {
			if a == k {
				continue
			}
			b := exits[a] * l.shiftX[a][k] * change
			pv := l.pivotX[a]
			for i, c := range row {
				out[lo+i] += b * pv[c] * en[i]
			}
		}
	}
}

// besides sums over the members of a group but one.
func besides(v []float64, members []int, but int) (sum float64) {
	for _, i := range members {
		if i != but && i < len(v) {
			sum += v[i]
		}
	}
	return sum
}

// stepBack sums over what may come after each state.
func (l *lattice) stepBack(t int, after, out []float64) {
	stay, change := l.turns(t)
	var sums [maxGroups]float64
	for k, row := range l.chord {
		m, lo := mode(l.keys[k].Minor), l.f.at[k]
		v, o := after[lo:lo+len(row)], out[lo:lo+len(row)]
		gs := l.groupOf[m]
		n := l.groups[m]
		clear(sums[:n])
		l.reached[k] = false
		for i, x := range v {
			sums[gs[i]] += x
			l.reached[k] = l.reached[k] || x != 0
		}
		if !l.reached[k] { // left out by keepLive
			clear(o)
			continue
		}
		fol := l.followX[m]
		var from [maxGroups]float64
		for g := range n {
			x := 0.0
			for h, f := range fol[g*n : g*n+n] {
				if h != g {
					x += sums[h] * f
				}
			}
			from[g] = x
		}
		for i := range row {
			g := gs[i]
			x := l.sameX*v[i] + from[g]
			o[i] = stay * (x + besides(v, l.members[m][g], i)*fol[g*n+g])
		}
	}
	for a := range l.keys {
		sum := 0.0
		pv := l.pivotX[a]
		for k, row := range l.chord {
			if k == a || !l.reached[k] {
				continue
			}
			en, lo := l.enterX[mode(l.keys[k].Minor)], l.f.at[k]
			x := 0.0
			for i, c := range row {
				x += pv[c] * en[i] * after[lo+i]
			}
			sum += x * l.shiftX[a][k] * change
		}
		m, lo := mode(l.keys[a].Minor), l.f.at[a]
		for i := range l.chord[a] {
			out[lo+i] += sum * l.leaveX[m][i]
		}
	}
}

// neverMind is the chance under which backward leaves a key out where a segment
// ends: the chances it finds are too small by no more than keys times this.
const neverMind = 1e-9

// keepLive sets the keys that have a chance, and their chords.
func (l *lattice) keepLive(chance []float64) {
	for _, c := range l.liveChords {
		l.marked[c] = false
	}
	l.liveKeys, l.liveChords = l.liveKeys[:0], l.liveChords[:0]
	for k, row := range l.chord {
		sum := 0.0
		for _, v := range chance[l.f.at[k] : l.f.at[k]+len(row)] {
			sum += v
		}
		if sum < neverMind {
			continue
		}
		l.liveKeys = append(l.liveKeys, int32(k))
		for _, c := range row {
			if !l.marked[c] {
				l.marked[c] = true
				l.liveChords = append(l.liveChords, c)
			}
		}
	}
}

// watch is told what backward finds; nil functions are not called. All numbers
// are chances but for scale, which makes them so.
type watch struct {
	// segment: enter*key*chord*number*after*scale is the chance of a segment.
	segment func(from, to int, sp *span, key, chord, enter, after []float64, scale float64)
	// unit: the chances of all states over a unit.
	unit func(u int, chance []float64)
	// start: the chance that a segment of a state starts at t; join: end*step*after*scale.
	start func(t int, chance []float64)
	join  func(t int, end, after []float64, scale float64)
}

// backward needs forward done.
func (l *lattice) backward(w watch) {
	n := l.units
	after, afterLog := make([][]float64, n+1), make([]float64, n+1)
	var spare [][]float64 // rows to use again
	cover, chance, b := make([]float64, l.f.n), make([]float64, l.f.n), make([]float64, l.f.n)
	for t := n; t >= 0; t-- {
		bLog := 0.0
		if t == n {
			b = l.closing()
		} else {
			f := after[t]
			after[t] = nil
			scale := math.Exp(l.enterLog[t] + afterLog[t] - l.logZ)
			for y := range f {
				chance[y] = l.enter[t][y] * f[y] * scale
			}
			if w.start != nil {
				w.start(t, chance)
			}
			w.unit(t, cover)
			for y := range cover {
				cover[y] = max(0, cover[y]-chance[y])
			}
			if t == 0 {
				return
			}
			if w.join != nil {
				w.join(t, l.end[t], f, math.Exp(l.endLog[t]+afterLog[t]-l.logZ))
			}
			l.stepBack(t, f, b)
			clear(f)
			spare = append(spare, f)
			bLog = afterLog[t]
		}
		bLog += norm(b)
		scale := math.Exp(l.endLog[t] + bLog - l.logZ)
		for y := range chance {
			chance[y] = l.end[t][y] * b[y] * scale
			cover[y] += chance[y]
		}
		l.keepLive(chance)
		l.segments(t, func(from int, sp *span, key, chord []float64) {
			if after[from] == nil {
				if n := len(spare); n > 0 {
					after[from], spare = spare[n-1], spare[:n-1]
				} else {
					after[from] = make([]float64, l.f.n)
				}
				afterLog[from] = bLog
			}
			l.extend(b, after[from], math.Exp(bLog-afterLog[from]), sp, key, chord)
			if w.segment != nil {
				w.segment(from, t, sp, key, chord, l.enter[from], b, math.Exp(l.enterLog[from]+bLog-l.logZ))
			}
		})
	}
}
