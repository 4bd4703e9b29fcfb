package harmony

import "slices"

// expected adds the expected features of all readings to grad, and
// tells the logarithm of their sum.
func expected(s *scored, grad []float64) float64 {
	l := newLattice(s)
	l.forward()
	x := &expecter{lattice: l, grad: grad, chordSum: make([]float64, len(l.chords)), keySum: make([]float64, len(l.keys))}
	x.tops()
	l.backward(watch{segment: x.segment, unit: x.unit, start: x.start, join: x.join})
	x.handOut()
	last := make([]float64, l.f.n)
	c := l.closing()
	sum := 0.0
	for y := range last {
		last[y] = l.end[l.units][y] * c[y]
		sum += last[y]
	}
	for y := range last {
		p := last[y] / sum
		l.closeFeatures(State{int(l.f.key[y]), int(l.f.fn[y])}, func(i int, v float64) { grad[i] += p * v })
	}
	return l.logZ + l.unitTop
}

type expecter struct {
	*lattice
	grad             []float64
	chordSum, keySum []float64
	steps            [2][]float64 // chances of steps by mode, group and group
	exits, entered   []float64    // by key: what leaves it, and what stands after entering it
	// no step within a key, and no entry into one, weighs more
	followTop, enterTop float64
}

const tooSmall = 1e-7

func (x *expecter) segment(from, to int, sp *span, key, chord, enter, after []float64, scale float64) {
	clear(x.chordSum)
	total := 0.0
	for _, k := range x.liveKeys {
		row := x.chord[k]
		m, lo := mode(x.keys[k].Minor), x.f.at[k]
		deg := sp.degree(x.keys[k])
		num := x.numberX[m][deg]
		b := scale * key[k]
		for i, c := range row {
			p := b * enter[lo+i] * after[lo+i] * chord[c] * num[i]
			if p < tooSmall {
				continue
			}
			x.chordSum[c] += p
			total += p
			if deg < degrees {
				x.grad[blBass.idx3(m, int(functions[m][i].class), deg)] += p
			}
		}
	}
	if total < tooSmall {
		return
	}
	x.spanFeatures(*sp, func(i int, v float64) { x.grad[i] += total * v })
	for c, p := range x.chordSum {
		if p > 0 {
			x.wholeFeatures(c, *sp, func(i int, v float64) { x.grad[i] += p * v })
		}
	}
}

func (x *expecter) unit(u int, chance []float64) {
	clear(x.chordSum)
	clear(x.keySum)
	for k, row := range x.chord {
		lo := x.f.at[k]
		for i, c := range row {
			p := chance[lo+i]
			x.chordSum[c] += p
			x.keySum[k] += p
		}
	}
	for c, p := range x.chordSum {
		if p > tooSmall {
			x.chordFeatures(c, u, func(i int, v float64) { x.grad[i] += p * v })
		}
	}
	for k, p := range x.keySum {
		if p > tooSmall {
			x.keyFeatures(k, u, func(i int, v float64) { x.grad[i] += p * v })
		}
	}
}

func (x *expecter) start(t int, chance []float64) {
	for y, p := range chance {
		if p < tooSmall {
			continue
		}
		k, fn := int(x.f.key[y]), int(x.f.fn[y])
		x.grad[blNumeral.idx2(mode(x.keys[k].Minor), fn)] += p
		if t == 0 {
			x.openFeatures(State{k, fn}, func(i int, v float64) { x.grad[i] += p * v })
		}
	}
}

// join adds the chances of all steps before unit t.
func (x *expecter) join(t int, end, after []float64, scale float64) {
	stay, change := x.turns(t)
	u := &x.g.units[t]
	stays := x.within(end, after, scale*stay)
	turned := x.across(end, after, scale*change)
	x.grad[blShiftAt.idx1(int(u.level))] += turned
	if u.section {
		x.grad[blSection.idx1(1)] += stays
		x.grad[blSection.idx1(0)] += turned
	}
}

// within are the steps that stay in their key; it tells their chance in all. It
// fills what across needs as well.
func (x *expecter) within(end, after []float64, scale float64) float64 {
	stays := 0.0
	for k, row := range x.chord {
		var a, b, both [maxGroups]float64
		m, lo := mode(x.keys[k].Minor), x.f.at[k]
		n := x.groups[m]
		same, left, reached, exit := 0.0, 0.0, 0.0, 0.0
		for i := range row {
			g, v, f := x.groupOf[m][i], end[lo+i], after[lo+i]
			a[g] += v
			b[g] += f
			both[g] += v * f
			same += v * f
			left += v
			reached += f
			exit += v * x.leaveX[m][i]
		}
		x.exits[k], x.entered[k] = exit, reached
		if left*reached*scale*x.followTop < neverMind {
			continue
		}
		same *= scale * x.sameX
		x.grad[blSame.idx1(0)] += same
		stays += same
		follow, steps := x.followX[m], x.steps[m]
		for g := range n {
			if a[g] == 0 {
				continue
			}
			for h := range n {
				p := a[g] * b[h]
				if g == h {
					p = max(0, p-both[g])
				}
				p *= scale * follow[g*n+h]
				steps[g*n+h] += p
				stays += p
			}
		}
	}
	return stays
}

// across are the steps into another key; it tells their chance in all.
func (x *expecter) across(end, after []float64, scale float64) float64 {
	turned := 0.0
	for k := range x.chord {
		mk, lok := mode(x.keys[k].Minor), x.f.at[k]
		out := 0.0
		for l, row := range x.chord {
			base := scale * x.shiftX[k][l]
			if l == k || base*x.exits[k]*x.entered[l]*x.enterTop < neverMind {
				continue
			}
			ml, lo := mode(x.keys[l].Minor), x.f.at[l]
			sum := 0.0
			for i, c := range row {
				p := base * x.pivotX[k][c] * x.enterX[ml][i] * after[lo+i]
				sum += p
				if p *= x.exits[k]; p > neverMind {
					x.grad[blEnter.idx2(ml, int(functions[ml][i].class))] += p
					x.grad[blPivot.idx2(mk, int(x.pivot[k][c]))] += p
				}
			}
			out += sum
			x.grad[blShift.idx3(mk, ml, shiftBucket(x.keys[k], x.keys[l]))] += sum * x.exits[k]
		}
		turned += out * x.exits[k]
		for i := range x.chord[k] {
			x.grad[blLeave.idx2(mk, int(functions[mk][i].class))] += out * end[lok+i] * x.leaveX[mk][i]
		}
	}
	return turned
}

// tops bounds what a step can weigh.
func (x *expecter) tops() {
	x.followTop = x.sameX
	for m := range 2 {
		x.steps[m] = make([]float64, x.groups[m]*x.groups[m])
		x.followTop = max(x.followTop, slices.Max(x.followX[m]))
		x.enterTop = max(x.enterTop, slices.Max(x.enterX[m]))
	}
	pivot := 0.0
	for k := range x.keys {
		pivot = max(pivot, slices.Max(x.pivotX[k]))
	}
	x.enterTop *= pivot
	x.exits, x.entered = make([]float64, len(x.keys)), make([]float64, len(x.keys))
}

// handOut gives the chances of steps to the features they are made of.
func (x *expecter) handOut() {
	for m := range 2 {
		n := x.groups[m]
		for i, p := range x.steps[m] {
			a, b := x.groupAs[m][i/n], x.groupAs[m][i%n]
			x.grad[blFollow.idx3(m, int(a.class), int(b.class))] += p
			x.grad[blMotion.idx2(m, motionBucket(b.root-a.root))] += p
		}
	}
}
