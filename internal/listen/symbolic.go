package listen

import (
	"math"
	"slices"
)

// Costs of putting onset times beside a line, in nats; by trial: an onset that belongs
// to no event, an event without an onset, and the spread of the logarithm of a step
// against the pace around.
const (
	onsetExtra   = 4.0
	onsetMissing = 4.0
	onsetSpread  = 0.25
	onsetGap     = 3 // events or onsets in a row that may be passed over
	onsetBand    = 60
)

// AlignOnsets puts a list of rising onset times beside the events of a line played
// once through: the result has for each event the index of its onset, -1 for none.
// Given the pace, it is the cheapest matching in order, found exactly within a band
// about the diagonal; the pace is taken from the times as a whole, then twice from the
// matching before. Grace notes may have an onset or none, at little cost.
func AlignOnsets(l *Line, times []float64) []int {
	n, m := len(l.Events), len(times)
	if n == 0 || m == 0 {
		return slices.Repeat([]int{-1}, n)
	}
	span := l.Events[n-1].At - l.Events[0].At
	pace := make([]float64, n)
	for i := range pace {
		pace[i] = (times[m-1] - times[0]) / max(span, 1e-9)
	}
	var match []int
	for range 3 {
		match = matchOnsets(l, times, pace)
		pace = paceOf(l, times, match, pace)
	}
	return match
}

// paceOf gives seconds a quarter around each event from a matching: the median over
// steps near by.
func paceOf(l *Line, times []float64, match []int, before []float64) []float64 {
	type step struct {
		event int
		pace  float64
	}
	var steps []step
	last := -1
	for i, j := range match {
		if j < 0 {
			continue
		}
		if last >= 0 {
			if q := l.Events[i].At - l.Events[last].At; q > 1e-6 {
				steps = append(steps, step{i, (times[j] - times[match[last]]) / q})
			}
		}
		last = i
	}
	out := slices.Clone(before)
	k := 0
	for i := range out {
		for k < len(steps) && steps[k].event < i {
			k++
		}
		var near []float64
		for s := max(0, k-8); s < min(len(steps), k+8); s++ {
			near = append(near, steps[s].pace)
		}
		if len(near) > 2 {
			out[i] = median(near)
		}
	}
	return out
}

// matchOnsets is the dynamic program: V(i, j) is the least cost of all up to event i
// standing on onset j; the pair before is at most onsetGap+1 back in each list.
func matchOnsets(l *Line, times, pace []float64) []int {
	n, m := len(l.Events), len(times)
	width := 2*onsetBand + 1
	cost := make([]float64, n*width)
	back := make([][2]int16, n*width)
	// the band follows the straight line from first to last
	center := func(i int) int { return i * (m - 1) / max(1, n-1) }
	at := func(i, j int) int {
		if d := j - center(i) + onsetBand; d >= 0 && d < width && j >= 0 && j < m {
			return i*width + d
		}
		return -1
	}
	for i := range n {
		for d := range width {
			j := center(i) - onsetBand + d
			if j < 0 || j >= m {
				continue
			}
			best, from := math.Inf(1), [2]int16{}
			if i <= onsetGap && j <= onsetGap {
				best = skipCost(l, 0, i) + onsetExtra*float64(j)
			}
			for di := 1; di <= onsetGap+1 && di <= i; di++ {
				for dj := 1; dj <= onsetGap+1 && dj <= j; dj++ {
					k := at(i-di, j-dj)
					if k < 0 || cost[k] >= best {
						continue
					}
					c := cost[k] + skipCost(l, i-di+1, i) + onsetExtra*float64(dj-1) + stepCost(times[j]-times[j-dj], l.Events[i].At-l.Events[i-di].At, pace[i])
					if c < best {
						best, from = c, [2]int16{int16(di), int16(dj)}
					}
				}
			}
			cost[i*width+d], back[i*width+d] = best, from
		}
	}
	return readMatch(l, cost, back, at, m)
}

// skipCost of leaving events from a up to b without an onset.
func skipCost(l *Line, a, b int) float64 {
	sum := 0.0
	for k := a; k < b; k++ {
		if l.Events[k].Grace {
			sum += 0.5
		} else {
			sum += onsetMissing
		}
	}
	return sum
}

func stepCost(seconds, quarters, pace float64) float64 {
	expected := max(quarters*pace, 0.05) // a grace note has no length of its own
	d := math.Log(max(seconds, 1e-3)/expected) / onsetSpread
	return min(8, d*d/2)
}

func readMatch(l *Line, cost []float64, back [][2]int16, at func(i, j int) int, m int) []int {
	n := len(l.Events)
	best, bi, bj := math.Inf(1), -1, -1
	for i := max(0, n-1-onsetGap); i < n; i++ {
		for j := max(0, m-1-onsetGap); j < m; j++ {
			if k := at(i, j); k >= 0 {
				if c := cost[k] + skipCost(l, i+1, n) + onsetExtra*float64(m-1-j); c < best {
					best, bi, bj = c, i, j
				}
			}
		}
	}
	out := slices.Repeat([]int{-1}, n)
	for i, j := bi, bj; i >= 0; {
		out[i] = j
		b := back[at(i, j)]
		if b[0] == 0 {
			break
		}
		i, j = i-int(b[0]), j-int(b[1])
	}
	return out
}
